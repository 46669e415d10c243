//! CSV with one figure a row.

use crate::report::csv::{Table, text_cell};
use crate::report::error::ReportError;

/// One figure.
#[derive(Debug, Clone, Default)]
pub struct TidyRow<'a> {
    /// Sheet or seat.
    pub subject: &'a str,
    /// What it is, with its unit at the end.
    pub quantity: &'a str,
    /// Band, Hz.
    pub nominal_hz: Option<f64>,
    /// Figure.
    pub value: Option<f64>,
    /// Expanded uncertainty, same unit.
    pub u95: Option<f64>,
    /// Rooms behind it.
    pub n_rooms: Option<usize>,
    /// Standard deviation between rooms, same unit.
    pub between_sd: Option<f64>,
    /// More in words.
    pub note: &'a str,
}

/// The table; `subject` heads the first column. Columns: subject, `quantity`, `nominal_hz`, `value`,
/// `u95`, `n_rooms`, `between_sd`, `note`; absent figures are empty cells.
pub struct Tidy(Table);

impl Tidy {
    /// An empty table.
    pub fn new(subject: &str) -> Result<Self, ReportError> {
        let header =
            [subject, "quantity", "nominal_hz", "value", "u95", "n_rooms", "between_sd", "note"];
        Ok(Self(Table::new(&header)?))
    }

    /// One figure more.
    pub fn row(&mut self, row: &TidyRow) -> Result<(), ReportError> {
        let number = |x: Option<f64>| {
            x.filter(|x| x.is_finite()).map_or(String::new(), |x| format!("{:.6}", x))
        };
        let hz = row.nominal_hz.map_or(String::new(), |hz| format!("{hz}"));
        let n = row.n_rooms.map_or(String::new(), |n| n.to_string());
        let (subject, note) = (text_cell(row.subject), text_cell(row.note));
        self.0.row([
            &*subject,
            row.quantity,
            &hz,
            &number(row.value),
            &number(row.u95),
            &n,
            &number(row.between_sd),
            &note,
        ])
    }

    /// The bytes of the table.
    pub fn finish(self) -> Result<Vec<u8>, ReportError> {
        self.0.finish()
    }
}
