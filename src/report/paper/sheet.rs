//! The sheet in the engineer's part: why its figures differ from those at the seats and on the
//! scales, in one paragraph.

use crate::analysis::sheet::kinds::Quantity;
use crate::ingest::manifest::{DisplayUnits, ScreenInfo};
use crate::ingest::session::Session;
use crate::report::result::SessionResult;
use crate::report::words::sheet::{SheetResult, whole_mm};
use crate::words::{frequency_words, signed, three_digits};

/// A difference below this is not worth a sentence, dB (own choice: it does not show in one
/// decimal).
const SHOWS_DB: f64 = 0.05;

/// Moving mass below this share of the weighed mass asks for a word (own choice).
const LIGHT: f64 = 0.5;

/// Sentences on the echoes and on the two masses; empty where neither needs one.
pub(super) fn sheet_paragraph(result: &SessionResult, session: &Session) -> String {
    let (screen, units) = (&session.manifest.screen, session.manifest.handover.units);
    let Some(sheet) = &result.sheet else { return String::new() };
    let said = [echoes(result, sheet, units), masses(sheet, screen)];
    said.into_iter().flatten().collect::<Vec<_>>().join(" ")
}

/// What was measured at the seats, against what the sheet alone takes.
fn echoes(result: &SessionResult, sheet: &SheetResult, units: DisplayUnits) -> Option<String> {
    let stated = sheet.stated.as_ref()?;
    let gap_m = sheet.evidence.fits.first()?.gap_m?;
    let band = result.bands.iter().position(|b| b.nominal_hz == stated.at_nominal_hz)?;
    let seats_db = result.mean.loss_db[band]?;
    let echo_db = seats_db - stated.measured_at_db;
    if echo_db.abs() < SHOWS_DB {
        return None;
    }
    let at = frequency_words(stated.at_nominal_hz);
    let (does, why) = if echo_db < 0.0 {
        ("give back", "the wave that the sheet reflects comes back from the loudspeaker in step")
    } else {
        ("take", "the wave that the sheet reflects comes back from the loudspeaker out of step")
    };
    Some(format!(
        "At {at} the seats lose {} dB, the sheet alone {} dB. The echoes in the gap of {} {does} \
         the difference of {} dB: there {why}. Another gap would move this to another frequency, so \
         stated data are held against the sheet alone.",
        signed(seats_db, 1),
        signed(stated.measured_at_db, 1),
        whole_mm(gap_m, units),
        signed(echo_db.abs(), 1),
    ))
}

/// The mass that sound moves, against the mass on the scales.
fn masses(sheet: &SheetResult, screen: &ScreenInfo) -> Option<String> {
    let fit = sheet.evidence.fits.first()?;
    let mass = fit.parameters.iter().find(|p| p.quantity == Quantity::ArealMass)?;
    let moving_g_m2 = mass.value?;
    let Some(scales_g_m2) = screen.areal_mass_g_m2 else {
        return Some(format!(
            "The areal mass of {} g/m² is that which moves with the sound; a sheet that air passes \
             through weighs more on the scales.",
            three_digits(moving_g_m2)
        ));
    };
    (moving_g_m2 < LIGHT * scales_g_m2).then(|| {
        format!(
            "On the scales the sheet has {} g/m², but the sound moves only {} g/m²: it goes through \
             the openings, where it has to move the air in them, and the threads stay nearly still.",
            three_digits(scales_g_m2),
            three_digits(moving_g_m2)
        )
    })
}
