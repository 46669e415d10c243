//! `readings.csv`: light readings of the screen, one a row.
//!
//! Columns, in any order: `point`, `screen_cd_m2`, and where known `angle_deg`,
//! `reference_cd_m2` (a white reference held at the same place) or `illuminance_lx`. Empty cells
//! are values that were not taken. Rows starting with `#` are notes. A file with semicolons
//! between the columns may write decimals with a comma.

use crate::ingest::printable::{excerpt, shown};
use std::path::{Path, PathBuf};

/// Where on the picture a reading was taken.
#[derive(
    Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, serde::Serialize, serde::Deserialize,
)]
#[serde(rename_all = "snake_case")]
pub enum Point {
    /// Upper left corner, seen from the seats.
    TopLeft,
    /// Middle of the upper edge.
    Top,
    /// Upper right corner.
    TopRight,
    /// Middle of the left side.
    Left,
    /// Centre of the picture.
    Centre,
    /// Middle of the right side.
    Right,
    /// Lower left corner.
    BottomLeft,
    /// Middle of the lower edge.
    Bottom,
    /// Lower right corner.
    BottomRight,
}

impl Point {
    /// All points, row by row as on the nine-point grid numbered 1 to 9.
    pub const GRID: [Self; 9] = [
        Self::TopLeft,
        Self::Top,
        Self::TopRight,
        Self::Left,
        Self::Centre,
        Self::Right,
        Self::BottomLeft,
        Self::Bottom,
        Self::BottomRight,
    ];

    /// Name as in the file.
    pub fn name(self) -> &'static str {
        match self {
            Self::TopLeft => "top_left",
            Self::Top => "top",
            Self::TopRight => "top_right",
            Self::Left => "left",
            Self::Centre => "centre",
            Self::Right => "right",
            Self::BottomLeft => "bottom_left",
            Self::Bottom => "bottom",
            Self::BottomRight => "bottom_right",
        }
    }

    /// Whether it is the middle of the left or right edge.
    pub fn is_side(self) -> bool {
        matches!(self, Self::Left | Self::Right)
    }

    /// Whether it is one of the four corners.
    pub fn is_corner(self) -> bool {
        matches!(self, Self::TopLeft | Self::TopRight | Self::BottomLeft | Self::BottomRight)
    }

    /// Reads a name ("top left", "Top-Left", "centre", "center") or a number of the nine-point
    /// grid, counted row by row from the upper left: 5 is the centre.
    fn parse(text: &str) -> Option<Self> {
        let name = text.trim().to_lowercase().replace([' ', '-'], "_");
        if let Ok(number) = name.parse::<usize>() {
            return number.checked_sub(1).and_then(|i| Self::GRID.get(i).copied());
        }
        if ["center", "middle", "axis"].contains(&name.as_str()) {
            return Some(Self::Centre);
        }
        Self::GRID.into_iter().find(|p| p.name() == name)
    }
}

/// What the screen's luminance is held against.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Against {
    /// Luminance of the white reference, cd/m2.
    WhiteReference(f64),
    /// Illuminance on the screen, lx.
    Illuminance(f64),
}

/// One row.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Reading {
    /// Line in the file, counted from 1.
    pub line: u64,
    /// Where.
    pub point: Point,
    /// Angle of view from the normal, degrees, -90...90 exclusive; 0 where not given.
    pub angle_deg: f64,
    /// Luminance of the screen, cd/m2, above 0.
    pub screen_cd_m2: f64,
    /// Reference at the same place.
    pub against: Option<Against>,
}

/// Why the readings cannot be used.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum ReadingsError {
    /// The file cannot be opened or read.
    #[error("{}: cannot read the light readings", shown(.path))]
    Read {
        /// File.
        path: PathBuf,
        /// Cause.
        #[source]
        source: std::io::Error,
    },
    /// A row has another number of cells than the heading, or is no text.
    #[error("{}: line {line}: not a row of the table; give each row as many cells as the heading", shown(.path))]
    Row {
        /// File.
        path: PathBuf,
        /// Line, counted from 1.
        line: u64,
        /// Cause.
        #[source]
        source: csv::Error,
    },
    /// A heading that is not known, or twice there.
    #[error(
        "{}: column \"{}\": {problem}; the columns are point, angle_deg, screen_cd_m2, \
         reference_cd_m2, illuminance_lx",
        shown(.path),
        excerpt(.column)
    )]
    Column {
        /// File.
        path: PathBuf,
        /// Heading as written.
        column: String,
        /// What is wrong with it.
        problem: String,
    },
    /// A cell that is no such value.
    #[error(
        "{}: line {line}, column {column}: found \"{}\", expected {expected}",
        shown(.path),
        excerpt(.found)
    )]
    Cell {
        /// File.
        path: PathBuf,
        /// Line, counted from 1.
        line: u64,
        /// Heading.
        column: &'static str,
        /// The cell as written.
        found: String,
        /// What it should be.
        expected: &'static str,
    },
    /// White reference and illuminance in the same row.
    #[error(
        "{}: line {line}: both reference_cd_m2 and illuminance_lx are given; leave one empty",
        shown(.path)
    )]
    TwoReferences {
        /// File.
        path: PathBuf,
        /// Line, counted from 1.
        line: u64,
    },
    /// No row with a reading.
    #[error("{}: no readings; write at least one row with point and screen_cd_m2", shown(.path))]
    Empty {
        /// File.
        path: PathBuf,
    },
}

/// Largest file that is read, bytes: readings are a handful of rows.
const LARGEST_BYTES: u64 = 1 << 20;

/// Reads a file of readings.
///
/// # Errors
/// [`ReadingsError`], naming file, line, column and cell.
pub fn read_readings(path: &Path) -> Result<Vec<Reading>, ReadingsError> {
    let fail = |source| ReadingsError::Read { path: path.into(), source };
    let size = std::fs::metadata(path).map_err(fail)?.len();
    if size > LARGEST_BYTES {
        let told = format!("{size} bytes, at most {LARGEST_BYTES} are read");
        return Err(fail(std::io::Error::other(told)));
    }
    parse_readings(&std::fs::read(path).map_err(fail)?, path)
}

/// Reads the bytes of a file of readings; `path` is only for messages.
///
/// # Errors
/// [`ReadingsError`], naming file, line, column and cell.
pub fn parse_readings(bytes: &[u8], path: &Path) -> Result<Vec<Reading>, ReadingsError> {
    let bytes = bytes.strip_prefix(b"\xef\xbb\xbf").unwrap_or(bytes);
    let heading: &[u8] = bytes
        .split(|b| *b == b'\n' || *b == b'\r')
        .find(|line| !line.is_empty() && line[0] != b'#')
        .unwrap_or(&[]);
    let semicolons = heading.contains(&b';') && !heading.contains(&b',');
    let mut table = csv::ReaderBuilder::new()
        .delimiter(if semicolons { b';' } else { b',' })
        .comment(Some(b'#'))
        .trim(csv::Trim::All)
        .from_reader(bytes);
    let row_error = |source: csv::Error| {
        let line = source.position().map_or(1, csv::Position::line);
        ReadingsError::Row { path: path.into(), line, source }
    };
    let columns = find_columns(table.headers().map_err(row_error)?, path)?;
    let mut readings = Vec::new();
    for record in table.records() {
        let record = record.map_err(row_error)?;
        if record.iter().all(str::is_empty) {
            continue;
        }
        let line = record.position().map_or(0, csv::Position::line);
        readings.push(Row { record: &record, columns, line, path, semicolons }.read()?);
    }
    if readings.is_empty() {
        return Err(ReadingsError::Empty { path: path.into() });
    }
    Ok(readings)
}

/// Headings; the first two must be there.
const COLUMNS: [&str; 5] =
    ["point", "screen_cd_m2", "angle_deg", "reference_cd_m2", "illuminance_lx"];
const POINT: usize = 0;
const SCREEN: usize = 1;
const ANGLE: usize = 2;
const REFERENCE: usize = 3;
const ILLUMINANCE: usize = 4;

/// Where each of the columns stands in the file.
fn find_columns(
    heading: &csv::StringRecord,
    path: &Path,
) -> Result<[Option<usize>; 5], ReadingsError> {
    let problem = |column: &str, problem: &str| ReadingsError::Column {
        path: path.into(),
        column: column.into(),
        problem: problem.into(),
    };
    let mut found = [None; 5];
    for (i, name) in heading.iter().enumerate() {
        match COLUMNS.iter().position(|n| n.eq_ignore_ascii_case(name)) {
            None => return Err(problem(name, "not known")),
            Some(k) if found[k].is_some() => return Err(problem(name, "there twice")),
            Some(k) => found[k] = Some(i),
        }
    }
    match [POINT, SCREEN].into_iter().find(|&k| found[k].is_none()) {
        Some(k) => Err(problem(COLUMNS[k], "missing")),
        None => Ok(found),
    }
}

/// One row with what its messages need.
struct Row<'a> {
    record: &'a csv::StringRecord,
    columns: [Option<usize>; 5],
    line: u64,
    path: &'a Path,
    semicolons: bool,
}

const LIGHT: &str = "a number above 0 and below 1000000";

impl Row<'_> {
    fn read(&self) -> Result<Reading, ReadingsError> {
        let point = Point::parse(self.cell(POINT)).ok_or_else(|| {
            self.refuse(
                POINT,
                "centre, left, right, top, bottom, top_left, top_right, bottom_left, \
                 bottom_right or a number from 1 to 9 (row by row, 5 = centre)",
            )
        })?;
        let light = |column| self.number(column, LIGHT, |v| v > 0.0 && v < 1e6);
        let screen_cd_m2 = light(SCREEN)?.ok_or_else(|| self.refuse(SCREEN, LIGHT))?;
        let against = match (light(REFERENCE)?, light(ILLUMINANCE)?) {
            (Some(_), Some(_)) => {
                return Err(ReadingsError::TwoReferences {
                    path: self.path.into(),
                    line: self.line,
                });
            }
            (Some(l), None) => Some(Against::WhiteReference(l)),
            (None, Some(e)) => Some(Against::Illuminance(e)),
            (None, None) => None,
        };
        let angle_deg =
            self.number(ANGLE, "degrees between -90 and 90", |v| v.abs() < 90.0)?.unwrap_or(0.0);
        Ok(Reading { line: self.line, point, angle_deg, screen_cd_m2, against })
    }

    /// Text in one of the [`COLUMNS`]; empty where the file does not have it.
    fn cell(&self, column: usize) -> &str {
        self.columns[column].and_then(|i| self.record.get(i)).unwrap_or("")
    }

    fn number(
        &self,
        column: usize,
        expected: &'static str,
        accept: impl Fn(f64) -> bool,
    ) -> Result<Option<f64>, ReadingsError> {
        let text = self.cell(column);
        if text.is_empty() {
            return Ok(None);
        }
        let plain = if self.semicolons { text.replace(',', ".") } else { text.into() };
        match plain.parse::<f64>() {
            Ok(value) if value.is_finite() && accept(value) => Ok(Some(value)),
            _ => Err(self.refuse(column, expected)),
        }
    }

    fn refuse(&self, column: usize, expected: &'static str) -> ReadingsError {
        ReadingsError::Cell {
            path: self.path.into(),
            line: self.line,
            column: COLUMNS[column],
            found: self.cell(column).into(),
            expected,
        }
    }
}

#[cfg(test)]
mod tests;
