//! The last word on each take: its own faults, then whether its seat still has a pair.

use super::finding::TakeVerdict;
use super::linearity::Linearity;
use super::state::{JudgedTake, Reason, TakeState};
use crate::ingest::manifest::{Condition, SoundSource};
use crate::ingest::session::Session;
use crate::ingest::takes::default_name;
use crate::warning::Topic;

/// Settles the state of every take, which belong to the session's takes in their order.
pub(super) fn settle(session: &Session, takes: &mut [JudgedTake], linearity: &Linearity) {
    for take in takes.iter_mut() {
        take.state = TakeState::of(take.verdict);
        let worst = take.findings.iter().find(|f| f.verdict == take.verdict);
        take.reason = worst.filter(|f| f.verdict > TakeVerdict::Good).map(Reason::from);
    }
    if let Linearity::Contradicted { take } = linearity {
        let reason = takes.iter().find(|t| t.file == *take).and_then(|t| t.reason.clone());
        for take in takes.iter_mut().filter(|t| t.state != TakeState::LeftOut) {
            take.state = TakeState::LeftOut;
            take.reason.clone_from(&reason);
        }
    }
    for seat in 0..session.manifest.seat.len() {
        for source in [SoundSource::Centre, SoundSource::Control] {
            leave_out_singles(session, takes, seat, source);
        }
    }
}

/// Takes of a seat from which no loss can be formed, since nothing usable stands against them.
fn leave_out_singles(
    session: &Session,
    takes: &mut [JudgedTake],
    seat: usize,
    source: SoundSource,
) {
    let here = |take: &JudgedTake| {
        let own = &session.takes[take.index];
        own.seat == seat && own.source == source && !own.quiet && take.state != TakeState::LeftOut
    };
    let has = |condition| takes.iter().any(|t| t.condition == condition && here(t));
    // What is heard with the equaliser active needs no take with the screen alone to stand against.
    let needs = |condition: Condition| match condition {
        Condition::Without => Condition::With,
        Condition::With | Condition::Corrected => Condition::Without,
    };
    let is_alone = |take: &JudgedTake| here(take) && !has(needs(take.condition));
    let alone: Vec<usize> = (0..takes.len()).filter(|at| is_alone(&takes[*at])).collect();
    for at in alone {
        let take = &mut takes[at];
        take.state = TakeState::LeftOut;
        let needed = needs(take.condition);
        let absent = match needed {
            Condition::Without => "without a screen",
            _ => "with the screen",
        };
        let name = default_name(&take.seat, needed, source, take.spot);
        let speaker =
            if source == SoundSource::Control { " of the control loudspeaker" } else { "" };
        take.reason = Some(Reason {
            topic: Topic::Missing,
            message: format!("Seat {} has no usable take {absent}{speaker} ({name}).", take.seat),
            advice: format!("Make that take (takes/{name}), and this one counts again."),
        });
    }
}

/// Seats of the manifest, by index, whose loss can be formed.
pub fn seats_in_use(session: &Session, takes: &[JudgedTake]) -> Vec<usize> {
    let used = |seat: usize, condition: Condition| {
        takes.iter().any(|t| {
            let take = &session.takes[t.index];
            let place = (take.seat, take.source, take.condition);
            t.state != TakeState::LeftOut
                && !take.quiet
                && place == (seat, SoundSource::Centre, condition)
        })
    };
    (0..session.manifest.seat.len())
        .filter(|seat| used(*seat, Condition::Without) && used(*seat, Condition::With))
        .collect()
}
