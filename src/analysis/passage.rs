//! What passes to each seat, as spectra: the sheet and the echoes behind it together.

use super::joint::front::Front;
use super::joint::{Assumption, Joint, Spectrum};
use crate::transfer::seat::{SeatPlan, SeatTransmission};
use realfft::num_complex::Complex;

/// Transmission to one seat.
#[derive(Debug, Clone)]
pub struct SeatPassage {
    /// Mean over its pairs of takes.
    pub total: Spectrum,
    /// The same by each take with the screen (mean over those without), where there are several.
    pub by_with: Vec<Spectrum>,
    /// The same by each take without the screen.
    pub by_without: Vec<Spectrum>,
    /// Mean over its pairs under other assumptions.
    pub others: Vec<(Assumption, Spectrum)>,
    /// Power per bin of the echoes that are expected beyond the ones found: a front that is
    /// not known well is found too small. Empty without echoes.
    pub unresolved: Vec<f64>,
    /// Power of the sheet's own transmission, third-octave bands.
    pub own_power: Vec<f64>,
    /// Mean square error of what the echoes add to the transmission, third-octave bands.
    pub echo_error: Vec<f64>,
    /// Order of the first echo that the taps do not hold; 0 without echoes.
    pub first_order: usize,
}

/// Spectra of a seat from what was fitted.
pub fn seat_passage(
    plan: &SeatPlan,
    seat: &SeatTransmission,
    joint: &Joint,
    at: usize,
    backing: bool,
) -> SeatPassage {
    let fit = &joint.seats[at];
    let front = joint.front.as_ref();
    let ratio = fit.ratio(&plan.fft, plan.step_hz(), front);
    let [n_without, n_with] = seat.takes;
    let all: Vec<usize> = (0..seat.pairs.len()).collect();
    let of = |groups: Vec<Vec<usize>>| -> Vec<Spectrum> {
        groups.iter().map(|g| fit.transmission(plan, ratio.as_ref(), g)).collect()
    };
    let own = fit.transmission(plan, None, &all);
    let own_power: Vec<f64> = (0..plan.n_bands).map(|b| band_power(plan, &own, b)).collect();
    let mut unresolved = Vec::new();
    let (echo_error, first_order) = match (front, fit.round_trip_s, &ratio) {
        (Some(front), Some(round_trip_s), Some(ratio)) => {
            let inside = (seat.timing.end_s / round_trip_s).floor();
            let reflection = fit.reflector.reflection(&plan.fft, plan.step_hz());
            if inside < 1.0 {
                let variance: Vec<f64> =
                    (0..plan.n_bands).map(|b| front.variance(plan.band_mid_hz(b))).collect();
                let bins = plan.per_bin(&variance).into_iter().zip(&own).zip(&reflection);
                unresolved = bins.map(|((v, t), r)| v * t.norm_sqr() * r.norm_sqr()).collect();
            }
            let error = echo_error(
                plan,
                front,
                &reflection,
                ratio,
                inside,
                if backing { BACKED } else { NOT_THIN },
            );
            (error.iter().zip(&own_power).map(|(e, p)| e * p).collect(), inside as usize + 1)
        }
        _ => (vec![0.0; plan.n_bands], 0),
    };
    SeatPassage {
        total: fit.transmission(plan, ratio.as_ref(), &all),
        others: joint
            .others
            .iter()
            .map(|(assumption, other)| {
                let fit = &other.seats[at];
                let ratio = fit.ratio(&plan.fft, plan.step_hz(), other.front.as_ref());
                (*assumption, fit.transmission(plan, ratio.as_ref(), &all))
            })
            .collect(),
        by_with: of(rows(n_without, n_with)),
        by_without: of(columns(n_without, n_with)),
        unresolved,
        own_power,
        echo_error,
        first_order,
    }
}

/// Mean square error of an echo, relative to its power, because no sheet is quite thin, flat
/// and alike at every angle: 5 % of its amplitude ...
const NOT_THIN: f64 = 0.0025;
/// ... and with a backing some way behind it, which is no thin sheet, 15 %.
const BACKED: f64 = 0.0225;

/// Mean square error of the echoes from the order `inside + 1` on, relative to the sheet's own
/// power: the error of the front times what the sheet reflects.
fn echo_error(
    plan: &SeatPlan,
    front: &Front,
    reflection: &[Complex<f64>],
    ratio: &[Complex<f64>],
    inside: f64,
    not_thin: f64,
) -> Vec<f64> {
    let df_hz = plan.step_hz();
    (0..plan.n_bands)
        .map(|b| {
            let reflected = band_power(plan, reflection, b);
            let returned = band_power(plan, ratio, b).min(0.9);
            let mid_hz = (plan.band_mid_hz(b) / df_hz).round() * df_hz;
            let first = reflected * front.variance(mid_hz) + not_thin * returned;
            (inside + 1.0).powi(2) * returned.powf(inside) * first
        })
        .collect()
}

/// Pairs that share a take with the screen, one group for each such take.
fn rows(n_without: usize, n_with: usize) -> Vec<Vec<usize>> {
    (0..n_with).map(|w| (w * n_without..(w + 1) * n_without).collect()).collect()
}

/// Pairs that share a take without the screen.
fn columns(n_without: usize, n_with: usize) -> Vec<Vec<usize>> {
    (0..n_without).map(|o| (o..n_without * n_with).step_by(n_without).collect()).collect()
}

/// Mean power of a spectrum in a band (third octave, then fine).
pub fn band_power(plan: &SeatPlan, spectrum: &[Complex<f64>], band: usize) -> f64 {
    plan.bins.mean(band, |k| spectrum[k].norm_sqr())
}

/// Mean of each band and its neighbours; the end bands count twice in their own mean.
pub fn smooth_bands(x: &[f64]) -> Vec<f64> {
    let n = x.len();
    (0..n).map(|i| (x[i.saturating_sub(1)] + x[i] + x[(i + 1).min(n - 1)]) / 3.0).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn pairs_are_grouped_by_their_takes() {
        // Two takes without, three with; pair w * 2 + o.
        assert_eq!(rows(2, 3), [vec![0, 1], vec![2, 3], vec![4, 5]]);
        assert_eq!(columns(2, 3), [vec![0, 2, 4], vec![1, 3, 5]]);
    }
}
