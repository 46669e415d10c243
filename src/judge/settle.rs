//! The last word on each take: its own faults, then whether its seat still has a pair.

use super::session::JudgedTake;
use super::state::{Reason, TakeState};
use super::verdict::TakeVerdict;
use crate::ingest::manifest::{Condition, SoundSource};
use crate::ingest::session::Session;
use crate::warning::Topic;

/// Settles the state of every take, which belong to the session's takes in their order.
pub(super) fn settle(session: &Session, takes: &mut [JudgedTake]) {
    for take in takes.iter_mut() {
        take.state = TakeState::of(take.verdict);
        let worst = take.findings.iter().find(|f| f.verdict == take.verdict);
        take.reason = worst.filter(|f| f.verdict > TakeVerdict::Good).map(Reason::from);
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
        own.seat == seat && own.source == source && take.state != TakeState::LeftOut
    };
    let has = |condition| takes.iter().any(|t| t.condition == condition && here(t));
    let missing: Vec<Condition> =
        [Condition::Without, Condition::With].into_iter().filter(|c| !has(*c)).collect();
    // What is heard with the equaliser active needs no take with the screen alone to stand against.
    let needs = |condition: Condition| match condition {
        Condition::With => [Condition::Without],
        Condition::Without => [Condition::With],
        Condition::Corrected => [Condition::Without],
    };
    let mut alone = Vec::new();
    for (at, take) in takes.iter().enumerate().filter(|(_, t)| here(t)) {
        if needs(take.condition).iter().any(|c| missing.contains(c)) {
            alone.push(at);
        }
    }
    for at in alone {
        let take = &mut takes[at];
        take.state = TakeState::LeftOut;
        let absent = match needs(take.condition) {
            [Condition::Without] => "without a screen",
            _ => "with the screen",
        };
        let speaker =
            if source == SoundSource::Control { " of the control loudspeaker" } else { "" };
        take.reason = Some(Reason {
            topic: Topic::Missing,
            message: format!("Seat {} has no usable take {absent}{speaker}.", take.seat),
            advice: "Make that take, and this one counts again.".into(),
        });
    }
}

/// Seats of the manifest, by index, whose loss can be formed.
pub fn seats_in_use(session: &Session, takes: &[JudgedTake]) -> Vec<usize> {
    let used = |seat: usize, condition: Condition| {
        takes.iter().any(|t| {
            let take = &session.takes[t.index];
            let place = (take.seat, take.source, take.condition);
            t.state != TakeState::LeftOut && place == (seat, SoundSource::Centre, condition)
        })
    };
    (0..session.manifest.seat.len())
        .filter(|seat| used(*seat, Condition::Without) && used(*seat, Condition::With))
        .collect()
}
