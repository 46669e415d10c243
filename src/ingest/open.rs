//! From a session folder to a checked session.

use super::calibration::read_calibration;
use super::error::IngestError;
use super::manifest::{self, MANIFEST_FILE};
use super::notice::{Notice, Noticed};
use super::session::Session;
use super::sweep::load_sweep;
use super::takes::paths::inside;
use super::takes::{borrow_without, discover, folder_of};
use std::path::{Path, PathBuf};

impl Session {
    /// Reads manifest, played signal and calibration file of the session folder
    /// `root` and lists its takes. No recording is read yet.
    ///
    /// # Errors
    /// [`IngestError`], which names the culprit and what to do.
    pub fn open(root: &Path) -> Result<Self, IngestError> {
        let (mut manifest, text) = manifest::load(root)?;
        let mut found = discover(root, &manifest, &text)?;
        found.notices.extend(other_manifest(root));
        manifest.seat = found.seats;
        let sweep_path = &manifest.sweep.file;
        let advice = "put the played signal there, or correct sweep.file in session.toml";
        inside(root, sweep_path, advice)?;
        let (sweep, doubt) = load_sweep(&root.join(sweep_path), &manifest.sweep)?;
        found.notices.extend(doubt);
        let read = |file: &PathBuf| {
            let advice = "put the calibration file there, or leave recording.calibration_file out";
            inside(root, file, advice)?;
            read_calibration(&root.join(file))
        };
        let calibration = manifest.recording.calibration_file.as_ref().map(read).transpose()?;
        let mut session = Self {
            root: root.to_path_buf(),
            manifest,
            sweep,
            takes: found.takes,
            calibration,
            notices: found.notices,
            without_from: None,
        };
        if let Some(other) = session.manifest.session.without_from.clone() {
            let lender = Self::open(&folder_of(root, &other, &text)?)?;
            borrow_without(&mut session, &lender, &other)?;
        }
        Ok(session)
    }
}

/// A second manifest, whose name differs in small and capital letters: on a system that
/// does not tell them apart it would be in the place of the first.
fn other_manifest(root: &Path) -> Option<Notice> {
    let name = |entry: std::fs::DirEntry| entry.file_name().to_string_lossy().into_owned();
    let other = std::fs::read_dir(root)
        .ok()?
        .flatten()
        .map(name)
        .filter(|n| n.eq_ignore_ascii_case(MANIFEST_FILE) && n != MANIFEST_FILE)
        .min()?;
    Some(Notice::of_session(Noticed::OtherManifest(other)))
}
