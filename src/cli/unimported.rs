//! A session opened, with a word on recordings that lie in it and were not brought in.

use super::failure::Failure;
use crate::import::unimported;
use crate::ingest::manifest;
use crate::ingest::notice::{Notice, Noticed};
use crate::ingest::session::Session;
use crate::report::words::notices::unimported_hint;
use std::path::Path;

/// Opens the session in `folder`. Recordings that were not brought in become a notice, or a
/// part of the message where the session is refused.
///
/// # Errors
/// As [`Session::open`].
pub fn open_with_hint(folder: &Path) -> Result<Session, Failure> {
    // Where not even the manifest can be read, that is what is to be said.
    let found = manifest::load(folder).map(|(manifest, _)| unimported(folder, &manifest));
    let found = found.unwrap_or_default();
    match Session::open(folder) {
        Ok(mut session) => {
            if !found.is_empty() {
                let (folder, files) = (folder.to_path_buf(), found);
                session.notices.push(Notice::of_session(Noticed::Unimported { folder, files }));
            }
            Ok(session)
        }
        Err(error) if found.is_empty() => Err(error.into()),
        Err(error) => Err(Failure::Unimported { error, hint: unimported_hint(folder, &found) }),
    }
}
