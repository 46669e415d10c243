//! `scrimcheck predict`: described sheets before there is one to measure.

use super::failure::Failure;
use super::predict_args::{PredictArgs, SheetArgs};
use super::terminal;
use crate::analysis::predict::describe::{DescribedSheet, Description};
use crate::analysis::predict::{Forecast, Plan, View, forecast};
use crate::analysis::sheet::air::Air;
use crate::analysis::sheet::models::Gap;
use crate::report::forecast_table::{forecast_csv, forecast_curve_csv, forecast_table};
use crate::report::json::json_text;
use crate::report::output::OutputFolder;
use crate::report::plots::drawing::Drawing;
use crate::report::plots::forecast::forecast_figures;
use crate::report::plots::render::plot_files;
use crate::report::words;
use serde::Serialize;
use std::fmt::Display;
use std::process::ExitCode;

/// Computes the sheets, prints them, and writes plots and tables where asked.
///
/// # Errors
/// [`Failure::Usage`] for a description or figure that cannot be used, [`Failure::Report`] when
/// the folder cannot be written.
pub fn run(args: &PredictArgs) -> Result<ExitCode, Failure> {
    let descriptions = descriptions(args)?;
    let plan = plan(args, &descriptions)?;
    let sheets: Vec<DescribedSheet> =
        descriptions.iter().map(Description::build).collect::<Result<_, _>>().map_err(usage)?;
    let forecast = forecast(sheets, plan).map_err(usage)?;
    let json = json_document(&forecast)?;
    let bands_csv = forecast_csv(&forecast)?;
    let text = if args.json {
        String::from_utf8_lossy(&json).into_owned()
    } else if args.csv {
        String::from_utf8_lossy(&bands_csv).into_owned()
    } else {
        forecast_table(&forecast)
    };
    terminal::print(&text)?;
    if let Some(out) = &args.out {
        let mut folder = OutputFolder::open(out, args.force)?;
        folder.write("forecast.csv", &bands_csv)?;
        folder.write("forecast-curve.csv", &forecast_curve_csv(&forecast)?)?;
        folder.write("forecast.json", &json)?;
        let drawings: Vec<Drawing> =
            forecast_figures(&forecast).iter().map(Drawing::from).collect();
        for (name, bytes) in plot_files(&drawings)? {
            folder.write(&name, &bytes)?;
        }
        let written = folder.publish()?;
        terminal::complain(&format!("Wrote {} files to {}.\n", written.len(), out.display()));
    }
    Ok(ExitCode::SUCCESS)
}

fn usage(error: impl Display) -> Failure {
    Failure::Usage { message: error.to_string() }
}

/// The forecast with format and version, as in the file `forecast.json`.
#[derive(Serialize)]
struct Document<'a> {
    format: &'static str,
    version: u32,
    #[serde(flatten)]
    forecast: words::forecast::Document<'a>,
}

pub(crate) fn json_document(forecast: &Forecast) -> Result<Vec<u8>, Failure> {
    let forecast = words::forecast::document(forecast);
    Ok(json_text(&Document { format: "scrimcheck-forecast", version: 1, forecast })?)
}

/// The sheet of the single options, if any was given, then those of `--sheet`.
fn descriptions(args: &PredictArgs) -> Result<Vec<Description>, Failure> {
    let mut all = Vec::new();
    let single = single_options(&args.sheet);
    if !single.is_empty() {
        let mut description = Description::named(&args.sheet.name);
        for (key, value) in single {
            description.set(key, value).map_err(usage)?;
        }
        all.push(description);
    }
    for text in &args.sheets {
        all.push(Description::parse(text).map_err(usage)?);
    }
    if all.is_empty() {
        return Err(Failure::Usage {
            message: "no sheet is described; give --hole-mm, --pitch-mm and --thickness-mm, or \
                      --flow-resistance-pa-s-m, or --sheet NAME:key=value,... (see scrimcheck \
                      predict --help)"
                .into(),
        });
    }
    Ok(all)
}

fn single_options(sheet: &SheetArgs) -> Vec<(&'static str, &str)> {
    [
        ("construction", &sheet.construction),
        ("hole_mm", &sheet.hole_mm),
        ("pitch_mm", &sheet.pitch_mm),
        ("thickness_mm", &sheet.thickness_mm),
        ("open_area_percent", &sheet.open_area_percent),
        ("lattice", &sheet.lattice),
        ("mass_g_m2", &sheet.mass_g_m2),
        ("flow_resistance_pa_s_m", &sheet.flow_resistance_pa_s_m),
        ("backing_mass_g_m2", &sheet.backing_mass_g_m2),
        ("backing_flow_resistance_pa_s_m", &sheet.backing_flow_resistance_pa_s_m),
        ("backing_air_mm", &sheet.backing_air_mm),
    ]
    .into_iter()
    .filter_map(|(key, value)| value.as_deref().map(|v| (key, v)))
    .collect()
}

fn plan(args: &PredictArgs, descriptions: &[Description]) -> Result<Plan, Failure> {
    if !(-20.0..=50.0).contains(&args.temperature_c) {
        return Err(usage(format!(
            "--temperature-c is {}, expected -20 to 50 degrees",
            args.temperature_c
        )));
    }
    let seats_m = args.seats.iter().map(|s| seat(s)).collect::<Result<Vec<_>, _>>()?;
    let structure_mm = args.structure_mm.or_else(|| descriptions.iter().find_map(|d| d.pitch_mm));
    Ok(Plan {
        gap: args.gap_m.map(|gap_m| Gap { gap_m, front_reflection: args.front_reflection }),
        angles_deg: args.angles_deg.clone(),
        view: args.width_m.map(|width_m| View {
            width_m,
            aspect: args.aspect,
            seats_m,
            structure_mm,
        }),
        air: Air::at_celsius(args.temperature_c),
    })
}

/// "3.5" or "3.5,0.8".
pub(super) fn seat(text: &str) -> Result<[f64; 2], Failure> {
    let wrong = || {
        usage(format!(
            "--seat is \"{text}\", expected metres from the sheet, or metres from the sheet and \
             metres beside its axis: 3.5 or 3.5,0.8"
        ))
    };
    let numbers: Vec<f64> = text
        .split(',')
        .map(|part| part.trim().parse::<f64>())
        .collect::<Result<_, _>>()
        .map_err(|_| wrong())?;
    match numbers.as_slice() {
        [distance] => Ok([*distance, 0.0]),
        [distance, beside] => Ok([*distance, *beside]),
        _ => Err(wrong()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn seats_are_one_or_two_numbers() {
        assert_eq!(seat("3.5").unwrap(), [3.5, 0.0]);
        assert_eq!(seat("3.5, -0.8").unwrap(), [3.5, -0.8]);
        for bad in ["", "a", "1,2,3", "1,b"] {
            assert!(seat(bad).unwrap_err().to_string().contains("--seat"), "{bad}");
        }
    }
}
