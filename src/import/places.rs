//! Where takes belong: seat, condition, loudspeaker and spot, in the order of the take sheet.

use crate::ingest::manifest::{Condition, SoundSource};
use crate::ingest::takes::{condition_word, default_name};
use std::collections::BTreeMap;

/// Spots at each seat where nothing says how many: those of the take sheet.
const USUAL_SPOTS: u32 = 2;
/// Most spots at a seat that are read off a number of sweeps.
const MOST_SPOTS: u32 = 6;

/// Where a take belongs.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Place {
    /// Screen state.
    pub condition: Condition,
    /// Index of the seat in the session.
    pub seat: usize,
    /// Id of the seat.
    pub seat_id: String,
    /// Loudspeaker that played.
    pub source: SoundSource,
    /// Microphone placement.
    pub spot: u32,
}

impl Place {
    /// Name of its file.
    pub fn file_name(&self) -> String {
        default_name(&self.seat_id, self.condition, self.source, self.spot)
    }

    /// In words: `seat R1L, without, spot 2`.
    pub fn words(&self) -> String {
        let control = if self.source == SoundSource::Control { ", control" } else { "" };
        let condition = condition_word(self.condition);
        format!("seat {}, {condition}{control}, spot {}", self.seat_id, self.spot)
    }
}

/// What the options say of the places of sweeps whose file names do not.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct PlanOptions {
    /// Conditions in the order in which they were recorded.
    pub conditions: Vec<Condition>,
    /// The control loudspeaker played.
    pub control: bool,
    /// Seats in the order in which they were recorded; those of the session where empty.
    pub seats: Vec<String>,
    /// Spots at each seat.
    pub spots: Option<u32>,
}

/// The places in the order of the take sheet: condition by condition, seat by seat, spot by spot.
pub(super) fn in_order(
    seats: &[(usize, String)],
    conditions: &[Condition],
    source: SoundSource,
    spots: u32,
) -> Vec<Place> {
    let mut places = Vec::new();
    for &condition in conditions {
        for (seat, seat_id) in seats {
            for spot in 1..=spots {
                let seat_id = seat_id.clone();
                places.push(Place { condition, seat: *seat, seat_id, source, spot });
            }
        }
    }
    places
}

/// How many spots each seat has, and how that is known.
///
/// `there` counts the spots of each seat in other conditions; `n_sweeps` usable sweeps are to be
/// shared between `n_seats` seats and conditions.
pub(super) fn spots_for(
    stated: Option<u32>,
    control: bool,
    there: &BTreeMap<(usize, Condition), u32>,
    n_sweeps: usize,
    n_seats: usize,
) -> (u32, String) {
    if let Some(spots) = stated {
        return (spots, format!("{} a seat, as --spots says", takes(spots)));
    }
    if control {
        return (1, "one control take a seat".into());
    }
    if let Some(&spots) = there.values().max() {
        return (spots, format!("{} a seat, as in the takes that are there", takes(spots)));
    }
    let shared = u32::try_from(n_sweeps / n_seats.max(1)).unwrap_or(u32::MAX);
    if n_sweeps.is_multiple_of(n_seats.max(1)) && (1..=MOST_SPOTS).contains(&shared) {
        return (
            shared,
            format!("{} a seat, since {n_sweeps} usable sweeps were found", takes(shared)),
        );
    }
    (USUAL_SPOTS, format!("{} a seat, as on the take sheet", takes(USUAL_SPOTS)))
}

fn takes(n: u32) -> String {
    if n == 1 { "1 take".into() } else { format!("{n} takes") }
}
