//! Takes without a screen that another session lends: several cloths in one evening.

use super::paths::{resolve, sibling_name};
use super::take::{Take, sort};
use crate::ingest::error::IngestError;
use crate::ingest::manifest::{Condition, ManifestText};
use crate::ingest::notice::{Notice, Noticed};
use crate::ingest::printable::shown;
use crate::ingest::session::{Borrowed, Session};
use std::path::{Path, PathBuf};

/// Positions that are the same place, m.
const SAME_PLACE_M: f64 = 0.01;

/// The refusal of the session in `other` by the one in `root`.
fn refusal(root: &Path, other: &Path, problem: String, advice: &'static str) -> IngestError {
    IngestError::Borrow { path: root.into(), other: other.into(), problem, advice }
}

/// The folder of the session that lends its takes to the one in `root`; `other` is a path of the
/// form `../NAME`.
///
/// # Errors
/// [`IngestError`] where there is no other folder of that name beside this one, or where it is a
/// link that leads elsewhere.
pub(crate) fn folder_of(
    root: &Path,
    other: &Path,
    text: &ManifestText,
) -> Result<PathBuf, IngestError> {
    let refuse = |problem: &str, advice| refusal(root, other, problem.into(), advice);
    let name = sibling_name(other).ok_or_else(|| {
        text.refuse("session.without_from", "this names no folder beside this session", "")
    })?;
    let read = |source| IngestError::Read { path: root.into(), source };
    let real = root.canonicalize().map_err(read)?;
    let parent = real.parent().ok_or_else(|| {
        refuse("this session lies in no folder", "put both sessions into one folder")
    })?;
    // Links out of the parent folder are refused.
    let folder = resolve(parent, &parent.join(name), "correct session.without_from")?;
    if folder == real || folder.parent() != Some(parent) {
        return Err(refuse(
            "that is not another folder beside this session",
            "name the folder of a session that lies beside this one",
        ));
    }
    Ok(folder)
}

/// Takes the takes without a screen of `lender`, whose folder the manifest names as `other`, into
/// `session`. Takes without a screen of its own are left out and named.
///
/// # Errors
/// [`IngestError`] where sweep, seats, positions or channels differ.
pub(crate) fn borrow_without(
    session: &mut Session,
    lender: &Session,
    other: &Path,
) -> Result<(), IngestError> {
    compare(session, lender, other)?;
    let seats: Vec<&str> = session.manifest.seat.iter().map(|s| s.id.as_str()).collect();
    let lent: Vec<Take> = lender
        .takes
        .iter()
        .filter(|take| take.condition == Condition::Without)
        .filter_map(|take| {
            let seat = seats.iter().position(|id| *id == lender.seat_id(take))?;
            Some(Take { seat, file: other.join(&take.file), ..take.clone() })
        })
        .collect();
    let own: Vec<Take> =
        session.takes.extract_if(.., |take| take.condition == Condition::Without).collect();
    let dropped: Vec<Notice> = own
        .into_iter()
        .map(|take| Notice {
            seat: Some(session.seat_id(&take).to_owned()),
            file: Some(take.file),
            found: Noticed::OwnWithout(other.to_path_buf()),
        })
        .collect();
    session.notices.extend(dropped);
    session.notices.extend(lender.notices.iter().filter_map(|n| elsewhere(n, other)));
    session.takes.extend(lent);
    sort(&mut session.takes);
    session.without_from = Some(Borrowed {
        folder: other.to_path_buf(),
        title: lender.manifest.session.title.clone(),
        date: lender.manifest.session.date.map(|date| date.to_string()),
    });
    Ok(())
}

/// What the other session says of one of its files, with its folder.
fn elsewhere(notice: &Notice, other: &Path) -> Option<Notice> {
    let file = notice.file.as_ref()?;
    Some(Notice { file: Some(other.join(file)), ..notice.clone() })
}

/// Whether takes of the two sessions can stand against each other.
fn compare(session: &Session, lender: &Session, other: &Path) -> Result<(), IngestError> {
    let refuse = |problem, advice| refusal(&session.root, other, problem, advice);
    if let Some(third) = &lender.without_from {
        return Err(refuse(
            format!("its own are those of {}", shown(&third.folder)),
            "name that session in session.without_from",
        ));
    }
    let (ours, theirs) = (&session.sweep, &lender.sweep);
    if ours.rate_hz != theirs.rate_hz || ours.samples != theirs.samples {
        return Err(refuse(
            "its sweep is another one".into(),
            "both sessions need the same sweep: copy the file that was really played",
        ));
    }
    let (ours, theirs) = (&session.manifest.recording, &lender.manifest.recording);
    if (ours.mic_channel, ours.reference_channel) != (theirs.mic_channel, theirs.reference_channel)
    {
        return Err(refuse(
            "the channels under [recording] differ".into(),
            "write the same channels in both sessions, or export the takes alike",
        ));
    }
    for seat in &session.manifest.seat {
        let Some(same) = lender.manifest.seat.iter().find(|s| s.id == seat.id) else {
            let theirs: Vec<&str> = lender.manifest.seat.iter().map(|s| s.id.as_str()).collect();
            return Err(refuse(
                format!("it has no seat {}; its seats are {}", seat.id, theirs.join(", ")),
                "give the seats the same names in both sessions",
            ));
        };
        let (Some(here), Some(there)) = (seat.position_m, same.position_m) else { continue };
        let far = here.iter().zip(there).any(|(a, b)| (a - b).abs() > SAME_PLACE_M);
        if far {
            return Err(refuse(
                format!("seat {} stands elsewhere there, by position_m", seat.id),
                "correct position_m in one of the sessions; a seat that was moved cannot be \
                 compared",
            ));
        }
    }
    Ok(())
}
