//! One causal filter for all takes of a seat, by which the direct sound without the screen becomes
//! about equally strong at all frequencies.
//!
//! What passes the sheet is the same before and after any filter that both responses go through:
//! `W h_with = t W h_without`. A loudspeaker's treble may lie 40 dB below its middle, and where it
//! is weak a fit that expects small taps would hold them down: treble would seem not to be lost.
//! The filter is minimum-phase, so causal: no sample before a reflection comes to hold some of it.

use super::early::EarlyPlan;
use realfft::num_complex::Complex;

/// Direct sound that the filter is made from, s before and after the crest.
const DIRECT_S: [f64; 2] = [0.0015, 0.0012];
/// Its spectrum is smoothed over this part of an octave (a steep edge needs it narrow) ...
const OCTAVES: f64 = 1.0 / 3.0;
/// ... and over this at least, Hz: the direct sound is too short to tell more.
const LEAST_WIDTH_HZ: f64 = 500.0;
/// Noise counts so many times against the direct sound: it must not become what rules the fit.
const NOISE_COUNTS: f64 = 1e3;
/// Below the first and above the second the filter stays as it is there, Hz.
const RANGE_HZ: [f64; 2] = [500.0, 18_500.0];
/// The crest is looked for anew so long before and after the old one, s: weak treble makes that
/// late (0.4 ms at 40 dB), and what comes after it may be a reflection.
const CREST_S: [f64; 2] = [0.0015, 0.0001];
/// The first crest of at least this part of the highest is that of the direct sound: a reflection
/// may be stronger ...
const FIRST_CREST: f64 = 0.7;
/// ... and so long it may last, s.
const CREST_LENGTH_S: f64 = 0.0001;
/// A crest that was off by more than this makes the filter anew, s: what it was made from was not
/// the direct sound alone.
const FAR_S: f64 = 0.0002;

/// The filter of a seat.
pub struct Whitening {
    spectrum: Vec<Complex<f64>>,
}

/// Early responses of one seat through one filter, the crest of the direct sound at
/// [`EarlyPlan::zero`] in all of them.
///
/// Crests of weak treble are found here and there (two takes of a seat lay 0.3 ms apart at a fall
/// of 40 dB). So the takes are first laid over each other by all of their early sound, and the
/// crest is then that of all.
///
/// # Shapes
/// Each response has [`EarlyPlan::n_points`] samples; as many come out as go in, without the screen
/// and with it.
pub fn whiten_seat(
    plan: &EarlyPlan,
    [without, with]: [&[&[f64]]; 2],
    top_hz: f64,
    noise_ratio: &dyn Fn(f64) -> f64,
) -> [Vec<Vec<f64>>; 2] {
    let filter = Whitening::new(plan, without, top_hz, noise_ratio);
    let through = |filter: &Whitening, takes: &[&[f64]]| -> Vec<Vec<f64>> {
        takes.iter().map(|take| filter.through(plan, take)).collect()
    };
    let white = [through(&filter, without), through(&filter, with)];
    let late = white.each_ref().map(|takes| -> Vec<i64> {
        takes.iter().map(|take| plan.coarse_delay(&white[0][0], take)).collect()
    });
    let mut sum = vec![0.0; plan.n_points()];
    for (take, by) in white[0].iter().zip(&late[0]) {
        sum.iter_mut().zip(rotated(take, *by)).for_each(|(s, x)| *s += x);
    }
    let crest = crest_after_zero(plan, &sum);
    let far = plan.samples(FAR_S) as i64;
    let all_off = late.iter().flatten().map(|by| by + crest);
    if all_off.map(i64::abs).max().is_none_or(|off| off <= far) {
        return std::array::from_fn(|i| {
            white[i].iter().zip(&late[i]).map(|(x, by)| rotated(x, by + crest)).collect()
        });
    }
    let moved: [Vec<Vec<f64>>; 2] = std::array::from_fn(|i| {
        let takes = [without, with][i].iter().zip(&late[i]);
        takes.map(|(take, by)| rotated(take, by + crest)).collect()
    });
    let [without, with] = moved.each_ref().map(|m| m.iter().map(Vec::as_slice).collect::<Vec<_>>());
    let filter = Whitening::new(plan, &without, top_hz, noise_ratio);
    [through(&filter, &without), through(&filter, &with)]
}

impl Whitening {
    /// From early responses without the screen.
    ///
    /// `|W(f)|^-2 = S(f) (1 + 1000 n(f))`: `S` the mean power spectrum of their direct sound,
    /// smoothed; `n` what `noise_ratio` says of a frequency in Hz: power of noise over that of
    /// the direct sound, 0 and more. Above `top_hz` the filter stays as it is there.
    ///
    /// # Shapes
    /// Each response has [`EarlyPlan::n_points`] samples, its crest at [`EarlyPlan::zero`].
    pub fn new(
        plan: &EarlyPlan,
        without: &[&[f64]],
        top_hz: f64,
        noise_ratio: &dyn Fn(f64) -> f64,
    ) -> Self {
        let fft = plan.fft();
        let df_hz = plan.rate_hz / fft.n_points() as f64;
        let smooth = Smoothed::new(plan, without);
        let top_hz = top_hz.min(RANGE_HZ[1]);
        let level = |k: usize| {
            let hz = (k as f64 * df_hz).clamp(RANGE_HZ[0], top_hz);
            let power = smooth.at(hz).max(f64::MIN_POSITIVE);
            -0.5 * (power * (1.0 + NOISE_COUNTS * noise_ratio(hz))).ln()
        };
        let mut levels: Vec<f64> = (0..fft.n_bins()).map(level).collect();
        // A gain changes nothing; 1 at 1 kHz keeps figures at hand.
        let middle = levels[(1000.0 / df_hz) as usize];
        levels.iter_mut().for_each(|l| *l -= middle);
        let phase = fft.minimum_phase(&levels);
        let of = |(l, p): (&f64, f64)| Complex::from_polar(l.exp(), p);
        Self { spectrum: levels.iter().zip(phase).map(of).collect() }
    }

    /// An early response through the filter, moved by whole samples so that its own crest stands
    /// at [`EarlyPlan::zero`].
    pub fn apply(&self, plan: &EarlyPlan, early: &[f64]) -> Vec<f64> {
        let white = self.through(plan, early);
        let crest = crest_after_zero(plan, &white);
        rotated(&white, crest)
    }

    fn through(&self, plan: &EarlyPlan, early: &[f64]) -> Vec<f64> {
        let fft = plan.fft();
        fft.inverse(fft.forward(early).iter().zip(&self.spectrum).map(|(x, s)| x * s).collect())
    }
}

/// How many samples after [`EarlyPlan::zero`] the crest of the direct sound is.
fn crest_after_zero(plan: &EarlyPlan, white: &[f64]) -> i64 {
    let [before, after] = CREST_S.map(|s| plan.samples(s));
    let highest = |range: std::ops::RangeInclusive<usize>| {
        range.max_by(|a, b| white[*a].abs().total_cmp(&white[*b].abs())).unwrap_or(plan.zero)
    };
    let (from, to) = (plan.zero - before, plan.zero + after);
    let least = FIRST_CREST * white[highest(from..=to)].abs();
    let first = (from..=to).find(|i| white[*i].abs() >= least).unwrap_or(plan.zero);
    let crest = highest(first..=(first + plan.samples(CREST_LENGTH_S)).min(to));
    crest as i64 - plan.zero as i64
}

/// A circular response, earlier by some samples.
fn rotated(early: &[f64], by: i64) -> Vec<f64> {
    let mut early = early.to_vec();
    let n = early.len() as i64;
    early.rotate_left(by.rem_euclid(n) as usize);
    early
}

/// Smoothed power of the direct sound.
struct Smoothed {
    /// Sums of the power up to each bin.
    sums: Vec<f64>,
    df_hz: f64,
}

impl Smoothed {
    fn new(plan: &EarlyPlan, without: &[&[f64]]) -> Self {
        let fft = plan.fft();
        let mut power = vec![0.0; fft.n_bins()];
        for early in without {
            let direct = plan.direct_window(early, DIRECT_S[0], DIRECT_S[1]);
            power.iter_mut().zip(fft.forward(&direct)).for_each(|(p, x)| *p += x.norm_sqr());
        }
        let mut sums = vec![0.0; power.len() + 1];
        for (k, p) in power.iter().enumerate() {
            sums[k + 1] = sums[k] + p;
        }
        Self { sums, df_hz: plan.rate_hz / fft.n_points() as f64 }
    }

    /// Mean power around a frequency.
    fn at(&self, hz: f64) -> f64 {
        let last = self.sums.len() - 1;
        let part = 2f64.powf(0.5 * OCTAVES);
        let least_hz = 0.5 * LEAST_WIDTH_HZ;
        let bin = |hz: f64| (hz / self.df_hz).round().max(0.0) as usize;
        let from = bin((hz / part).min(hz - least_hz)).min(last - 1);
        let to = (bin((hz * part).max(hz + least_hz)) + 1).clamp(from + 1, last);
        (self.sums[to] - self.sums[from]) / (to - from) as f64
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::f64::consts::PI;

    const RATE_HZ: f64 = 48_000.0;

    /// `(1 + j f/4 kHz)^-n` at the crest: minimum-phase, 3.07 n dB of fall an octave at 16 kHz.
    fn falling(plan: &EarlyPlan, n: i32) -> Vec<f64> {
        let fft = plan.fft();
        let df_hz = RATE_HZ / fft.n_points() as f64;
        let spectrum = (0..fft.n_bins()).map(|k| {
            let hz = k as f64 * df_hz;
            Complex::new(1.0, hz / 4000.0).powi(-n)
                * Complex::from_polar(1.0, -2.0 * PI * hz * plan.zero as f64 / RATE_HZ)
        });
        let early = fft.inverse(spectrum.collect());
        // As it is found in a take: the crest at its place.
        let crest = (0..early.len()).max_by(|a, b| early[*a].total_cmp(&early[*b])).unwrap();
        let mut early = early;
        let by = crest - plan.zero;
        early.rotate_left(by);
        early
    }

    fn level_db(plan: &EarlyPlan, x: &[f64], hz: f64) -> f64 {
        let spectrum = plan.fft().forward(&plan.direct_window(x, 0.0015, 0.0012));
        let df_hz = RATE_HZ / plan.fft().n_points() as f64;
        20.0 * spectrum[(hz / df_hz).round() as usize].norm().log10()
    }

    /// Three poles fall by 37 dB at 16 kHz (closed form: 30 lg 17).
    #[test]
    fn a_falling_treble_comes_out_level() {
        let plan = EarlyPlan::new(RATE_HZ);
        let early = falling(&plan, 3);
        let fall = level_db(&plan, &early, 1000.0) - level_db(&plan, &early, 16_000.0);
        assert!((fall - 30.0 * (17f64.log10() - (1.0 + 1.0 / 16.0f64).log10())).abs() < 1.0);
        let white = Whitening::new(&plan, &[&early], 17_800.0, &|_| 0.0).apply(&plan, &early);
        for hz in [2000.0, 4000.0, 8000.0, 12_500.0, 16_000.0] {
            let off = level_db(&plan, &white, hz) - level_db(&plan, &white, 1000.0);
            assert!(off.abs() < 1.5, "{off} dB at {hz} Hz");
        }
    }

    #[test]
    fn nothing_before_a_reflection_comes_to_know_of_it() {
        let plan = EarlyPlan::new(RATE_HZ);
        let early = falling(&plan, 2);
        let mut with_wall = early.clone();
        let way = plan.samples(0.002);
        for i in 0..plan.n_points() - way {
            with_wall[i + way] += 0.5 * early[i];
        }
        let filter = Whitening::new(&plan, &[&early], 17_800.0, &|_| 0.0);
        let (plain, wall) = (filter.apply(&plan, &early), filter.apply(&plan, &with_wall));
        let peak = plain[plan.zero].abs();
        let worst = (0..plan.zero + plan.samples(0.0015))
            .map(|i| (plain[i] - wall[i]).abs())
            .fold(0.0, f64::max);
        assert!(worst < 2e-3 * peak, "{}", worst / peak);
        assert!((plain[plan.zero + way] - wall[plan.zero + way]).abs() > 0.3 * peak);
    }

    /// Where noise is as strong as the direct sound, the filter must not raise it by as much as
    /// the sound has fallen.
    #[test]
    fn noise_is_not_raised() {
        let plan = EarlyPlan::new(RATE_HZ);
        let early = falling(&plan, 3);
        let noisy = |hz: f64| if hz > 10_000.0 { 1.0 } else { 0.0 };
        let gain = |noise: &dyn Fn(f64) -> f64| {
            let filter = Whitening::new(&plan, &[&early], 17_800.0, noise);
            let df_hz = RATE_HZ / plan.fft().n_points() as f64;
            20.0 * filter.spectrum[(14_000.0 / df_hz) as usize].norm().log10()
        };
        let less = gain(&|_| 0.0) - gain(&noisy);
        assert!((less - 10.0 * 1001f64.log10()).abs() < 0.01, "{less}");
    }

    #[test]
    fn the_crest_of_weak_treble_is_found_again() {
        let plan = EarlyPlan::new(RATE_HZ);
        let early = falling(&plan, 4);
        let filter = Whitening::new(&plan, &[&early], 17_800.0, &|_| 0.0);
        let white = filter.apply(&plan, &early);
        let crest = (0..white.len()).max_by(|a, b| white[*a].abs().total_cmp(&white[*b].abs()));
        assert_eq!(crest, Some(plan.zero));
    }
}
