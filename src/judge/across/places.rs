//! Takes whose response is that of another seat: files or microphones mixed up.

use super::super::finding::{Finding, TakeVerdict};
use super::entry::{Entry, TakeFindings};
use crate::ingest::manifest::{Condition, SoundSource};
use crate::transfer::resemble::{Print, likeness};
use crate::warning::Topic;
use std::collections::{BTreeMap, BTreeSet};

/// A take is another seat's when it is so many times as far from its own as from that one. In
/// simulated rooms takes of one seat are alike to 0.98 and more, those of two to 0.96 and less.
const RATHER: f64 = 3.0;
/// It must be alike to the other seat by at least this.
const ALIKE: f64 = 0.96;

struct Placed<'a> {
    index: usize,
    seat: usize,
    condition: Condition,
    print: &'a Print,
}

/// Takes that are another seat's, by their likeness to takes in the other condition.
pub(super) fn find(entries: &[Entry]) -> TakeFindings {
    let placed: Vec<Placed> = entries
        .iter()
        .enumerate()
        .filter(|(_, e)| e.take.source == SoundSource::Centre)
        .filter_map(|(index, e)| {
            let print = e.comparable()?.place.as_ref()?;
            Some(Placed { index, seat: e.take.seat, condition: e.take.condition, print })
        })
        .collect();
    let mut rather: Vec<(&Placed, usize)> =
        placed.iter().filter_map(|take| Some((take, other_seat(take, &placed)?))).collect();
    // Where the takes with the screen of two seats are exchanged, those without it look as wrong;
    // the later ones are named.
    let named: BTreeSet<(usize, usize)> = rather
        .iter()
        .filter(|(take, _)| take.condition != Condition::Without)
        .flat_map(|(take, other)| [(take.seat, *other), (*other, take.seat)])
        .collect();
    rather.retain(|(take, other)| {
        take.condition != Condition::Without || !named.contains(&(take.seat, *other))
    });
    let ids: BTreeMap<usize, &str> = entries.iter().map(|e| (e.take.seat, e.seat_id)).collect();
    let both_ways: BTreeSet<(usize, usize)> =
        rather.iter().map(|(take, other)| (take.seat, *other)).collect();
    rather
        .into_iter()
        .map(|(take, other)| {
            let exchanged = both_ways.contains(&(other, take.seat));
            (take.index, finding(ids[&take.seat], ids[&other], take.condition, exchanged))
        })
        .collect()
}

/// The seat that a take resembles clearly more than its own.
fn other_seat(take: &Placed, all: &[Placed]) -> Option<usize> {
    let mut best: BTreeMap<usize, f64> = BTreeMap::new();
    for other in all
        .iter()
        .filter(|o| (o.condition == Condition::Without) != (take.condition == Condition::Without))
    {
        let of_seat = best.entry(other.seat).or_insert(f64::NEG_INFINITY);
        *of_seat = of_seat.max(likeness(take.print, other.print));
    }
    let own = *best.get(&take.seat)?;
    let (seat, alike) = best.into_iter().max_by(|a, b| a.1.total_cmp(&b.1))?;
    (seat != take.seat && alike > ALIKE && 1.0 - own > RATHER * (1.0 - alike)).then_some(seat)
}

/// Whether of two takes that are the same recording the first is where it belongs and the second
/// is not, by their likeness to the takes in the other condition.
pub(super) fn first_belongs(first: usize, second: usize, entries: &[Entry]) -> bool {
    let nearness = |at: usize| {
        let own = entries[at];
        let print = own.facts?.place.as_ref()?;
        let others = entries.iter().filter(|e| {
            e.take.seat == own.take.seat
                && e.take.source == own.take.source
                && e.take.condition != own.take.condition
        });
        let alike = others.filter_map(|e| Some(likeness(print, e.facts?.place.as_ref()?)));
        alike.reduce(f64::max)
    };
    match (nearness(first), nearness(second)) {
        (Some(first), Some(second)) => 1.0 - second > RATHER * (1.0 - first),
        _ => false,
    }
}

fn finding(own: &str, other: &str, condition: Condition, exchanged: bool) -> Finding {
    let screen = match condition {
        Condition::Without => "without a screen",
        _ => "with the screen",
    };
    let (message, advice) = if exchanged {
        (
            format!(
                "This take was made at seat {other}, by its reflections: the takes {screen} of the \
                 seats {own} and {other} are exchanged."
            ),
            format!(
                "Compare with your notes. Exchange the file names of seats {own} and {other} in \
                 one condition, or record both seats again."
            ),
        )
    } else {
        (
            format!(
                "This take was made at seat {other}, by its reflections, not at seat {own}: the \
                 file has the wrong name, or the microphone stood at the wrong seat."
            ),
            "Compare with your notes: give the file its right name, or record this take again."
                .to_owned(),
        )
    };
    Finding::new(TakeVerdict::Repeat, Topic::WrongSeat, message, advice)
}
