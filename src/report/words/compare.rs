//! Sessions and forecasts side by side, in sentences.

use super::frequency_range;
use super::said::{Said, Statement};
use crate::analysis::compare::{Comparison, Entry, Headroom, Origin, Pair, Rated, Summary};
use crate::words::{list_words, signed};

/// The comparison with its sentences.
pub fn said(comparison: Comparison) -> Said<Comparison, Statement> {
    Said::stated(comparison, statement)
}

fn statement(comparison: &Comparison) -> Vec<String> {
    let Comparison { common_bands_hz, entries, pairs } = comparison;
    let low = common_bands_hz.iter().copied().fold(f64::INFINITY, f64::min);
    let high = common_bands_hz.iter().copied().fold(0.0, f64::max);
    let mut out = vec![format!(
        "Figures are means over the {} third-octave bands from {} measured or predicted for all \
         of them.",
        common_bands_hz.len(),
        frequency_range([low, high])
    )];
    out.push(least(entries));
    out.extend(entries.iter().filter_map(|e| exceeded(&e.summary)));
    out.extend(pairs.iter().map(pair_sentence));
    if entries.iter().any(|e| e.summary.origin == Origin::Predicted) {
        out.push(
            "Predicted figures rest on descriptions and thin-sheet theory, not on takes.".into(),
        );
    }
    out
}

/// Who loses least.
fn least(entries: &[Entry]) -> String {
    let first: Vec<&Entry> = entries.iter().filter(|e| e.loss_rank == 1).collect();
    match first.as_slice() {
        [only] => {
            format!("{} loses least: {}.", only.summary.name, with_u(only.mean_loss_db, " dB"))
        }
        several => {
            let names: Vec<String> = several.iter().map(|e| e.summary.name.clone()).collect();
            let names = list_words(&names);
            format!("{names} lose least; which of them less than the others is not shown.")
        }
    }
}

fn pair_sentence(pair: &Pair) -> String {
    let [a, b] = &pair.names;
    let of = |value: f64| with_u(Rated { value, u95: pair.u95_db }, " dB");
    if !pair.shown {
        return format!("{a} and {b}: no difference shown ({}).", of(pair.difference_db));
    }
    let (worse, better) = if pair.difference_db > 0.0 { (a, b) } else { (b, a) };
    format!("{worse} loses {} more than {better}.", of(pair.difference_db.abs()))
}

/// A sentence where the setting of a session asks for more than there is.
fn exceeded(summary: &Summary) -> Option<String> {
    let Headroom { amplifier_db, driver_db } = summary.headroom;
    let beyond = |left_db: Option<f64>| left_db.filter(|db| *db < 0.0);
    let only = Headroom { amplifier_db: beyond(amplifier_db), driver_db: beyond(driver_db) };
    headroom_words(only).map(|words| format!("{}: {words}.", summary.name))
}

/// What is left of amplifier and driver, or `None` where nothing is stated.
fn headroom_words(headroom: Headroom) -> Option<String> {
    let said = |name: &str, left_db: Option<f64>| {
        left_db.map(|db| match db < 0.0 {
            true => format!("{name} exceeded by {:.1} dB", -db),
            false => format!("{name} {db:.1} dB left"),
        })
    };
    let both = [said("amplifier", headroom.amplifier_db), said("driver", headroom.driver_db)];
    let both: Vec<String> = both.into_iter().flatten().collect();
    (!both.is_empty()).then(|| both.join(", "))
}

/// "2.13 ± 0.21 dB", "25 ± 11": decimals as the uncertainty carries them, at most two.
pub fn with_u(figure: Rated, unit: &str) -> String {
    let decimals = match figure.u95 {
        Some(u) if u >= 10.0 => 0,
        Some(u) if u >= 1.0 => 1,
        _ => 2,
    };
    let value = signed(figure.value, decimals);
    match figure.u95 {
        Some(u) => format!("{value} ± {u:.decimals$}{unit}"),
        None => format!("{value}{unit}"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::compare::compare;
    use crate::analysis::compare::tests::entry;

    #[test]
    fn exceeded_limits_are_told_and_kept_ones_are_not() {
        let mut a = entry("a", 2.0, 0.2);
        a.headroom.driver_db = None;
        let c = said(compare(vec![a, entry("b", 2.0, 0.2)]).unwrap());
        let told = &c.words.statement;
        assert!(told.contains(&"b: driver exceeded by 0.5 dB.".to_owned()), "{told:?}");
        assert!(!told.iter().any(|s| s.contains("amplifier")), "{told:?}");
        assert_eq!(
            headroom_words(c.entries[1].summary.headroom).unwrap(),
            "amplifier 3.0 dB left, driver exceeded by 0.5 dB"
        );
    }

    #[test]
    fn only_differences_that_are_shown_are_told_as_such() {
        let three = vec![entry("a", 2.0, 0.2), entry("b", 2.2, 0.2), entry("c", 2.4, 0.2)];
        let told = said(compare(three).unwrap()).words.statement;
        assert_eq!(told[1], "a and b lose least; which of them less than the others is not shown.");
        assert!(told.iter().any(|s| s.contains("a and b: no difference shown")), "{told:?}");
        assert!(told.iter().any(|s| s.contains("c loses 0.40 ± 0.28 dB more than a")), "{told:?}");
    }
}
