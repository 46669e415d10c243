//! Fit of the sheet models to the measured loss, with intervals for every parameter.
//!
//! Parameters are fitted as logarithms, so they stay positive. Two things that are not the
//! sheet's are fitted along: a level offset common to all bands (as far as the uncertainty
//! allows one) and, where the gap is known, the reflection of the loudspeaker's front, because
//! the measured curve holds the power of the echoes.

use super::air::Air;
use super::kinds::{FitInput, ModelKind, Quantity};
use super::models::{Hanging, Sheet};
use super::solve::Setup;
use super::starts::starts;
use crate::units::ThirdOctave;
use nalgebra::{DMatrix, DVector};
use rayon::prelude::*;
use serde::Serialize;
use statrs::distribution::{ChiSquared, ContinuousCDF, StudentsT};

/// A parameter with its 95 % interval.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Parameter {
    /// What.
    pub quantity: Quantity,
    /// Best value; absent when the data only bound it.
    pub value: Option<f64>,
    /// Lower end of the 95 % interval; absent when there is none.
    pub low: Option<f64>,
    /// Upper end of the 95 % interval; absent when there is none.
    pub high: Option<f64>,
}

/// One model fitted.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ModelFit {
    /// Which.
    pub kind: ModelKind,
    /// The sheet with the best values.
    pub sheet: Sheet,
    /// Parameters with intervals.
    pub parameters: Vec<Parameter>,
    /// Level offset that the fit took out, dB (positive = measured loss too large).
    pub offset_db: f64,
    /// Reflection of the loudspeaker's front, where the gap is known.
    pub front_reflection: Option<f64>,
    /// Sum of squares over the uncertainty.
    pub chi2: f64,
    /// Bands used, less free parameters of the sheet.
    pub dof: usize,
    /// Chance of a misfit at least as large if the model is right.
    pub p_value: f64,
    /// Corrected Akaike criterion; smaller is better.
    pub aicc: f64,
    /// Bayes criterion; smaller is better.
    pub bic: f64,
    /// Gap that fits best within its uncertainty, m, where it is known.
    pub gap_m: Option<f64>,
    /// Fitted loss per band of the input (offset left out), dB; absent where the band was not
    /// used.
    pub loss_db: Vec<Option<f64>>,
    /// Root mean square of measured less fitted over the bands used, dB.
    pub misfit_db: f64,
}

/// Fits all models, best first by the corrected Akaike criterion; empty with fewer than eight
/// usable bands. Models that are out of the race get no limits for parameters that they do not
/// determine.
///
/// # Method
/// Levenberg-Marquardt (MINPACK form) from several starts. Weights: half the variance that all
/// seats share counts as a common offset, the rest as independent from band to band, plus
/// 0.05 dB (0.08 dB with a gap) for the model itself. Intervals: linear in the logarithm, Student t, widened by the root of the reduced
/// chi-squared where that is above 1; a parameter that is not determined (standard uncertainty
/// above a factor e, or at the end of its range) gets only the limit at which chi-squared has
/// risen by the 95 % point.
pub fn fit_all(input: &FitInput) -> Vec<ModelFit> {
    let Some(setup) = Setup::new(input) else { return Vec::new() };
    let mut fits: Vec<(ModelFit, DVector<f64>)> =
        ModelKind::ALL.into_par_iter().filter_map(|kind| best_fit(input, &setup, kind)).collect();
    fits.sort_by(|a, b| a.0.aicc.total_cmp(&b.0.aicc));
    let Some(best) = fits.first().map(|f| f.0.aicc) else { return Vec::new() };
    fits.par_iter_mut()
        .filter(|(fit, _)| fit.aicc < best + OUT_OF_RACE)
        .for_each(|(fit, p)| bound_parameters(&setup, fit, p));
    fits.into_iter().map(|(fit, _)| fit).collect()
}

/// Models this much worse in the corrected Akaike criterion are out of the race: odds of
/// `exp(-10)` or 1 to 22 000.
const OUT_OF_RACE: f64 = 20.0;

/// Limits for parameters without a value of their own.
fn bound_parameters(setup: &Setup, fit: &mut ModelFit, p: &DVector<f64>) {
    let scale = (fit.chi2 / fit.dof as f64).max(1.0);
    let (kind, cost) = (fit.kind, fit.chi2);
    for (i, quantity) in kind.parameters().iter().enumerate() {
        let open = fit.parameters.iter_mut().find(|q| q.quantity == *quantity);
        if let Some(parameter) = open.filter(|q| q.value.is_none()) {
            parameter.low = setup.limit(kind, p, cost, scale, i, -1.0);
            parameter.high = setup.limit(kind, p, cost, scale, i, 1.0);
        }
    }
}

/// One model at its best values, without limits for what it does not determine.
fn best_fit(input: &FitInput, setup: &Setup, kind: ModelKind) -> Option<(ModelFit, DVector<f64>)> {
    let n_sheet = kind.parameters().len();
    let all: Vec<usize> = (0..n_sheet + setup.n_nuisance()).collect();
    let best = starts(setup, kind)
        .into_iter()
        .map(|start| setup.minimise(kind, start, &all))
        .min_by(|a, b| a.1.total_cmp(&b.1))?;
    let (p, cost) = best;
    let n = setup.measured_db.len();
    let dof = n - n_sheet;
    let scale = (cost / dof as f64).max(1.0);
    let covariance = setup.covariance(kind, &p, scale);
    let student = StudentsT::new(0.0, 1.0, dof as f64).ok()?.inverse_cdf(0.975);

    let mut parameters =
        determined(kind, input.air.density_kg_m3, &p, covariance.as_ref(), student);
    parameters.push(corner(setup, kind, &p, covariance.as_ref(), student));

    let sheet = kind.sheet_at(p.as_slice());
    let echo = setup.front_and_gap(&p, n_sheet);
    let offset_db = p[n_sheet] * setup.offset_sd_db;
    // The nuisances are held by what is known of them beforehand and are the same for all
    // models: only the sheet's parameters count.
    let k = n_sheet as f64;
    let n_data = n as f64;
    let fitted = setup.model_db(kind, &p);
    let loss_db = input
        .bands
        .iter()
        .map(|band| setup.bands.iter().position(|b| b == band).map(|at| fitted[at] - offset_db))
        .collect();
    let misfit = setup.measured_db.iter().zip(&fitted).map(|(m, f)| (m - f).powi(2)).sum::<f64>();
    let fit = ModelFit {
        kind,
        sheet,
        parameters,
        offset_db,
        front_reflection: echo.map(|e| e[0]),
        gap_m: echo.map(|e| e[1]),
        chi2: cost,
        dof,
        p_value: ChiSquared::new(dof as f64).ok()?.sf(cost),
        aicc: cost + 2.0 * k + 2.0 * k * (k + 1.0) / (n_data - k - 1.0),
        bic: cost + k * n_data.ln(),
        loss_db,
        misfit_db: (misfit / n_data).sqrt(),
    };
    Some((fit, p))
}

/// Parameters of a model at its best values, with limits for those that are determined.
fn determined(
    kind: ModelKind,
    density_kg_m3: f64,
    p: &DVector<f64>,
    covariance: Option<&DMatrix<f64>>,
    student: f64,
) -> Vec<Parameter> {
    let mut parameters = Vec::new();
    for (i, &quantity) in kind.parameters().iter().enumerate() {
        let [low, high] = quantity.bounds();
        let sd = covariance.map_or(f64::INFINITY, |c| c[(i, i)].sqrt());
        let value = quantity.value_at(p[i]);
        let inside = value > 1.02 * low && value < 0.98 * high;
        parameters.push(if inside && sd < 1.0 {
            Parameter {
                quantity,
                value: Some(value),
                low: Some(value * (-student * sd).exp()),
                high: Some(value * (student * sd).exp()),
            }
        } else {
            Parameter { quantity, value: None, low: None, high: None }
        });
    }
    if kind == ModelKind::Mass {
        // The same curve read as holes: t' / sigma = m / rho.
        let per_density = |x: Option<f64>| x.map(|m| m / density_kg_m3);
        let mass = parameters[0];
        parameters.push(Parameter {
            quantity: Quantity::EffectiveLength,
            value: per_density(mass.value),
            low: per_density(mass.low),
            high: per_density(mass.high),
        });
    }
    parameters
}

/// Mean over the seats of each band's loss, dB.
pub fn mean_band_loss_db(
    hanging: &Hanging,
    bands: &[ThirdOctave],
    cos_theta: &[f64],
    air: &Air,
) -> Vec<f64> {
    let cos_theta = if cos_theta.is_empty() { &[1.0] } else { cos_theta };
    bands
        .iter()
        .map(|&band| {
            let sum: f64 = cos_theta.iter().map(|&c| hanging.band_loss(band, c, air).0).sum();
            sum / cos_theta.len() as f64
        })
        .collect()
}

/// Corner frequency with interval, by the linear propagation of the parameters' covariance.
fn corner(
    setup: &Setup,
    kind: ModelKind,
    p: &DVector<f64>,
    covariance: Option<&DMatrix<f64>>,
    student: f64,
) -> Parameter {
    let log_corner =
        |p: &[f64]| Hanging::alone(kind.sheet_at(p)).corner_hz(&setup.air).map(f64::ln);
    let none = Parameter { quantity: Quantity::Corner, value: None, low: None, high: None };
    let Some(value) = log_corner(p.as_slice()) else { return none };
    let mut gradient = Vec::new();
    for i in 0..kind.parameters().len() {
        let mut moved = p.clone();
        moved[i] += 1e-3;
        gradient.push(log_corner(moved.as_slice()).map_or(f64::INFINITY, |m| (m - value) / 1e-3));
    }
    let variance = covariance.map_or(f64::INFINITY, |c| {
        let n = gradient.len();
        (0..n)
            .flat_map(|i| (0..n).map(move |j| (i, j)))
            .map(|(i, j)| gradient[i] * c[(i, j)] * gradient[j])
            .sum()
    });
    let sd = variance.max(0.0).sqrt();
    let known = sd.is_finite() && sd < 1.0;
    Parameter {
        quantity: Quantity::Corner,
        value: Some(value.exp()),
        low: known.then(|| (value - student * sd).exp()),
        high: known.then(|| (value + student * sd).exp()),
    }
}

#[cfg(test)]
pub(crate) mod tests;
