//! Echoes between sheet and loudspeaker.
//!
//! All that passes the sheet is `T / (1 - rho z)`: the direct transmission `T` and echoes,
//! each `rho` times the one before it and later by a round trip `z = exp(-j 2 pi f tau)`,
//! `tau = 2 gap cos(theta)/c`. Only `rho` is needed, and it is the same sheet and the same
//! loudspeaker at every seat, so it is found from all seats together:
//!
//! - where the first echo lies beyond the direct filter, from what stands in its slot.
//!   A slot holds the echo and what a moved microphone makes of reflections; moved by each
//!   seat's own lag the echoes are alike and the reflections are not, so the mean over the
//!   seats is taken as far as it stands above their scatter;
//! - where echoes lie within the direct filter, from the taps around one round trip, and
//!   [`super::repeat`] carries the filter on beyond its end.

use super::repeat::Repeats;
use super::slot::{Localised, localise};
use crate::transfer::seat::{SeatPlan, SeatTransmission};
use crate::transfer::window::rise;
use realfft::num_complex::Complex;
use std::f64::consts::PI;

/// One-sided spectrum of taps.
pub type Spectrum = Vec<Complex<f64>>;

/// Transmission of one seat, mean over its pairs of takes.
#[derive(Debug, Clone)]
pub struct SeatParts {
    /// Direct filter.
    pub direct: Spectrum,
    /// Power of the direct filter, third-octave bands.
    pub power: Vec<f64>,
    /// First echo, from its slot or from the taps of the direct filter around it.
    pub echo: Option<Spectrum>,
    /// What the echo repeats: the direct filter, without the echoes it may hold.
    pub source: Spectrum,
    /// Whether the echo lies within the direct filter.
    pub within: bool,
    /// What follows the direct filter, where the echo lies within it.
    pub late: Option<Spectrum>,
    /// Power of the interference in `late`, third-octave bands.
    pub late_interference: Vec<f64>,
    /// Power of the interference in the echo's slot, third-octave bands.
    pub interference: Vec<f64>,
    /// Lag of one round trip, s.
    pub round_trip_s: Option<f64>,
}

/// Weight of what the residual outside the slots lets expect, against the scatter of spots.
const FLOOR_WEIGHT: f64 = 0.5;

/// Spectra of the parts of one seat, mean over pairs, and the interference in its slot.
pub fn seat_parts(plan: &SeatPlan, seat: &SeatTransmission) -> SeatParts {
    let [n_without, n_with] = seat.takes;
    let all: Vec<usize> = (0..seat.pairs.len()).collect();
    let direct = direct_spectrum(plan, seat, &all);
    let power = (0..plan.n_bands).map(|b| band_power(plan, &direct, b)).collect();
    let fewest = n_without.min(n_with) as f64;
    let within = !seat.pairs.iter().all(|p| p.holds_echo);
    let late_of = |pairs: &[usize]| late_spectrum(plan, seat, pairs);
    let echo_of = |pairs: &[usize]| {
        if within { echo_within(plan, seat, pairs) } else { late_of(pairs) }
    };
    let echo = echo_of(&all);
    let source = match &echo {
        Some(_) if within => source_within(plan, seat, &all),
        _ => direct.clone(),
    };
    let floor: Vec<f64> = seat.floor.iter().map(|x| x / fewest).collect();
    let several = n_with > 1 && n_without > 1;
    let spot_scatter = |of: &dyn Fn(&[usize]) -> Option<Spectrum>, mean: &Spectrum| {
        let scatter = |groups: Vec<Vec<usize>>| -> Vec<f64> {
            let n = groups.len() as f64;
            let parts: Vec<Spectrum> = groups.iter().filter_map(|g| of(g)).collect();
            (0..plan.n_bands)
                .map(|b| parts.iter().map(|p| distance(plan, p, mean, b)).sum::<f64>())
                .map(|sum| sum / (n - 1.0) / n)
                .collect()
        };
        let by_with = scatter(rows(n_without, n_with));
        let by_without = scatter(columns(n_without, n_with));
        (0..plan.n_bands).map(|b| by_with[b] + by_without[b]).collect::<Vec<f64>>()
    };
    let mixed = |spots: Vec<f64>| -> Vec<f64> {
        let mix = |(s, f): (&f64, &f64)| FLOOR_WEIGHT * f + (1.0 - FLOOR_WEIGHT) * s;
        spots.iter().zip(&floor).map(mix).collect()
    };
    let interference = match &echo {
        // Within the filter there is no residual to judge by: the spots alone tell.
        Some(mean) if several && within => spot_scatter(&echo_of, mean),
        Some(mean) if several => mixed(spot_scatter(&echo_of, mean)),
        _ => floor.clone(),
    };
    let late = if within { late_of(&all) } else { None };
    let late_interference = match &late {
        Some(mean) if several => mixed(spot_scatter(&late_of, mean)),
        _ => floor,
    };
    let round_trip_s = seat.timing.round_trip_s;
    SeatParts {
        direct,
        power,
        echo,
        source,
        within,
        late,
        late_interference,
        interference,
        round_trip_s,
    }
}

/// The echo's taps begin this long before the round trip, s (fade included) ...
const WITHIN_BEFORE_S: f64 = 0.00012;
/// ... fade in over this, s ...
const WITHIN_FADE_S: f64 = 0.00006;
/// ... and go on to this long after it, s; the filter must reach so far.
const WITHIN_AFTER_S: f64 = 0.00015;

/// Taps of the direct filter around its first echo, faded; `None` where the filter ends
/// before them or they begin within the direct sound's own crest.
fn echo_within(plan: &SeatPlan, seat: &SeatTransmission, pairs: &[usize]) -> Option<Spectrum> {
    let round_trip_s = seat.timing.round_trip_s?;
    if round_trip_s < 2.0 * WITHIN_BEFORE_S - WITHIN_FADE_S
        || seat.timing.end_s < round_trip_s + WITHIN_AFTER_S
    {
        return None;
    }
    let (first_lag, mut taps) = direct_taps(seat, pairs);
    let (start, fade) = split(plan, first_lag, round_trip_s);
    taps.truncate(start + 2 * ((round_trip_s * plan.rate_hz()) as usize));
    taps[..start].fill(0.0);
    taps[start..].iter_mut().zip(rise(fade)).for_each(|(t, w)| *t *= w);
    taps.iter_mut().rev().zip(rise(fade)).for_each(|(t, w)| *t *= w);
    Some(plan.fft.forward_at(first_lag, &taps))
}

/// Taps of the direct filter before its first echo, faded.
fn source_within(plan: &SeatPlan, seat: &SeatTransmission, pairs: &[usize]) -> Spectrum {
    let (first_lag, mut taps) = direct_taps(seat, pairs);
    if let Some(round_trip_s) = seat.timing.round_trip_s {
        let (start, fade) = split(plan, first_lag, round_trip_s);
        taps.truncate(start + fade);
        taps.iter_mut().rev().zip(rise(fade)).for_each(|(t, w)| *t *= w);
    }
    plan.fft.forward_at(first_lag, &taps)
}

/// Index of the first tap of the echo, and the length of the fade from there.
fn split(plan: &SeatPlan, first_lag: i64, round_trip_s: f64) -> (usize, usize) {
    let start = ((round_trip_s - WITHIN_BEFORE_S) * plan.rate_hz()).round() as i64 - first_lag;
    (start.max(0) as usize, ((WITHIN_FADE_S * plan.rate_hz()).round() as usize).max(2))
}

/// Pairs that share a take with the screen, one group for each such take.
pub fn rows(n_without: usize, n_with: usize) -> Vec<Vec<usize>> {
    (0..n_with).map(|w| (w * n_without..(w + 1) * n_without).collect()).collect()
}

/// Pairs that share a take without the screen.
pub fn columns(n_without: usize, n_with: usize) -> Vec<Vec<usize>> {
    (0..n_without).map(|o| (o..n_without * n_with).step_by(n_without).collect()).collect()
}

/// Mean direct taps of some pairs, with the lag of the first.
pub fn direct_taps(seat: &SeatTransmission, pairs: &[usize]) -> (i64, Vec<f64>) {
    let first = &seat.pairs[pairs[0]].direct;
    // All pairs of a seat share their lags.
    (first.first_lag, mean_taps(pairs.iter().map(|&i| seat.pairs[i].direct.values.as_slice())))
}

/// The end of a filter that is judged for what may follow it, s.
const TAIL_S: f64 = 0.00012;

/// Power per third-octave band of the last taps of the whole filter (direct, and the slot
/// after it where there is one): a response that has not died away goes on unseen.
pub fn tail_power(plan: &SeatPlan, seat: &SeatTransmission) -> Vec<f64> {
    let all: Vec<usize> = (0..seat.pairs.len()).collect();
    let n = (TAIL_S * plan.rate_hz()).round() as usize;
    let slot: Vec<&[f64]> =
        seat.pairs.iter().filter_map(|p| p.late.as_ref().map(|e| e.values.as_slice())).collect();
    let taps = if slot.is_empty() {
        direct_taps(seat, &all).1
    } else {
        // The slot's own fade is no end of the response: judge the taps before it.
        let mut taps = mean_taps(slot.into_iter());
        taps.truncate(taps.len() - (taps.len() / 8).max(2).min(taps.len()));
        taps
    };
    let tail = &taps[taps.len().saturating_sub(n)..];
    let spectrum = plan.fft.forward(tail);
    (0..plan.n_bands).map(|b| band_power(plan, &spectrum, b)).collect()
}

/// Mean direct filter of some pairs.
pub fn direct_spectrum(plan: &SeatPlan, seat: &SeatTransmission, pairs: &[usize]) -> Spectrum {
    let (first_lag, taps) = direct_taps(seat, pairs);
    plan.fft.forward_at(first_lag, &taps)
}

/// Mean late filter of some pairs; `None` where none was fitted.
fn late_spectrum(plan: &SeatPlan, seat: &SeatTransmission, pairs: &[usize]) -> Option<Spectrum> {
    let fitted: Vec<_> = pairs.iter().filter_map(|&i| seat.pairs[i].late.as_ref()).collect();
    let first_lag = fitted.first()?.first_lag;
    let taps = mean_taps(fitted.iter().map(|e| e.values.as_slice()));
    Some(plan.fft.forward_at(first_lag, &taps))
}

fn mean_taps<'a>(all: impl Iterator<Item = &'a [f64]>) -> Vec<f64> {
    let mut mean: Vec<f64> = Vec::new();
    let mut n = 0.0;
    for taps in all {
        mean.resize(taps.len().max(mean.len()), 0.0);
        mean.iter_mut().zip(taps).for_each(|(m, t)| *m += t);
        n += 1.0;
    }
    mean.iter_mut().for_each(|m| *m /= n);
    mean
}

/// Mean power of a spectrum in a band (third octave, then fine).
pub fn band_power(plan: &SeatPlan, spectrum: &[Complex<f64>], band: usize) -> f64 {
    plan.bins.mean(band, |k| spectrum[k].norm_sqr())
}

/// Mean power of the difference of two spectra in a band.
fn distance(plan: &SeatPlan, a: &[Complex<f64>], b: &[Complex<f64>], band: usize) -> f64 {
    plan.bins.mean(band, |k| (a[k] - b[k]).norm_sqr())
}

/// Turns a spectrum by a lag: `exp(j 2 pi f lag)`, positive = earlier.
pub fn turn(plan: &SeatPlan, spectrum: &[Complex<f64>], lag_s: f64) -> Spectrum {
    let step = 2.0 * PI * plan.rate_hz() / plan.fft.n_points() as f64 * lag_s;
    spectrum
        .iter()
        .enumerate()
        .map(|(k, x)| x * Complex::from_polar(1.0, step * k as f64))
        .collect()
}

/// What each echo is of the one before it, common to the seats.
#[derive(Debug, Clone)]
pub struct EchoRatio {
    /// `rho` around its own lag (the round trip taken out), gain included.
    pub ratio: Spectrum,
    /// `|rho|^2`, third-octave bands.
    pub power: Vec<f64>,
    /// Mean square error of `rho`, third-octave bands.
    pub error: Vec<f64>,
    /// Whether echoes are taken from slots (all of them are then added to the direct
    /// filter) or repeat within it (only those beyond it are added).
    pub from_slots: bool,
}

/// No sheet and front return more than this part of the power at a round trip.
const MOST_PER_TRIP: f64 = 0.6;
/// Part of a power's standard error that is taken off it: keeping noise costs more than
/// losing a little echo.
const CAUTION: f64 = 0.5;

/// Below this frequency echoes within the filter cannot be told from the sheet's own
/// slow response; they are weak there and later ones are left out, Hz.
const WITHIN_FROM_HZ: f64 = 1500.0;

/// Ratio of successive echoes from all seats; `None` where no echo can be told
/// (no stated gap, or the gap's echo runs over the end of the direct filter everywhere).
pub fn echo_ratio(plan: &SeatPlan, parts: &[SeatParts]) -> Option<EchoRatio> {
    let within = parts.iter().filter(|p| p.within).count();
    let from_slots = 2 * within < parts.len().max(1);
    let n_bands = plan.n_bands;
    let used: Vec<(&SeatParts, &Spectrum, f64)> =
        parts.iter().filter_map(|p| Some((p, p.echo.as_ref()?, p.round_trip_s?))).collect();
    let level = |p: &SeatParts| -> f64 {
        (0..n_bands).map(|b| p.interference[b] / p.power[b]).sum::<f64>() / n_bands as f64
    };
    let raw: Vec<f64> = used.iter().map(|(p, ..)| 1.0 / (level(p) + 1e-4)).collect();
    let total: f64 = raw.iter().sum();
    let weights: Vec<f64> = raw.iter().map(|w| w / total).collect();
    // Each seat's filter stands at the delay its takes were aligned to; heavy sheets turn the
    // direct sound so much that these differ. The filters themselves tell by how much.
    let own_delay_s: Vec<f64> =
        used.iter().map(|(p, ..)| delay_between_s(plan, &used[0].0.source, &p.source)).collect();
    // ... and a sheet passes more at an angle: each seat's echo counts against its own filter.
    let of_source = |p: &SeatParts| -> Vec<f64> {
        (0..n_bands).map(|b| band_power(plan, &p.source, b).max(1e-12)).collect()
    };
    let sources: Vec<Vec<f64>> = used.iter().map(|(p, ..)| of_source(p)).collect();
    let typical: Vec<f64> =
        (0..n_bands).map(|b| weights.iter().zip(&sources).map(|(w, s)| w * s[b]).sum()).collect();
    let scaled = |spectrum: &[Complex<f64>], own: &[f64]| -> Spectrum {
        let factor: Vec<f64> = own.iter().zip(&typical).map(|(o, t)| (t / o).sqrt()).collect();
        spectrum.iter().zip(plan.per_bin(&factor)).map(|(x, f)| x * f).collect()
    };
    let aligned: Vec<Spectrum> = used
        .iter()
        .zip(own_delay_s.iter().zip(&sources))
        .map(|((_, e, lag_s), (delay_s, own))| scaled(&turn(plan, e, lag_s + delay_s), own))
        .collect();
    let mut mean = vec![Complex::default(); plan.fft.n_bins()];
    let mut source = mean.clone();
    for (i, (w, (p, ..))) in weights.iter().zip(&used).enumerate() {
        mean.iter_mut().zip(&aligned[i]).for_each(|(m, x)| *m += x * *w);
        let turned = scaled(&turn(plan, &p.source, own_delay_s[i]), &sources[i]);
        source.iter_mut().zip(&turned).for_each(|(m, x)| *m += x * *w);
    }
    // Scatter of one seat's echo: from its spots and residual, and from the seats themselves.
    let smooth = |f: &dyn Fn(usize) -> f64| smooth_bands(&(0..n_bands).map(f).collect::<Vec<_>>());
    let own =
        smooth(&|b| weights.iter().zip(&used).map(|(w, (p, ..))| w * p.interference[b]).sum());
    let squares: f64 = weights.iter().map(|w| w * w).sum();
    let between = smooth(&|b| {
        let sum: f64 =
            weights.iter().zip(&aligned).map(|(w, a)| w * distance(plan, a, &mean, b)).sum();
        sum / (1.0 - squares).max(0.2)
    });
    let several = used.len() > 2;
    let scatter: Vec<f64> = (0..n_bands)
        .map(|b| squares * if several { own[b].max(between[b]) } else { own[b] })
        .collect();
    let Localised { spectrum, kept } = localise(plan, &mean, &scatter);
    let noise: Vec<f64> = (0..n_bands).map(|b| scatter[b] * kept[b]).collect();
    let through: Vec<f64> = (0..n_bands).map(|b| band_power(plan, &source, b)).collect();
    let found = smooth(&|b| (band_power(plan, &spectrum, b) - noise[b]) / through[b]);
    let power: Vec<f64> = (0..n_bands)
        .map(|b| {
            let error = noise[b] / through[b] / independent(plan, b).sqrt();
            (found[b] - CAUTION * error).clamp(0.0, MOST_PER_TRIP)
        })
        .collect();
    let gain: Vec<f64> =
        (0..n_bands).map(|b| power[b] / (power[b] + noise[b] / through[b] + 1e-12)).collect();
    // A power that happens to come out small must not make its own error small.
    let error = (0..n_bands)
        .map(|b| {
            let n = noise[b] / through[b];
            let likely = power[b] + n;
            likely * n / (likely + n + 1e-12)
        })
        .collect();
    let bins = plan.per_bin(&gain);
    let df_hz = plan.rate_hz() / plan.fft.n_points() as f64;
    let ratio = spectrum
        .iter()
        .zip(&source)
        .zip(bins)
        .enumerate()
        .map(|(k, ((e, s), g))| {
            let x = (k as f64 * df_hz / WITHIN_FROM_HZ).powi(4);
            let told = if from_slots { 1.0 } else { x / (1.0 + x) };
            limited(e / s * g * told)
        })
        .collect();
    Some(EchoRatio { ratio, power, error, from_slots })
}

/// Delay of `late` after `early`, s: crest of their cross-correlation from 1 kHz up,
/// between samples by a parabola.
fn delay_between_s(plan: &SeatPlan, early: &[Complex<f64>], late: &[Complex<f64>]) -> f64 {
    let n = plan.fft.n_points() as i64;
    let df_hz = plan.rate_hz() / n as f64;
    let cross: Spectrum = early
        .iter()
        .zip(late)
        .enumerate()
        .map(|(k, (e, l))| {
            let hz = k as f64 * df_hz;
            let x = (hz / 1000.0).powi(4);
            // Up to where every recorder still hears.
            if hz > 18_000.0 { Complex::default() } else { l * e.conj() * (x / (1.0 + x)) }
        })
        .collect();
    let correlation = plan.fft.inverse(cross);
    let at = |lag: i64| correlation[lag.rem_euclid(n) as usize];
    let reach = (0.0003 * plan.rate_hz()) as i64;
    let Some(best) = (-reach..=reach).max_by(|&a, &b| at(a).total_cmp(&at(b))) else { return 0.0 };
    let (before, here, after) = (at(best - 1), at(best), at(best + 1));
    let bend = before - 2.0 * here + after;
    let between = if bend < 0.0 { (0.5 * (before - after) / bend).clamp(-0.5, 0.5) } else { 0.0 };
    (best as f64 + between) / plan.rate_hz()
}

/// Where the echo lies within the direct filter, what follows the filter below this
/// frequency is taken as the end of the sheet's own response, Hz.
const LATE_TO_HZ: f64 = 2000.0;

/// Low-frequency end of the sheet's own response, common to the seats whose direct filter
/// ends before it, as far as it stands above their scatter; `None` where no seat has one.
pub fn common_late(plan: &SeatPlan, parts: &[SeatParts]) -> Option<Spectrum> {
    let used: Vec<(&SeatParts, &Spectrum)> =
        parts.iter().filter_map(|p| Some((p, p.late.as_ref()?))).collect();
    if used.is_empty() {
        return None;
    }
    let n = used.len() as f64;
    let mut mean = vec![Complex::default(); plan.fft.n_bins()];
    for (_, late) in &used {
        mean.iter_mut().zip(*late).for_each(|(m, x)| *m += x / n);
    }
    let smooth =
        |f: &dyn Fn(usize) -> f64| smooth_bands(&(0..plan.n_bands).map(f).collect::<Vec<_>>());
    let own = smooth(&|b| used.iter().map(|(p, _)| p.late_interference[b]).sum::<f64>() / n);
    let between = smooth(&|b| {
        used.iter().map(|(_, late)| distance(plan, late, &mean, b)).sum::<f64>()
            / (n - 1.0).max(1.0)
    });
    let gain: Vec<f64> = (0..plan.n_bands)
        .map(|b| {
            let noise = own[b].max(between[b]) / n;
            let found = band_power(plan, &mean, b);
            let end = (found - noise).max(0.0);
            end / (end + noise + 1e-15)
        })
        .collect();
    let bins = plan.per_bin(&gain);
    let df_hz = plan.rate_hz() / plan.fft.n_points() as f64;
    let low_pass = |k: usize| 1.0 / (1.0 + (k as f64 * df_hz / LATE_TO_HZ).powi(4));
    Some(mean.iter().zip(bins).enumerate().map(|(k, (x, g))| x * g * low_pass(k)).collect())
}

/// Independent values of a slot's spectrum in a third-octave band: one, and more where the
/// band is wide against the inverse of a slot's width (0.4 ms).
fn independent(plan: &SeatPlan, band: usize) -> f64 {
    1.0 + 3.0 * plan.band_width_hz(band) * 0.0004
}

/// Mean of each band and its neighbours; the end bands count twice in their own mean.
pub fn smooth_bands(x: &[f64]) -> Vec<f64> {
    let n = x.len();
    (0..n).map(|i| (x[i.saturating_sub(1)] + x[i] + x[(i + 1).min(n - 1)]) / 3.0).collect()
}

/// Echoes that the direct filter of a seat does not hold.
#[derive(Debug, Clone)]
pub struct SeatEchoes {
    /// To be added to the direct filter's spectrum.
    pub spectrum: Spectrum,
    /// Echo power expected but not resolved, third-octave bands.
    pub unresolved: Vec<f64>,
    /// Mean square error of the first added echo, third-octave bands.
    pub error: Vec<f64>,
    /// Order of the first added echo; 0 where none is added.
    pub first_order: usize,
}

/// Echoes of one seat beyond its direct filter, and the common end of the sheet's own
/// response where the filter does not hold it.
pub fn seat_echoes(
    plan: &SeatPlan,
    seat: &SeatTransmission,
    parts: &SeatParts,
    ratio: Option<&EchoRatio>,
    late: Option<&Spectrum>,
) -> SeatEchoes {
    let mut echoes = ratio_echoes(plan, seat, parts, ratio);
    if let (true, Some(late)) = (parts.late.is_some(), late) {
        echoes.spectrum.iter_mut().zip(late).for_each(|(e, l)| *e += l);
    }
    echoes
}

fn ratio_echoes(
    plan: &SeatPlan,
    seat: &SeatTransmission,
    parts: &SeatParts,
    ratio: Option<&EchoRatio>,
) -> SeatEchoes {
    let n_bands = plan.n_bands;
    let none = SeatEchoes {
        spectrum: vec![Complex::default(); plan.fft.n_bins()],
        unresolved: vec![0.0; n_bands],
        error: vec![0.0; n_bands],
        first_order: 0,
    };
    let (Some(ratio), Some(round_trip_s)) = (ratio, parts.round_trip_s) else { return none };
    let here = turn(plan, &ratio.ratio, -round_trip_s);
    if ratio.from_slots {
        // T/(1 - rho z) - T
        let one = Complex::new(1.0, 0.0);
        let spectrum = parts.direct.iter().zip(&here).map(|(t, r)| t * (one / (one - r) - one));
        // All echoes together carry P/(1 - P) of the direct power; the gain takes some of it.
        let all = |p: f64| p / (1.0 - p);
        let unresolved: Vec<f64> = (0..n_bands)
            .map(|b| {
                let taken = band_power(plan, &ratio.ratio, b).min(MOST_PER_TRIP);
                parts.power[b] * (all(ratio.power[b]) - all(taken)).max(0.0)
            })
            .collect();
        let error = (0..n_bands)
            .map(|b| {
                ratio.error[b] * parts.power[b]
                    + PREDICTED * ratio.power[b].powi(2) * parts.power[b]
            })
            .collect();
        return SeatEchoes { spectrum: spectrum.collect(), unresolved, error, first_order: 1 };
    }
    let Repeats { spectrum, first_order, share } =
        super::repeat::beyond(plan, seat, &here, round_trip_s);
    let error = (0..n_bands)
        .map(|b| {
            let before = ratio.power[b].powi(first_order as i32 - 1);
            let measured = first_order.pow(2) as f64 * before * ratio.error[b];
            share * (measured + PREDICTED * before * ratio.power[b]) * parts.power[b]
        })
        .collect();
    SeatEchoes { spectrum, unresolved: vec![0.0; n_bands], error, first_order }
}

/// Mean square error of an echo that was predicted from the ones before it, relative to its
/// power: a fifth of its amplitude (front and sheet are not quite the same at every angle).
const PREDICTED: f64 = 0.04;

/// Keeps a ratio inside the circle in which the echoes die away.
fn limited(ratio: Complex<f64>) -> Complex<f64> {
    let most = MOST_PER_TRIP.sqrt();
    let size = ratio.norm();
    if size > most { ratio * (most / size) } else { ratio }
}
