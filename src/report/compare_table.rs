//! Sessions and forecasts side by side as text table and as CSV.

use super::csv::{Table, text_cell};
use super::error::ReportError;
use super::look::columns;
use super::words::compare::with_u;
use super::words::frequency_words;
use super::words::said::{Said, Statement};
use crate::analysis::compare::{Comparison, Origin};

/// The comparison as rows of cells, heading first.
fn comparison_rows(comparison: &Comparison) -> Vec<Vec<String>> {
    let mut rows = vec![
        [
            "name",
            "origin",
            "mean_loss_db",
            "mean_loss_u95_db",
            "loss_rank",
            "spread_db",
            "spread_u95_db",
            "spread_rank",
            "claims_kept",
            "claims_made",
            "claims_rank",
            "gain_on_axis",
            "gain_u95",
            "power_factor",
            "power_factor_u95",
            "largest_loss_db",
            "largest_loss_u95_db",
            "largest_loss_hz",
            "amplifier_left_db",
            "driver_left_db",
        ]
        .map(String::from)
        .to_vec(),
    ];
    let number = |x: Option<f64>| x.map_or(String::new(), |x| format!("{x:.3}"));
    let count = |x: Option<usize>| x.map_or(String::new(), |x| x.to_string());
    for e in &comparison.entries {
        let origin = match e.summary.origin {
            Origin::Measured => "measured",
            Origin::Predicted => "predicted",
        };
        rows.push(vec![
            e.summary.name.clone(),
            origin.into(),
            number(Some(e.mean_loss_db.value)),
            number(e.mean_loss_db.u95),
            e.loss_rank.to_string(),
            number(e.spread_db.map(|s| s.value)),
            number(e.spread_db.and_then(|s| s.u95)),
            count(e.spread_rank),
            count(e.summary.claims.map(|c| c[0])),
            count(e.summary.claims.map(|c| c[1])),
            count(e.claims_rank),
            number(e.summary.gain.map(|g| g.value)),
            number(e.summary.gain.and_then(|g| g.u95)),
            number(Some(e.power_factor.value)),
            number(e.power_factor.u95),
            number(e.largest_loss.map(|l| l.loss_db.value)),
            number(e.largest_loss.and_then(|l| l.loss_db.u95)),
            e.largest_loss.map_or_else(String::new, |l| l.nominal_hz.to_string()),
            number(e.summary.headroom.amplifier_db),
            number(e.summary.headroom.driver_db),
        ]);
    }
    rows
}

/// Table for the terminal, then the comparison in words.
pub fn comparison_table(comparison: &Said<Comparison, Statement>) -> String {
    let mut rows = vec![
        ["", "mean loss", "rank", "largest", "spread", "rank", "claims", "gain", "power"]
            .map(String::from)
            .to_vec(),
    ];
    let dash = || "\u{2013}".to_string();
    let rank = |r: Option<usize>| r.map_or_else(dash, |r| r.to_string());
    for e in &comparison.entries {
        rows.push(vec![
            e.summary.name.clone(),
            with_u(e.mean_loss_db, " dB"),
            e.loss_rank.to_string(),
            e.largest_loss.map_or_else(dash, |l| {
                format!("{:.1} dB, {}", l.loss_db.value, frequency_words(l.nominal_hz))
            }),
            e.spread_db.map_or_else(dash, |s| with_u(s, " dB")),
            rank(e.spread_rank),
            e.summary.claims.map_or_else(dash, |[kept, n]| format!("{kept} of {n}")),
            e.summary.gain.map_or_else(dash, |g| with_u(g, "")),
            format!("x{}", with_u(e.power_factor, "")),
        ]);
    }
    let mut out = columns(&rows);
    out.push('\n');
    for sentence in &comparison.words.statement {
        out += &format!("{sentence}\n");
    }
    out
}

/// The comparison as CSV; empty cells where there is no figure.
///
/// # Errors
/// [`ReportError::Encode`]; cannot happen, since it is written to memory.
pub fn comparison_csv(comparison: &Comparison) -> Result<Vec<u8>, ReportError> {
    let mut out = Table::headless();
    for mut row in comparison_rows(comparison) {
        // A folder's name must not become a formula.
        row[0] = text_cell(&row[0]).into_owned();
        out.row(row)?;
    }
    out.finish()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::compare::compare;
    use crate::analysis::compare::tests::entry;
    use crate::report::words::compare::said;

    #[test]
    fn table_and_csv_show_missing_figures_as_missing() {
        let mut b = entry("Bühne", 2.0, 0.1);
        (b.sd_db, b.n_seats, b.claims) = (vec![None; 4], 1, None);
        let c = said(compare(vec![entry("a", 2.0, 0.1), b]).unwrap());
        let text = comparison_table(&c);
        assert!(text.contains("\u{2013}") && text.contains("1 of 2"), "{text}");
        let csv = String::from_utf8(comparison_csv(&c).unwrap()).unwrap();
        let row: Vec<&str> = csv.lines().nth(2).unwrap().split(',').collect();
        assert_eq!((row[0], row[5], row[8]), ("Bühne", "", ""));
        assert!(!csv.contains("NaN"));
    }
}
