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
                match take {
                    None => {
                        return Some(Next {
                            seat: seat.id.clone(),
                            condition,
                            source: SoundSource::Centre,
                            spot,
                            file: default_name(&seat.id, condition, SoundSource::Centre, spot),
                            repeat: false,
                        });
                    }
                    Some(take) if take.verdict == TakeVerdict::Repeat => return Some(again(take)),
                    Some(_) => {}
                }
            }
        }
    }
    let other =
        |t: &JudgedTake| t.source == SoundSource::Control || t.condition == Condition::Corrected;
    judged.iter().find(|t| other(t) && t.verdict == TakeVerdict::Repeat).map(again)
}

/// A take once more.
fn again(take: &JudgedTake) -> Next {
    Next {
        seat: take.seat.clone(),
        condition: take.condition,
        source: take.source,
        spot: take.spot,
        file: take.file.clone(),
        repeat: true,
    }
}
