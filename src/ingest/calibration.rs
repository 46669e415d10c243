//! The microphone's calibration file: CSV `frequency_hz, correction_db`.

use super::error::IngestError;
use super::manifest::read_text;
use super::printable::excerpt;
use std::path::Path;

/// Most rows.
const MAX_ROWS: usize = 100_000;

/// Reads pairs of frequency (Hz, rising) and correction (dB, to be added to the
/// recorded level). A first row of names is allowed, `#` begins a comment.
///
/// # Errors
/// [`IngestError::Calibration`] with row and column; [`IngestError`] for a file that
/// is missing, too large or not UTF-8.
pub(crate) fn read_calibration(path: &Path) -> Result<Vec<(f64, f64)>, IngestError> {
    let text = read_text(path, "correct recording.calibration_file or leave it out")?;
    parse(path, &text)
}

/// Correction at a frequency, dB: linear over the logarithm of frequency between the rows,
/// constant beyond the first and the last; 0 without any.
pub fn correction_db(points: &[(f64, f64)], hz: f64) -> f64 {
    let above = points.partition_point(|(at_hz, _)| *at_hz <= hz);
    match (points[..above].last(), points.get(above)) {
        (Some(&(low_hz, low_db)), Some(&(high_hz, high_db))) => {
            let share = (hz / low_hz).ln() / (high_hz / low_hz).ln();
            low_db + share * (high_db - low_db)
        }
        (Some(&(_, db)), None) | (None, Some(&(_, db))) => db,
        (None, None) => 0.0,
    }
}

fn parse(path: &Path, text: &str) -> Result<Vec<(f64, f64)>, IngestError> {
    let fault = |row: usize, (column, problem): Fault| IngestError::Calibration {
        path: path.into(),
        row,
        column,
        problem,
    };
    let line = |position: Option<&csv::Position>| position.map_or(1, |p| p.line() as usize);
    let mut reader = csv::ReaderBuilder::new()
        .has_headers(false)
        .flexible(true)
        .comment(Some(b'#'))
        .trim(csv::Trim::All)
        .from_reader(text.as_bytes());
    let mut points: Vec<(f64, f64)> = Vec::new();
    for (i, record) in reader.records().enumerate() {
        let record =
            record.map_err(|error| fault(line(error.position()), (None, error.to_string())))?;
        let at_row = |wrong: Fault| fault(line(record.position()), wrong);
        check_columns(&record).map_err(at_row)?;
        if i == 0 && record[0].parse::<f64>().is_err() {
            check_names(&record).map_err(at_row)?;
            continue;
        }
        let frequency_hz = number(&record, 0, [0.1, 1e6]).map_err(at_row)?;
        let correction_db = number(&record, 1, [-100.0, 100.0]).map_err(at_row)?;
        if let Some(&(before_hz, _)) = points.last()
            && frequency_hz <= before_hz
        {
            let problem =
                format!("found {frequency_hz} Hz after {before_hz} Hz, expected a higher one");
            return Err(at_row((Some(1), problem)));
        }
        if points.len() == MAX_ROWS {
            return Err(at_row((None, format!("more than {MAX_ROWS} rows"))));
        }
        points.push((frequency_hz, correction_db));
    }
    if points.is_empty() {
        return Err(fault(1, (None, "there is no row of numbers".into())));
    }
    Ok(points)
}

/// Column, counted from 1, where one is meant; what was expected and found.
type Fault = (Option<usize>, String);

fn check_columns(record: &csv::StringRecord) -> Result<(), Fault> {
    if record.iter().any(|s| s.contains(';')) {
        let problem =
            "the columns are separated by semicolons; save with commas and decimal points";
        return Err((None, problem.into()));
    }
    match record.len() {
        2 => Ok(()),
        n => Err((None, format!("found {n} columns, expected 2"))),
    }
}

fn check_names(record: &csv::StringRecord) -> Result<(), Fault> {
    for (i, (found, want)) in record.iter().zip(["frequency_hz", "correction_db"]).enumerate() {
        if !found.eq_ignore_ascii_case(want) {
            let found = excerpt(found);
            let problem = format!("found \"{found}\", expected the name {want} or a number");
            return Err((Some(i + 1), problem));
        }
    }
    Ok(())
}

fn number(record: &csv::StringRecord, i: usize, [low, high]: [f64; 2]) -> Result<f64, Fault> {
    let found = &record[i];
    found.parse::<f64>().ok().filter(|x| (low..=high).contains(x)).ok_or_else(|| {
        let found = excerpt(found);
        (Some(i + 1), format!("found \"{found}\", expected a number from {low} to {high}"))
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn fault(text: &str) -> (usize, Option<usize>, String) {
        match parse(Path::new("mic.csv"), text) {
            Err(IngestError::Calibration { row, column, problem, .. }) => (row, column, problem),
            other => panic!("{other:?}"),
        }
    }

    #[test]
    fn the_correction_is_straight_over_octaves_and_level_beyond_its_ends() {
        // Half of 6 dB one octave up of two.
        let points = [(100.0, 0.0), (400.0, 6.0)];
        for (hz, want) in [(20.0, 0.0), (100.0, 0.0), (200.0, 3.0), (400.0, 6.0), (9e3, 6.0)] {
            assert!((correction_db(&points, hz) - want).abs() < 1e-12, "{hz} Hz");
        }
        assert_eq!(correction_db(&[], 1000.0), 0.0);
    }

    #[test]
    fn rows_are_read_with_and_without_names() {
        let want = vec![(20.0, -0.5), (1000.0, 0.0), (20_000.0, 2.25)];
        for text in [
            "frequency_hz, correction_db\n20, -0.5\n1000, 0\n20000, 2.25\n",
            "# serial 1\r\n20,-0.5\r\n1e3,0.0\r\n20000,2.25",
        ] {
            assert_eq!(parse(Path::new("mic.csv"), text).ok(), Some(want.clone()));
        }
    }

    #[test]
    fn faults_name_row_and_column() {
        for (text, row, column, part) in [
            ("", 1, None, "no row"),
            ("frequency_hz,correction_db\n", 1, None, "no row"),
            ("hz,db\n1,2\n", 1, Some(1), "frequency_hz"),
            ("frequency_hz,db\n1,2\n", 1, Some(2), "correction_db"),
            ("20,0\n30,abc\n", 2, Some(2), "abc"),
            ("20,0\n30,NaN\n", 2, Some(2), "NaN"),
            ("20,0\n30,inf\n", 2, Some(2), "inf"),
            ("20,0\n-30,1\n", 2, Some(1), "-30"),
            ("20,0\n20,1\n", 2, Some(1), "higher"),
            ("20,0\n30,1,5\n", 2, None, "3 columns"),
            ("20;0,5\n", 1, None, "semicolons"),
            ("20 0\n", 1, None, "1 columns"),
        ] {
            let (r, c, problem) = fault(text);
            assert_eq!((r, c), (row, column), "{text:?}: {problem}");
            assert!(problem.contains(part), "{text:?}: {problem}");
        }
    }
}
