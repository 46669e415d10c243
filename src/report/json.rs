//! `result.json`: the result document as text.

use super::error::ReportError;
use super::finite::refuse_non_finite;
use super::words;
use crate::analysis::predict::Forecast;
use serde::Serialize;
use serde_json::ser::{Formatter, Serializer};
use std::io::{self, Write};

/// A document as JSON, UTF-8, ending with a line feed. Objects take a line for
/// each key, lists of numbers stay on one line.
///
/// # Errors
/// [`ReportError::NotFinite`] when a number in it is NaN or infinite,
/// [`ReportError::Encode`] when a map in it has keys that are not text.
pub fn json_text<T: Serialize>(document: &T) -> Result<Vec<u8>, ReportError> {
    refuse_non_finite(document)?;
    let mut text = Vec::new();
    let mut encoder = Serializer::with_formatter(&mut text, KeysByLine { depth: 0 });
    document
        .serialize(&mut encoder)
        .map_err(|source| ReportError::Encode { what: "JSON", source: source.into() })?;
    text.push(b'\n');
    Ok(text)
}

/// Breaks lines only inside objects, so that a curve of 200 points does not
/// take 200 lines.
struct KeysByLine {
    depth: usize,
}

impl KeysByLine {
    fn new_line<W: Write + ?Sized>(&self, out: &mut W) -> io::Result<()> {
        out.write_all(b"\n")?;
        (0..self.depth).try_for_each(|_| out.write_all(b"  "))
    }
}

impl Formatter for KeysByLine {
    fn begin_array_value<W: Write + ?Sized>(&mut self, out: &mut W, first: bool) -> io::Result<()> {
        if first { Ok(()) } else { out.write_all(b", ") }
    }
    fn begin_object<W: Write + ?Sized>(&mut self, out: &mut W) -> io::Result<()> {
        self.depth += 1;
        out.write_all(b"{")
    }
    fn begin_object_key<W: Write + ?Sized>(&mut self, out: &mut W, first: bool) -> io::Result<()> {
        if !first {
            out.write_all(b",")?;
        }
        self.new_line(out)
    }
    fn begin_object_value<W: Write + ?Sized>(&mut self, out: &mut W) -> io::Result<()> {
        out.write_all(b": ")
    }
    fn end_object<W: Write + ?Sized>(&mut self, out: &mut W) -> io::Result<()> {
        self.depth -= 1;
        self.new_line(out)?;
        out.write_all(b"}")
    }
}

/// A forecast with format and version, as in the file `forecast.json`.
#[derive(Serialize)]
struct ForecastDocument<'a> {
    format: &'static str,
    version: u32,
    #[serde(flatten)]
    forecast: words::forecast::Document<'a>,
}

/// A forecast as a document.
///
/// # Errors
/// As [`json_text`].
pub fn forecast_json(forecast: &Forecast) -> Result<Vec<u8>, ReportError> {
    let forecast = words::forecast::document(forecast);
    json_text(&ForecastDocument { format: "scrimcheck-forecast", version: 1, forecast })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::example::example_result;
    use serde::Deserialize;

    /// The contract of `result.json`: a key that is renamed, dropped or added
    /// breaks this test.
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    #[allow(dead_code)]
    struct Document {
        format: String,
        version: u32,
        title: String,
        date: Option<String>,
        screen: ScreenKeys,
        headline: HeadlineKeys,
        bands: Vec<BandKeys>,
        seats: Vec<SeatKeys>,
        mean: MeanKeys,
        curve: CurveKeys,
        takes: Vec<serde_json::Value>,
        linearity: serde_json::Value,
        levels: Option<LevelsKeys>,
        budget: Vec<BudgetKeys>,
        level: Option<LevelKeys>,
        claims: Vec<ClaimKeys>,
        rattle: Vec<RattleKeys>,
        rattle_profile: Option<serde_json::Value>,
        rattle_limit_db: Option<f64>,
        distortion: Option<serde_json::Value>,
        seat_dependence: Option<serde_json::Value>,
        correction: Option<serde_json::Value>,
        verification: Option<serde_json::Value>,
        sheet: Option<serde_json::Value>,
        power: Option<serde_json::Value>,
        picture: Option<serde_json::Value>,
        listening: Vec<serde_json::Value>,
        warnings: Vec<WarningKeys>,
    }
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    #[allow(dead_code)]
    struct ScreenKeys {
        name: Option<String>,
        backing: bool,
    }
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    #[allow(dead_code)]
    struct HeadlineKeys {
        band_hz: [f64; 2],
        mean_loss_db: Option<f64>,
        largest_loss: Option<BandFigureKeys>,
        largest_range: Option<BandFigureKeys>,
    }
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    #[allow(dead_code)]
    struct BandFigureKeys {
        nominal_hz: f64,
        value_db: f64,
    }
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct BandKeys {
        nominal_hz: f64,
        exact_hz: f64,
    }
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    #[allow(dead_code)]
    struct SeatKeys {
        id: String,
        name: String,
        weight: f64,
        position_m: Option<[f64; 3]>,
        spots: SpotKeys,
        loss_db: Vec<Option<f64>>,
        u95_db: Vec<Option<f64>>,
        dof: Vec<Option<f64>>,
        in_room_loss_db: Vec<Option<f64>>,
        direct_loss_db: Vec<Option<f64>>,
        absent: Vec<Option<String>>,
        doubtful: Vec<bool>,
        doubtful_takes: Vec<String>,
    }
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct SpotKeys {
        without: usize,
        with: usize,
    }
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct MeanKeys {
        loss_db: Vec<Option<f64>>,
        u95_db: Vec<Option<f64>>,
        dof: Vec<Option<f64>>,
        sd_db: Vec<Option<f64>>,
        range_db: Vec<Option<f64>>,
        seats: Vec<usize>,
    }
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct CurveKeys {
        frequency_hz: Vec<f64>,
        mean_loss_db: Vec<Option<f64>>,
        seats: Vec<SeatCurveKeys>,
    }
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct SeatCurveKeys {
        id: String,
        loss_db: Vec<Option<f64>>,
    }
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    #[allow(dead_code)]
    struct LevelsKeys {
        reference: String,
        without_db: Vec<Option<f64>>,
        with_db: Vec<Option<f64>>,
        corrected_db: Vec<Option<f64>>,
        noise_db: Vec<Option<f64>>,
    }
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    #[allow(dead_code)]
    struct BudgetKeys {
        term: String,
        origin: String,
        common: bool,
        u_db: Vec<Option<f64>>,
    }
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    #[allow(dead_code)]
    struct LevelKeys {
        low_band_loss_db: Option<f64>,
        step_db: Option<f64>,
        source: String,
        open: Option<serde_json::Value>,
        statement: String,
    }
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    #[allow(dead_code)]
    struct ClaimKeys {
        quantity: String,
        subject: String,
        scope: String,
        verdict: String,
        measured_db: Option<f64>,
        u95_db: Option<f64>,
        limit_db: Option<f64>,
        lower_limit_db: Option<f64>,
        curve: Vec<CurveLimitKeys>,
        guard: Option<f64>,
        probability: Option<f64>,
        band_hz: Option<[f64; 2]>,
        governing_hz: Option<f64>,
        governing_seat: Option<String>,
        measured: Option<f64>,
        u95: Option<f64>,
        maximum: Option<f64>,
        minimum: Option<f64>,
        source: Option<String>,
        reason: Option<String>,
        sentence: String,
    }
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    #[allow(dead_code)]
    struct CurveLimitKeys {
        nominal_hz: f64,
        lower_limit_db: f64,
        limit_db: f64,
    }
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    #[allow(dead_code)]
    struct RattleKeys {
        low_hz: f64,
        high_hz: f64,
        excess_db: f64,
        seats: Vec<String>,
    }
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    #[allow(dead_code)]
    struct WarningKeys {
        topic: String,
        seat: Option<String>,
        take: Option<String>,
        message: String,
        advice: String,
    }

    #[test]
    fn the_document_reads_back_key_by_key() {
        let result = example_result(3);
        let document: Document =
            serde_json::from_slice(&json_text(&result).unwrap()).expect("keys of the contract");
        assert_eq!(document.format, "scrimcheck-result");
        assert_eq!(document.version, 1);
        assert_eq!(document.bands.len(), 23);
        // ISO 266 / IEC 61260-1: the band called 3.15 kHz has its middle at 10^3.5 Hz.
        assert_eq!(document.bands[15].nominal_hz, 3150.0);
        assert!((document.bands[15].exact_hz - 10f64.powf(3.5)).abs() < 1e-9);
        assert_eq!(document.seats.len(), 3);
        for seat in &document.seats {
            for list in [&seat.loss_db, &seat.u95_db, &seat.dof] {
                assert_eq!(list.len(), 23);
            }
            // A band has either a value or a reason, never both or neither.
            for (value, reason) in seat.loss_db.iter().zip(&seat.absent) {
                assert!(value.is_some() != reason.is_some(), "{value:?} {reason:?}");
            }
            assert!(seat.absent.iter().any(Option::is_some), "the example has an absent band");
            assert_eq!((seat.spots.without, seat.spots.with), (2, 2));
        }
        assert_eq!(document.mean.loss_db.len(), 23);
        assert_eq!(document.mean.u95_db.len(), 23);
        assert_eq!(document.mean.dof.len(), 23);
        assert_eq!(document.mean.range_db.len(), 23);
        assert_eq!(document.mean.sd_db.len(), 23);
        assert_eq!(document.mean.seats[0], 3);
        assert_eq!(document.curve.frequency_hz.len(), document.curve.mean_loss_db.len());
        assert_eq!(document.curve.seats[2].id, result.seats[2].id);
        assert_eq!(document.curve.seats[2].loss_db, result.curve.seats[2].loss_db);
    }

    #[test]
    fn a_number_that_is_not_finite_is_refused() {
        let mut result = example_result(2);
        result.seats[1].u95_db[4] = Some(f64::NAN);
        let error = json_text(&result).unwrap_err();
        assert!(error.to_string().contains("seats[1].u95_db[4]"), "{error}");
    }

    #[test]
    fn lists_of_numbers_stay_on_a_line() {
        #[derive(Serialize)]
        struct Small {
            loss_db: Vec<Option<f64>>,
            seats: Vec<Inner>,
        }
        #[derive(Serialize)]
        struct Inner {
            id: &'static str,
        }
        let small = Small {
            loss_db: vec![Some(1.5), None],
            seats: vec![Inner { id: "a\"<" }, Inner { id: "" }],
        };
        assert_eq!(
            String::from_utf8(json_text(&small).unwrap()).unwrap(),
            "{\n  \"loss_db\": [1.5, null],\n  \"seats\": [{\n    \"id\": \"a\\\"<\"\n  }, {\n    \
             \"id\": \"\"\n  }]\n}\n"
        );
    }
}
