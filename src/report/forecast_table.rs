//! A forecast as text table and as CSV.

use super::csv::{Table, text_cell};
use super::error::ReportError;
use super::look::aligned;
use super::words::forecast::{notes, statement};
use super::words::stated::described_words;
use crate::analysis::predict::{AngleForecast, Forecast, SheetForecast};
use crate::words::{frequency_label, signed};

/// Bands in rows, sheets and angles in columns, then what is to be said about each.
pub fn forecast_table(forecast: &Forecast) -> String {
    let head = curves(forecast).map(|(sheet, angle)| match sheet.angles.len() {
        1 => sheet.sheet.name.clone(),
        _ => format!("{} {:.0}\u{b0}", sheet.sheet.name, angle.angle_deg),
    });
    let mut rows = vec![std::iter::once("Hz".to_owned()).chain(head).collect()];
    rows.extend(forecast.bands_hz.iter().enumerate().map(|(b, [nominal_hz, _])| {
        let losses = curves(forecast).map(|(_, angle)| signed(angle.loss_db[b], 1));
        std::iter::once(frequency_label(*nominal_hz)).chain(losses).collect()
    }));
    let mut out = String::from("Expected loss in dB, positive = taken away by the sheet\n\n");
    out += &aligned(&rows, 0);
    for sheet in &forecast.sheets {
        out += &format!("\n{}: {}\n", sheet.sheet.name, described_words(&sheet.sheet));
        out.extend(statement(sheet).iter().map(|sentence| format!("  {sentence}\n")));
    }
    for seat in &forecast.seats {
        let structure = match seat.structure_visible {
            Some(true) => ", structure of the sheet may be seen",
            Some(false) => ", structure of the sheet not visible",
            None => "",
        };
        out += &format!(
            "\nSeat {:.2} m away, {}: picture {:.1} degrees wide, \
             loudspeaker {:.1} degrees off its axis{structure}\n",
            seat.distance_m,
            beside_the_axis(seat.offset_m),
            seat.picture.angle_deg,
            seat.angle_deg.abs()
        );
    }
    out.push('\n');
    out.extend(notes(forecast).iter().map(|note| format!("{note}\n")));
    out
}

/// Every sheet at each of its angles.
fn curves(forecast: &Forecast) -> impl Iterator<Item = (&SheetForecast, &AngleForecast)> {
    forecast.sheets.iter().flat_map(|sheet| sheet.angles.iter().map(move |angle| (sheet, angle)))
}

/// Where a seat is, seen from behind it.
fn beside_the_axis(offset_m: f64) -> String {
    let side = if offset_m > 0.0 { "right" } else { "left" };
    if offset_m.abs() < 0.005 {
        "on the axis".into()
    } else {
        format!("{:.2} m to the {side} of the axis", offset_m.abs())
    }
}

/// One row for each sheet, angle and band: `sheet,angle_deg,nominal_hz,exact_hz,loss_db,good_to_db`.
///
/// # Errors
/// [`ReportError::Encode`]; cannot happen, since it is written to memory.
pub fn forecast_csv(forecast: &Forecast) -> Result<Vec<u8>, ReportError> {
    let mut out =
        Table::new(&["sheet", "angle_deg", "nominal_hz", "exact_hz", "loss_db", "good_to_db"])?;
    for (sheet, angle) in curves(forecast) {
        let figures = angle.loss_db.iter().zip(&angle.good_to_db);
        for ([nominal, exact], (loss, good)) in forecast.bands_hz.iter().zip(figures) {
            out.row([
                // A sheet's name must not become a formula.
                text_cell(&sheet.sheet.name).into_owned(),
                angle.angle_deg.to_string(),
                nominal.to_string(),
                format!("{exact:.3}"),
                format!("{loss:.4}"),
                format!("{good:.4}"),
            ])?;
        }
    }
    out.finish()
}

/// One row for each sheet, angle and frequency of the fine curve:
/// `sheet,angle_deg,frequency_hz,loss_db`.
///
/// # Errors
/// [`ReportError::Encode`]; cannot happen, since it is written to memory.
pub fn forecast_curve_csv(forecast: &Forecast) -> Result<Vec<u8>, ReportError> {
    let mut out = Table::new(&["sheet", "angle_deg", "frequency_hz", "loss_db"])?;
    for (sheet, angle) in curves(forecast) {
        for (f, loss) in forecast.curve_hz.iter().zip(&angle.curve_db) {
            out.row([
                // A sheet's name must not become a formula.
                text_cell(&sheet.sheet.name).into_owned(),
                angle.angle_deg.to_string(),
                format!("{f:.3}"),
                format!("{loss:.4}"),
            ])?;
        }
    }
    out.finish()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::predict::forecast;
    use crate::analysis::predict::tests::{plan, sheet};
    use unicode_width::UnicodeWidthStr;

    fn two() -> Forecast {
        let sheets = vec![
            sheet("weave:flow_resistance_pa_s_m=413.25"),
            sheet("Löcher, \"fein\":hole_diameter_mm=0.5,hole_pitch_mm=2,thickness_mm=0.3"),
        ];
        forecast(sheets, plan(None)).unwrap()
    }

    #[test]
    fn the_table_lines_up_and_says_what_it_rests_on() {
        let text = forecast_table(&two());
        let rows: Vec<&str> = text.lines().skip(2).take(24).collect();
        let width = rows[0].width();
        assert!(rows.iter().all(|r| r.width() == width), "{text}");
        assert!(rows[1].trim_start().starts_with("100") && rows[1].contains("3.5"), "{text}");
        assert!(text.contains("plausibility check"), "{text}");
    }

    #[test]
    fn csv_is_read_back_by_header_name() {
        let f = two();
        for (bytes, n) in [
            (forecast_csv(&f).unwrap(), 2 * 2 * f.bands_hz.len()),
            (forecast_curve_csv(&f).unwrap(), 2 * 2 * f.curve_hz.len()),
        ] {
            let mut table = csv::Reader::from_reader(bytes.as_slice());
            let at = |name: &str, heads: &csv::StringRecord| heads.iter().position(|h| h == name);
            let heads = table.headers().unwrap().clone();
            let (name, loss) = (at("sheet", &heads).unwrap(), at("loss_db", &heads).unwrap());
            let rows: Vec<csv::StringRecord> = table.records().map(Result::unwrap).collect();
            assert_eq!(rows.len(), n);
            assert!((rows[0][loss].parse::<f64>().unwrap() - 3.5218).abs() < 1e-3);
            assert_eq!(&rows[n - 1][name], "Löcher, \"fein\"");
        }
    }
}
