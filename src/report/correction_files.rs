//! The equaliser setting as files: `correction.json` for machines, `correction.csv` for people.

use super::csv::Table;
use super::error::ReportError;
use super::finite::refuse_non_finite;
use super::json::json_text;
use super::words::correction::SaidSetting;
use crate::analysis::biquad::{Biquad, SectionKind, Setting};
use crate::analysis::correction::Section;
use crate::words::key_of;
use serde::Serialize;

/// `correction.json`. Keys are fixed: other programs read them.
///
/// Use: amplify by `trim_db`, then run the sections one after the other,
/// `y[n] = b0 x[n] + b1 x[n-1] + b2 x[n-2] - a1 y[n-1] - a2 y[n-2]` (a0 = 1), at `rate_hz`.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct CorrectionFile<'a> {
    /// Sample rate the coefficients are for, Hz.
    pub rate_hz: f64,
    /// Gain in level, dB; positive = louder.
    pub trim_db: f64,
    /// Whether this one setting brings every seat within the tolerance.
    pub serves_all_seats: bool,
    /// Why, in plain words.
    pub reason: &'a str,
    /// Filters.
    pub sections: Vec<SectionFile<'a>>,
}

/// One filter in `correction.json`.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct SectionFile<'a> {
    /// As it is typed in; Q of the Audio EQ Cookbook (W3C Working Group Note, 2021).
    #[serde(flatten)]
    pub setting: &'a Setting,
    /// Bandwidth in octaves that goes with Q by the analog definition,
    /// `1/Q = 2 sinh(ln 2 / 2 x BW)`.
    pub bandwidth_oct: f64,
    /// Coefficients.
    #[serde(flatten)]
    pub biquad: &'a Biquad,
}

impl<'a> CorrectionFile<'a> {
    /// What the file holds, from a finished correction.
    pub fn new(c: &'a SaidSetting) -> Self {
        let section = |Section { setting, bandwidth_oct, biquad, .. }: &'a Section| SectionFile {
            setting,
            bandwidth_oct: *bandwidth_oct,
            biquad,
        };
        Self {
            rate_hz: c.rate_hz,
            trim_db: c.trim_db,
            serves_all_seats: c.serves_all_seats,
            reason: &c.words.reason,
            sections: c.sections.iter().map(section).collect(),
        }
    }
}

/// `correction.json`.
///
/// # Errors
/// [`ReportError::NotFinite`] names a number that is not finite.
pub fn correction_json(c: &SaidSetting) -> Result<Vec<u8>, ReportError> {
    json_text(&CorrectionFile::new(c))
}

/// `correction.csv`: one row for the level, one for each filter; settings to type in,
/// then coefficients. Cells that mean nothing in a row are empty.
///
/// # Errors
/// [`ReportError::NotFinite`] names a number that is not finite.
pub fn correction_csv(c: &SaidSetting) -> Result<Vec<u8>, ReportError> {
    refuse_non_finite(&CorrectionFile::new(c))?;
    let mut out = Table::headless();
    for (i, section) in std::iter::once(None).chain(c.sections.iter().map(Some)).enumerate() {
        let kind = section.map(|s| s.setting.kind);
        let cell = |of: fn(&Section) -> f64| section.map_or(String::new(), |s| of(s).to_string());
        let rounded = |v: Option<f64>| v.map_or(String::new(), |v| format!("{v:.4}"));
        // A shelf is set by its slope, a peak by its bandwidth.
        let peak = section.filter(|s| s.setting.kind == SectionKind::Peaking);
        out.named_row([
            ("item", (i + 1).to_string()),
            ("type", kind.map_or("level".into(), |kind| key_of(&kind).unwrap_or_default())),
            ("frequency_hz", cell(|s| s.setting.frequency_hz)),
            ("gain_db", section.map_or(c.trim_db, |s| s.setting.gain_db).to_string()),
            ("q", cell(|s| s.setting.q)),
            ("bandwidth_analog_oct", rounded(peak.map(|s| s.bandwidth_oct))),
            ("bandwidth_digital_oct", rounded(peak.map(|s| s.bandwidth_digital_oct))),
            ("shelf_slope", rounded(section.and_then(|s| s.slope))),
            ("rate_hz", section.map_or(String::new(), |_| c.rate_hz.to_string())),
            ("b0", cell(|s| s.biquad.b0)),
            ("b1", cell(|s| s.biquad.b1)),
            ("b2", cell(|s| s.biquad.b2)),
            ("a1", cell(|s| s.biquad.a1)),
            ("a2", cell(|s| s.biquad.a2)),
        ])?;
    }
    out.finish()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::biquad::tests::{q_from_bandwidth_analog, q_from_bandwidth_digital};
    use crate::analysis::correction::fit_correction;
    use crate::analysis::made_tables::{sheet_loss_db, table};
    use crate::report::words::correction::said;
    use crate::support::assert_close;
    use serde::Deserialize;

    fn correction() -> SaidSetting {
        let bump = |hz: f64| 2.0 * 0.5f64.powf((2.0 * (hz / 2500.0).log2() / 0.9).powi(2));
        let t = table(3, |_, hz| sheet_loss_db(hz, 0.01, 60.0) + bump(hz), |_, _| 0.0, 0.05, 0.0);
        let c = fit_correction(&t, &Default::default()).unwrap();
        assert!(c.sections.len() >= 2);
        said(c)
    }

    /// As another program would read it: a key more or less breaks this.
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct Read {
        rate_hz: f64,
        trim_db: f64,
        serves_all_seats: bool,
        reason: String,
        sections: Vec<ReadSection>,
    }

    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct ReadSection {
        r#type: String,
        frequency_hz: f64,
        gain_db: f64,
        q: f64,
        bandwidth_oct: f64,
        b0: f64,
        b1: f64,
        b2: f64,
        a1: f64,
        a2: f64,
    }

    #[test]
    fn json_reads_back_with_exactly_the_fixed_keys() {
        let c = correction();
        let read: Read = serde_json::from_slice(&correction_json(&c).unwrap()).unwrap();
        assert_eq!((read.rate_hz, read.trim_db), (c.rate_hz, c.trim_db));
        assert_eq!((read.serves_all_seats, &read.reason), (c.serves_all_seats, &c.words.reason));
        assert_eq!(read.sections.len(), c.sections.len());
        for (r, s) in read.sections.iter().zip(&c.sections) {
            assert!(["high_shelf", "peaking"].contains(&r.r#type.as_str()));
            assert_eq!(r.frequency_hz, s.setting.frequency_hz);
            assert_close("Q", &[q_from_bandwidth_analog(r.bandwidth_oct)], &[r.q], 1e-9);
            // The coefficients alone give the gain that was set.
            let b = Biquad { b0: r.b0, b1: r.b1, b2: r.b2, a1: r.a1, a2: r.a2 };
            let share = if r.r#type == "high_shelf" { 0.5 } else { 1.0 };
            let got = b.gain_db(r.frequency_hz, read.rate_hz);
            assert_close("gain", &[got], &[share * r.gain_db], 1e-9);
        }
    }

    #[test]
    fn csv_reads_back_by_its_header() {
        let c = correction();
        let text = correction_csv(&c).unwrap();
        let mut reader = csv::Reader::from_reader(text.as_slice());
        let column = |name: &str, headers: &csv::StringRecord| {
            headers.iter().position(|h| h == name).unwrap_or_else(|| panic!("no column {name}"))
        };
        let headers = reader.headers().unwrap().clone();
        let rows: Vec<csv::StringRecord> = reader.records().map(Result::unwrap).collect();
        assert_eq!(rows.len(), c.sections.len() + 1);
        let number = |row: &csv::StringRecord, name: &str| -> f64 {
            row[column(name, &headers)].parse().unwrap()
        };
        assert_eq!(&rows[0][column("type", &headers)], "level");
        assert_close("level", &[number(&rows[0], "gain_db")], &[c.trim_db], 5e-4);
        assert_eq!(&rows[0][column("b0", &headers)], "");
        for (row, s) in rows[1..].iter().zip(&c.sections) {
            assert_eq!(number(row, "b1"), s.biquad.b1);
            if s.slope.is_none() {
                let q = q_from_bandwidth_digital(
                    number(row, "bandwidth_digital_oct"),
                    number(row, "frequency_hz"),
                    number(row, "rate_hz"),
                );
                assert_close("Q", &[q], &[s.setting.q], 2e-3 * s.setting.q);
            }
        }
    }

    #[test]
    fn a_setting_without_filters_is_a_level() {
        let t = table(2, |_, _| 1.8, |_, _| 0.0, 0.05, 0.0);
        let c = said(fit_correction(&t, &Default::default()).unwrap());
        let json = String::from_utf8(correction_json(&c).unwrap()).unwrap();
        assert!(json.contains("\"sections\": []"), "{json}");
        assert_eq!(correction_csv(&c).unwrap().split(|b| *b == b'\n').count(), 3);
    }

    #[test]
    fn numbers_that_are_not_finite_are_refused() {
        let mut c = correction();
        c.found.sections[0].biquad.b2 = f64::NAN;
        let error = correction_json(&c).unwrap_err();
        assert!(error.to_string().contains("b2"), "{error}");
        assert!(correction_csv(&c).is_err());
    }
}
