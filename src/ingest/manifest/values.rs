//! What each value of the manifest may be by itself: ranges, lengths of lists, text.

use super::text::ManifestText;
use crate::ingest::error::IngestError;
use std::ops::{Range, RangeInclusive};
use toml::Spanned;
use toml::de::{DeTable, DeValue};

/// Lower end of a range that 0 itself is no part of: the smallest number above it.
pub(super) const ABOVE_0: f64 = f64::MIN_POSITIVE;

/// Place without positions, range, and unit of the numbers whose range hangs on nothing else.
const NUMBERS: [(&str, RangeInclusive<f64>, &str); 46] = [
    ("session.placement_tolerance_mm", 0.0..=500.0, "mm"),
    ("session.temperature_c", -40.0..=60.0, "degrees Celsius"),
    ("session.humidity_percent", 0.0..=100.0, "percent"),
    ("sweep.start_hz", 1.0..=96_000.0, "Hz"),
    ("sweep.stop_hz", 1.0..=96_000.0, "Hz"),
    ("sweep.duration_s", 0.2..=60.0, "s"),
    ("sweep.fade_in_s", 0.0..=60.0, "s"),
    ("sweep.fade_out_s", 0.0..=60.0, "s"),
    ("sweep.level_dbfs", -120.0..=0.0, "dB re full scale"),
    ("screen.width_m", ABOVE_0..=100.0, "m"),
    ("screen.height_m", ABOVE_0..=100.0, "m"),
    // Thinner air is none: the sheet lies on the loudspeaker.
    ("screen.gap_m", 0.001..=5.0, "m"),
    ("screen.hole_diameter_mm", ABOVE_0..=50.0, "mm"),
    ("screen.hole_pitch_mm", ABOVE_0..=500.0, "mm"),
    ("screen.thickness_mm", ABOVE_0..=50.0, "mm"),
    ("screen.open_area_percent", ABOVE_0..=100.0, "percent"),
    ("screen.areal_mass_g_m2", ABOVE_0..=20_000.0, "g/m²"),
    ("screen.flow_resistance_pa_s_m", 0.0..=1e6, "Pa s/m"),
    ("screen.weave_pitch_mm", ABOVE_0..=100.0, "mm"),
    ("claim.band_hz", 10.0..=96_000.0, "Hz"),
    ("claim.at_hz", 10.0..=96_000.0, "Hz"),
    ("claim.reference_hz", 10.0..=96_000.0, "Hz"),
    ("claim.tolerance_db", 0.0..=60.0, "dB"),
    ("claim.angle_deg", 0.0..=90.0, "degrees"),
    ("claim.points.hz", 10.0..=96_000.0, "Hz"),
    ("claim.points.loss_db", -20.0..=60.0, "dB"),
    ("seat.weight", 0.0..=1000.0, ""),
    ("speaker.height_m", 0.0..=20.0, "m"),
    ("speaker.power_w", ABOVE_0..=1e5, "W"),
    ("speaker.amplifier_w", ABOVE_0..=1e5, "W"),
    ("speaker.driver_limit_w", ABOVE_0..=1e5, "W"),
    ("speaker.sensitivity_db", 40.0..=130.0, "dB at 1 W, 1 m"),
    ("speaker.driver_band_hz", 1.0..=96_000.0, "Hz"),
    ("correction.processor_rate_hz", 40_000.0..=768_000.0, "Hz"),
    ("correction.max_boost_db", 0.0..=20.0, "dB"),
    ("correction.max_cut_db", 0.0..=20.0, "dB"),
    ("correction.q", 0.05..=50.0, ""),
    ("correction.max_filters", 0.0..=12.0, ""),
    ("correction.tolerance_rms_db", ABOVE_0..=20.0, "dB"),
    ("correction.tolerance_band_db", ABOVE_0..=20.0, "dB"),
    ("picture.reference_gain", ABOVE_0..=20.0, ""),
    ("picture.meter_uncertainty_percent", 0.0..=100.0, "percent"),
    ("picture.projector_lm", ABOVE_0..=1e6, "lm"),
    ("picture.aspect", 0.2..=10.0, "(width over height)"),
    ("picture.masked_aspect", 0.2..=10.0, "(width over height)"),
    ("picture.pixels_across", 1.0..=1e5, ""),
];

/// What is wrong with a number outside its range; `None` inside. `name` stands before it.
pub(super) fn outside(
    name: &str,
    value: f64,
    range: &RangeInclusive<f64>,
    unit: &str,
) -> Option<String> {
    let low = if *range.start() == ABOVE_0 { "above 0".into() } else { range.start().to_string() };
    let gap = if unit.is_empty() { "" } else { " " };
    (!range.contains(&value))
        .then(|| format!("{name} is {value}, expected {low} to {}{gap}{unit}", range.end()))
}

/// Keys whose value is a list of so many numbers: the deserialiser drops what is too much.
const LISTS: [(&str, usize); 4] =
    [("position_m", 3), ("band_hz", 2), ("driver_band_hz", 2), ("q", 2)];

/// Holds every value of the document against what it may be, wherever it stands: numbers against
/// their ranges, lists against their lengths, text against control characters (they would drive a
/// terminal and break the papers).
///
/// # Errors
/// [`IngestError::Manifest`] for the first that may not be.
pub(super) fn check_values(text: &ManifestText, document: &DeTable<'_>) -> Result<(), IngestError> {
    in_table(text, "", document)
}

fn in_table(text: &ManifestText, place: &str, table: &DeTable<'_>) -> Result<(), IngestError> {
    for (key, value) in table.iter() {
        let key = key.get_ref().as_ref();
        let inside = if place.is_empty() { key.to_owned() } else { format!("{place}.{key}") };
        // Below a key of a table both are named: `temperature_c.with`.
        let name = place.split_once('.').map(|(_, above)| format!("{above}.{key}"));
        in_value(text, &inside, name.as_deref().unwrap_or(key), value)?;
    }
    Ok(())
}

fn in_value(
    text: &ManifestText,
    place: &str,
    name: &str,
    value: &Spanned<DeValue<'_>>,
) -> Result<(), IngestError> {
    let refuse =
        |problem: String, advice: &str| Err(text.refuse_span(value.span(), problem, advice));
    let number = match value.get_ref() {
        DeValue::Table(table) => return in_table(text, place, table),
        DeValue::Array(list) => return in_list(text, place, name, value.span(), list),
        DeValue::Float(float) => match float.as_str().parse() {
            Ok(number) if f64::is_finite(number) => number,
            _ => {
                return refuse(
                    format!("expected a finite number, found {}", float.as_str()),
                    "write the figure, or leave the key out where it is not known",
                );
            }
        },
        DeValue::Integer(number) => match i64::from_str_radix(number.as_str(), number.radix()) {
            Ok(number) => number as f64,
            Err(_) => return Ok(()),
        },
        DeValue::String(string) => {
            let drives = |c: &char| c.is_control() && !matches!(c, '\t' | '\n' | '\r');
            return match string.chars().find(drives) {
                Some(c) => refuse(
                    format!("control character {} in this text", c.escape_unicode()),
                    "remove it",
                ),
                None => Ok(()),
            };
        }
        DeValue::Boolean(_) | DeValue::Datetime(_) => return Ok(()),
    };
    // A table of one number for each condition stands below the key.
    let of_key =
        |key: &str| place.strip_prefix(key).is_some_and(|r| r.is_empty() || r.starts_with('.'));
    let known = NUMBERS.iter().find(|(key, ..)| of_key(key));
    match known.and_then(|(_, range, unit)| outside(name, number, range, unit)) {
        Some(problem) => refuse(problem, ""),
        None => Ok(()),
    }
}

fn in_list(
    text: &ManifestText,
    place: &str,
    name: &str,
    span: Range<usize>,
    list: &[Spanned<DeValue<'_>>],
) -> Result<(), IngestError> {
    let wanted = LISTS.iter().find(|(key, _)| *key == name).map_or(usize::MAX, |(_, n)| *n);
    // First: a decimal comma makes two numbers of one.
    if list.len() > wanted {
        let commas = "write decimal points, as 3.1, and commas between the numbers";
        return Err(text.refuse_span(
            span,
            format!("{name}: expected a list of {wanted} numbers, found {} values", list.len()),
            if list.len() == 2 * wanted { commas } else { "" },
        ));
    }
    list.iter()
        .enumerate()
        .try_for_each(|(i, item)| in_value(text, place, &format!("{name}, value {},", i + 1), item))
}
