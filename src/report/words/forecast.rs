//! A forecast in sentences: what a described sheet will lose, and what that rests on.

use super::said::Said;
use super::stated::described_words;
use crate::analysis::predict::describe::DescribedSheet;
use crate::analysis::predict::{Forecast, SheetForecast};
use crate::words::gain_words;
use serde::Serialize;

/// A forecast with its words, as in `forecast.json`.
pub type Document<'a> = Said<&'a Forecast, ForecastWords<'a>>;

/// The sheets of a forecast with their words, and what it rests on.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ForecastWords<'a> {
    /// One for each sheet.
    pub sheets: Vec<Said<&'a SheetForecast, SheetWords<'a>>>,
    /// What the forecast rests on and leaves out.
    pub notes: Vec<String>,
}

/// What is said of one sheet.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SheetWords<'a> {
    /// The sheet as it was described.
    pub sheet: Said<&'a DescribedSheet, DescribedWords>,
    /// What to expect of it.
    pub statement: Vec<String>,
}

/// A described sheet in words.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct DescribedWords {
    /// Construction and figures.
    pub words: String,
}

/// The forecast with what is said of it.
pub fn document(forecast: &Forecast) -> Document<'_> {
    let sheets = forecast.sheets.iter().map(sheet_document).collect();
    Said { found: forecast, words: ForecastWords { sheets, notes: notes(forecast) } }
}

fn sheet_document(forecast: &SheetForecast) -> Said<&SheetForecast, SheetWords<'_>> {
    let words = DescribedWords { words: described_words(&forecast.sheet) };
    let sheet = Said { found: &forecast.sheet, words };
    Said { found: forecast, words: SheetWords { sheet, statement: statement(forecast) } }
}

/// What every sheet is expected to do, one after the other.
pub fn statements(forecast: &Forecast) -> Vec<String> {
    forecast.sheets.iter().flat_map(statement).collect()
}

/// What to expect of one sheet.
pub fn statement(sheet: &SheetForecast) -> Vec<String> {
    let mut out = Vec::new();
    if let Some([loss_db, good_to_db]) = sheet.at_10_khz_db {
        out.push(format!("Loses {loss_db:.1} dB at 10 kHz (good to {good_to_db:.1} dB)."));
    }
    out.push(match sheet.corner_hz {
        Some(hz) => format!("Alone it takes half the power (3 dB) at {:.1} kHz.", hz / 1e3),
        None => "Alone it takes half the power (3 dB) nowhere below 80 kHz.".into(),
    });
    out.push(format!(
        "Restoring the level needs {:.2} times the power in the worst band ({:.0} Hz), {:.2} times \
         for pink programme.",
        sheet.power.worst_band_factor, sheet.power.worst_band_hz, sheet.power.pink_factor
    ));
    if let Some(comb) = sheet.angles[0].comb.as_ref() {
        out.push(format!(
            "The gap makes a ripple of {} to {} dB, a peak every {:.0} Hz.",
            gain_words(comb.highest_peak_db, 1),
            gain_words(-comb.deepest_dip_db, 1),
            comb.spacing_hz
        ));
    }
    out
}

/// What the forecast rests on and leaves out.
pub fn notes(forecast: &Forecast) -> Vec<String> {
    let mut notes = vec![
        "Thin-sheet theory for plane waves; data sheets and theory together are trusted to \
         0.3 dB and a fifth of the value."
            .to_string(),
        "The perforated model was compared with three published laboratory examples (0.9, 2.9 \
         and 4.4 dB at 10 kHz): a plausibility check within 0.8 dB, not a validation."
            .into(),
    ];
    if forecast.plan.gap.is_some() {
        notes.push(
            "The comb assumes a flat front of the stated reflection; real cabinets reflect less \
             at low frequencies and not from one plane."
                .into(),
        );
    }
    notes
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::predict::forecast;
    use crate::analysis::predict::tests::{plan, sheet};

    #[test]
    fn the_document_has_figures_and_words_side_by_side() {
        let weave = || vec![sheet("w:flow_resistance_pa_s_m=413.25")];
        let combed = forecast(weave(), plan(Some(0.2))).unwrap();
        let json = serde_json::to_value(document(&combed)).unwrap();
        let of_sheet = &json["sheets"][0];
        assert_eq!(of_sheet["sheet"]["name"], "w");
        assert_eq!(of_sheet["sheet"]["words"], "woven, 413 Pa s/m");
        assert_eq!(of_sheet["statement"].as_array().unwrap().len(), 4, "{of_sheet}");
        assert_eq!(of_sheet["power"]["worst_band_hz"], combed.sheets[0].power.worst_band_hz);
        assert_eq!(json["notes"].as_array().unwrap().len(), 3, "the comb has a note");
        // Alone rho c takes 20 lg 1.5 = 3.5 dB, power 2.25, at every frequency.
        let alone = forecast(weave(), plan(None)).unwrap();
        let said = statements(&alone);
        assert_eq!(said[0], "Loses 3.5 dB at 10 kHz (good to 0.8 dB).");
        assert!(said[2].contains("2.25 times the power") && said.len() == 3, "{said:?}");
        assert_eq!(notes(&alone).len(), 2);
    }
}
