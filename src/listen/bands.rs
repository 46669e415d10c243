//! Third-octave levels of pink noise through a passage, made those of the loss table.
//!
//! The table averages power evenly over each band; pink noise weighs the lower end of a band more.
//! That is hundredths of a decibel. Below 450 Hz the table averages what the room made of the
//! sweep, so that the room's own peaks count more; that can be some tenths. A smooth curve through
//! the mid-bands takes both out.

use crate::units::ThirdOctave;

/// Steps; each leaves less than a third of what was off.
const STEPS: usize = 12;

/// Level of pink noise in a band after a gain over its level before, dB.
pub(super) fn pink_gain_db(gain_db: &[f64], step_hz: f64, band: ThirdOctave) -> f64 {
    let (low, high) = (band.lower_hz(), band.upper_hz());
    let first = ((low / step_hz).ceil() as usize).max(1);
    let last = ((high / step_hz) as usize).min(gain_db.len() - 1);
    let (mut passed, mut all) = (0.0, 0.0);
    for (k, gain) in gain_db.iter().enumerate().take(last + 1).skip(first) {
        let weight = 1.0 / k as f64;
        passed += weight * 10f64.powf(gain / 10.0);
        all += weight;
    }
    10.0 * (passed / all).log10()
}

/// Moves `gain_db` so that pink noise loses in each band what `bands` says, dB; returns by how much
/// each was moved.
pub(super) fn fit_bands(
    gain_db: &mut [f64],
    step_hz: f64,
    bands: &[(ThirdOctave, f64)],
) -> Vec<(ThirdOctave, f64)> {
    let mut moved = vec![0.0; bands.len()];
    for _ in 0..STEPS {
        let off: Vec<f64> = bands
            .iter()
            .map(|(band, loss_db)| -loss_db - pink_gain_db(gain_db, step_hz, *band))
            .collect();
        moved.iter_mut().zip(&off).for_each(|(m, o)| *m += o);
        for (k, gain) in gain_db.iter_mut().enumerate() {
            *gain += at(&off, bands, (k as f64 * step_hz).max(1.0));
        }
    }
    bands.iter().zip(moved).map(|((band, _), moved)| (*band, moved)).collect()
}

/// Values of bands at a frequency, linear in log frequency between mid-bands, held at the ends.
fn at(values: &[f64], bands: &[(ThirdOctave, f64)], hz: f64) -> f64 {
    let position = 10.0 * (hz / 1000.0).log10();
    let index = |i: usize| f64::from(bands[i].0.index());
    let above = (0..bands.len()).find(|&i| index(i) >= position);
    match above {
        None => values[values.len() - 1],
        Some(0) => values[0],
        Some(i) => {
            let part = (position - index(i - 1)) / (index(i) - index(i - 1));
            values[i - 1] + part * (values[i] - values[i - 1])
        }
    }
}
