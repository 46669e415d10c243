//! What a browser sends: never more than allowed, straight to disk.

use super::refusal::Refusal;
use super::words::fill;
use axum::body::Body;
use axum::http::{HeaderMap, StatusCode, header};
use http_body_util::BodyExt;
use std::path::Path;
use tokio::io::AsyncWriteExt;

/// Writes the body to the new file `path`. Nothing is left where it fails.
///
/// # Errors
/// 413 above `limit_bytes`, by what is announced or by what comes; the disk's errors.
pub(super) async fn to_disk(
    body: Body,
    headers: &HeaderMap,
    path: &Path,
    limit_bytes: u64,
) -> Result<u64, Refusal> {
    let announced = headers
        .get(header::CONTENT_LENGTH)
        .and_then(|v| v.to_str().ok())
        .and_then(|v| v.parse::<u64>().ok());
    if announced.is_some_and(|n| n > limit_bytes) {
        return Err(too_large(limit_bytes));
    }
    let written = write(body, path, limit_bytes).await;
    if written.is_err() {
        // Best effort: the folder goes away with the program.
        let _ = tokio::fs::remove_file(path).await;
    }
    written
}

async fn write(mut body: Body, path: &Path, limit_bytes: u64) -> Result<u64, Refusal> {
    let mut file = tokio::fs::File::create_new(path).await?;
    let mut n_bytes = 0;
    while let Some(frame) = body.frame().await {
        let frame = frame.map_err(|_| Refusal::say(StatusCode::BAD_REQUEST, "error.broken_off"))?;
        let Some(data) = frame.data_ref() else { continue };
        n_bytes += data.len() as u64;
        if n_bytes > limit_bytes {
            return Err(too_large(limit_bytes));
        }
        file.write_all(data).await?;
    }
    file.flush().await?;
    Ok(n_bytes)
}

fn too_large(limit_bytes: u64) -> Refusal {
    let mib = (limit_bytes >> 20).to_string();
    Refusal::new(StatusCode::PAYLOAD_TOO_LARGE, fill("error.too_large", &[("mib", &mib)]))
}
