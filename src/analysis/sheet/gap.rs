//! The air gap between loudspeaker front and sheet, found from the takes alone.
//!
//! Sound that the sheet throws back returns from the loudspeaker's front and passes the
//! sheet `tau = 2 gap cos(theta) / c` later: `H = T / (1 - q R exp(-j w tau))`, with `T` and
//! `R = 1 - T` of a thin sheet and `q` the reflection of the front. The logarithm of `|H|`
//! therefore carries the ripple `q Re(R exp(-j w tau))`.
//!
//! The phase of the ripple says nothing safe: a resistive weave reflects in phase, a mass-like
//! sheet up to 90 degrees ahead, which moves the first notch from `1/(2 tau)` towards
//! `3/(4 tau)`. So the first notch is never used. The spacing decides: for every candidate gap
//! the ripple is fitted with free amplitude and phase, and the gap that explains most, over all
//! seats together, wins. The part of the phase that changes with frequency (a mass-like sheet
//! delays the echo) is taken from the sheet's own transmission.

use super::air::Air;
pub use super::ripple::SeatRatio;
use super::ripple::{Curve, SheetPhase};
use super::scan::{CHI2_MEDIAN, Scan, noise_level};
use serde::Serialize;

/// Where to look.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct GapSearch {
    /// Frequencies to use, Hz.
    pub band_hz: [f64; 2],
    /// Smallest and largest gap, m.
    pub range_m: [f64; 2],
    /// Chance of a false find on noise alone, over the whole range.
    pub false_alarm: f64,
}

impl Default for GapSearch {
    /// 1.2-14 kHz, 0.02-0.5 m, one false find in a thousand.
    fn default() -> Self {
        Self { band_hz: [1200.0, 14_000.0], range_m: [0.02, 0.5], false_alarm: 1e-3 }
    }
}

/// A gap found in the takes.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct GapEstimate {
    /// Gap, m.
    pub gap_m: f64,
    /// Expanded uncertainty, 95 %, m.
    pub u95_m: f64,
    /// Ripple explained at this gap above the median over all gaps, dB.
    pub strength_db: f64,
    /// Chance that noise alone would do as well somewhere in the range.
    pub false_alarm: f64,
    /// Half of the ripple's peak-to-peak height in the loss, dB, mean over band and seats.
    pub ripple_db: f64,
    /// Reflection of the loudspeaker's front that the ripple asks for, if the sheet reflects
    /// what it does not pass; near 0 = soft, 1 = hard wall.
    pub front_reflection: f64,
    /// Phase by which the echo leads the sheet model, degrees; near 0 = the model fits.
    pub phase_lead_deg: f64,
    /// Distance of the ripple's peaks at normal incidence, `c / (2 gap)`, Hz.
    pub spacing_hz: f64,
}

/// Step of the search, m: a ripple over 13 kHz makes a peak 13 mm wide.
const STEP_M: f64 = 0.002;
/// Finds the gap, or `None` when no gap's ripple stands above the noise.
///
/// # Shapes
/// Any number of seats; all spectra share `df_hz`; lengths may differ.
/// # Valid range
/// Gaps in `search.range_m` whose ripple shows at least one and a half periods inside
/// `search.band_hz` (0.02 m does over 13 kHz). Needs 32 averaged bins per seat; a seat with
/// fewer is left out; no seat left gives `None`.
/// # Uncertainty
/// Scatter of leave-one-seat-out estimates (three seats or more), else the curvature of the
/// explained energy; plus half the shift that the sheet's phase causes.
/// # Source
/// Own least-squares form of the cepstral peak; the relation between gap and spacing is that
/// of Everest & Pohlmann, Master Handbook of Acoustics, ch. 10 (peaks every `1/tau`).
pub fn estimate_gap(
    seats: &[SeatRatio],
    df_hz: f64,
    air: &Air,
    search: &GapSearch,
) -> Option<GapEstimate> {
    let [low_m, high_m] = search.range_m;
    if !(df_hz > 0.0 && low_m > 0.0 && high_m > low_m + 4.0 * STEP_M) {
        return None;
    }
    let curves: Vec<Curve> =
        seats.iter().filter_map(|s| Curve::new(s, df_hz, search.band_hz)).collect();
    if curves.is_empty() {
        return None;
    }
    let resolution_m = air.speed_m_s / (2.0 * (search.band_hz[1] - search.band_hz[0]));
    let n_steps = ((high_m - low_m) / STEP_M).round() as usize + 1;
    let gaps: Vec<f64> = (0..n_steps).map(|i| low_m + i as f64 * STEP_M).collect();
    let scan = scan_twice(&curves, &gaps, air)?;
    let total = scan.pooled(None);
    let peak = scan.peak(&total)?;

    // An echo is there at every seat, a wall only at some: the weakest result with one seat
    // left out decides.
    let left_out: Vec<Vec<f64>> = match curves.len() {
        1 => Vec::new(),
        n => (0..n).map(|i| scan.pooled(Some(i))).collect(),
    };
    let strength = |total: &Vec<f64>| {
        noise_scale(total, &gaps, peak, resolution_m).map_or(0.0, |s| total[peak] / s)
    };
    let statistic = left_out.iter().map(strength).fold(strength(&total), f64::min);
    // Two free parameters on noise: chi-squared with two degrees, exceeded by exp(-x/2).
    let n_cells = ((high_m - low_m) / resolution_m).max(1.0);
    let false_alarm = (n_cells * (-0.5 * statistic).exp()).min(1.0);
    if false_alarm > search.false_alarm {
        return None;
    }
    let gap_m = refine(&gaps, &total, peak);
    let found = Some(scan.ripple(&curves, gap_m, air)).filter(|ripple| ripple.is_plausible())?;

    let reach = (resolution_m / STEP_M).ceil() as usize;
    let close = &gaps[peak.saturating_sub(reach)..(peak + reach + 1).min(gaps.len())];
    let model_m = model_u_m(&curves, close, air, gap_m);
    let scatter_m = scatter_m(&gaps, &left_out, peak, reach);
    // A line of band width B and signal-to-noise S is placed to sqrt(3)/(pi B sqrt(S)) in delay
    // (Cramer-Rao bound of a delay with free phase): 0.55 of the resolution over sqrt(S).
    let random_m = scatter_m.max(0.55 * resolution_m / statistic.sqrt());
    Some(GapEstimate {
        gap_m,
        u95_m: 2.0 * random_m.hypot(model_m).hypot(STEP_M / 12f64.sqrt()),
        strength_db: 10.0 * (statistic / CHI2_MEDIAN).log10(),
        false_alarm,
        ripple_db: 20.0 / std::f64::consts::LN_10 * found.strength * found.sheet_rms,
        front_reflection: found.strength,
        phase_lead_deg: found.lead_rad.to_degrees(),
        spacing_hz: air.speed_m_s / (2.0 * gap_m),
    })
}

/// All gaps with the sheet's curve as it is without the ripple: the ripple itself bends that curve, so it
/// is found, taken out, and looked for again. `None` where no ripple stands out at first.
fn scan_twice(curves: &[Curve], gaps: &[f64], air: &Air) -> Option<Scan> {
    let first = Scan::new(curves, gaps, air, SheetPhase::fit(curves, None));
    let first_peak = first.peak(&first.pooled(None))?;
    let ripple = first.ripple(curves, gaps[first_peak], air);
    Some(Scan::new(curves, gaps, air, SheetPhase::fit(curves, Some(&ripple))))
}

/// Standard uncertainty of the gap by what models do not say of the echo's phase, m.
///
/// A quarter of what the sheet's phase moves the gap by, and 2 mm and 0.5 % for fronts and sheets that
/// are no planes and reflect with a phase of their own: simulated sheets that no model describes, or with
/// a backing cloth, are off by 2 to 6 mm.
fn model_u_m(curves: &[Curve], close: &[f64], air: &Air, gap_m: f64) -> f64 {
    let flat = Scan::new(curves, close, air, SheetPhase::FLAT).pooled(None);
    let flat_peak = (1..close.len() - 1).max_by(|&a, &b| flat[a].total_cmp(&flat[b]));
    let flat_gap_m = flat_peak.map_or(gap_m, |at| refine(close, &flat, at));
    let model_m = 0.25 * (flat_gap_m - gap_m).abs();
    model_m.hypot(0.002).hypot(0.005 * gap_m)
}

/// Standard deviation of the gap from what is found with one seat left out (jackknife), m; 0 with fewer
/// than three seats.
fn scatter_m(gaps: &[f64], left_out: &[Vec<f64>], peak: usize, reach: usize) -> f64 {
    if left_out.len() < 3 {
        return 0.0;
    }
    let near = |total: &Vec<f64>| {
        let from = peak.saturating_sub(reach).max(1);
        let to = (peak + reach).min(total.len() - 2);
        let at = (from..=to).max_by(|&a, &b| total[a].total_cmp(&total[b])).unwrap_or(peak);
        refine(gaps, total, at)
    };
    let n = left_out.len() as f64;
    let left_out: Vec<f64> = left_out.iter().map(near).collect();
    let mean = left_out.iter().sum::<f64>() / n;
    ((n - 1.0) / n * left_out.iter().map(|g| (g - mean).powi(2)).sum::<f64>()).sqrt()
}

/// Scale that turns explained energy into chi-squared with two degrees of freedom, from the
/// gaps away from the peak and its double: by the median or by the 90 % point, whichever makes
/// the peak look weaker, since reflections that moved are few and strong.
fn noise_scale(total: &[f64], gaps_m: &[f64], peak: usize, resolution_m: f64) -> Option<f64> {
    let rest: Vec<f64> = total
        .iter()
        .zip(gaps_m)
        .filter(|(_, g)| {
            (1..=2).all(|k| (*g - f64::from(k) * gaps_m[peak]).abs() > 1.5 * resolution_m)
        })
        .map(|(t, _)| *t)
        .collect();
    if rest.len() < 20 {
        return None;
    }
    noise_level(rest)
}

/// The gap to work with: the stated one, unless the takes contradict it or it is not stated.
pub fn choose_gap_m(
    stated_m: Option<f64>,
    found: Option<&GapEstimate>,
    backing: bool,
) -> Option<f64> {
    let stated_m = stated_m.filter(|g| g.is_finite() && *g > 0.0);
    match found {
        Some(found) if compare_gap(stated_m, Some(found), backing).is_some() => Some(found.gap_m),
        _ => stated_m,
    }
}

/// What the installer's tape measure is trusted to, 95 %: 5 mm or 3 %, the larger (own
/// choice: cloth bulges, fronts are not flat).
pub(super) fn stated_u95_m(stated_m: f64) -> f64 {
    (0.03 * stated_m).max(0.005)
}

/// Depth of a sheet with a cloth behind it, m (own choice; up to 12 mm are seen).
const BACKING_M: f64 = 0.01;

/// What is amiss with the stated gap.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum GapDoubt {
    /// None is stated, and the takes show one.
    NotStated,
    /// The takes show another one.
    Differs,
}

/// Holds the found gap against the stated one: in doubt when they differ by more than both
/// uncertainties together, or when none was stated. With nothing found there is nothing to say.
/// With a `backing` cloth there are two sheets that reflect, a few millimetres apart, and the gap
/// is known only to that.
pub fn compare_gap(
    stated_m: Option<f64>,
    found: Option<&GapEstimate>,
    backing: bool,
) -> Option<GapDoubt> {
    let found = found?;
    let Some(stated_m) = stated_m else { return Some(GapDoubt::NotStated) };
    let layers_m = if backing { BACKING_M } else { 0.0 };
    let both_m = found.u95_m.hypot(stated_u95_m(stated_m)).hypot(layers_m);
    let agrees = (found.gap_m - stated_m).abs() <= both_m;
    (!agrees).then_some(GapDoubt::Differs)
}

/// Vertex of the parabola through a maximum and its neighbours.
fn refine(gaps_m: &[f64], total: &[f64], at: usize) -> f64 {
    if at == 0 || at + 1 >= total.len() {
        return gaps_m[at];
    }
    let (l, m, r) = (total[at - 1], total[at], total[at + 1]);
    let bend = l - 2.0 * m + r;
    let shift = if bend < 0.0 { (0.5 * (l - r) / bend).clamp(-0.5, 0.5) } else { 0.0 };
    gaps_m[at] + shift * STEP_M
}

#[cfg(test)]
mod tests;
