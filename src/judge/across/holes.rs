//! Sound lost in the middle of a sweep: part of it arrives at another time than in the other takes of
//! the seat.

use super::super::finding::{Finding, TakeVerdict};
use super::entry::{Entry, TakeFindings};
use crate::ingest::manifest::SoundSource;
use crate::transfer::arrivals::N_BANDS;
use crate::transfer::median::median;
use crate::warning::Topic;
use std::collections::BTreeMap;

/// A band that arrives so much earlier or later against the highest, compared with the other takes of
/// the seat, was moved by something that no room and no screen does, s. Measured on clean simulated
/// sessions and on measured rooms with moved microphones: at most 0.46, 0.14 and 0.06 ms. The smallest
/// block that browsers lose is 2.7 ms long (128 samples at 48 kHz).
const MOVED_S: [f64; N_BANDS - 1] = [0.0015, 0.001, 0.0008];

/// Fewest takes of a seat that tell which of them is off.
const FEWEST_TAKES: usize = 3;

/// Arrival of each band against the highest, s.
type Against = [Option<f64>; N_BANDS - 1];

/// Takes with a hole. With two takes at a seat it cannot be told which of them has it: both are
/// doubtful.
pub(super) fn find(entries: &[Entry]) -> TakeFindings {
    let mut seats: BTreeMap<(usize, bool), Vec<(usize, Against)>> = BTreeMap::new();
    for (index, entry) in entries.iter().enumerate() {
        let Some(arrivals) = entry.comparable().and_then(|facts| facts.arrivals) else { continue };
        let Some(top) = arrivals[N_BANDS - 1] else { continue };
        let against = std::array::from_fn(|band| arrivals[band].map(|a| a - top));
        let control = entry.take.source == SoundSource::Control;
        seats.entry((entry.take.seat, control)).or_default().push((index, against));
    }
    let mut found = TakeFindings::new();
    for takes in seats.values().filter(|takes| takes.len() > 1) {
        let usual: Against = std::array::from_fn(|band| {
            median(takes.iter().filter_map(|(_, a)| a[band]).collect::<Vec<_>>())
        });
        for (index, against) in takes {
            let moved = |band: usize| {
                let moved_s = against[band]? - usual[band]?;
                // Of two takes the median lies half way.
                let limit_s = if takes.len() == 2 { 0.5 } else { 1.0 } * MOVED_S[band];
                (moved_s.abs() > limit_s).then_some(moved_s)
            };
            let most =
                (0..N_BANDS - 1).filter_map(moved).max_by(|a, b| a.abs().total_cmp(&b.abs()));
            let Some(moved_s) = most else { continue };
            found.push((*index, finding(moved_s, takes.len())));
        }
    }
    found
}

fn finding(moved_s: f64, n_takes: usize) -> Finding {
    let ms = 1e3 * moved_s.abs();
    let advice = "Close other programs on the recording and the playing device, and make the take \
                  again.";
    if n_takes >= FEWEST_TAKES {
        let message = format!(
            "Sound was lost or doubled in the middle of the sweep: its low and its high part lie {ms:.1} \
             ms apart, against the other takes of this seat."
        );
        return Finding::new(TakeVerdict::Repeat, Topic::Disturbance, message, advice);
    }
    let message = format!(
        "In one of the two takes of this seat sound was lost or doubled in the middle of the sweep: \
         their low and high parts lie {:.1} ms apart.",
        2.0 * ms
    );
    Finding::new(TakeVerdict::Doubt, Topic::Disturbance, message, advice)
}
