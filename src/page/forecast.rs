//! Before buying: what described sheets will lose, as `predict` says it.

use super::desk::{Desk, Papers};
use super::refusal::Refusal;
use super::request::{Answer, answer};
use super::words::{fill, word};
use crate::analysis::predict::FRONT_REFLECTION;
use crate::analysis::predict::describe::Description;
use crate::analysis::predict::{Forecast, Plan, View, forecast};
use crate::analysis::sheet::air::Air;
use crate::analysis::sheet::models::Gap;
use crate::report::forecast_table::{forecast_csv, forecast_curve_csv};
use crate::report::html::page;
use crate::report::json::forecast_json;
use crate::report::paper::{Block, Detail, Paper, Table};
use crate::report::plots::drawing::Drawing;
use crate::report::plots::forecast::forecast_figures;
use crate::report::words::forecast as words;
use crate::words::frequency_label;
use axum::Json;
use axum::extract::State;
use serde::Deserialize;
use std::collections::BTreeMap;
use std::sync::Arc;

/// What is asked.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Ask {
    sheets: Vec<Described>,
    gap_m: Option<f64>,
    #[serde(default = "straight_on")]
    angles_deg: Vec<f64>,
    width_m: Option<f64>,
    aspect: Option<f64>,
    /// Metres from the sheet, metres beside its axis.
    #[serde(default)]
    seats_m: Vec<[f64; 2]>,
}

fn straight_on() -> Vec<f64> {
    vec![0.0]
}

/// A sheet, by the keys of `predict --sheet`.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Described {
    name: String,
    values: BTreeMap<String, String>,
}

/// Computes the sheets.
pub(super) async fn predict(State(desk): State<Arc<Desk>>, Json(ask): Json<Ask>) -> Answer<Papers> {
    answer(move || {
        let forecast = compute(&ask)?;
        let statements = words::statements(&forecast);
        let files = vec![
            ("forecast.html".to_owned(), html(&forecast).into_bytes()),
            ("forecast.csv".to_owned(), forecast_csv(&forecast)?),
            ("forecast-curve.csv".to_owned(), forecast_curve_csv(&forecast)?),
            ("forecast.json".to_owned(), forecast_json(&forecast)?),
        ];
        Ok(desk.papers(files, statements))
    })
    .await
}

fn compute(ask: &Ask) -> Result<Forecast, Refusal> {
    let mut sheets = Vec::new();
    let mut hole_pitch_mm = None;
    for (i, sheet) in ask.sheets.iter().enumerate() {
        let name = if sheet.name.trim().is_empty() {
            fill("predict.sheet_n", &[("n", &(i + 1).to_string())])
        } else {
            sheet.name.trim().to_owned()
        };
        let mut description = Description::named(&name);
        for (key, value) in sheet.values.iter().filter(|(_, value)| !value.trim().is_empty()) {
            let field = format!("sheet[{i}].{key}");
            let value = value.trim().replace(',', ".");
            description.set(key, &value).map_err(|e| Refusal::from(e).at(field))?;
        }
        hole_pitch_mm = hole_pitch_mm.or(description.hole_pitch_mm);
        let built = description.build();
        sheets.push(built.map_err(|e| Refusal::from(e).at(format!("sheet[{i}]")))?);
    }
    let view = ask.width_m.map(|width_m| View {
        width_m,
        aspect: ask.aspect.unwrap_or(16.0 / 9.0),
        seats_m: ask.seats_m.clone(),
        structure_mm: hole_pitch_mm,
    });
    let plan = Plan {
        gap: ask.gap_m.map(|gap_m| Gap { gap_m, front_reflection: FRONT_REFLECTION }),
        angles_deg: ask.angles_deg.clone(),
        view,
        air: Air::AT_20_C,
    };
    Ok(forecast(sheets, plan)?)
}

/// The forecast in the look of the report.
fn html(forecast: &Forecast) -> String {
    let mut blocks = vec![Block::part(word("predict.paper_says"))];
    blocks.push(Block::List(words::statements(forecast)));
    let drawings = forecast_figures(forecast);
    blocks.extend(drawings.iter().map(|figure| Block::figure(&Drawing::from(figure))));
    blocks.push(Block::part(word("predict.paper_bands")));
    blocks.push(Block::Table(bands(forecast)));
    blocks.push(Block::part(word("predict.paper_rests")));
    blocks.push(Block::List(words::notes(forecast)));
    let names: Vec<String> = forecast.sheets.iter().map(|s| s.sheet.name.clone()).collect();
    let paper = Paper {
        title: word("predict.paper_title").to_owned(),
        subtitle: names.join(" \u{b7} "),
        logo: None,
        blocks,
    };
    page(&paper, word("predict.paper_legend"), &names)
}

/// Loss straight on, or at the first angle asked for, band by band.
fn bands(forecast: &Forecast) -> Table {
    let angles = |s: &crate::analysis::predict::SheetForecast| s.angles.first().cloned();
    let first: Vec<_> = forecast.sheets.iter().filter_map(angles).collect();
    let row = |(b, band): (usize, &[f64; 2])| {
        let cells = first.iter().map(|a| {
            format!("{:.1} \u{b1} {:.1}", a.loss_db[b], a.good_to_db[b]).replace('-', "\u{2212}")
        });
        std::iter::once(frequency_label(band[0])).chain(cells).collect()
    };
    let names = forecast.sheets.iter().map(|s| s.sheet.name.clone());
    Table {
        caption: word("predict.paper_caption").to_owned(),
        head: std::iter::once("Hz".to_owned()).chain(names).collect(),
        rows: forecast.bands_hz.iter().enumerate().map(row).collect(),
        detail: Detail::Main,
    }
}
