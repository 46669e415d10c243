//! One session from its folder to its report, as the command line and the page do it.

use crate::chain::{self, ChainError};
use crate::import::unimported;
use crate::ingest::error::IngestError;
use crate::ingest::manifest;
use crate::ingest::notice::{Notice, Noticed};
use crate::ingest::session::Session;
use crate::report::error::ReportError;
use crate::report::inputs::Inputs;
use crate::report::output::OutputFolder;
use crate::report::paper::logo::read_logo;
use crate::report::result::SessionResult;
use crate::report::words::notices::unimported_hint;
use crate::report::write::write_report;
use crate::words::with_causes;
use std::path::{Path, PathBuf};
use std::time::SystemTime;

/// Why a session has no report.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum JobError {
    /// It is refused.
    #[error(transparent)]
    Ingest(#[from] IngestError),
    /// It is refused, and recordings lie in it that were not brought in.
    #[error("{error}; {hint}")]
    Unimported {
        /// Why it is refused.
        error: IngestError,
        /// Which recordings, and the command for them.
        hint: String,
    },
    /// It cannot be analysed.
    #[error(transparent)]
    Chain(#[from] ChainError),
    /// The report cannot be written.
    #[error(transparent)]
    Report(#[from] ReportError),
}

/// Opens the session in `folder`. Recordings that were not brought in become a notice, or a
/// part of the message where the session is refused.
///
/// # Errors
/// As [`Session::open`].
pub fn open(folder: &Path) -> Result<Session, JobError> {
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
        Err(error) => Err(JobError::Unimported { error, hint: unimported_hint(folder, &found) }),
    }
}

/// `report` in the session folder.
///
/// # Errors
/// As [`place_in`].
pub fn usual_place(session: &Path) -> Result<PathBuf, ReportError> {
    place_in(session, "report")
}

/// A folder of ours in the session folder. A link there that leaves the folder is refused: the
/// folder may come from somebody else, and only `--out` says that the user wants it.
///
/// # Errors
/// [`ReportError::Link`].
pub fn place_in(session: &Path, name: &str) -> Result<PathBuf, ReportError> {
    let place = session.join(name);
    let leaves = match (place.read_link(), place.canonicalize(), session.canonicalize()) {
        (Err(_), ..) => false,
        (_, Ok(real), Ok(folder)) => !real.starts_with(folder),
        // A link to nowhere, or one that cannot be followed.
        _ => true,
    };
    if leaves { Err(ReportError::Link { path: place }) } else { Ok(place) }
}

/// Analyses an opened session by `measure` and writes the report into `out`, which is looked at
/// first, so that no time is lost on a folder that cannot be used. `opened` is when the opening of
/// the session began. Also the paths of the files.
///
/// # Errors
/// What `measure` gives, or why the report cannot be written; nothing is then left behind.
pub fn report_into<E: From<ReportError>>(
    session: &Session,
    opened: SystemTime,
    out: &Path,
    force: bool,
    measure: impl FnOnce(&Session) -> Result<SessionResult, E>,
) -> Result<(SessionResult, Vec<PathBuf>), E> {
    let folder = OutputFolder::open(out, force)?;
    // Read again for the papers; here, so that a bad one is told before the takes are read.
    read_logo(session)?;
    // Without it the next look at all jobs analyses this one again: no reason to end here.
    let inputs = Inputs::look(session, opened).ok();
    let result = measure(session)?;
    let paths = write_report(&result, session, inputs, folder)?;
    Ok((result, paths))
}

/// Analyses a session and writes its report where it usually lies.
///
/// # Errors
/// Why it cannot be, in words.
pub fn analyze(folder: &Path) -> Result<(), String> {
    let opened = SystemTime::now();
    let work = || -> Result<(), JobError> {
        let session = open(folder)?;
        let measure =
            |session: &Session| -> Result<_, JobError> { Ok(chain::analyze(session, &|| ())?) };
        report_into(&session, opened, &usual_place(folder)?, false, measure)?;
        Ok(())
    };
    work().map_err(|error| with_causes(&error))
}
