//! The measured loss against what thin-sheet theory and the stated data say.

use super::bands::{at_bands, band_axis, mean_curve};
use super::colors::PALETTE;
use super::figure::{Figure, Mark};
use super::series::{Series, Style};
use crate::analysis::sheet::kinds::ModelKind;
use crate::ingest::manifest::DisplayUnits;
use crate::report::result::SessionResult;
use crate::report::words;
use crate::report::words::sheet::{SheetResult, evidence_statement, kind_sentence};
use crate::words::signed;

/// Up to this many fitted models are drawn.
const MODELS: usize = 2;

/// Mean loss with its uncertainty, the models that the data support, and the loss expected from
/// the stated data; `None` where there is neither.
pub fn sheet_figure(result: &SessionResult, units: DisplayUnits) -> Option<Figure> {
    let sheet = result.sheet.as_ref()?;
    let bands = &result.bands;
    let evidence = &sheet.evidence;
    let supported = evidence.fits.iter().filter(|fit| evidence.supported.contains(&fit.kind));
    let mut marks = Vec::new();
    let looks = [(PALETTE[1], "14 6"), (PALETTE[2], "4 6")];
    for (fit, (color, dash)) in supported.take(MODELS).zip(looks) {
        let points = at_bands(bands, &fit.loss_db);
        let style = Style { color, dash, width: 3.2 };
        marks.push(Mark::Curve(Series::new(name(fit.kind), points, style)));
    }
    if let Some(stated) = &sheet.stated {
        let expected: Vec<Option<f64>> = stated.expected_db.iter().copied().map(Some).collect();
        let style = Style { color: PALETTE[3], dash: "18 6 4 6", width: 3.2 };
        marks.push(Mark::Curve(Series::new("Stated data", at_bands(bands, &expected), style)));
    }
    if marks.is_empty() {
        return None;
    }
    // Behind the models, which would be hidden where they fit.
    marks.insert(0, mean_curve(result, "Measured"));
    Some(Figure {
        id: "sheet",
        title: finding(sheet),
        subtitle: "Mean loss and what thin-sheet theory makes of it".into(),
        description: description(sheet, units),
        caption: "Up = the sheet takes energy away. Fitted from 500 Hz up, level apart; stated \
                  data: the sheet alone, without echoes and without the air in its weave. Shaded: 95 % uncertainty of the mean."
            .into(),
        x: band_axis(bands),
        y_title: "Loss, dB",
        include_db: [-1.0, 3.0],
        marks,
        ..Figure::default()
    })
}

fn name(kind: ModelKind) -> &'static str {
    match kind {
        ModelKind::Resistive => "Friction",
        ModelKind::Mass => "Mass",
        ModelKind::Series => "Friction, mass",
        ModelKind::Parallel => "Friction beside mass",
        ModelKind::Holes => "Holes",
    }
}

fn finding(sheet: &SheetResult) -> String {
    kind_sentence(&sheet.evidence).trim_end_matches('.').to_owned()
}

fn description(sheet: &SheetResult, units: DisplayUnits) -> String {
    let stated = sheet.stated.iter().flat_map(|s| words::stated::statement(s, units));
    let misfit = sheet
        .evidence
        .fits
        .iter()
        .map(|fit| format!("{}: {} dB rms off.", name(fit.kind), signed(fit.misfit_db, 2)));
    let said = evidence_statement(&sheet.evidence, units).into_iter().chain(stated);
    said.chain(misfit).collect::<Vec<_>>().join(" ")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::sheet::air::Air;
    use crate::analysis::sheet::finding::explain_loss;
    use crate::report::example::{example_losses, example_result};

    #[test]
    fn fitted_curves_and_stated_data_stand_beside_the_measured_one() {
        let mut result = example_result(3);
        assert!(sheet_figure(&result, DisplayUnits::Metric).is_none());
        let (session, table) = example_losses(3);
        let mut screen = session.manifest.screen.clone();
        screen.areal_mass_g_m2 = Some(300.0);
        screen.flow_resistance_pa_s_m = Some(60.0);
        screen.construction = Some(crate::ingest::manifest::Construction::Woven);
        let found = explain_loss(&table, &screen, &[1.0], None, &Air::AT_20_C);
        let n_models = found.evidence.supported.len().min(MODELS);
        let stated = usize::from(found.stated.is_some());
        result.sheet = Some(words::sheet::said(found.clone()));
        let curves: Vec<Series> = sheet_figure(&result, DisplayUnits::Metric)
            .unwrap()
            .marks
            .into_iter()
            .filter_map(|m| match m {
                Mark::Curve(s) => Some(s),
                _ => None,
            })
            .collect();
        assert_eq!(curves.len(), n_models + stated + 1);
        assert_eq!(stated, 1, "mass and flow resistance are stated");
        let measured: Vec<_> = curves[0].points.iter().map(|p| p.1).collect();
        assert_eq!(measured, result.mean.loss_db, "behind the models");
        let of_stated: Vec<_> = curves[n_models + 1].points.iter().map(|p| p.1.unwrap()).collect();
        assert_eq!(of_stated, found.stated.unwrap().expected_db);
    }
}
