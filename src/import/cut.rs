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

/// Silence before the sweep and decay after it that are kept whatever is heard, s.
const LEAST_BEFORE_S: f64 = 0.1;
const LEAST_AFTER_S: f64 = 0.4;
/// Levels are looked at in steps of this length, s.
const STEP_S: f64 = 0.02;
/// Talk or a step begins where a step is louder than the quietest since the sweep, dB ...
const LOUDER_DB: f64 = 15.0;
/// ... and the take keeps this distance from it, s.
const DISTANCE_S: f64 = 0.04;

/// How many steps, from the sweep outwards, come before the first loud one; `None` where none is.
fn quiet_steps<'a>(mut steps: impl Iterator<Item = &'a [f64]>) -> Option<usize> {
    let louder = 10f64.powf(LOUDER_DB / 10.0);
    let mut quietest = f64::INFINITY;
    steps.position(|part| {
        let mean = part.iter().sum::<f64>() / part.len() as f64;
        let power = part.iter().map(|x| (x - mean).powi(2)).sum::<f64>();
        let is_loud = power > louder * quietest;
        // Digital silence is no measure of what is loud.
        if power > 0.0 {
            quietest = quietest.min(power);
        }
        is_loud
    })
}

/// The part of a stretch in which nobody talks before or after the sweep, which lies in
/// `sweep` of its samples.
pub(super) fn quiet_part(sound: &[f64], sweep: Range<usize>, rate_hz: u32) -> Range<usize> {
    let samples = |s: f64| (s * f64::from(rate_hz)) as usize;
    let step = samples(STEP_S).max(1);
    let until = sweep.start.saturating_sub(samples(LEAST_BEFORE_S)).min(sound.len());
    let from = (sweep.end + samples(LEAST_AFTER_S)).min(sound.len());
    let before = quiet_steps(sound[..until].rchunks_exact(step));
    let after = quiet_steps(sound[from..].chunks_exact(step));
    // To the end of the stretch where nothing is loud.
    let reach = |n_steps: Option<usize>| {
        n_steps.map_or(usize::MAX, |n| (n * step).saturating_sub(samples(DISTANCE_S)))
    };
    until.saturating_sub(reach(before))..from.saturating_add(reach(after)).min(sound.len())
}

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
    fn talk_on_either_side_is_left_out() {
        let rate = 48_000u32;
        let noise = |n: usize, level: f64| {
            (0..n).map(move |i| level * ((i * 7919 % 1009) as f64 / 504.5 - 1.0))
        };
        let parts = [(12_000, 0.1), (36_000, 1e-4), (48_000, 0.5), (36_000, 1e-4), (36_000, 0.1)];
        let sound: Vec<f64> = parts.iter().flat_map(|&(n, level)| noise(n, level)).collect();
        let kept = quiet_part(&sound, 48_000..96_000, rate);
        assert!((12_000..15_000).contains(&kept.start), "{kept:?}");
        assert!((129_000..=132_000).contains(&kept.end), "{kept:?}");
        // Talk from the start to the end: decay and silence that are needed stay.
        let kept = quiet_part(&vec![0.1; 192_000], 48_000..96_000, rate);
        assert_eq!(kept, 0..192_000);
        let quiet: Vec<f64> = noise(192_000, 1e-4).collect();
        assert_eq!(quiet_part(&quiet, 48_000..96_000, rate), 0..192_000);
        assert_eq!(quiet_part(&quiet[..100], 0..100, rate), 0..100);
    }

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
