//! What one session, or several, have to offer for listening.

use super::ListenError;
use super::passage::Passage;
use super::versions::Part;
use crate::analysis::predict::describe::DescribedSheet;
use crate::analysis::sheet::air::Air;
use crate::analysis::sheet::models::{Gap, Hanging};
use crate::chain::Analyzed;
use crate::ingest::session::Session;
use std::sync::Arc;

/// The versions on offer at one seat.
#[derive(Debug, Clone)]
pub struct Offer {
    /// Seat, where a session was measured.
    pub seat: Option<String>,
    /// Versions, the one without a screen first.
    pub parts: Vec<Part>,
    /// What the sound rests on and where it says nothing, in sentences.
    pub notes: Vec<String>,
}

/// The seat that is listened to where nobody says: the heaviest, of equals the first, of those
/// that hold a loss.
pub fn usual_seat(analyzed: &Analyzed) -> Option<&str> {
    let seats = analyzed.result.seats.iter();
    let measured = seats.filter(|s| s.loss_db.iter().any(Option::is_some));
    // Of equal maxima the last is taken, so from the back.
    measured.rev().max_by(|a, b| a.weight.total_cmp(&b.weight)).map(|s| s.id.as_str())
}

/// Sessions side by side at one seat (of the first one, where none is named), and described
/// sheets. One session alone is offered with its setting.
///
/// # Errors
/// [`ListenError::Seat`] where a session has no measured transmission at that seat.
pub fn offer(
    jobs: &[(Session, Analyzed)],
    seat: Option<&str>,
    sheets: &[DescribedSheet],
    gap: Option<Gap>,
) -> Result<Offer, ListenError> {
    let mut parts = vec![Part::without()];
    let mut notes = Vec::new();
    let seat = match (seat, jobs.first()) {
        (Some(seat), _) => Some(seat.to_owned()),
        (None, Some((session, analyzed))) => {
            Some(usual_seat(analyzed).ok_or_else(|| no_seat(session))?.to_owned())
        }
        (None, None) => None,
    };
    for (i, (session, analyzed)) in jobs.iter().enumerate() {
        let seat = seat.as_deref().unwrap_or_default();
        let passage = Arc::new(Passage::measured(session, analyzed, seat)?);
        let title = &session.manifest.session.title;
        if let [_] = jobs {
            parts.push(part("screen".into(), "with the screen".into(), &passage));
            if let Some(correction) = &analyzed.result.correction {
                let mut with = part(
                    "screen_setting".into(),
                    "with the screen and the setting".into(),
                    &passage,
                );
                with.setting = Some(Arc::new(correction.found.clone()));
                parts.push(with);
            }
        } else {
            parts.push(part(format!("screen_{}", i + 1), sheet_name(jobs, i), &passage));
        }
        notes.push(about(title, &passage));
    }
    let cos_theta = jobs.first().zip(seat.as_deref()).map_or(1.0, |((session, _), seat)| {
        let at = session.manifest.seat.iter().position(|s| s.id == seat);
        at.map_or(1.0, |at| session.manifest.seat_cosine(at))
    });
    for (i, sheet) in sheets.iter().enumerate() {
        let hanging = Hanging { front: sheet.front, backing: sheet.backing, gap };
        let passage = Arc::new(Passage::predicted(&hanging, cos_theta, &Air::AT_20_C));
        let title = format!("{} (predicted)", sheet.name);
        parts.push(part(format!("predicted_{}", i + 1), title, &passage));
    }
    if !sheets.is_empty() {
        notes.push("Predicted sheets are theory, good to 0.3 dB and a fifth of the loss.".into());
    }
    Ok(Offer { seat, parts, notes })
}

/// What people call the screen of a session: its sheet, or else the job; numbered where two are
/// called the same.
fn sheet_name(jobs: &[(Session, Analyzed)], which: usize) -> String {
    let name = |(session, _): &(Session, Analyzed)| {
        let manifest = &session.manifest;
        manifest.screen.name.clone().unwrap_or_else(|| manifest.session.title.clone())
    };
    let own = name(&jobs[which]);
    let of_this_name = jobs.iter().filter(|job| name(job) == own).count();
    let before = jobs[..which].iter().filter(|job| name(job) == own).count();
    if of_this_name > 1 { format!("{own} ({})", before + 1) } else { own }
}

fn part(key: String, title: String, passage: &Arc<Passage>) -> Part {
    Part { key, title, passage: Some(passage.clone()), setting: None }
}

/// What the sound of a measured screen rests on.
fn about(title: &str, passage: &Passage) -> String {
    let [low, high] = passage.valid_hz;
    format!(
        "{title}: direct sound with its echoes from 450 Hz up, as the takes show it in size and \
         phase; below, the loss of all sound in the room. Below {low:.0} Hz and above {:.1} kHz \
         nothing was measured, and the loss of the nearest band is held. So that third octaves \
         of pink noise lose what the table says, the curve was moved by at most {:.2} dB, and \
         below 450 Hz, where the room weighs the bands, by {:.2} dB.",
        high / 1000.0,
        passage.most_moved_db(true),
        passage.most_moved_db(false),
    )
}

fn no_seat(session: &Session) -> ListenError {
    ListenError::Seat {
        session: session.manifest.session.title.clone(),
        seat: "of any name".into(),
        advice: "no seat holds a measured loss; scrimcheck check says what is missing".into(),
    }
}
