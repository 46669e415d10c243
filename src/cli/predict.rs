//! `scrimcheck predict --sheet ...`: before buying.

use super::args::PredictArgs;
use super::failure::Failure;
use super::{settings, terminal};
use crate::analysis::predict::forecast;
use crate::analysis::predict::table::{forecast_csv, forecast_table};
use crate::report::error::ReportError;
use crate::report::json::json_text;
use std::process::ExitCode;

/// Prints the forecast as table, JSON or CSV.
///
/// # Errors
/// [`Failure::Usage`] for a description or a plan that cannot be meant.
pub fn run(args: &PredictArgs) -> Result<ExitCode, Failure> {
    let (sheets, plan) = settings::forecast_plan(args)?;
    let forecast = forecast(sheets, plan).map_err(|e| Failure::Usage { message: e.to_string() })?;
    let text = if args.json {
        String::from_utf8_lossy(&json_text(&forecast)?).into_owned()
    } else if args.csv {
        let encode = |e: csv::Error| ReportError::Encode { what: "CSV", source: e.into() };
        String::from_utf8_lossy(&forecast_csv(&forecast).map_err(encode)?).into_owned()
    } else {
        forecast_table(&forecast)
    };
    terminal::print(&text)?;
    Ok(ExitCode::SUCCESS)
}
