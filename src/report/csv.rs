//! `bands.csv` and `curve.csv`: the losses for spreadsheets, one value a row.

use super::error::ReportError;
use super::result::{Band, SessionResult};
use std::borrow::Cow;

/// Which two conditions a loss compares.
const CONDITION_PAIR: &str = "with/without";

/// The third-octave losses, one row for each seat and band, then the mean's.
///
/// Columns: `seat`, `condition_pair`, `nominal_hz`, `exact_hz`, `loss_db`,
/// `u95_db`, `dof`, `valid` (true or false), `reason` (why not valid, or why
/// doubtful), `kind` (`seat`, or `mean` for the mean over the seats, so that
/// it is not taken for a seat). A value that is absent is an empty cell.
///
/// # Errors
/// [`ReportError::NotFinite`] when a number is NaN or infinite.
pub fn bands_csv(result: &SessionResult) -> Result<Vec<u8>, ReportError> {
    let mut table = Table::new(&[
        "seat",
        "condition_pair",
        "nominal_hz",
        "exact_hz",
        "loss_db",
        "u95_db",
        "dof",
        "valid",
        "reason",
        "kind",
    ])?;
    for seat in &result.seats {
        let reason = |b: usize| match seat.absent.get(b).and_then(Option::as_deref) {
            Some(reason) => reason,
            None if seat.doubtful.get(b) == Some(&true) => {
                "doubtful: only 4 to 10 dB above the noise"
            }
            None => "",
        };
        let columns = [&seat.loss_db, &seat.u95_db, &seat.dof];
        table.band_rows([&seat.id, "seat"], &result.bands, columns, reason)?;
    }
    let mean = &result.mean;
    let reason = |b: usize| match mean.loss_db.get(b) {
        Some(Some(_)) => "",
        _ => "no seat has a value",
    };
    let columns = [&mean.loss_db, &mean.u95_db, &mean.dof];
    table.band_rows(["mean", "mean"], &result.bands, columns, reason)?;
    table.finish()
}

/// The losses on the 1/24-octave grid: columns `seat`, `frequency_hz`,
/// `loss_db`, `kind` (`seat` or `mean`).
///
/// # Errors
/// [`ReportError::NotFinite`] when a number is NaN or infinite.
pub fn curve_csv(result: &SessionResult) -> Result<Vec<u8>, ReportError> {
    let mut table = Table::new(&["seat", "frequency_hz", "loss_db", "kind"])?;
    let curve = &result.curve;
    let seats = curve.seats.iter().map(|s| (s.id.as_str(), &s.loss_db, "seat"));
    for (name, loss_db, kind) in seats.chain([("mean", &curve.mean_loss_db, "mean")]) {
        for (&hz, &loss) in curve.frequency_hz.iter().zip(loss_db) {
            table.row([&*text_cell(name), &number(Some(hz))?, &number(loss)?, kind])?;
        }
    }
    table.finish()
}

/// A text that came from a user, made safe for spreadsheets: they take a cell
/// that begins with `=`, `+`, `-`, `@`, a tab or a carriage return for a formula
/// (also behind spaces), and a leading apostrophe makes it text.
pub fn text_cell(text: &str) -> Cow<'_, str> {
    let first = text.trim_start_matches(' ').chars().next();
    if matches!(first, Some('=' | '+' | '-' | '@' | '\t' | '\r' | '\n')) {
        Cow::Owned(format!("'{text}"))
    } else {
        Cow::Borrowed(text)
    }
}

/// A number as a cell; an absent one is an empty cell.
///
/// # Errors
/// [`ReportError::NotFinite`] for NaN and infinities, which would stand in the
/// file as text.
pub fn number(value: Option<f64>) -> Result<String, ReportError> {
    match value {
        None => Ok(String::new()),
        Some(v) if v.is_finite() => Ok(v.to_string()),
        Some(v) => {
            Err(ReportError::NotFinite { place: "a table cell".into(), found: v.to_string() })
        }
    }
}

/// A table in the making: comma separated, RFC 4180 quotes, lines end with LF.
pub struct Table {
    writer: csv::Writer<Vec<u8>>,
    has_header: bool,
}

impl Table {
    /// A table with its header row.
    ///
    /// # Errors
    /// [`ReportError::Encode`]; cannot happen with a header of at least one name.
    pub fn new(header: &[&str]) -> Result<Self, ReportError> {
        let mut table = Self::headless();
        table.row(header)?;
        Ok(table)
    }

    /// A table whose first row is its header.
    pub fn headless() -> Self {
        Self { writer: csv::Writer::from_writer(Vec::new()), has_header: false }
    }

    /// Adds a row of finished cells; users' texts go through [`text_cell`] first.
    ///
    /// # Errors
    /// [`ReportError::Encode`] when the row has not the length of the header.
    pub fn row<C: AsRef<[u8]>>(
        &mut self,
        cells: impl IntoIterator<Item = C>,
    ) -> Result<(), ReportError> {
        self.has_header = true;
        self.writer.write_record(cells).map_err(|e| encode_error(e.into()))
    }

    /// Adds a row of cells with the names of their columns, which make the header of a table that
    /// has none yet.
    ///
    /// # Errors
    /// As [`Self::row`].
    pub fn named_row<const N: usize>(
        &mut self,
        cells: [(&str, String); N],
    ) -> Result<(), ReportError> {
        if !self.has_header {
            self.row(cells.each_ref().map(|(name, _)| name))?;
        }
        self.row(cells.map(|(_, cell)| cell))
    }

    fn band_rows<'a>(
        &mut self,
        [name, kind]: [&str; 2],
        bands: &[Band],
        columns: [&Vec<Option<f64>>; 3],
        reason: impl Fn(usize) -> &'a str,
    ) -> Result<(), ReportError> {
        for (b, band) in bands.iter().enumerate() {
            let [loss, u95, dof] = columns.map(|column| column.get(b).copied().flatten());
            self.row([
                &*text_cell(name),
                CONDITION_PAIR,
                &number(Some(band.nominal_hz))?,
                &number(Some(band.exact_hz))?,
                &number(loss)?,
                &number(u95)?,
                &number(dof)?,
                if loss.is_some() { "true" } else { "false" },
                &text_cell(reason(b)),
                kind,
            ])?;
        }
        Ok(())
    }

    /// The bytes of the file.
    ///
    /// # Errors
    /// [`ReportError::Encode`]; cannot happen, since it is written to memory.
    pub fn finish(self) -> Result<Vec<u8>, ReportError> {
        self.writer.into_inner().map_err(|e| encode_error(e.into_error().into()))
    }
}

fn encode_error(source: Box<dyn std::error::Error + Send + Sync>) -> ReportError {
    ReportError::Encode { what: "CSV", source }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::example::example_result;
    use serde::Deserialize;

    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct BandRow {
        seat: String,
        condition_pair: String,
        nominal_hz: f64,
        exact_hz: f64,
        loss_db: Option<f64>,
        u95_db: Option<f64>,
        dof: Option<f64>,
        valid: bool,
        reason: String,
        kind: String,
    }

    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct CurveRow {
        seat: String,
        frequency_hz: f64,
        loss_db: Option<f64>,
        kind: String,
    }

    fn read<T: for<'a> Deserialize<'a>>(bytes: &[u8]) -> Vec<T> {
        csv::Reader::from_reader(bytes).deserialize().collect::<Result<_, _>>().expect("by header")
    }

    #[test]
    fn bands_read_back_by_header_name() {
        let result = example_result(3);
        let rows: Vec<BandRow> = read(&bands_csv(&result).unwrap());
        assert_eq!(rows.len(), 4 * 23);
        for (i, row) in rows.iter().enumerate() {
            let (s, b) = (i / 23, i % 23);
            let (id, loss, u95, dof, kind) = match result.seats.get(s) {
                Some(seat) => (&*seat.id, &seat.loss_db, &seat.u95_db, &seat.dof, "seat"),
                None => {
                    let mean = &result.mean;
                    ("mean", &mean.loss_db, &mean.u95_db, &mean.dof, "mean")
                }
            };
            assert_eq!((&*row.seat, &*row.kind), (id, kind));
            assert_eq!(row.condition_pair, "with/without");
            assert_eq!(row.nominal_hz, result.bands[b].nominal_hz);
            assert_eq!(row.exact_hz, result.bands[b].exact_hz);
            assert_eq!((row.loss_db, row.u95_db, row.dof), (loss[b], u95[b], dof[b]));
            assert_eq!(row.valid, row.loss_db.is_some());
            assert_eq!(row.valid, row.reason.is_empty() || row.reason.starts_with("doubtful"));
        }
        assert!(rows.iter().any(|r| !r.valid) && rows.iter().any(|r| r.reason.contains("10 dB")));
    }

    #[test]
    fn the_curve_reads_back_by_header_name() {
        let result = example_result(2);
        let rows: Vec<CurveRow> = read(&curve_csv(&result).unwrap());
        let n = result.curve.frequency_hz.len();
        assert_eq!(rows.len(), 3 * n);
        assert_eq!(rows[n].seat, result.seats[1].id);
        assert_eq!(rows[n + 3].frequency_hz, result.curve.frequency_hz[3]);
        assert_eq!(rows[n + 3].loss_db, result.curve.seats[1].loss_db[3]);
        assert_eq!(rows[2 * n + 3].loss_db, result.curve.mean_loss_db[3]);
        assert_eq!((&*rows[2 * n].seat, &*rows[2 * n].kind), ("mean", "mean"));
    }

    #[test]
    fn a_seat_name_never_becomes_a_formula() {
        for nasty in ["=1+1", "+1", "-1", "@a", "\t=1", "\r=1", "  =1", "\n=1"] {
            assert_eq!(text_cell(nasty), format!("'{nasty}"));
            let mut result = example_result(1);
            result.seats[0].id = nasty.into();
            let rows: Vec<BandRow> = read(&bands_csv(&result).unwrap());
            assert_eq!(rows[0].seat, format!("'{nasty}"));
        }
        for plain in ["R1C", "a=b", "", "row 1, \"left\""] {
            assert_eq!(text_cell(plain), plain);
        }
        // Negative numbers are numbers, not text.
        assert_eq!(number(Some(-0.25)).unwrap(), "-0.25");
    }

    #[test]
    fn a_number_that_is_not_finite_is_refused() {
        let mut result = example_result(1);
        result.mean.loss_db[0] = Some(f64::INFINITY);
        assert!(matches!(bands_csv(&result), Err(ReportError::NotFinite { .. })));
        result.curve.mean_loss_db[0] = Some(f64::NAN);
        assert!(matches!(curve_csv(&result), Err(ReportError::NotFinite { .. })));
    }
}
