//! A blind test in words.

use crate::analysis::chance::{guessing, is_shown};
use crate::ingest::blind_tests::KeptTest;
use serde::Serialize;

/// A kept test with what it says; an entry of `listening` in `result.json`.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct HeardTest {
    /// The test.
    #[serde(flatten)]
    pub kept: KeptTest,
    /// How likely guessing is right as often or more often.
    pub guessing: f64,
    /// Whether a difference counts as shown.
    pub shown: bool,
    /// The result in a sentence.
    pub sentence: String,
}

impl From<KeptTest> for HeardTest {
    fn from(kept: KeptTest) -> Self {
        let (right, rounds) = (kept.right, kept.rounds);
        Self {
            guessing: guessing(right, rounds),
            shown: is_shown(right, rounds),
            sentence: sentence(right, rounds),
            kept,
        }
    }
}

/// The result as a sentence: "11 of 16 right: guessing does as well in 1 of 10 tries. No difference
/// is shown."
pub fn sentence(right: u64, rounds: u64) -> String {
    let chance = guessing(right, rounds);
    let verdict =
        if is_shown(right, rounds) { "A difference was heard." } else { "No difference is shown." };
    format!("{right} of {rounds} right: guessing does as well {}. {verdict}", how_often(chance))
}

fn how_often(chance: f64) -> String {
    match chance {
        c if c >= 0.95 => "nearly always".into(),
        c if c >= 0.095 => format!("in {:.0} of 10 tries", 10.0 * c),
        c => format!("in 1 of {:.0} tries", two_figures(1.0 / c)),
    }
}

/// Rounded to two significant figures.
fn two_figures(x: f64) -> f64 {
    let unit = 10f64.powf(x.log10().floor() - 1.0);
    (x / unit).round() * unit
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn results_read_as_sentences() {
        let no = "No difference is shown.";
        let yes = "A difference was heard.";
        for (right, rounds, want) in [
            (11, 16, format!("11 of 16 right: guessing does as well in 1 of 10 tries. {no}")),
            (8, 16, format!("8 of 16 right: guessing does as well in 6 of 10 tries. {no}")),
            (3, 16, format!("3 of 16 right: guessing does as well nearly always. {no}")),
            // 12 of 16: 0.0384; 8 of 8: 1/256; 20 of 20: 1/1048576.
            (12, 16, format!("12 of 16 right: guessing does as well in 1 of 26 tries. {yes}")),
            (8, 8, format!("8 of 8 right: guessing does as well in 1 of 260 tries. {yes}")),
            (20, 20, format!("20 of 20 right: guessing does as well in 1 of 1000000 tries. {yes}")),
        ] {
            assert_eq!(sentence(right, rounds), want);
        }
    }
}
