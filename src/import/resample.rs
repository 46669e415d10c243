//! A stretch of sound at another rate.

use crate::ingest::wav::RATE_RANGE_HZ;
use rubato::audioadapter_buffers::direct::InterleavedSlice;
use rubato::{Fft, FixedSync, Resampler, WindowFunction};

/// Points of one transform of the resampler, at least: its filter falls within one part in
/// 200 of the rate, so that what lies below 0.49 of the lower rate stays.
const POINTS: usize = 4096;

/// `samples` at `to_hz` instead of `from_hz`.
///
/// The first sample stays at time zero; the result has `samples.len() * to_hz / from_hz`
/// samples, rounded up. Outside of the stretch silence is taken for granted: the first and last
/// 50 ms of a stretch cut out of sound hold the edge's ringing.
///
/// # Valid range
/// Pass band flat to 0.001 dB below 0.45 of the lower rate, what folds back 100 dB down (held
/// to the closed form of tones by the tests). Rates as WAV files may have them.
/// # Errors
/// What the library says, as text: a rate of zero, or no memory.
pub fn resample(samples: &[f64], from_hz: u32, to_hz: u32) -> Result<Vec<f64>, String> {
    if from_hz == to_hz || samples.is_empty() {
        return Ok(samples.to_vec());
    }
    let [lowest, highest] = RATE_RANGE_HZ;
    if [from_hz, to_hz].iter().any(|hz| !(lowest..=highest).contains(hz)) {
        return Err(format!("from {from_hz} to {to_hz} Hz"));
    }
    let points = POINTS * (from_hz / to_hz.min(from_hz)).max(1) as usize;
    let mut resampler = Fft::<f64>::new_custom(
        from_hz as usize,
        to_hz as usize,
        points,
        1,
        1,
        WindowFunction::BlackmanHarris2,
        FixedSync::Input,
    )
    .map_err(|error| error.to_string())?;
    let input =
        InterleavedSlice::new(samples, 1, samples.len()).map_err(|error| error.to_string())?;
    let output =
        resampler.process_all(&input, samples.len(), None).map_err(|error| error.to_string())?;
    let mut output = output.take_data();
    // The library rounds a product of floats up, which may be one too many.
    let n = (samples.len() as u64 * u64::from(to_hz)).div_ceil(u64::from(from_hz)) as usize;
    output.resize(n, 0.0);
    Ok(output)
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::f64::consts::TAU;

    fn tone(hz: f64, rate_hz: u32, n: usize) -> Vec<f64> {
        (0..n).map(|i| (TAU * hz * i as f64 / f64::from(rate_hz)).sin()).collect()
    }

    #[test]
    fn tones_come_out_as_the_same_tones() {
        for (from, to) in [
            (44_100, 48_000),
            (96_000, 48_000),
            (48_000, 44_100),
            (32_000, 48_000),
            (88_200, 48_000),
            (192_000, 44_100),
            (48_000, 96_000),
        ] {
            let lower = f64::from(from.min(to));
            for part in [0.001, 0.1, 0.3, 0.4, 0.45] {
                let hz = part * lower;
                let got = resample(&tone(hz, from, from as usize), from, to).unwrap();
                assert_eq!(got.len(), to as usize, "{from} to {to}");
                let want = tone(hz, to, to as usize);
                // Away from the ends, where the tone is cut.
                let inside = to as usize / 5..4 * to as usize / 5;
                let gain = inside.clone().map(|i| got[i] * want[i]).sum::<f64>()
                    / inside.clone().map(|i| want[i] * want[i]).sum::<f64>();
                let level_db = 20.0 * gain.log10();
                assert!(level_db.abs() < 0.001, "{from} to {to}, {hz} Hz: {level_db} dB");
                let off = inside.map(|i| (got[i] - want[i]).abs()).fold(0.0, f64::max);
                assert!(off < 2e-4, "{from} to {to}, {hz} Hz: off by {off}");
            }
        }
    }

    #[test]
    fn what_the_lower_rate_cannot_carry_does_not_fold_back() {
        for hz in [25_000.0, 30_000.0, 40_000.0] {
            let got = resample(&tone(hz, 96_000, 96_000), 96_000, 48_000).unwrap();
            let most = got[10_000..38_000].iter().fold(0f64, |a, x| a.max(x.abs()));
            assert!(most < 1e-5, "{hz} Hz: {most}");
        }
    }

    #[test]
    fn rates_that_no_file_has_are_refused() {
        assert!(resample(&[0.0; 4], 0, 48_000).is_err());
        assert!(resample(&[0.0; 4], 48_000, u32::MAX).is_err());
        assert_eq!(resample(&[1.0, 2.0], 48_000, 48_000).unwrap(), [1.0, 2.0]);
        assert!(resample(&[], 48_000, 44_100).unwrap().is_empty());
    }
}
