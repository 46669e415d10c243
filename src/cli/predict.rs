//! `scrimcheck predict`: described sheets before there is one to measure.

use super::failure::Failure;
use super::predict_args::PredictArgs;
use super::settings::manifest_at;
use super::terminal;
use crate::analysis::predict::describe::{DescribedSheet, Description};
use crate::analysis::predict::{Plan, View, forecast};
use crate::analysis::sheet::air::Air;
use crate::analysis::sheet::models::Gap;
use crate::ingest::error::shown;
use crate::ingest::manifest::{Manifest, SeatInfo};
use crate::report::forecast_table::{forecast_csv, forecast_curve_csv, forecast_table};
use crate::report::json::forecast_json;
use crate::report::output::OutputFolder;
use crate::report::plots::drawing::Drawing;
use crate::report::plots::forecast::forecast_figures;
use crate::report::plots::render::plot_files;
use std::process::ExitCode;

/// Computes the sheets, prints them, and writes plots and tables where asked.
///
/// # Errors
/// [`Failure::Usage`] for a description or figure that cannot be used, [`Failure::Job`] when
/// the folder cannot be written.
pub fn run(args: &PredictArgs) -> Result<ExitCode, Failure> {
    let screen = Screen::read(args)?;
    let descriptions = descriptions(args, &screen)?;
    let plan = plan(args, &screen, &descriptions)?;
    let sheets: Vec<DescribedSheet> = descriptions
        .iter()
        .map(Description::build)
        .collect::<Result<_, _>>()
        .map_err(Failure::usage)?;
    let forecast = forecast(sheets, plan).map_err(Failure::usage)?;
    let json = forecast_json(&forecast)?;
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

/// The sheet of FILE and `--set`, if any was described, then those of `--sheet`.
fn descriptions(args: &PredictArgs, screen: &Screen) -> Result<Vec<Description>, Failure> {
    let mut all = Vec::new();
    if screen.description.says_anything() {
        all.push(screen.description.clone());
    }
    for text in &args.sheets {
        all.push(Description::parse(text).map_err(Failure::usage)?);
    }
    if all.is_empty() {
        let message = match &args.session {
            Some(path) => format!(
                "{}: [screen] says nothing of the sheet itself; write hole_diameter_mm, hole_pitch_mm \
                 and thickness_mm, or flow_resistance_pa_s_m, or areal_mass_g_m2 there, or give them \
                 with --set key=value",
                shown(path)
            ),
            None => "no sheet is described; name a session.toml, or give --set \
                     flow_resistance_pa_s_m=60 or the like, or --sheet NAME:key=value,... (see \
                     scrimcheck predict --help)"
                .into(),
        };
        return Err(Failure::usage(message));
    }
    Ok(all)
}

/// The `[screen]` table of FILE with what `--set` puts in its place, and the room around it.
struct Screen {
    description: Description,
    gap_m: Option<f64>,
    width_m: Option<f64>,
    height_m: Option<f64>,
    weave_pitch_mm: Option<f64>,
    /// Of the picture, where stated.
    aspect: Option<f64>,
    /// Seats in front of the loudspeaker: metres ahead of it and beside its axis.
    seats_m: Vec<[f64; 2]>,
}

impl Screen {
    fn read(args: &PredictArgs) -> Result<Self, Failure> {
        let mut screen = match &args.session {
            None => Self::unknown(),
            Some(path) => Self::of(&manifest_at(path)?),
        };
        for pair in &args.set {
            let (key, value) = pair.split_once('=').ok_or_else(|| {
                Failure::usage(format!(
                    "--set is \"{pair}\", expected a key and its value: gap_m=0.08"
                ))
            })?;
            screen.set(key.trim(), value.trim())?;
        }
        Ok(screen)
    }

    fn unknown() -> Self {
        Self {
            description: Description::named("Sheet"),
            gap_m: None,
            width_m: None,
            height_m: None,
            weave_pitch_mm: None,
            aspect: None,
            seats_m: Vec::new(),
        }
    }

    fn of(manifest: &Manifest) -> Self {
        let info = &manifest.screen;
        let place = |seat: &SeatInfo| seat.position_m.map(|[ahead, beside, _]| [ahead, beside]);
        Self {
            description: Description::of_screen(info),
            gap_m: info.gap_m,
            width_m: info.width_m,
            height_m: info.height_m,
            weave_pitch_mm: info.weave_pitch_mm,
            aspect: manifest.picture.as_ref().and_then(|p| p.aspect),
            seats_m: manifest.seat.iter().filter_map(place).collect(),
        }
    }

    fn set(&mut self, key: &str, value: &str) -> Result<(), Failure> {
        let number = || match value.parse::<f64>() {
            Ok(v) if v.is_finite() && v > 0.0 => Ok(Some(v)),
            _ => Err(Failure::usage(format!(
                "--set {key} is \"{value}\", expected a number above 0"
            ))),
        };
        match key {
            "name" => value.clone_into(&mut self.description.name),
            "gap_m" => self.gap_m = number()?,
            "width_m" => self.width_m = number()?,
            "height_m" => self.height_m = number()?,
            "weave_pitch_mm" => self.weave_pitch_mm = number()?,
            _ => self.description.set(key, value).map_err(Failure::usage)?,
        }
        Ok(())
    }
}

fn plan(
    args: &PredictArgs,
    screen: &Screen,
    descriptions: &[Description],
) -> Result<Plan, Failure> {
    if !(-20.0..=50.0).contains(&args.temperature_c) {
        return Err(Failure::usage(format!(
            "--temperature-c is {}, expected -20 to 50 degrees",
            args.temperature_c
        )));
    }
    let gap_m = args.gap_m.or(screen.gap_m);
    let width_m = args.width_m.or(screen.width_m);
    if width_m.is_none() && (!args.seats.is_empty() || args.structure_mm.is_some()) {
        return Err(Failure::usage(
            "--seat and --structure-mm need the width of the picture: give --width-m",
        ));
    }
    let seats_m = if args.seats.is_empty() {
        // From the sheet, which hangs the gap ahead of the loudspeaker.
        let ahead = |[ahead, beside]: [f64; 2]| [ahead - gap_m.unwrap_or(0.0), beside];
        screen.seats_m.iter().copied().map(ahead).filter(|[ahead, _]| *ahead > 0.0).collect()
    } else {
        args.seats.iter().map(|s| seat(s)).collect::<Result<Vec<_>, _>>()?
    };
    let of_screen = width_m.zip(screen.height_m).map(|(width, height)| width / height);
    let structure_mm = args
        .structure_mm
        .or(screen.weave_pitch_mm)
        .or_else(|| descriptions.iter().find_map(|d| d.hole_pitch_mm));
    Ok(Plan {
        gap: gap_m.map(|gap_m| Gap { gap_m, front_reflection: args.front_reflection }),
        angles_deg: args.angles_deg.clone(),
        view: width_m.map(|width_m| View {
            width_m,
            aspect: args.aspect.or(screen.aspect).or(of_screen).unwrap_or(16.0 / 9.0),
            seats_m,
            structure_mm,
        }),
        air: Air::at_celsius(args.temperature_c),
    })
}

/// "3.5" or "3.5,0.8".
pub(super) fn seat(text: &str) -> Result<[f64; 2], Failure> {
    let wrong = || {
        Failure::usage(format!(
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
