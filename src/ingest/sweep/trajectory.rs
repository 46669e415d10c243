//! How the frequency of a sweep runs in time, from its zero crossings.

/// Straight line through ln(frequency) against time.
#[derive(Debug, Clone, Copy)]
pub(super) struct Trajectory {
    /// Time in which the frequency grows by a factor e, s; infinite or negative
    /// where it does not rise.
    pub(super) rate_constant_s: f64,
    /// Time at which the line passes 1 Hz, s from the start of the file.
    t_one_hz_s: f64,
    /// Median distance of the points from the line, in ln(frequency).
    pub(super) median_residual: f64,
}

impl Trajectory {
    /// Frequency at `t_s`, Hz.
    pub(super) fn frequency_hz(&self, t_s: f64) -> f64 {
        ((t_s - self.t_one_hz_s) / self.rate_constant_s).exp()
    }
}

/// Points that the active part is divided into.
const N_POINTS: usize = 200;

/// Line through the momentary frequency of `samples`, whose first one lies at
/// `start_s`; `None` with fewer than ten points.
///
/// Rising zero crossings are counted, so each point is the mean frequency over a
/// whole number of periods; slope and height are medians (Theil-Sen), so a few
/// crossings spoilt by a fade or by noise do not count.
pub(super) fn trace(samples: &[f64], start_s: f64, rate_hz: f64) -> Option<Trajectory> {
    let spacing = samples.len() as f64 / N_POINTS as f64;
    let mut points: Vec<(f64, f64)> = Vec::with_capacity(N_POINTS);
    let mut block_start: Option<f64> = None;
    let mut n_periods = 0usize;
    for (i, pair) in samples.windows(2).enumerate() {
        if !(pair[0] < 0.0 && pair[1] >= 0.0) {
            continue;
        }
        let at = i as f64 + pair[0] / (pair[0] - pair[1]);
        let Some(from) = block_start else {
            block_start = Some(at);
            continue;
        };
        n_periods += 1;
        if at - from >= spacing {
            let frequency_hz = n_periods as f64 * rate_hz / (at - from);
            points.push((start_s + 0.5 * (at + from) / rate_hz, frequency_hz.ln()));
            block_start = Some(at);
            n_periods = 0;
        }
    }
    if points.len() < 10 {
        return None;
    }
    let mut slopes = Vec::with_capacity(points.len() * points.len() / 2);
    for (i, &(t1, y1)) in points.iter().enumerate() {
        slopes.extend(points[i + 1..].iter().map(|&(t2, y2)| (y2 - y1) / (t2 - t1)));
    }
    let rate_constant_s = 1.0 / median(slopes);
    let t_one_hz_s = median(points.iter().map(|&(t_s, y)| t_s - rate_constant_s * y).collect());
    let line = Trajectory { rate_constant_s, t_one_hz_s, median_residual: f64::INFINITY };
    let median_residual =
        median(points.iter().map(|&(t_s, y)| (y - line.frequency_hz(t_s).ln()).abs()).collect());
    Some(Trajectory { median_residual, ..line })
}

/// Upper median; the callers hand over at least one number.
fn median(mut values: Vec<f64>) -> f64 {
    let middle = values.len() / 2;
    *values.select_nth_unstable_by(middle, f64::total_cmp).1
}

#[cfg(test)]
mod tests {
    use super::super::{SweepParams, generate};
    use super::*;

    #[test]
    fn the_line_of_a_sweep_is_found() {
        for (duration_s, tolerance) in [(5.0, 1e-3), (1.0, 4e-3), (0.5, 1e-2)] {
            let params = SweepParams { duration_s, fade_in_s: 0.05, ..SweepParams::default() };
            let x = generate(&params).unwrap();
            let active = &x[24_000..24_000 + (duration_s * 48e3) as usize];
            let line = trace(active, 0.5, 48e3).unwrap();
            let error = line.rate_constant_s / params.rate_constant_s() - 1.0;
            assert!(error.abs() < tolerance, "{duration_s} s: {error}");
            let late_s = -line.rate_constant_s * (line.frequency_hz(0.5) / 20.0).ln();
            assert!(late_s.abs() < 0.02 * duration_s, "passes 20 Hz {late_s} s late");
            assert!((line.frequency_hz(0.5 + duration_s) / 20e3).ln().abs() < 0.03);
            assert!(line.median_residual < 0.01, "{}", line.median_residual);
        }
    }

    #[test]
    fn a_linear_sweep_and_a_tone_do_not_fit() {
        let linear: Vec<f64> = (0..96_000)
            .map(|i| {
                let t_s = f64::from(i) / 48e3;
                (std::f64::consts::TAU * (20.0 * t_s + 0.5 * 9_990.0 * t_s * t_s)).sin()
            })
            .collect();
        assert!(trace(&linear, 0.0, 48e3).unwrap().median_residual > 0.1);
        let tone: Vec<f64> = (0..96_000).map(|i| (f64::from(i) * 0.1).sin()).collect();
        let line = trace(&tone, 0.0, 48e3).unwrap();
        // A level line: it rises by less than a hundredth over its two seconds.
        assert!(1.0 / line.rate_constant_s.abs() < 0.005, "{line:?}");
        assert!(trace(&[0.0; 1000], 0.0, 48e3).is_none());
    }
}
