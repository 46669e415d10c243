//! A stretch of a recording for each sweep.

use super::error::ImportError;
use super::formats::{Block, Source};
use crate::ingest::session::SweepSignal;
use std::ops::Range;

/// Sound before the sweep that a take keeps, s: the silence that noise is judged by.
const LEAD_S: f64 = 1.0;
/// Sound after the sweep that a take keeps, s: the decay of the room and some silence.
const TAIL_S: f64 = 1.5;
/// The decay of a sweep before is left out where there is room, s.
const DECAY_S: f64 = 0.5;
/// A take ends this long before another sweep begins, s.
const BEFORE_NEXT_S: f64 = 0.1;

/// Where to cut, frames of the recording, for sweeps that begin at `starts` (in order) in a
/// recording of `n_frames` at `rate_hz`.
pub(super) fn stretches(
    sweep: &SweepSignal,
    rate_hz: u32,
    n_frames: u64,
    starts: &[i64],
) -> Vec<Range<u64>> {
    let rate = f64::from(rate_hz);
    let frames = |s: f64| (s * rate).round() as i64;
    let before = sweep.active.start as f64 / f64::from(sweep.rate_hz);
    // Not later than the silence before the sweep in its own file, so that the response
    // comes after the start.
    let lead = frames(LEAD_S.max(before + 0.1));
    let length = frames(sweep.active.len() as f64 / f64::from(sweep.rate_hz));
    let place = |frame: i64| u64::try_from(frame).unwrap_or(0).min(n_frames);
    (0..starts.len())
        .map(|i| {
            let start = starts[i];
            let decayed = i.checked_sub(1).map(|i| starts[i] + length + frames(DECAY_S));
            let first = match decayed {
                // Where the one before runs into this one nothing is gained by cutting.
                Some(decayed) => (start - lead).max(decayed.min(start - frames(BEFORE_NEXT_S))),
                None => start - lead,
            };
            let next = starts.get(i + 1).map_or(i64::MAX, |next| next - frames(BEFORE_NEXT_S));
            let last = (start + length + frames(TAIL_S)).min(next);
            place(first)..place(last)
        })
        .collect()
}

/// The sound of one stretch in the channels asked for, counted from 0.
///
/// # Errors
/// [`ImportError`] where the recording cannot be read there.
pub(super) fn cut(
    source: &mut Source,
    stretch: &Range<u64>,
    channels: &[usize],
) -> Result<Vec<Vec<f64>>, ImportError> {
    let mut kept: Vec<Vec<f64>> = channels.iter().map(|_| Vec::new()).collect();
    let mut block = Block::new();
    let mut at = source.seek(stretch.start)?;
    while at < stretch.end && source.next(&mut block)? {
        let n = block.first().map_or(0, Vec::len) as u64;
        let from = stretch.start.saturating_sub(at).min(n) as usize;
        let to = (stretch.end - at).min(n) as usize;
        for (kept, &channel) in kept.iter_mut().zip(channels) {
            if let Some(samples) = block.get(channel) {
                kept.extend_from_slice(&samples[from..to.max(from)]);
            }
        }
        at += n;
    }
    Ok(kept)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn takes_keep_silence_and_leave_their_neighbours_out() {
        let sweep = SweepSignal {
            samples: vec![0.0; 300_000],
            rate_hz: 48_000,
            band_hz: [20.0, 20_000.0],
            rate_constant_s: None,
            active: 24_000..264_000,
        };
        let starts = [10_000, 400_000, 1_000_000, 1_100_000];
        let cuts = stretches(&sweep, 48_000, 1_340_000, &starts);
        // The first began 0.2 s after the recording; the third was broken off for the fourth;
        // the recording ends before the fourth's silence does.
        assert_eq!(cuts[0], 0..10_000 + 240_000 + 72_000);
        assert_eq!(cuts[1], 400_000 - 48_000..400_000 + 240_000 + 72_000);
        assert_eq!(cuts[2], 1_000_000 - 48_000..1_100_000 - 4_800);
        assert_eq!(cuts[3], 1_100_000 - 4_800..1_340_000);
    }
}
