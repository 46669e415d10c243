//! Drift of the recorder's clock against the player's, from the sweep alone.
//!
//! A recorder that runs `eps` fast stretches the sweep: what is played at `f` after
//! `L ln(f/f1)` is found `eps L ln(f/f1)` later. The slope of the direct sound's group
//! delay against `L ln(f/f1)` is therefore `eps`, once the group delay of loudspeaker
//! and sheet is taken out by dividing by the minimum-phase counterpart.

use super::early::EarlyPlan;
use super::fft::RealFft;
use super::median::median;
use super::whiten::Whitening;
use crate::ingest::session::SweepSignal;
use realfft::num_complex::Complex;
use std::f64::consts::PI;

/// Direct sound used, s before and after the crest: 2.5 ms after lets reflections in and fails.
const WINDOW_S: [f64; 2] = [0.001, 0.002];
/// Bands of the group delay, Hz, and their number.
const RANGE_HZ: [f64; 2] = [1000.0, 12_000.0];
const N_BANDS: usize = 14;
/// Rounds of estimate and removal: the window is cut again after each. With two, one of 40 sessions
/// whose drift differs by half of what counts was told of it.
const ROUNDS: usize = 3;
/// Standard deviation of one estimate as group delay over the range, s: 3 ppm of a sweep of
/// 5 s, measured on simulated takes.
const ESTIMATE_SD_S: f64 = 5.4e-6;

/// What a sheet adds to that at all seats alike, s: 2 ppm of a sweep of 5 s (simulated sheets 1
/// rms, most 4).
const SHEET_SD_S: f64 = 3.6e-6;

/// Phase by which each bin is multiplied to take out a drift of `eps` (1e-6 = 1 ppm) from
/// a response to an exponential sweep: `exp{j 2 pi eps L (f ln(f/f1) - f)}`.
pub fn drift_warp(eps: f64, rate_constant_s: f64, start_hz: f64) -> impl Fn(f64) -> Complex<f64> {
    move |hz: f64| {
        let cycles = eps * warp_cycles(rate_constant_s, start_hz, hz);
        Complex::from_polar(1.0, 2.0 * PI * cycles)
    }
}

/// Cycles by which a unit of drift turns a frequency.
fn warp_cycles(rate_constant_s: f64, start_hz: f64, hz: f64) -> f64 {
    if hz > 0.0 { rate_constant_s * hz * ((hz / start_hz).ln() - 1.0) } else { 0.0 }
}

/// Plans for drift estimates at one rate.
pub struct DriftPlan {
    early: EarlyPlan,
    long: RealFft,
    short: RealFft,
    rate_constant_s: f64,
    start_hz: f64,
    /// Cycles by which a unit of drift turns each bin of `long`, without the delay that it
    /// gives to the middle of the band.
    cycles: Vec<f64>,
}

impl DriftPlan {
    /// `None` for signals without the exponential sweep's relation of time to frequency.
    pub fn new(early: &EarlyPlan, sweep: &SweepSignal) -> Option<Self> {
        let window = early.samples(WINDOW_S[0] + WINDOW_S[1]);
        let (rate_constant_s, start_hz) = (sweep.rate_constant_s?, sweep.band_hz[0]);
        let long = RealFft::new(early.n_points());
        let df_hz = early.rate_hz / long.n_points() as f64;
        let shift_s = rate_constant_s * ((RANGE_HZ[0] * RANGE_HZ[1]).sqrt() / start_hz).ln();
        let cycles = (0..long.n_bins())
            .map(|k| k as f64 * df_hz)
            .map(|hz| warp_cycles(rate_constant_s, start_hz, hz) - hz * shift_s)
            .collect();
        Some(Self {
            long,
            // Long against the window, so that the cepstrum does not fold over.
            short: RealFft::new((8 * window).next_power_of_two()),
            early: early.clone(),
            rate_constant_s,
            start_hz,
            cycles,
        })
    }

    /// Drift in parts per million; positive = the recording is stretched (recorder fast).
    ///
    /// # Accuracy
    /// Measured on simulated takes with a 5 s sweep: bias 1, standard deviation 3 ppm over
    /// -200 to 200 ppm; both grow as the sweep gets shorter.
    pub fn estimate_ppm(&self, early: &[f64]) -> Option<f64> {
        let white = Whitening::new(&self.early, &[early], RANGE_HZ[1], &|_| 0.0);
        let early = &white.apply(&self.early, early);
        let mut eps = self.slope(early)?;
        let spectrum = self.long.forward(early);
        for _ in 1..ROUNDS {
            let turned = |(x, cycles): (&Complex<f64>, &f64)| {
                x * Complex::from_polar(1.0, 2.0 * PI * eps * cycles)
            };
            let warped = spectrum.iter().zip(&self.cycles).map(turned).collect();
            eps += self.slope(&self.long.inverse(warped))?;
        }
        eps.is_finite().then_some(eps * 1e6)
    }

    /// Theil-Sen slope of group delay against `L ln(f/f1)`.
    fn slope(&self, early: &[f64]) -> Option<f64> {
        let direct = self.early.direct_window(early, WINDOW_S[0], WINDOW_S[1]);
        let spectrum = self.short.forward(&direct);
        let phase = self.minimum_phase(&spectrum)?;
        let df_hz = self.early.rate_hz / self.short.n_points() as f64;
        // Only the range is asked for.
        let lowest = (RANGE_HZ[0] / df_hz) as usize;
        let highest = ((RANGE_HZ[1] / df_hz) as usize + 2).min(spectrum.len() - 1);
        if highest < lowest + 2 {
            return None;
        }
        let excess: Vec<Complex<f64>> =
            (lowest..=highest).map(|k| spectrum[k] * Complex::from_polar(1.0, -phase[k])).collect();
        let ratio = (RANGE_HZ[1] / RANGE_HZ[0]).powf(1.0 / N_BANDS as f64);
        let points: Vec<[f64; 2]> = (0..N_BANDS)
            .map(|i| {
                let low_hz = RANGE_HZ[0] * ratio.powi(i as i32);
                let first = (low_hz / df_hz) as usize - lowest;
                let last = ((low_hz * ratio / df_hz) as usize - lowest).min(excess.len() - 2);
                let turn: Complex<f64> =
                    (first..=last).map(|k| excess[k + 1] * excess[k].conj()).sum();
                let delay_s = -turn.arg() / (2.0 * PI * df_hz);
                let time_s = self.rate_constant_s * (low_hz * ratio.sqrt() / self.start_hz).ln();
                [time_s, delay_s]
            })
            .collect();
        let slopes: Vec<f64> = (0..points.len())
            .flat_map(|i| (0..i).map(move |j| (i, j)))
            .map(|(i, j)| (points[i][1] - points[j][1]) / (points[i][0] - points[j][0]))
            .collect();
        median(slopes)
    }

    /// Phase of the minimum-phase sequence with the same magnitude.
    fn minimum_phase(&self, spectrum: &[Complex<f64>]) -> Option<Vec<f64>> {
        let peak = spectrum.iter().map(Complex::norm_sqr).fold(0.0, f64::max);
        if peak <= 0.0 {
            return None;
        }
        let log: Vec<f64> =
            spectrum.iter().map(|x| 0.5 * (x.norm_sqr() / peak).max(1e-8).ln()).collect();
        Some(self.short.minimum_phase(&log))
    }
}

/// Drift that a take tells of.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TakeDrift {
    /// Seat of the take, an index.
    pub seat: usize,
    /// Parts per million, see [`DriftPlan::estimate_ppm`].
    pub ppm: f64,
}

/// Drift of one condition against another.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DriftDifference {
    /// Second less first, parts per million.
    pub ppm: f64,
    /// Whether it stands out of its own scatter: then it is removed.
    pub stands_out: bool,
}

/// Drift of one condition against another, by the seats that have takes in both.
///
/// A single sweep cannot tell a clock from a crossover or a horn, whose treble comes later than
/// the bass, at each seat by another time; the difference between the conditions at one seat
/// can. It is the median over the seats, and stands out where it is three times its standard
/// error: the scatter over the seats, though no less than what an estimate leaves at this length
/// of sweep ([`estimate_sd_ppm`]), and what a sheet looks like at all seats alike. Without a seat
/// in common the conditions as a whole are compared. `None` where one of them has no take.
pub fn drift_difference(
    without: &[TakeDrift],
    with: &[TakeDrift],
    rate_constant_s: f64,
) -> Option<DriftDifference> {
    let of = |takes: &[TakeDrift], seat: Option<usize>| {
        let takes = takes.iter().filter(|t| seat.is_none_or(|s| s == t.seat));
        median(takes.map(|t| t.ppm).collect())
    };
    let mut seats: Vec<usize> = without.iter().map(|t| t.seat).collect();
    seats.sort_unstable();
    seats.dedup();
    let at = |seat| Some(of(with, Some(seat))? - of(without, Some(seat))?);
    let mut differences: Vec<f64> = seats.into_iter().filter_map(at).collect();
    if differences.is_empty() {
        differences.push(of(with, None)? - of(without, None)?);
    }
    let (n, ppm) = (differences.len() as f64, median(differences.clone())?);
    let least = 2f64.sqrt() * estimate_sd_ppm(rate_constant_s);
    // 1.25 is the standard deviation of a normal's median over that of its mean.
    let of_seats = 1.25 * scatter(&differences, ppm).max(least) / n.sqrt();
    let of_sheet = delay_as_drift_ppm(SHEET_SD_S, rate_constant_s);
    Some(DriftDifference { ppm, stands_out: ppm.abs() > 3.0 * of_seats.hypot(of_sheet) })
}

/// Standard deviation around a middle: from the median deviation where one of many may be wild,
/// from all where there are few.
fn scatter(values: &[f64], middle: f64) -> f64 {
    let deviations: Vec<f64> = values.iter().map(|v| (v - middle).abs()).collect();
    if values.len() < 5 {
        let squares: f64 = deviations.iter().map(|d| d * d).sum();
        return (squares / (values.len() as f64 - 1.0).max(1.0)).sqrt();
    }
    // 1.483 median deviations are the standard deviation of a normal.
    1.483 * median(deviations).unwrap_or(0.0)
}

/// Standard deviation of one take's estimate, ppm, for a sweep of this rate constant.
///
/// What disturbs the estimate is group delay, so many microseconds between the ends of the
/// range whatever the sweep; a shorter sweep turns the same delay into more drift.
pub fn estimate_sd_ppm(rate_constant_s: f64) -> f64 {
    delay_as_drift_ppm(ESTIMATE_SD_S, rate_constant_s)
}

/// Drift that a group delay growing by `delay_s` over the range looks like, ppm.
pub fn delay_as_drift_ppm(delay_s: f64, rate_constant_s: f64) -> f64 {
    1e6 * delay_s / (rate_constant_s * (RANGE_HZ[1] / RANGE_HZ[0]).ln())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_known_drift_is_found_and_its_warp_undoes_it() {
        let early_plan = EarlyPlan::new(48_000.0);
        let sweep = SweepSignal {
            samples: vec![],
            rate_hz: 48_000,
            band_hz: [20.0, 20_000.0],
            rate_constant_s: Some(0.723_824),
            active: 0..0,
        };
        let plan = DriftPlan::new(&early_plan, &sweep).expect("an exponential sweep");
        let n = early_plan.n_points();
        let df_hz = 48_000.0 / n as f64;
        // A minimum-phase low-pass pair of poles, delayed to the crest.
        let base: Vec<Complex<f64>> = (0..n / 2 + 1)
            .map(|k| {
                let hz = k as f64 * df_hz;
                let pole = 1.0 / Complex::new(1.0, hz / 9000.0).powi(2);
                pole * Complex::from_polar(1.0, -2.0 * PI * hz * early_plan.zero as f64 / 48e3)
            })
            .collect();
        for ppm in [-150.0, -20.0, 0.0, 40.0, 180.0] {
            let stretch = drift_warp(-ppm * 1e-6, 0.723_824, 20.0);
            let drifted = base
                .iter()
                .enumerate()
                .map(|(k, x)| {
                    let hz = k as f64 * df_hz;
                    let back_s = ppm * 1e-6 * 0.723_824 * (3464.0_f64 / 20.0).ln();
                    x * stretch(hz) * Complex::from_polar(1.0, 2.0 * PI * hz * back_s)
                })
                .collect();
            let early = plan.long.inverse(drifted);
            let got = plan.estimate_ppm(&early).expect("a direct sound");
            assert!((got - ppm).abs() < 6.0, "{got} for {ppm}");
        }
    }

    fn takes(ppm: &[f64]) -> Vec<TakeDrift> {
        ppm.iter().enumerate().map(|(seat, ppm)| TakeDrift { seat, ppm: *ppm }).collect()
    }

    fn difference(without: &[f64], with: &[f64], duration_s: f64) -> Option<(f64, bool)> {
        drift_difference(&takes(without), &takes(with), duration_s / 1000f64.ln())
            .map(|d| (d.ppm, d.stands_out))
    }

    #[test]
    fn a_difference_stands_out_of_its_own_scatter() {
        let over_5_s = |without: &[f64], with: &[f64]| difference(without, with, 5.0);
        assert_eq!(over_5_s(&[1.0; 6], &[31.0; 6]), Some((30.0, true)));
        // Six seats: 3 sqrt((1.25 sqrt 2 3/sqrt 6)^2 + 2^2) = 8.8 ppm.
        assert_eq!(over_5_s(&[1.0; 6], &[10.5; 6]), Some((9.5, true)));
        assert_eq!(over_5_s(&[1.0; 6], &[9.0; 6]), Some((8.0, false)));
        // Crossovers and horns differ from seat to seat, alike in both conditions.
        let seats = [-520.0, -310.0, -480.0, 0.0, 120.0, -60.0];
        assert_eq!(over_5_s(&seats, &seats), Some((0.0, false)));
        assert_eq!(over_5_s(&seats, &seats.map(|s| s + 20.0)), Some((20.0, true)));
        // One seat is wild, the others agree; all are wild.
        let wild = [900.0, 30.0, 30.0, 30.0, 30.0, 30.0];
        assert_eq!(over_5_s(&[0.0; 6], &wild), Some((30.0, true)));
        let all = [-90.0, 30.0, 150.0, -40.0, 100.0, 30.0];
        assert_eq!(over_5_s(&[0.0; 6], &all), Some((30.0, false)));
        assert_eq!(over_5_s(&[0.0; 3], &[150.0, -30.0, -30.0]), Some((-30.0, false)));
        assert_eq!(over_5_s(&[], &[1.0]), None);
    }

    #[test]
    fn without_a_seat_in_common_the_conditions_are_compared() {
        let at = |seat, ppm| [TakeDrift { seat, ppm }];
        let found = drift_difference(&at(0, 5.0), &at(1, 45.0), 5.0 / 1000f64.ln()).unwrap();
        assert_eq!((found.ppm, found.stands_out), (40.0, true));
    }

    #[test]
    fn a_short_sweep_needs_a_larger_difference() {
        // 5.4 us over ln 12 = 2.485 times 0.1448 s: 15.0 ppm a take; a single seat needs
        // 3 sqrt((1.25 sqrt 2 15.0)^2 + 10.0^2) = 85 ppm.
        let one_s = 1.0 / 1000f64.ln();
        assert!((estimate_sd_ppm(one_s) - 15.0).abs() < 0.1, "{}", estimate_sd_ppm(one_s));
        assert_eq!(difference(&[5.0], &[89.0], 1.0), Some((84.0, false)));
        assert_eq!(difference(&[5.0], &[92.0], 1.0), Some((87.0, true)));
        assert_eq!(difference(&[5.0], &[30.0], 5.0), Some((25.0, true)));
    }
}
