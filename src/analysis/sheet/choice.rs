//! Which models the data support, in numbers and in words.

use super::fit::{FitInput, ModelFit, ModelKind, Parameter, Quantity, fit_all};
use super::models::Sheet;
use crate::analysis::loss::shows_loss;
use crate::words::list_words;
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
    /// The verdict and its numbers, one sentence each.
    pub statement: Vec<String>,
}

/// A model this much worse in the corrected Akaike criterion has considerably less support
/// (Burnham & Anderson, Model Selection, 2002, rule of thumb; from memory).
const AICC_RANGE: f64 = 4.0;
/// A misfit less probable than this rules the best model out.
const SMALLEST_P: f64 = 1e-3;

/// Fits all models and says which of them the data support.
pub fn weigh_models(input: &FitInput) -> Evidence {
    let fits = fit_all(input);
    let nothing = |sentence: &str, fits| Evidence {
        kind: LossKind::NothingToExplain,
        fits,
        weights: Vec::new(),
        supported: Vec::new(),
        statement: vec![sentence.into()],
    };
    let Some(best) = fits.first() else {
        return nothing(
            "Too few bands carry a loss: what kind of loss it is cannot be told.",
            fits,
        );
    };
    if !shows_loss(&input.bands, &input.loss, input.from_hz) {
        return nothing(
            "Hardly any band loses more than its uncertainty: there is no loss to explain.",
            Vec::new(),
        );
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
    let statement = describe(kind, &supported, &fits, input);
    Evidence { kind, weights, supported, statement, fits }
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

fn describe(
    kind: LossKind,
    supported: &[ModelKind],
    fits: &[ModelFit],
    input: &FitInput,
) -> Vec<String> {
    let best = &fits[0];
    let friction_open = supported.contains(&ModelKind::Mass) && supported.len() > 1;
    let mut out = Vec::new();
    match kind {
        LossKind::Resistive => out.push(
            "The loss is that of flow resistance: nearly the same from 500 Hz up, as of a weave \
             that air passes through."
                .into(),
        ),
        LossKind::MassLike => {
            out.push(
                "The loss grows with frequency as that of a mass: air that must be moved in \
                 holes, or a limp film. Sound alone cannot tell these two apart."
                    .into(),
            );
            if friction_open {
                out.push("Whether friction takes part, the data do not tell.".into());
            }
        }
        LossKind::Both => out.push(
            "Friction and mass together make the loss: friction takes nearly the same from 500 Hz \
             up, mass more the higher the frequency."
                .into(),
        ),
        LossKind::Untold => {
            let names: Vec<String> = supported.iter().map(|k| name(*k).to_owned()).collect();
            out.push(format!(
                "The data do not tell what kind of loss this is: {} describe them equally well \
                 within the uncertainty.",
                list_words(&names)
            ));
        }
        LossKind::NoModelFits => out.push(format!(
            "None of the sheet models describes the curve within its uncertainty: even the best \
             ({}) misses it by {:.2} dB rms. The parameters below are for orientation only.",
            name(best.kind),
            best.misfit_db
        )),
        LossKind::NothingToExplain => {}
    }
    if kind != LossKind::Untold {
        out.extend(best.parameters.iter().filter_map(say));
        out.extend(hidden(best.kind, fits));
        if best.parameters.iter().all(|p| p.quantity != Quantity::Corner || p.value.is_none()) {
            out.push("Half the power (3 dB) is not lost anywhere below 80 kHz.".into());
        }
    }
    if best.offset_db.abs() > 0.1 {
        out.push(format!(
            "The curve as a whole lies {:.1} dB {} than the model; a level difference between the \
             takes would do that.",
            best.offset_db.abs(),
            if best.offset_db > 0.0 { "higher" } else { "lower" }
        ));
    }
    if input.gap_m.is_none() {
        out.push(
            "The gap is not known, so echoes between sheet and loudspeaker count as loss of \
                  the sheet here."
                .into(),
        );
    }
    out
}

/// What the simple model leaves out and how much of it the data still allow.
fn hidden(best: ModelKind, fits: &[ModelFit]) -> Option<String> {
    let other = match best {
        ModelKind::Resistive => Quantity::ArealMass,
        ModelKind::Mass => Quantity::FlowResistance,
        _ => return None,
    };
    let both = fits.iter().find(|f| f.kind == ModelKind::Series)?;
    let high = both.parameters.iter().find(|p| p.quantity == other)?.high?;
    let (what, unit) = other.words();
    Some(format!("Up to {} {unit} of {what} could hide beside it.", round(high)))
}

fn name(kind: ModelKind) -> &'static str {
    match kind {
        ModelKind::Resistive => "flow resistance alone",
        ModelKind::Mass => "mass alone",
        ModelKind::Series => "flow resistance and mass in series",
        ModelKind::Parallel => "a cloth that lets air through and yields",
        ModelKind::Holes => "holes with friction at their walls",
    }
}

/// One parameter as a sentence; `None` when the data say nothing about it.
fn say(p: &Parameter) -> Option<String> {
    let (what, unit) = p.quantity.words();
    let what = format!("{}{}", what[..1].to_uppercase(), &what[1..]);
    match (p.value, p.low, p.high) {
        (Some(v), Some(low), Some(high)) => {
            let (scale, unit) =
                if unit == "Hz" && v >= 1000.0 { (1e-3, "kHz") } else { (1.0, unit) };
            let digits = interval_decimals(scale * (high - low));
            let [v, low, high] = [v, low, high].map(|x| format!("{:.digits$}", scale * x));
            Some(format!("{what}: {v} {unit} (95 % interval {low} to {high})."))
        }
        (Some(v), ..) => Some(format!("{what}: about {} {unit}.", round(v))),
        (None, None, Some(high)) => Some(format!("{what}: at most {} {unit}.", round(high))),
        (None, Some(low), None) => Some(format!("{what}: at least {} {unit}.", round(low))),
        (None, Some(low), Some(high)) => {
            Some(format!("{what}: between {} and {} {unit}.", round(low), round(high)))
        }
        (None, None, None) => None,
    }
}

/// Decimals of a figure whose 95 % interval is so wide: its half is told with one digit, with two
/// where the first is 1 or 2 (common practice with uncertainties).
fn interval_decimals(width: f64) -> usize {
    let half = 0.5 * width.abs();
    if half <= 0.0 || !half.is_finite() {
        return 2;
    }
    let place = half.log10().floor();
    let first = half / 10f64.powf(place);
    (f64::from(u8::from(first < 3.0)) - place).clamp(0.0, 3.0) as usize
}

/// Three significant digits, for people.
pub(crate) fn round(value: f64) -> String {
    if value == 0.0 || !value.is_finite() {
        return format!("{value}");
    }
    let digits = 2 - value.abs().log10().floor() as i32;
    if digits > 0 {
        format!("{value:.*}", digits as usize)
    } else {
        let unit = 10f64.powi(-digits);
        format!("{:.0}", (value / unit).round() * unit)
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
    fn says_that_the_data_do_not_tell() {
        // Little loss, large U: nothing to tell. A bit more, and mass and friction look alike.
        let faint = Sheet::Series { flow_resistance_pa_s_m: 3.0, areal_mass_kg_m2: 0.001 };
        let told = weigh(faint, None, 0.3, 1);
        assert_eq!(told.kind, LossKind::NothingToExplain, "{:?}", told.statement);
        let vague = Sheet::Series { flow_resistance_pa_s_m: 70.0, areal_mass_kg_m2: 0.004 };
        // On the border the answer may fall either way, but never on the wrong kind.
        let told: Vec<Evidence> = (0..8).map(|seed| weigh(vague, None, 0.3, seed)).collect();
        let open = told.iter().filter(|e| e.kind == LossKind::Untold);
        assert!(open.clone().all(|e| e.statement[0].contains("do not tell")));
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
        assert_eq!(evidence.kind, LossKind::NoModelFits, "{:?}", evidence.statement);
    }

    #[test]
    fn weights_add_up_and_sentences_hold_the_numbers() {
        let film = Sheet::Limp { areal_mass_kg_m2: 0.06 };
        let evidence = weigh(film, Some(0.1), 0.05, 5);
        assert!((evidence.weights.iter().sum::<f64>() - 1.0).abs() < 1e-12);
        assert_eq!(evidence.weights.len(), evidence.fits.len());
        let text = evidence.statement.join(" ");
        assert!(text.contains("Areal mass: ") && text.contains("g/m²"), "{text}");
        assert!(!text.contains("NaN") && !text.contains("inf"), "{text}");
        let json = serde_json::to_string(&evidence).unwrap();
        assert!(json.contains("\"areal_mass_g_m2\"") && json.contains("mass_like"), "{json}");
    }

    #[test]
    fn numbers_for_people() {
        for (value, want) in
            [(48.26, "48.3"), (0.01234, "0.0123"), (8135.7, "8140"), (3.0, "3.00"), (123.4, "123")]
        {
            assert_eq!(round(value), want);
        }
    }
}
