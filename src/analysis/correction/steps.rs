//! What the processor can be set to: lists of allowed gains, frequencies and Qs.

use super::error::CorrectionError;
use crate::ingest::manifest::{CorrectionLimits, FrequencyStep};

/// Preferred numbers of the R80 series between 1 and 10; every second is R40, every
/// fourth R20, every eighth R10. R10 gives the nominal third-octave frequencies of
/// ISO 266. (ISO 3:1973; the R10 and R20 rows agree with the nominal mid-bands of
/// IEC 61260-1, the others are from memory and held to 1.4 % of `10^(k/80)` by a test.)
const R80: [f64; 80] = [
    1.00, 1.03, 1.06, 1.09, 1.12, 1.15, 1.18, 1.22, 1.25, 1.28, 1.32, 1.36, 1.40, 1.45, 1.50, 1.55,
    1.60, 1.65, 1.70, 1.75, 1.80, 1.85, 1.90, 1.95, 2.00, 2.06, 2.12, 2.18, 2.24, 2.30, 2.36, 2.43,
    2.50, 2.58, 2.65, 2.72, 2.80, 2.90, 3.00, 3.07, 3.15, 3.25, 3.35, 3.45, 3.55, 3.65, 3.75, 3.87,
    4.00, 4.12, 4.25, 4.37, 4.50, 4.62, 4.75, 4.87, 5.00, 5.15, 5.30, 5.45, 5.60, 5.80, 6.00, 6.15,
    6.30, 6.50, 6.70, 6.90, 7.10, 7.30, 7.50, 7.75, 8.00, 8.25, 8.50, 8.75, 9.00, 9.25, 9.50, 9.75,
];

/// Q of a shelf: from a gentle slope to slope S = 1 (Q = 0.7071 as a processor shows it),
/// beyond which the shelf overshoots. The manifest's limits on Q are for peaking filters.
const SHELF_Q: [f64; 2] = [0.4, 0.71];

/// Finest step of Q that a person types.
const FREE_Q_STEP: f64 = 0.01;

/// Finest step of gain that a person types, dB.
const FREE_GAIN_STEP_DB: f64 = 0.1;

/// Allowed values of each kind of number, ascending.
#[derive(Debug, Clone, PartialEq)]
pub struct Steps {
    /// Gains of a filter, dB; 0 is among them.
    pub gain_db: Vec<f64>,
    /// Frequencies, Hz.
    pub frequency_hz: Vec<f64>,
    /// Q of a peaking filter.
    pub peak_q: Vec<f64>,
    /// Q of the high shelf; empty when there is none.
    pub shelf_q: Vec<f64>,
    /// The step of gain, dB.
    pub gain_step_db: f64,
}

impl Steps {
    /// Lists what the limits allow.
    ///
    /// `gain_step_db = 0` and `q_step = 0` mean free: steps of 0.1 dB, and about 2 % of Q
    /// told to 0.01. `frequency_step = "free"` means steps of 1/96 octave told to 1 Hz.
    /// # Errors
    /// [`CorrectionError::Limit`] names the key that leaves nothing to set; the manifest holds all of them to
    /// their ranges.
    pub fn new(limits: &CorrectionLimits) -> Result<Self, CorrectionError> {
        let gain_step_db =
            if limits.gain_step_db > 0.0 { limits.gain_step_db } else { FREE_GAIN_STEP_DB };
        let whole = |db: f64| (db / gain_step_db + 1e-9).floor() as i64;
        let gain_db = (-whole(limits.max_cut_db)..=whole(limits.max_boost_db))
            .map(|k| tidy(k as f64 * gain_step_db))
            .collect();
        let frequency_hz = frequencies(limits);
        if frequency_hz.is_empty() {
            return Err(limit(
                "band_hz",
                format!("{:?}", limits.band_hz),
                "a band that holds at least one frequency of `frequency_step`",
            ));
        }
        let peak_q = qs(limits.q, limits.q_step);
        if peak_q.is_empty() {
            return Err(limit(
                "q_step",
                limits.q_step.to_string(),
                "a step that has at least one multiple inside `q`",
            ));
        }
        // A coarse step may hold no slope at all; then the processor's own fixed slope is S = 1.
        let shelf_q = match (limits.high_shelf, qs(SHELF_Q, limits.q_step)) {
            (false, _) => Vec::new(),
            (true, list) if list.is_empty() => vec![0.71],
            (true, list) => list,
        };
        Ok(Self { gain_db, frequency_hz, peak_q, shelf_q, gain_step_db })
    }
}

/// Index of the value nearest to `x`, on a logarithmic axis if `log`.
pub(super) fn nearest(list: &[f64], x: f64, log: bool) -> usize {
    let key = |v: f64| if log { v.ln() } else { v };
    let above = list.partition_point(|v| *v < x).min(list.len() - 1);
    let below = above.saturating_sub(1);
    if (key(list[above]) - key(x)).abs() < (key(list[below]) - key(x)).abs() {
        above
    } else {
        below
    }
}

/// Takes away what binary fractions add: 0.1 x 3 is 0.3.
fn tidy(x: f64) -> f64 {
    (x * 1e6).round() / 1e6
}

fn limit(key: &'static str, found: String, expected: &'static str) -> CorrectionError {
    CorrectionError::Limit { key, found, expected }
}

fn frequencies(l: &CorrectionLimits) -> Vec<f64> {
    let stride = match l.frequency_step {
        FrequencyStep::Iso3 => Some(8),
        FrequencyStep::Iso6 => Some(4),
        FrequencyStep::Iso12 => Some(2),
        FrequencyStep::Iso24 => Some(1),
        FrequencyStep::Free => None,
    };
    // A filter needs room below half the rate, or the coefficients degenerate.
    let top = l.band_hz[1].min(0.47 * l.processor_rate_hz);
    let inside = |hz: &f64| *hz >= l.band_hz[0] * 0.9999 && *hz <= top * 1.0001;
    let mut list: Vec<f64> = match stride {
        Some(stride) => [1.0, 10.0, 100.0, 1e3, 1e4]
            .iter()
            .flat_map(|decade| R80.iter().step_by(stride).map(move |v| tidy(v * decade)))
            .filter(inside)
            .collect(),
        None => {
            let octaves = (top / l.band_hz[0]).log2();
            let n = (octaves * 96.0).floor().max(0.0) as usize;
            (0..=n)
                .map(|k| (l.band_hz[0] * 2f64.powf(k as f64 / 96.0)).round())
                .filter(inside)
                .collect()
        }
    };
    list.dedup();
    list
}

fn qs(range: [f64; 2], step: f64) -> Vec<f64> {
    let mut list: Vec<f64> = if step > 0.0 {
        let first = (range[0] / step - 1e-9).ceil() as i64;
        let last = (range[1] / step + 1e-9).floor() as i64;
        (first..=last).map(|k| tidy(k as f64 * step)).collect()
    } else {
        let n = ((range[1] / range[0]).ln() / 1.02f64.ln()).ceil().max(1.0) as usize;
        (0..=n)
            .map(|k| range[0] * (range[1] / range[0]).powf(k as f64 / n as f64))
            .map(|q| tidy((q / FREE_Q_STEP).round() * FREE_Q_STEP))
            .filter(|q| *q >= range[0] - 1e-9 && *q <= range[1] + 1e-9)
            .collect()
    };
    list.retain(|q| *q > 0.0);
    list.dedup();
    list
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::support::assert_close;
    use crate::units::ThirdOctave;

    fn steps(change: impl FnOnce(&mut CorrectionLimits)) -> Result<Steps, CorrectionError> {
        let mut limits = CorrectionLimits::default();
        change(&mut limits);
        Steps::new(&limits)
    }

    #[test]
    fn preferred_numbers_lie_on_their_series() {
        for (k, v) in R80.iter().enumerate() {
            let exact = 10f64.powf(k as f64 / 80.0);
            assert!((v / exact - 1.0).abs() < 0.014, "{v} against {exact}");
        }
        assert!(R80.windows(2).all(|w| w[1] > w[0]), "not rising");
    }

    #[test]
    fn third_octave_steps_are_the_nominal_bands() {
        let got = steps(|l| l.frequency_step = FrequencyStep::Iso3).unwrap().frequency_hz;
        let want: Vec<f64> = (-3..=12).map(|k| ThirdOctave::from_index(k).nominal_hz()).collect();
        assert_close("bands", &got, &want, 1e-6);
    }

    #[test]
    fn finer_series_hold_the_coarser_ones() {
        let list = |step| steps(|l| l.frequency_step = step).unwrap().frequency_hz;
        use FrequencyStep::{Iso3, Iso6, Iso12, Iso24};
        let lists: Vec<Vec<f64>> = [Iso3, Iso6, Iso12, Iso24].map(list).to_vec();
        for pair in lists.windows(2) {
            assert!(pair[0].iter().all(|f| pair[1].contains(f)));
            assert!(pair[1].len() >= 2 * pair[0].len() - 1);
        }
    }

    #[test]
    fn gains_and_qs_keep_limits_and_steps() {
        let s = steps(|l| {
            l.gain_step_db = 1.0;
            l.max_boost_db = 4.5;
            l.max_cut_db = 2.0;
            l.q = [0.5, 2.0];
            l.q_step = 0.5;
        })
        .unwrap();
        assert_close("gain", &s.gain_db, &[-2.0, -1.0, 0.0, 1.0, 2.0, 3.0, 4.0], 0.0);
        assert_close("Q", &s.peak_q, &[0.5, 1.0, 1.5, 2.0], 0.0);
        assert_close("shelf", &s.shelf_q, &[0.5], 0.0);
        let s = steps(|l| l.gain_step_db = 0.1).unwrap();
        assert!(s.gain_db.contains(&0.3) && s.gain_db.contains(&0.0) && s.gain_db.contains(&-6.0));
    }

    #[test]
    fn without_a_shelf_there_are_no_slopes() {
        assert!(steps(|l| l.high_shelf = false).unwrap().shelf_q.is_empty());
        assert!(!steps(|_| ()).unwrap().shelf_q.is_empty());
    }

    #[test]
    fn limits_that_leave_nothing_to_set_are_named() {
        let named = |key: &str, result: Result<Steps, CorrectionError>| {
            assert!(
                result.as_ref().is_err_and(|e| e.to_string().contains(key)),
                "{key}: {result:?}"
            );
        };
        named("band_hz", steps(|l| l.band_hz = [1010.0, 1020.0]));
        named("q_step", steps(|l| l.q_step = 9.0));
    }

    #[test]
    fn the_nearest_value_is_found_at_the_ends_too() {
        let list = [1.0, 2.0, 4.0];
        let got: Vec<usize> =
            [0.1, 1.4, 1.45, 2.9, 9.0].iter().map(|x| nearest(&list, *x, true)).collect();
        assert_eq!(got, [0, 0, 1, 2, 2]);
    }
}
