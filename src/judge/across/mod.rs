//! What the takes of a session tell about each other.
//!
//! | file | holds or judges |
//! |---|---|
//! | `entry` | a take as it is compared |
//! | `duplicates` | one recording under two names |
//! | `gain_steps` | a gain changed between the spots of a seat |
//! | `levels` | a gain changed between the conditions of a seat, spots that disagree |
//! | `holes` | sound lost in the middle of a sweep |
//! | `swapped` | takes without and with exchanged, at a seat or in one pair |
//! | `places` | takes of one seat under the name of another |
//! | `order` | polarity, disturbances that come back at the same frequency |
//! | `conditions` | what differs between the days: clock, air, number of spots |

mod conditions;
mod duplicates;
mod entry;
mod gain_steps;
mod holes;
mod levels;
mod order;
mod places;
mod swapped;

pub use conditions::{Drifts, LARGE_GAP_M, Weather, judge_conditions};
pub use entry::{Entry, TakeFindings};
pub use levels::{RoughLosses, rough_losses, session_scatter};
pub use order::recurring_bursts;

use super::facts::TakeAnalyser;
use super::finding::TakeVerdict;

/// Compares all takes; the result names takes by their index in `entries`.
///
/// Cost grows with the number of takes, not with that of their pairs.
pub fn judge_across(entries: &[Entry], analyser: &TakeAnalyser) -> TakeFindings {
    // A take that is not what its name says is compared no further: the others would be blamed.
    let mut entries = entries.to_vec();
    let mut found = TakeFindings::new();
    for step in [duplicates::find, places::find, swapped::find, holes::find, gain_steps::find] {
        for (index, finding) in step(&entries) {
            entries[index].usable &= finding.verdict != TakeVerdict::Repeat;
            found.push((index, finding));
        }
    }
    found.extend(levels::repeatability(&entries));
    found.extend(levels::seat_steps(&entries));
    found.extend(order::polarity(&entries, analyser));
    found
}

#[cfg(test)]
mod tests;
