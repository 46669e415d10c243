//! The direct sound of a pair of takes, without and with the screen.
//!
//! The microphone moves by millimetres between conditions, so reflections interfere
//! differently and any long window turns that into error. What the screen does to the direct
//! sound is asked of the samples before the first reflection of the room, and of later ones
//! only as far as they can still be trusted (`analysis::joint`).

use super::early::EarlyPlan;

/// Longest and shortest stretch taken for direct sound, s.
pub const DIRECT_S: [f64; 2] = [0.0006, 0.0012];
/// Part of the direct peak above which the treble envelope tells a reflection.
const REFLECTION: f64 = 0.1;
/// Envelope is searched from here after the crest, s ...
const ENVELOPE_FROM_S: f64 = 0.0005;
/// ... and a reflection's rise begins this long before it crosses the threshold, s.
const ENVELOPE_RISE_S: f64 = 0.00015;
/// Around the crest, for the direct peak, s.
const CREST_S: f64 = 0.0003;
/// Kept before the crest, s: the first equation and the longest filter before it.
pub const HEAD_S: f64 = 0.0026;
/// Kept after the crest, s: the second echo of a sheet 0.3 m away.
const REACH_S: f64 = 0.0075;

/// The start of two responses, aligned by their direct sounds; the crest stands
/// [`HEAD_S`] after the first sample.
#[derive(Debug, Clone, PartialEq)]
pub struct DirectPair {
    /// Without the screen.
    pub without: Vec<f64>,
    pub with: Vec<f64>,
}

/// Where the direct sound ends and the echoes lie at one seat.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SeatTiming {
    /// End of the direct sound after its crest, s.
    pub end_s: f64,
    /// Lag of one round trip between sheet and loudspeaker, s; `None` without a stated gap.
    pub round_trip_s: Option<f64>,
}

/// End of the direct sound at a seat, s after its crest, over all takes without the screen:
/// the treble envelope stands above a tenth of the direct peak and twice its running minimum,
/// held to 0.6-1.2 ms.
pub fn seat_timing(plan: &EarlyPlan, without: &[&[f64]], round_trip_s: Option<f64>) -> SeatTiming {
    let [shortest_s, longest_s] = DIRECT_S;
    let mut end_s = longest_s;
    for early in without {
        let envelope = plan.treble_envelope(early);
        let around = plan.samples(CREST_S);
        let peak =
            envelope[plan.zero - around..plan.zero + around].iter().cloned().fold(0.0, f64::max);
        let from = plan.samples(ENVELOPE_FROM_S);
        let to = plan.samples(longest_s + 2.0 * ENVELOPE_RISE_S);
        let mut lowest = f64::INFINITY;
        for (i, &level) in envelope[plan.zero + from..plan.zero + to].iter().enumerate() {
            lowest = lowest.min(level);
            if level > REFLECTION * peak && level > 2.0 * lowest {
                end_s = end_s.min((from + i) as f64 / plan.rate_hz - ENVELOPE_RISE_S);
                break;
            }
        }
    }
    SeatTiming { end_s: end_s.max(shortest_s), round_trip_s }
}

/// The start of both responses, aligned already.
pub fn direct_pair(plan: &EarlyPlan, without: &[f64], with: &[f64]) -> DirectPair {
    let kept = plan.zero - plan.samples(HEAD_S)..plan.zero + plan.samples(REACH_S);
    DirectPair { without: without[kept.clone()].to_vec(), with: with[kept].to_vec() }
}
