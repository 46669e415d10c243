//! Plots of a forecast: sheets side by side in bands, and the comb of the gap.

use super::axes::Axis;
use super::figure::{Figure, Mark};
use super::series::{Series, Style};
use crate::analysis::predict::{AngleForecast, Forecast, SheetForecast};
use crate::report::words::forecast::statement;
use crate::words::decibels;

/// Sheets told apart by line and colour in one plot.
const SHEETS_TOLD_APART: usize = 6;

/// The plots of a forecast.
pub fn forecast_figures(forecast: &Forecast) -> Vec<Figure> {
    [Some(bands_figure(forecast)), comb_figure(forecast)].into_iter().flatten().collect()
}

/// Least and largest loss at 10 kHz, where sheets differ much and data sheets often stop.
fn compared(forecast: &Forecast) -> String {
    let n = forecast.sheets.len();
    let band = forecast.bands_hz.iter().position(|b| b[0] == 10_000.0);
    let losses = forecast.sheets.iter().filter_map(|s| {
        let loss_db = *s.angles.first()?.loss_db.get(band?)?;
        Some((&s.sheet.name, loss_db))
    });
    let least = losses.clone().min_by(|a, b| a.1.total_cmp(&b.1));
    let most = losses.max_by(|a, b| a.1.total_cmp(&b.1));
    let words = |(name, db)| (name, decibels(db));
    match (least.map(words), most.map(words)) {
        (Some((least, low)), Some((most, high))) if low != high => {
            format!("At 10 kHz {least} is expected to lose {low}, {most} {high}")
        }
        (Some(one), _) => {
            let all = if n == 2 { "both sheets".into() } else { format!("all {n} sheets") };
            format!("At 10 kHz {all} are expected to lose {}", one.1)
        }
        _ => format!("Expected loss of {n} sheets"),
    }
}

/// Loss in bands at the first angle, one curve a sheet.
fn bands_figure(forecast: &Forecast) -> Figure {
    // More than two shaded bands hide each other.
    let is_shaded = forecast.sheets.len() <= 2;
    let shown = forecast.sheets.iter().take(SHEETS_TOLD_APART);
    let marks = shown
        .enumerate()
        .filter_map(|(i, s)| {
            let angle = s.angles.first()?;
            let points =
                forecast.bands_hz.iter().zip(&angle.loss_db).map(|(b, l)| (b[1], Some(*l)));
            let curve = Series::new(&s.sheet.name, points.collect(), Style::nth(i)).with_dots();
            let band = angle.good_to_db.iter().copied().map(Some);
            Some(Mark::Curve(curve.with_band(band.filter(|_| is_shaded).collect())))
        })
        .collect();
    let names: Vec<&str> = forecast.sheets.iter().map(|s| s.sheet.name.as_str()).collect();
    let title = match forecast.sheets.as_slice() {
        [only] => statement(only).remove(0),
        _ => compared(forecast),
    };
    let said = |s: &SheetForecast| format!("{}: {}", s.sheet.name, statement(s).join(" "));
    let said = forecast.sheets.iter().map(said);
    Figure {
        id: "forecast",
        title,
        subtitle: format!("Expected loss in third-octave bands: {}", names.join(", ")),
        description: said.collect::<Vec<_>>().join(" "),
        caption: format!(
            "Up = the sheet takes energy away. From thin-sheet theory, not from takes{}.",
            if is_shaded { "; shaded: its uncertainty" } else { "" }
        ),
        x: Axis::frequency(84.0, 22_500.0),
        y_title: "Expected loss, dB",
        include_db: [-1.0, 3.0],
        marks,
        ..Figure::default()
    }
}

/// The first sheet at all angles on single frequencies, where a gap combs or angles differ.
fn comb_figure(forecast: &Forecast) -> Option<Figure> {
    let sheet = forecast.sheets.first()?;
    if forecast.plan.gap.is_none() && sheet.angles.len() < 2 {
        return None;
    }
    let curve = |(i, angle): (usize, &AngleForecast)| {
        let points = forecast.curve_hz.iter().zip(&angle.curve_db).map(|(f, l)| (*f, Some(*l)));
        let label = format!("{:.0}\u{b0}", angle.angle_deg);
        Mark::Curve(Series::new(&label, points.collect(), Style::nth(i)))
    };
    let marks = sheet.angles.iter().take(SHEETS_TOLD_APART).enumerate().map(curve).collect();
    let gap = forecast.plan.gap.map_or(String::new(), |g| {
        format!(", {:.0} mm in front of the loudspeaker", 1e3 * g.gap_m)
    });
    let comb = sheet.angles.first().and_then(|a| a.comb.as_ref());
    Some(Figure {
        id: "forecast-comb",
        title: comb.map_or("Expected loss over the angle".into(), |c| {
            let angle = sheet.angles.first().map_or(0.0, |a| a.angle_deg);
            format!("At {angle:.0}\u{b0} the gap makes a peak every {:.0} Hz", c.spacing_hz)
        }),
        subtitle: format!("{}{gap}, at single frequencies", sheet.sheet.name),
        description: statement(sheet).join(" "),
        caption: "Up = the sheet takes energy away. From theory, not from takes.".into(),
        x: Axis::frequency(98.0, 20_500.0),
        y_title: "Expected loss, dB",
        include_db: [-1.0, 3.0],
        marks,
        ..Figure::default()
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::predict::describe::Description;
    use crate::analysis::predict::{Plan, forecast};
    use crate::analysis::sheet::air::Air;
    use crate::analysis::sheet::models::Gap;
    use crate::report::plots::layout::Format;

    fn made(gap_m: Option<f64>, n: usize) -> Forecast {
        let sheet = Description::parse("<w> & co:flow_resistance_pa_s_m=90").unwrap();
        let plan = Plan {
            gap: gap_m.map(|gap_m| Gap { gap_m, front_reflection: 0.6 }),
            angles_deg: vec![0.0],
            view: None,
            air: Air::AT_20_C,
        };
        forecast(vec![sheet.build().unwrap(); n], plan).unwrap()
    }

    #[test]
    fn curves_are_the_forecast() {
        let f = made(Some(0.1), 2);
        let figures = forecast_figures(&f);
        assert_eq!(figures.len(), 2);
        let bands = figures[0].curves();
        assert_eq!(bands.len(), 2);
        assert_eq!(bands[0].points[7], (f.bands_hz[7][1], Some(f.sheets[0].angles[0].loss_db[7])));
        assert_eq!(figures[1].curves()[0].points.len(), f.curve_hz.len());
        assert!(bands[0].half_band.iter().all(Option::is_some));
        assert!(forecast_figures(&made(None, 3))[0].curves()[0].half_band.is_empty());
    }

    #[test]
    fn the_title_says_which_sheet_loses_more() {
        let mut f = made(None, 2);
        let title = |f: &Forecast| forecast_figures(f)[0].title.clone();
        let at_10_khz = f.bands_hz.iter().position(|b| b[0] == 10_000.0).unwrap();
        assert!(title(&f).starts_with("At 10 kHz both sheets"), "{}", title(&f));
        f.sheets[0].sheet.name = "A".into();
        f.sheets[1].sheet.name = "B".into();
        f.sheets[0].angles[0].loss_db[at_10_khz] = 6.8;
        f.sheets[1].angles[0].loss_db[at_10_khz] = 0.9;
        assert_eq!(title(&f), "At 10 kHz B is expected to lose 0.9 dB, A 6.8 dB");
    }

    #[test]
    fn without_gap_and_angles_there_is_no_comb() {
        assert_eq!(forecast_figures(&made(None, 1)).len(), 1);
    }

    #[test]
    fn names_are_text_in_the_drawing() {
        let svg = forecast_figures(&made(None, 1))[0].to_svg(Format::File);
        assert!(svg.contains("&lt;w&gt; &amp; co") && !svg.contains("<w>"));
    }
}
