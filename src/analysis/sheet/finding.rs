//! Everything about the sheet's kind of loss, put together for the result document.

use super::air::Air;
use super::choice::{Evidence, LossKind, weigh_models};
use super::fit::FitInput;
use super::gap::{GapEstimate, choose_gap_m, compare_gap, stated_u95_m};
use super::stated::{StatedComparison, compare_stated, stated_sheet};
use crate::analysis::loss::LossTable;
use crate::ingest::manifest::ScreenInfo;
use crate::warning::{Topic, Warning};
use serde::Serialize;

/// What kind of loss, which gap, and whether the sheet is the one described.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SheetFinding {
    /// Models against data.
    pub evidence: Evidence,
    /// Stated sheet data against the measured loss, where the data make a sheet.
    pub stated: Option<StatedComparison>,
    /// The gap.
    pub gap: GapFinding,
}

/// Stated and found gap.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct GapFinding {
    /// As in the manifest, m.
    pub stated_m: Option<f64>,
    /// From the takes.
    pub found: Option<GapEstimate>,
    /// The one the models were fitted with, m.
    pub used_m: Option<f64>,
    /// In words.
    pub statement: String,
}

/// Direct figures start here (the headline loss is that of the direct sound from 500 Hz up).
const FROM_HZ: f64 = 490.0;

/// Explains the mean loss of a session.
///
/// `cos_theta`: one per seat with a position, empty if none has; `found` the gap seen in the
/// takes. Where the stated gap is missing or contradicted, the found one is used.
/// Warnings: [`Topic::Gap`] by [`compare_gap`], [`Topic::Sheet`] when the measured loss is not
/// that of the stated sheet or no model fits.
pub fn explain_loss(
    table: &LossTable,
    screen: &ScreenInfo,
    cos_theta: &[f64],
    found: Option<&GapEstimate>,
    air: &Air,
) -> (SheetFinding, Vec<Warning>) {
    let stated_m = screen.gap_m.filter(|g| g.is_finite() && *g > 0.0);
    let gap_warning = compare_gap(stated_m, found, screen.backing);
    let used_m = choose_gap_m(stated_m, found, screen.backing);
    let gap = GapFinding {
        stated_m,
        found: found.copied(),
        used_m,
        statement: say_gap(stated_m, found, gap_warning.is_some()),
    };
    let input = FitInput {
        bands: table.bands.clone(),
        loss: table.mean.loss.clone(),
        cos_theta: cos_theta.to_vec(),
        gap_m: used_m,
        // A stated gap that the takes confirm is known at least as well as they show it.
        gap_u_m: match found {
            Some(found) => 0.5 * found.u95_m,
            None => 0.5 * stated_u95_m(used_m.unwrap_or(0.0)),
        },
        air: *air,
        from_hz: FROM_HZ,
    };
    let evidence = weigh_models(&input);
    let stated =
        stated_sheet(screen).and_then(|s| compare_stated(s, &input, evidence.fits.first()));
    let mut warnings: Vec<Warning> = gap_warning.into_iter().collect();
    if evidence.kind == LossKind::NoModelFits {
        warnings.push(sheet_warning(
            evidence.statement[0].clone(),
            "Look at the takes' own warnings first; a sheet that touches the loudspeaker or a \
             frame in the way does this too.",
        ));
    }
    if let Some(comparison) = stated.as_ref().filter(|c| !c.agrees) {
        warnings.push(sheet_warning(
            comparison.statement[..2].join(" "),
            "Ask the supplier whether this is the sheet that was ordered, and which side faces \
             the room.",
        ));
    }
    (SheetFinding { evidence, stated, gap }, warnings)
}

fn sheet_warning(message: String, advice: &str) -> Warning {
    Warning { topic: Topic::Sheet, seat: None, take: None, message, advice: advice.into() }
}

fn say_gap(stated_m: Option<f64>, found: Option<&GapEstimate>, differs: bool) -> String {
    match (stated_m, found) {
        (None, None) => {
            "No gap is stated, and no echo between sheet and loudspeaker stands out.".into()
        }
        (Some(s), None) => {
            format!("Stated gap {:.0} mm; no echo stands out that could confirm it.", s * 1e3)
        }
        (None, Some(f)) => format!(
            "The echoes put the sheet {:.0} ± {:.0} mm in front of the loudspeaker.",
            f.gap_m * 1e3,
            (f.u95_m * 1e3).max(1.0)
        ),
        (Some(s), Some(f)) => format!(
            "Stated gap {:.0} mm, from the echoes {:.0} ± {:.0} mm: {}.",
            s * 1e3,
            f.gap_m * 1e3,
            (f.u95_m * 1e3).max(1.0),
            if differs { "they do not agree" } else { "they agree" }
        ),
    }
}

#[cfg(test)]
mod tests {
    use super::super::fit::tests::measured;
    use super::super::models::{Gap, Hanging, Sheet};
    use super::*;
    use crate::analysis::loss::MeanLoss;

    fn table(input: &FitInput) -> LossTable {
        let n = input.bands.len();
        LossTable {
            bands: input.bands.clone(),
            fine_hz: Vec::new(),
            seats: Vec::new(),
            mean: MeanLoss {
                loss: input.loss.clone(),
                sd_db: vec![None; n],
                range_db: vec![None; n],
                fine_db: Vec::new(),
            },
        }
    }

    fn screen(gap_m: Option<f64>) -> ScreenInfo {
        toml::from_str(&gap_m.map_or(String::new(), |g| format!("gap_m = {g}"))).unwrap()
    }

    fn found(gap_m: f64) -> GapEstimate {
        GapEstimate {
            gap_m,
            u95_m: 0.002,
            strength_db: 20.0,
            false_alarm: 1e-9,
            ripple_db: 1.0,
            front_reflection: 0.6,
            phase_lead_deg: 0.0,
            spacing_hz: 343.2 / 2.0 / gap_m,
        }
    }

    #[test]
    fn a_contradicted_gap_is_replaced_and_told() {
        let truth = Hanging {
            front: Sheet::Limp { areal_mass_kg_m2: 0.06 },
            backing: None,
            gap: Some(Gap { gap_m: 0.1, front_reflection: 0.6 }),
        };
        let table = table(&measured(&truth, &[1.0], 0.05, 2));
        let air = Air::AT_20_C;
        let explain = |stated, found: Option<GapEstimate>| {
            explain_loss(&table, &screen(stated), &[1.0], found.as_ref(), &air)
        };
        let (finding, warnings) = explain(Some(0.15), Some(found(0.1)));
        assert_eq!(finding.gap.used_m, Some(0.1));
        assert!(warnings.iter().any(|w| w.topic == Topic::Gap), "{warnings:?}");
        assert!(finding.gap.statement.contains("do not agree"));
        let (finding, warnings) = explain(Some(0.1), Some(found(0.101)));
        assert_eq!((finding.gap.used_m, warnings.len()), (Some(0.1), 0), "{warnings:?}");
        assert_eq!(finding.evidence.kind, LossKind::MassLike);
        assert_eq!(explain(None, Some(found(0.1))).0.gap.used_m, Some(0.1));
        assert_eq!(explain(None, None).0.gap.used_m, None);
        assert_eq!(finding.stated, None);
    }

    #[test]
    fn the_finding_is_plain_json() {
        let truth = Hanging::alone(Sheet::Resistive { flow_resistance_pa_s_m: 100.0 });
        let table = table(&measured(&truth, &[1.0], 0.05, 3));
        let (finding, _) = explain_loss(&table, &screen(None), &[], None, &Air::AT_20_C);
        let json = serde_json::to_value(&finding).unwrap();
        assert_eq!(json["evidence"]["kind"], "resistive");
        assert_eq!(json["gap"]["used_m"], serde_json::Value::Null);
    }
}
