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
    parse(&text).map_err(|Fault { row, column, problem }| IngestError::Calibration {
        path: path.to_path_buf(),
        row,
        column,
        problem,
    })
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

struct Fault {
    row: usize,
    column: Option<usize>,
    problem: String,
}

fn parse(text: &str) -> Result<Vec<(f64, f64)>, Fault> {
    let mut reader = csv::ReaderBuilder::new()
        .has_headers(false)
        .flexible(true)
        .comment(Some(b'#'))
        .trim(csv::Trim::All)
        .from_reader(text.as_bytes());
    let mut points: Vec<(f64, f64)> = Vec::new();
    let mut is_first = true;
    for record in reader.records() {
        let record = record.map_err(|error| Fault {
            row: error.position().map_or(1, |p| p.line() as usize),
            column: None,
            problem: error.to_string(),
        })?;
        let row = record.position().map_or(1, |p| p.line() as usize);
        let fault = |column, problem| Fault { row, column, problem };
        let is_header = is_first && record.get(0).is_some_and(|s| s.parse::<f64>().is_err());
        is_first = false;
        if record.iter().any(|s| s.contains(';')) {
            let problem =
                "the columns are separated by semicolons; save with commas and decimal points";
            return Err(fault(None, problem.into()));
        }
        if record.len() != 2 {
            return Err(fault(None, format!("found {} columns, expected 2", record.len())));
        }
        if is_header {
            for (i, want) in ["frequency_hz", "correction_db"].iter().enumerate() {
                if !record[i].eq_ignore_ascii_case(want) {
                    return Err(fault(
                        Some(i + 1),
                        format!(
                            "found \"{}\", expected the name {want} or a number",
                            excerpt(&record[i])
                        ),
                    ));
                }
            }
            continue;
        }
        let number = |i: usize, low: f64, high: f64| {
            let found = &record[i];
            found.parse::<f64>().ok().filter(|x| (low..=high).contains(x)).ok_or_else(|| {
                fault(
                    Some(i + 1),
                    format!("found \"{}\", expected a number from {low} to {high}", excerpt(found)),
                )
            })
        };
        let (frequency_hz, correction_db) = (number(0, 0.1, 1e6)?, number(1, -100.0, 100.0)?);
        if let Some(&(before_hz, _)) = points.last()
            && frequency_hz <= before_hz
        {
            return Err(fault(
                Some(1),
                format!("found {frequency_hz} Hz after {before_hz} Hz, expected a higher one"),
            ));
        }
        if points.len() == MAX_ROWS {
            return Err(fault(None, format!("more than {MAX_ROWS} rows")));
        }
        points.push((frequency_hz, correction_db));
    }
    if points.is_empty() {
        return Err(Fault { row: 1, column: None, problem: "there is no row of numbers".into() });
    }
    Ok(points)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn fault(text: &str) -> (usize, Option<usize>, String) {
        let Fault { row, column, problem } = parse(text).err().unwrap();
        (row, column, problem)
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
            assert_eq!(parse(text).ok(), Some(want.clone()));
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
