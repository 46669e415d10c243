//! What is still to be recorded, and in which order.

use super::JudgedTake;
use super::across::LARGE_GAP_M;
use crate::ingest::manifest::{Condition, SoundSource};
use crate::ingest::session::Session;
use crate::ingest::takes::default_name;
use crate::judge::TakeVerdict;
use serde::Serialize;
use std::collections::{BTreeMap, BTreeSet};

/// Takes that a seat still lacks in one condition.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Missing {
    /// Index into the manifest's seats.
    #[serde(skip)]
    pub seat_index: usize,
    /// Seat id.
    pub seat: String,
    /// Screen state.
    pub condition: Condition,
    /// Loudspeaker that plays.
    pub source: SoundSource,
    /// How many placements are missing.
    pub n_takes: usize,
}

/// What to record next.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct NextTake {
    /// Seat id.
    pub seat: String,
    /// Screen state.
    pub condition: Condition,
    /// Loudspeaker that plays.
    pub source: SoundSource,
    /// File to record into, in the session folder.
    pub file: String,
    /// Whether that file is there and must be replaced.
    pub repeat: bool,
}

type Place = (usize, SoundSource, Condition);

/// Placements by seat, loudspeaker and condition.
fn spots(session: &Session) -> BTreeMap<Place, BTreeSet<u32>> {
    let mut spots: BTreeMap<Place, BTreeSet<u32>> = BTreeMap::new();
    for take in session.takes.iter().filter(|take| !take.quiet) {
        spots.entry((take.seat, take.source, take.condition)).or_default().insert(take.spot);
    }
    spots
}

/// Fewest placements of the centre loudspeaker at any seat that has both conditions; `None`
/// while there is no such seat.
pub(super) fn fewest_spots(session: &Session) -> Option<usize> {
    let spots = spots(session);
    let count = |seat: usize, condition: Condition| {
        spots.get(&(seat, SoundSource::Centre, condition)).map(BTreeSet::len)
    };
    (0..session.manifest.seat.len())
        .filter_map(|seat| {
            Some(count(seat, Condition::Without)?.min(count(seat, Condition::With)?))
        })
        .min()
}

/// Takes that the session still lacks, in the order in which they are best recorded: all
/// without the screen, seat by seat, then all with it.
///
/// Each seat needs as many placements in each condition as the best equipped one has; two
/// where the gap is above 0.12 m. Control takes are asked for where the same seat has them in
/// the other condition.
pub fn missing_takes(session: &Session) -> Vec<Missing> {
    let spots = spots(session);
    let count = |seat: usize, source: SoundSource, condition: Condition| {
        spots.get(&(seat, source, condition)).map_or(0, BTreeSet::len)
    };
    let most = spots
        .iter()
        .filter(|((_, source, condition), _)| {
            *source == SoundSource::Centre && *condition != Condition::Corrected
        })
        .map(|(_, spots)| spots.len())
        .max()
        .unwrap_or(1);
    let large_gap = session.manifest.screen.gap_m.is_some_and(|gap| gap > LARGE_GAP_M);
    let wanted = most.max(if large_gap { 2 } else { 1 });
    let mut missing = Vec::new();
    for condition in [Condition::Without, Condition::With] {
        let other = if condition == Condition::With { Condition::Without } else { Condition::With };
        for (seat_index, seat) in session.manifest.seat.iter().enumerate() {
            for source in [SoundSource::Centre, SoundSource::Control] {
                let wanted = match source {
                    SoundSource::Centre => wanted,
                    SoundSource::Control => count(seat_index, source, other).min(1),
                };
                let n_takes = wanted.saturating_sub(count(seat_index, source, condition));
                if n_takes > 0 {
                    let seat = seat.id.clone();
                    missing.push(Missing { seat_index, seat, condition, source, n_takes });
                }
            }
        }
    }
    missing
}

/// The take to record next: the first that is missing or must be repeated, all without the
/// screen before any with it; `None` when the session is complete.
pub fn next_take(
    session: &Session,
    missing: &[Missing],
    judged: &[JudgedTake],
) -> Option<NextTake> {
    let repeats = judged.iter().filter(|take| take.verdict == TakeVerdict::Repeat).map(|take| {
        let place = (take.condition, session.takes[take.index].seat, take.source);
        let next = NextTake {
            seat: take.seat.clone(),
            condition: take.condition,
            source: take.source,
            file: take.file.clone(),
            repeat: true,
        };
        (place, next)
    });
    let new = missing.iter().map(|missing| {
        let place = (missing.condition, missing.seat_index, missing.source);
        let next = NextTake {
            seat: missing.seat.clone(),
            condition: missing.condition,
            source: missing.source,
            file: free_name(session, missing),
            repeat: false,
        };
        (place, next)
    });
    // A repeat at a place comes before the next new take there.
    repeats.chain(new).min_by_key(|(place, next)| (*place, !next.repeat)).map(|(_, next)| next)
}

/// The first default name with a number that no take of this place uses.
fn free_name(session: &Session, missing: &Missing) -> String {
    let taken: BTreeSet<u32> = session
        .takes
        .iter()
        .filter(|take| {
            (take.seat, take.condition, take.source)
                == (missing.seat_index, missing.condition, missing.source)
        })
        .map(|take| take.spot)
        .collect();
    let used = |file: &str| session.takes.iter().any(|take| take.file.ends_with(file));
    let name = |n: u32| default_name(&missing.seat, missing.condition, missing.source, n);
    let number = (1..).find(|n| !taken.contains(n) && !used(&name(*n))).unwrap_or(1);
    format!("takes/{}", name(number))
}
