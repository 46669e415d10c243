//! Which models the data support.

use super::fit::{ModelFit, fit_all};
use super::kinds::{FitInput, ModelKind};
use super::models::Sheet;
use crate::analysis::loss::shows_loss;
use serde::Serialize;

/// What kind of loss the measured curve shows.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum LossKind {
    /// Flow resistance: nearly the same loss at all frequencies.
    Resistive,
    /// Mass: air in holes or a limp film; loss rises with frequency.
    MassLike,
    /// Both are needed.
    Both,
    /// The data do not tell.
    Untold,
    /// None of the models describes the curve within its uncertainty.
    NoModelFits,
    /// Too few bands, or no loss beyond U.
    NothingToExplain,
}

/// The models held against the data.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Evidence {
    /// Verdict.
    pub kind: LossKind,
    /// Fits, best first.
    pub fits: Vec<ModelFit>,
    /// Akaike weights, in the order of `fits`: how much the data favour each.
    pub weights: Vec<f64>,
    /// Models that the data do not rule out and that are not just another one with something
    /// added, best first.
    pub supported: Vec<ModelKind>,
    /// Why there is nothing to explain.
    #[serde(skip)]
    pub nothing: Option<Nothing>,
}

/// Why there is nothing to explain.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Nothing {
    /// Too few bands carry a loss.
    TooFewBands,
    /// Hardly any band loses more than its uncertainty.
    NoLoss,
}

/// A model this much worse in the corrected Akaike criterion has considerably less support
/// (Burnham & Anderson, Model Selection, 2002, rule of thumb; from memory).
const AICC_RANGE: f64 = 4.0;
/// A misfit less probable than this rules the best model out.
const SMALLEST_P: f64 = 1e-3;

/// Fits all models and says which of them the data support.
pub fn weigh_models(input: &FitInput) -> Evidence {
    let fits = fit_all(input);
    let nothing = |why, fits| Evidence {
        kind: LossKind::NothingToExplain,
        fits,
        weights: Vec::new(),
        supported: Vec::new(),
        nothing: Some(why),
    };
    let Some(best) = fits.first() else {
        return nothing(Nothing::TooFewBands, fits);
    };
    if !shows_loss(&input.bands, &input.loss, input.from_hz) {
        return nothing(Nothing::NoLoss, Vec::new());
    }
    let best_aicc = best.aicc;
    let total: f64 = fits.iter().map(|f| (-0.5 * (f.aicc - best_aicc)).exp()).sum();
    let weights = fits.iter().map(|f| (-0.5 * (f.aicc - best_aicc)).exp() / total).collect();
    let near: Vec<&ModelFit> = fits.iter().filter(|f| f.aicc <= best_aicc + AICC_RANGE).collect();
    let supported: Vec<ModelKind> = near
        .iter()
        .filter(|f| !near.iter().any(|s| s.aicc < f.aicc && holds(f.kind, s.kind)))
        .map(|f| f.kind)
        .collect();
    let kind = if best.p_value < SMALLEST_P {
        LossKind::NoModelFits
    } else {
        verdict(near.iter().copied().filter(|f| supported.contains(&f.kind)))
    };
    Evidence { kind, weights, supported, fits, nothing: None }
}

/// Whether the larger model contains the smaller one as a limit.
fn holds(larger: ModelKind, smaller: ModelKind) -> bool {
    match larger {
        ModelKind::Series | ModelKind::Parallel => {
            matches!(smaller, ModelKind::Resistive | ModelKind::Mass)
        }
        ModelKind::Holes => matches!(smaller, ModelKind::Mass | ModelKind::Resistive),
        ModelKind::Resistive | ModelKind::Mass => false,
    }
}

/// What takes the energy in a fitted sheet.
#[derive(Clone, Copy, PartialEq)]
enum Role {
    Friction,
    Mass,
    Both,
}

fn role(fit: &ModelFit) -> Role {
    match (fit.kind, fit.sheet) {
        (ModelKind::Resistive, _) => Role::Friction,
        (ModelKind::Mass, _) => Role::Mass,
        // Side by side the smaller of the two rules.
        (_, Sheet::Parallel { flow_resistance_pa_s_m, areal_mass_kg_m2 }) => {
            let inertia = |f_hz: f64| std::f64::consts::TAU * f_hz * areal_mass_kg_m2;
            if flow_resistance_pa_s_m > inertia(10_000.0) {
                Role::Mass
            } else if flow_resistance_pa_s_m < inertia(1000.0) {
                Role::Friction
            } else {
                Role::Both
            }
        }
        _ => Role::Both,
    }
}

fn verdict<'a>(supported: impl Iterator<Item = &'a ModelFit>) -> LossKind {
    let roles: Vec<Role> = supported.map(role).collect();
    let all = |of: &[Role]| roles.iter().all(|r| of.contains(r));
    if all(&[Role::Friction]) {
        LossKind::Resistive
    } else if all(&[Role::Both]) {
        LossKind::Both
    } else if all(&[Role::Mass, Role::Both]) {
        LossKind::MassLike
    } else {
        LossKind::Untold
    }
}

#[cfg(test)]
mod tests {
    use super::super::fit::tests::measured;
    use super::super::models::{Gap, Hanging};
    use super::*;

    const SEATS: [f64; 3] = [1.0, 0.98, 0.95];

    fn weigh(front: Sheet, gap_m: Option<f64>, u_db: f64, seed: u64) -> Evidence {
        let gap = gap_m.map(|gap_m| Gap { gap_m, front_reflection: 0.6 });
        weigh_models(&measured(&Hanging { front, backing: None, gap }, &SEATS, u_db, seed))
    }

    #[test]
    fn tells_the_kinds_apart_where_the_data_do() {
        let weave = Sheet::Resistive { flow_resistance_pa_s_m: 90.0 };
        let film = Sheet::Limp { areal_mass_kg_m2: 0.06 };
        let both = Sheet::Series { flow_resistance_pa_s_m: 90.0, areal_mass_kg_m2: 0.05 };
        for gap_m in [None, Some(0.1)] {
            for (sheet, wanted) in
                [(weave, LossKind::Resistive), (film, LossKind::MassLike), (both, LossKind::Both)]
            {
                let right =
                    (0..5).filter(|&seed| weigh(sheet, gap_m, 0.05, seed).kind == wanted).count();
                assert!(right >= 4, "{sheet:?}, gap {gap_m:?}: {right} of 5 as {wanted:?}");
            }
        }
    }

    #[test]
    fn finds_that_the_data_do_not_tell() {
        // Little loss, large U: nothing to tell. A bit more, and mass and friction look alike.
        let faint = Sheet::Series { flow_resistance_pa_s_m: 3.0, areal_mass_kg_m2: 0.001 };
        let told = weigh(faint, None, 0.3, 1);
        assert_eq!((told.kind, told.nothing), (LossKind::NothingToExplain, Some(Nothing::NoLoss)));
        let vague = Sheet::Series { flow_resistance_pa_s_m: 70.0, areal_mass_kg_m2: 0.004 };
        // On the border the answer may fall either way, but never on the wrong kind.
        let told: Vec<Evidence> = (0..8).map(|seed| weigh(vague, None, 0.3, seed)).collect();
        let open = told.iter().filter(|e| e.kind == LossKind::Untold);
        assert!(open.count() >= 2);
        assert!(told.iter().all(|e| e.kind != LossKind::MassLike));
    }

    #[test]
    fn a_curve_of_no_sheet_fits_no_model() {
        let film = Hanging::alone(Sheet::Limp { areal_mass_kg_m2: 0.06 });
        let mut input = measured(&film, &SEATS, 0.05, 3);
        for (i, loss) in input.loss.iter_mut().enumerate() {
            if let Some(loss) = loss {
                loss.value_db += if i % 4 < 2 { 0.6 } else { -0.6 };
            }
        }
        let evidence = weigh_models(&input);
        assert_eq!(evidence.kind, LossKind::NoModelFits, "{evidence:?}");
    }

    #[test]
    fn weights_add_up() {
        let film = Sheet::Limp { areal_mass_kg_m2: 0.06 };
        let evidence = weigh(film, Some(0.1), 0.05, 5);
        assert!((evidence.weights.iter().sum::<f64>() - 1.0).abs() < 1e-12);
        assert_eq!(evidence.weights.len(), evidence.fits.len());
        let json = serde_json::to_string(&evidence).unwrap();
        assert!(json.contains("\"areal_mass_g_m2\"") && json.contains("mass_like"), "{json}");
    }
}
