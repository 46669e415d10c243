//! Everything about the sheet's kind of loss, put together for the result document.

use super::air::Air;
use super::choice::{Evidence, weigh_models};
use super::gap::{GapDoubt, GapEstimate, choose_gap_m, compare_gap, stated_u95_m};
use super::kinds::FitInput;
use super::stated::{StatedComparison, compare_stated, stated_sheet};
use crate::analysis::loss::LossTable;
use crate::ingest::manifest::ScreenInfo;
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
    /// What is amiss with the stated one.
    #[serde(skip)]
    pub doubt: Option<GapDoubt>,
}

/// Direct figures start here (the headline loss is that of the direct sound from 500 Hz up).
const FROM_HZ: f64 = 490.0;

/// Explains the mean loss of a session.
///
/// `cos_theta`: one per seat with a position, empty if none has; `found` the gap seen in the
/// takes. Where the stated gap is missing or contradicted, the found one is used.
pub fn explain_loss(
    table: &LossTable,
    screen: &ScreenInfo,
    cos_theta: &[f64],
    found: Option<&GapEstimate>,
    air: &Air,
) -> SheetFinding {
    let stated_m = screen.gap_m.filter(|g| g.is_finite() && *g > 0.0);
    let used_m = choose_gap_m(stated_m, found, screen.backing);
    let doubt = compare_gap(stated_m, found, screen.backing);
    let gap = GapFinding { stated_m, found: found.copied(), used_m, doubt };
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
    SheetFinding { evidence, stated, gap }
}

#[cfg(test)]
mod tests {
    use super::super::choice::LossKind;
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
        let gap = explain(Some(0.15), Some(found(0.1))).gap;
        assert_eq!((gap.used_m, gap.doubt), (Some(0.1), Some(GapDoubt::Differs)));
        let finding = explain(Some(0.1), Some(found(0.101)));
        assert_eq!((finding.gap.used_m, finding.gap.doubt), (Some(0.1), None));
        assert_eq!(finding.evidence.kind, LossKind::MassLike);
        assert_eq!(explain(None, Some(found(0.1))).gap.used_m, Some(0.1));
        assert_eq!(explain(None, None).gap.used_m, None);
        assert_eq!(finding.stated, None);
    }

    #[test]
    fn the_finding_is_plain_json() {
        let truth = Hanging::alone(Sheet::Resistive { flow_resistance_pa_s_m: 100.0 });
        let table = table(&measured(&truth, &[1.0], 0.05, 3));
        let finding = explain_loss(&table, &screen(None), &[], None, &Air::AT_20_C);
        let json = serde_json::to_value(&finding).unwrap();
        assert_eq!(json["evidence"]["kind"], "resistive");
        assert_eq!(json["gap"]["used_m"], serde_json::Value::Null);
    }
}
