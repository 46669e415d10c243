//! Typed words, checked and completed.

use super::args::{PredictArgs, StartArgs, SweepShape};
use super::failure::Failure;
use crate::analysis::predict::describe::{DescribedSheet, Description};
use crate::analysis::predict::{Plan, View};
use crate::analysis::sheet::air::Air;
use crate::analysis::sheet::models::Gap;
use crate::ingest::start::StartOptions;
use crate::ingest::sweep::SweepParams;

/// The sweep that was asked for; fades and silence are the default ones, the
/// fades shorter where the sweep is.
///
/// # Errors
/// [`Failure::Usage`] with the figure that is out of range.
pub fn sweep_params(shape: &SweepShape) -> Result<SweepParams, Failure> {
    let default = SweepParams::default();
    let params = SweepParams {
        start_hz: shape.start_hz,
        stop_hz: shape.stop_hz,
        duration_s: shape.duration_s,
        level_dbfs: shape.level_dbfs,
        rate_hz: shape.rate_hz,
        fade_in_s: default.fade_in_s.min(shape.duration_s / 20.0),
        fade_out_s: default.fade_out_s.min(shape.duration_s / 100.0),
        ..default
    };
    params.validate().map_err(|e| Failure::Usage {
        message: format!("--{} is {}, expected {}", e.name.replace('_', "-"), e.found, e.expected),
    })?;
    Ok(params)
}

/// What a new session shall hold.
///
/// # Errors
/// As [`sweep_params`].
pub fn start_options(args: &StartArgs) -> Result<StartOptions, Failure> {
    Ok(StartOptions {
        force: args.force,
        title: args.title.clone(),
        sweep: sweep_params(&args.sweep)?,
        n_spots: args.spots,
    })
}

/// Sheets and plan of a forecast. Ranges are checked by the forecast itself.
///
/// # Errors
/// [`Failure::Usage`] for a sheet or seat whose words cannot be read, or a
/// temperature at which there is no such air.
pub fn forecast_plan(args: &PredictArgs) -> Result<(Vec<DescribedSheet>, Plan), Failure> {
    let usage = |message: String| Failure::Usage { message };
    let sheets = args
        .sheets
        .iter()
        .map(|text| Description::parse(text)?.build())
        .collect::<Result<Vec<_>, _>>()
        .map_err(|e| usage(e.to_string()))?;
    let seats_m = args
        .seats
        .iter()
        .map(|text| {
            let numbers = text.split_once(',').and_then(|(ahead, beside)| {
                Some([ahead.trim().parse().ok()?, beside.trim().parse().ok()?])
            });
            numbers.ok_or_else(|| {
                usage(format!("--seat is {text:?}, expected two numbers, e.g. 3.2,0.8"))
            })
        })
        .collect::<Result<Vec<[f64; 2]>, _>>()?;
    if !(-40.0..=60.0).contains(&args.temperature_c) {
        return Err(usage(format!(
            "--temperature-c is {}, expected -40 to 60",
            args.temperature_c
        )));
    }
    let plan = Plan {
        gap: args.gap_m.map(|gap_m| Gap { gap_m, front_reflection: args.front_reflection }),
        angles_deg: args.angles_deg.clone(),
        view: args.width_m.map(|width_m| View {
            width_m,
            aspect: args.aspect,
            seats_m,
            structure_mm: args.structure_mm,
        }),
        air: Air::at_celsius(args.temperature_c),
    };
    Ok((sheets, plan))
}
