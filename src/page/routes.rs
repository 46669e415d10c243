//! Which address does what.

use super::assets::{asset, shell};
use super::desk::Desk;
use super::guard::guard;
use super::refusal::Refusal;
use axum::Router;
use axum::extract::DefaultBodyLimit;
use axum::http::StatusCode;
use axum::middleware::from_fn_with_state;
use axum::routing::get;
use std::sync::Arc;

/// Largest form, bytes. Recordings go another way and have limits of their own.
const FORM_BYTES: usize = 1 << 20;

/// All addresses, behind the guard.
pub(super) fn router(desk: Arc<Desk>) -> Router {
    Router::new()
        .route("/", get(shell))
        .route("/assets/{name}", get(asset))
        .fallback(nothing_here)
        .layer(DefaultBodyLimit::max(FORM_BYTES))
        .layer(from_fn_with_state(Arc::clone(&desk), guard))
        .with_state(desk)
}

async fn nothing_here() -> Refusal {
    Refusal::say(StatusCode::NOT_FOUND, "error.nothing_here")
}
