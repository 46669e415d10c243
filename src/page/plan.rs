//! Which cell of the board comes next: all seats without the screen, then all with it, spot by
//! spot; a take that must be repeated before a new one of its condition.

use crate::ingest::manifest::{Condition, SoundSource};
use crate::ingest::session::Session;
use crate::ingest::takes::default_name;
use crate::judge::{JudgedTake, TakeVerdict};
use serde::Serialize;

/// The take to record next.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub(super) struct Next {
    seat: String,
    condition: Condition,
    source: SoundSource,
    spot: u32,
    file: String,
    repeat: bool,
}

/// The first cell in this order that is empty or must be repeated; control takes only where they
/// are there and must be repeated.
pub(super) fn next(session: &Session, judged: &[JudgedTake], spots: u32) -> Option<Next> {
    for condition in [Condition::Without, Condition::With] {
        // What another session lends is recorded there.
        if condition == Condition::Without && session.without_from.is_some() {
            continue;
        }
        for seat in &session.manifest.seat {
            for spot in 1..=spots {
                let take = judged.iter().find(|t| {
                    t.seat == seat.id
                        && !t.quiet
                        && (t.condition, t.source, t.spot) == (condition, SoundSource::Centre, spot)
                });
                let repeat = take.is_some_and(|t| t.verdict == TakeVerdict::Repeat);
                if take.is_none() || repeat {
                    let file = default_name(&seat.id, condition, SoundSource::Centre, spot);
                    let file = take.map_or(file, |t| t.file.clone());
                    let (seat, source) = (seat.id.clone(), SoundSource::Centre);
                    return Some(Next { seat, condition, source, spot, file, repeat });
                }
            }
        }
    }
    let others = judged
        .iter()
        .filter(|t| t.source == SoundSource::Control || t.condition == Condition::Corrected);
    others
        .filter(|t| t.verdict == TakeVerdict::Repeat)
        .map(|t| Next {
            seat: t.seat.clone(),
            condition: t.condition,
            source: t.source,
            spot: t.spot,
            file: t.file.clone(),
            repeat: true,
        })
        .next()
}
