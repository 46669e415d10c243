//! Sessions and forecasts side by side as text table and as CSV.

use super::csv::{Table, text_cell};
use super::error::ReportError;
use super::look::columns;
use super::paper::writer::dash;
use super::words::compare::with_u;
use super::words::said::{Said, Statement};
use crate::analysis::compare::{Comparison, Rated};
use crate::words::{frequency_words, key_of};

/// Table for the terminal, then the comparison in words.
pub fn comparison_table(comparison: &Said<Comparison, Statement>) -> String {
    let mut rows = vec![
        ["", "mean loss", "rank", "largest", "spread", "rank", "claims", "gain", "power"]
            .map(String::from)
            .to_vec(),
    ];
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
    format!("{}\n{}\n", columns(&rows), comparison.words.statement.join("\n"))
}

/// The comparison as CSV; empty cells where there is no figure.
///
/// # Errors
/// [`ReportError::Encode`]; cannot happen, since it is written to memory.
pub fn comparison_csv(comparison: &Comparison) -> Result<Vec<u8>, ReportError> {
    let number = |x: Option<f64>| x.map_or(String::new(), |x| format!("{x:.3}"));
    let count = |x: Option<usize>| x.map_or(String::new(), |x| x.to_string());
    let rated = |x: Option<Rated>| [number(x.map(|x| x.value)), number(x.and_then(|x| x.u95))];
    let mut out = Table::headless();
    for e in &comparison.entries {
        let [mean_loss, mean_loss_u95] = rated(Some(e.mean_loss_db));
        let [spread, spread_u95] = rated(e.spread_db);
        let [gain, gain_u95] = rated(e.summary.gain);
        let [power, power_u95] = rated(Some(e.power_factor));
        let [largest, largest_u95] = rated(e.largest_loss.map(|l| l.loss_db));
        out.named_row([
            // A folder's name must not become a formula.
            ("name", text_cell(&e.summary.name).into_owned()),
            ("origin", key_of(&e.summary.origin).unwrap_or_default()),
            ("mean_loss_db", mean_loss),
            ("mean_loss_u95_db", mean_loss_u95),
            ("loss_rank", e.loss_rank.to_string()),
            ("spread_db", spread),
            ("spread_u95_db", spread_u95),
            ("spread_rank", count(e.spread_rank)),
            ("claims_kept", count(e.summary.claims.map(|c| c[0]))),
            ("claims_made", count(e.summary.claims.map(|c| c[1]))),
            ("claims_rank", count(e.claims_rank)),
            ("gain_on_axis", gain),
            ("gain_u95", gain_u95),
            ("power_factor", power),
            ("power_factor_u95", power_u95),
            ("largest_loss_db", largest),
            ("largest_loss_u95_db", largest_u95),
            ("largest_loss_hz", e.largest_loss.map_or(String::new(), |l| l.nominal_hz.to_string())),
            ("amplifier_left_db", number(e.summary.headroom.amplifier_db)),
            ("driver_left_db", number(e.summary.headroom.driver_db)),
        ])?;
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
