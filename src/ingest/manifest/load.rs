//! Reading the manifest: text, syntax, keys and types; then `check` for the meaning.

use super::check::check;
use super::keys::Manifest;
use super::slip::slip;
use super::text::{ManifestText, check_depth, read_text};
use super::translate::translate;
use super::values::check_values;
use crate::ingest::error::IngestError;
use crate::ingest::regular::kind_name;
use crate::ingest::takes::paths::inside;
use std::io::ErrorKind;
use std::path::Path;
use toml::de::DeTable;
use unicode_normalization::UnicodeNormalization;

/// Name of the manifest in a session folder.
pub const MANIFEST_FILE: &str = "session.toml";

/// Reads and checks `session.toml` in `root`.
///
/// # Errors
/// [`IngestError`]: no such folder or file, not UTF-8, above 1 MiB, and with line,
/// column and caret every broken rule of syntax, keys, types and ranges.
pub fn load(root: &Path) -> Result<(Manifest, ManifestText), IngestError> {
    let path = || root.to_path_buf();
    match std::fs::metadata(root) {
        Ok(m) if m.is_dir() => {}
        Ok(m) => {
            let found = if m.is_file() { "file" } else { kind_name(m.file_type()) };
            return Err(IngestError::NotAFolder { path: path(), found });
        }
        Err(source) => {
            return Err(match source.kind() {
                ErrorKind::NotFound | ErrorKind::NotADirectory => {
                    IngestError::NoFolder { path: path() }
                }
                _ => IngestError::Read { path: path(), source },
            });
        }
    }
    match inside(root, Path::new(MANIFEST_FILE), "") {
        Err(IngestError::NoFile { .. }) => return Err(IngestError::NoManifest { path: path() }),
        other => other?,
    };
    let path = root.join(MANIFEST_FILE);
    let text = ManifestText { text: read_text(&path, "")?, path };
    let manifest = parse(&text)?;
    Ok((manifest, text))
}

/// Parses and checks the text of a manifest.
///
/// # Errors
/// [`IngestError::Manifest`] with the place.
pub fn parse(text: &ManifestText) -> Result<Manifest, IngestError> {
    if text.text.trim().is_empty() {
        return Err(text.refuse_span(
            0..0,
            "the manifest is empty",
            "`scrimcheck start` writes one with every key explained",
        ));
    }
    check_depth(text)?;
    let document = DeTable::parse(&text.text).map_err(|error| {
        text.refuse_span(
            error.span().unwrap_or(0..0),
            format!("this is not valid TOML: {}", error.message()),
            slip(&text.text, &error.span().unwrap_or(0..0)),
        )
    })?;
    check_values(text, document.get_ref())?;
    let mut manifest: Manifest =
        toml::from_str(&text.text).map_err(|error| translate(text, document.get_ref(), &error))?;
    // An accent can be written as one character or as two; a seat is the same either way.
    let ids = manifest.seat.iter_mut().map(|seat| &mut seat.id);
    for id in ids.chain(manifest.take.iter_mut().map(|take| &mut take.seat)) {
        *id = id.nfc().collect();
    }
    check(&manifest, text)?;
    Ok(manifest)
}
