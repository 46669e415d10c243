//! A new session folder: manifest, played signal, take sheet, empty `takes/`.

mod like;
mod options;
mod sheet;
mod template;

pub use like::like;
pub use options::{Like, StartOptions};

use crate::ingest::error::IngestError;
use crate::ingest::manifest::MANIFEST_FILE;
use crate::ingest::manifest::limits::MAX_SEATS;
use crate::ingest::manifest::seat_id::check_id;
use crate::ingest::printable::{is_invisible, plain};
use crate::ingest::sweep::{QUIET_SWEEP_FILE, SWEEP_FILE, generate};
use crate::ingest::takes::{QUIET_BY_DB, TAKES_FOLDER};
use crate::ingest::wav::write_wav_24;
use crate::report::error::ReportError;
use crate::staging::{Staging, hold_interruption};
use like::parent_of;
use options::Plan;
use std::collections::HashSet;
use std::ffi::OsString;
use std::fs;
use std::io;
use std::path::{Path, PathBuf};
use time::UtcDateTime;

/// Take sheet as a page in a new session.
const TAKE_SHEET_FILE: &str = "take-sheet.html";
/// The same as PDF, to print.
const TAKE_SHEET_PDF: &str = "take-sheet.pdf";

/// Why there is no new session.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum StartError {
    /// What was asked for cannot be, or the folder cannot be written.
    #[error(transparent)]
    Ingest(#[from] IngestError),
    /// The take sheet cannot be laid out.
    #[error(transparent)]
    Report(#[from] ReportError),
}

/// Makes the session folder `dir` for the named seats.
///
/// Everything is written to a temporary folder first and renamed, so a failure
/// leaves nothing half written. Returns the files that were made.
///
/// # Errors
/// [`StartError`]: a seat name that cannot be part of a file name, a signal that
/// cannot be made, a folder that is not empty (without `force`), or a write error.
pub fn start(
    dir: &Path,
    seats: &[String],
    options: &StartOptions,
) -> Result<Vec<PathBuf>, StartError> {
    check_seats(seats)?;
    let samples = match &options.like {
        Some(like) => like.sweep.clone(),
        None => generate(&options.sweep).map_err(IngestError::from)?,
    };
    let title = options.title.clone().unwrap_or_else(|| {
        dir.file_name().map_or_else(|| "New session".into(), |n| n.to_string_lossy().into_owned())
    });
    let plan = Plan { title: &title, seats, options };
    let is_new = check_folder(dir, options.force)?;
    let parent = parent_of(dir);
    if !parent.is_dir() {
        return Err(IngestError::NoParent { path: parent.to_path_buf() }.into());
    }
    let take_sheet = sheet::paper(&plan);
    let mut files = vec![
        (MANIFEST_FILE, template::manifest(&plan).into_bytes()),
        (TAKE_SHEET_FILE, sheet::html(&take_sheet).into_bytes()),
        (TAKE_SHEET_PDF, sheet::pdf(&take_sheet, UtcDateTime::now())?),
    ];
    let lent = options.like.as_ref().and_then(|like| like.calibration.as_ref());
    files.extend(lent.and_then(|(p, bytes)| Some((p.file_name()?.to_str()?, bytes.clone()))));
    // Beside the new folder, or inside one that is there: the same disk, so renaming
    // cannot fail halfway through a copy.
    let beside = if is_new { parent } else { dir };
    let staging = Staging::inside(beside).map_err(IngestError::write(beside))?;
    let new = staging.at("new");
    fs::create_dir(&new).map_err(IngestError::write(dir))?;
    for (name, bytes) in &files {
        fs::write(new.join(name), bytes).map_err(IngestError::write(&dir.join(name)))?;
    }
    let lower = 10f64.powf(-QUIET_BY_DB / 20.0);
    let quiet: Vec<f64> = samples.iter().map(|x| lower * x).collect();
    for (name, samples) in [(SWEEP_FILE, &samples), (QUIET_SWEEP_FILE, &quiet)] {
        write_wav_24(&new.join(name), options.sweep.rate_hz, samples).map_err(IngestError::from)?;
    }
    // The manifest last: without it the folder is no session.
    let names: Vec<&str> =
        [QUIET_SWEEP_FILE, SWEEP_FILE].into_iter().chain(files.iter().rev().map(|f| f.0)).collect();
    place(&new, dir, is_new, &names)?;
    Ok(names.into_iter().rev().map(|name| dir.join(name)).collect())
}

/// Puts the finished folder `new` in the place of `dir`, or its files into the one that is there.
fn place(new: &Path, dir: &Path, is_new: bool, names: &[&str]) -> Result<(), IngestError> {
    let takes = dir.join(TAKES_FOLDER);
    if is_new {
        fs::create_dir(new.join(TAKES_FOLDER)).map_err(IngestError::write(&takes))?;
        let _whole = hold_interruption();
        return fs::rename(new, dir).map_err(IngestError::write(dir));
    }
    let _whole = hold_interruption();
    for name in names {
        fs::rename(new.join(name), dir.join(name)).map_err(IngestError::write(&dir.join(name)))?;
    }
    if takes.symlink_metadata().is_err() {
        fs::create_dir(&takes).map_err(IngestError::write(&takes))?;
    }
    Ok(())
}

/// True where `dir` is still to be made.
fn check_folder(dir: &Path, force: bool) -> Result<bool, IngestError> {
    let metadata = match fs::metadata(dir) {
        Ok(metadata) => metadata,
        Err(_) if dir.symlink_metadata().is_err() => return Ok(true),
        Err(source) => return Err(IngestError::Read { path: dir.to_path_buf(), source }),
    };
    if !metadata.is_dir() {
        return Err(IngestError::NotAFolder { path: dir.to_path_buf(), found: "file" });
    }
    let read = |source| IngestError::Read { path: dir.to_path_buf(), source };
    let names: io::Result<Vec<OsString>> =
        fs::read_dir(dir).map_err(read)?.map(|entry| Ok(entry?.file_name())).collect();
    match names.map_err(read)?.iter().map(|name| name.to_string_lossy()).min() {
        Some(first) if !force => {
            Err(IngestError::Exists { path: dir.to_path_buf(), found: plain(&first) })
        }
        _ => Ok(false),
    }
}

/// Characters that some system does not allow in a file name.
const NOT_IN_NAMES: [char; 9] = ['/', '\\', ':', '*', '?', '"', '<', '>', '|'];

/// Seat names of a new session become parts of file names, on any system.
pub(crate) fn check_seats(seats: &[String]) -> Result<(), IngestError> {
    let refuse =
        |seat: &str, problem: String| Err(IngestError::SeatName { seat: seat.into(), problem });
    if seats.is_empty() {
        return Err(IngestError::NoSeats);
    }
    if seats.len() > MAX_SEATS {
        return refuse(&seats[MAX_SEATS], format!("more than {MAX_SEATS} seats"));
    }
    let mut seen = HashSet::new();
    for (index, seat) in seats.iter().enumerate() {
        if seat.trim().is_empty() {
            return Err(IngestError::EmptySeatName { place: index + 1, n_seats: seats.len() });
        }
        if let Err(problem) = check_id(seat) {
            return refuse(seat, problem.to_string());
        }
        if let Some(c) = seat.chars().find(|&c| NOT_IN_NAMES.contains(&c) || is_invisible(c)) {
            return refuse(seat, format!("it becomes part of file names, which cannot hold {c}"));
        }
        if seat.starts_with('.') {
            return refuse(seat, "it becomes part of file names, which would be hidden".into());
        }
        // Some file systems take upper and lower case for the same.
        if !seen.insert(seat.to_lowercase()) {
            let twice = seats.iter().filter(|other| *other == seat).count() > 1;
            let problem = if twice {
                "this seat is named twice"
            } else {
                "another seat differs from it in small and capital letters alone"
            };
            return refuse(seat, problem.into());
        }
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::ingest::session::Session;
    use crate::ingest::sweep::SweepParams;

    fn ids(names: &[&str]) -> Vec<String> {
        names.iter().map(|&n| n.to_owned()).collect()
    }

    #[test]
    fn a_new_session_opens_and_knows_what_is_missing() {
        let home = tempfile::tempdir().unwrap();
        let dir = home.path().join("barn \"1\" <b>");
        let seats = ids(&["R1L", "R1C", "Süd", "a_b"]);
        let made = start(&dir, &seats, &StartOptions::default()).unwrap();
        assert!(made.iter().all(|f| f.is_file()) && dir.join("takes").is_dir());
        assert_eq!(fs::read_dir(home.path()).unwrap().count(), 1, "nothing else is left beside it");
        let session = Session::open(&dir).unwrap();
        assert_eq!(session.manifest.session.title, "barn \"1\" <b>");
        assert_eq!(session.manifest.seat.iter().map(|s| s.id.clone()).collect::<Vec<_>>(), seats);
        assert!(session.takes.is_empty());
        assert_eq!(session.sweep.rate_hz, 48_000);
        let l_s = SweepParams::default().rate_constant_s();
        assert!((session.sweep.rate_constant_s.unwrap() - l_s).abs() < 1e-9);
        let quiet = crate::ingest::wav::read_wav(&dir.join(QUIET_SWEEP_FILE), &[1]).unwrap();
        let peak = |x: &[f64]| x.iter().fold(0f64, |a, x| a.max(x.abs()));
        let lower_db = 20.0 * (peak(&session.sweep.samples) / peak(&quiet.channels[0])).log10();
        assert!((lower_db - 10.0).abs() < 0.001, "{lower_db}");
        #[cfg(unix)]
        {
            use std::os::unix::fs::PermissionsExt;
            let mode = |p: &Path| fs::metadata(p).unwrap().permissions().mode() & 0o777;
            assert_eq!(
                mode(&dir),
                mode(&dir.join("takes")),
                "an ordinary folder, not a private one"
            );
        }
    }

    #[test]
    fn other_signals_are_described_rightly() {
        let home = tempfile::tempdir().unwrap();
        let dir = home.path().join("s");
        let sweep = SweepParams {
            start_hz: 40.0,
            stop_hz: 22_400.0,
            duration_s: 1.5,
            rate_hz: 96_000,
            ..SweepParams::default()
        };
        start(&dir, &ids(&["A"]), &StartOptions { sweep, ..StartOptions::default() }).unwrap();
        let session = Session::open(&dir).unwrap();
        assert_eq!((session.sweep.rate_hz, session.sweep.band_hz), (96_000, [40.0, 22_400.0]));
    }

    #[test]
    fn nothing_of_the_users_is_replaced_unasked() {
        let home = tempfile::tempdir().unwrap();
        let dir = home.path().join("s");
        fs::create_dir(&dir).unwrap();
        start(&dir, &ids(&["A"]), &StartOptions::default()).unwrap();
        let take = dir.join("takes/A_without_1.wav");
        fs::write(&take, "a recording").unwrap();
        fs::write(dir.join("session.toml"), "mine").unwrap();
        let text = start(&dir, &ids(&["B"]), &StartOptions::default()).unwrap_err().to_string();
        assert!(text.contains("--force") && text.contains("session.toml"), "{text}");
        assert_eq!(fs::read_to_string(dir.join("session.toml")).unwrap(), "mine");
        let force = StartOptions { force: true, ..StartOptions::default() };
        start(&dir, &ids(&["B"]), &force).unwrap();
        assert!(fs::read_to_string(dir.join("session.toml")).unwrap().contains("id = \"B\""));
        assert_eq!(fs::read_to_string(&take).unwrap(), "a recording");
        assert_eq!(fs::read_dir(&dir).unwrap().count(), 6, "no temporary folder is left");

        let file = home.path().join("file");
        fs::write(&file, "x").unwrap();
        assert!(start(&file, &ids(&["A"]), &force).is_err());
        assert!(matches!(
            start(&home.path().join("no/such"), &ids(&["A"]), &force),
            Err(StartError::Ingest(IngestError::NoParent { .. }))
        ));
    }

    #[test]
    fn seat_names_that_cannot_be_file_names_are_refused_before_anything_is_made() {
        let home = tempfile::tempdir().unwrap();
        let dir = home.path().join("s");
        let long = "x".repeat(65);
        for bad in [
            vec![],
            vec![""],
            vec![" a"],
            vec!["../a"],
            vec!["a/b"],
            vec!["a\\b"],
            vec!["C:"],
            vec!["a\nb"],
            vec!["a\u{202e}b"],
            vec![".a"],
            vec!["A", "a"],
            vec!["a*"],
            vec![long.as_str()],
        ] {
            assert!(start(&dir, &ids(&bad), &StartOptions::default()).is_err(), "{bad:?}");
        }
        let sweep = SweepParams { stop_hz: f64::NAN, ..SweepParams::default() };
        assert!(
            start(&dir, &ids(&["A"]), &StartOptions { sweep, ..StartOptions::default() }).is_err()
        );
        assert_eq!(fs::read_dir(home.path()).unwrap().count(), 0);
    }
}
