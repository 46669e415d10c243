//! Findings in sentences, and figures in words: the same in table, plots and papers.

use super::result::SessionResult;

/// A number with a proper minus sign; never "-0".
pub fn signed(value: f64, decimals: usize) -> String {
    let text = format!("{value:.decimals$}");
    match text.strip_prefix('-') {
        Some(digits) if digits.chars().all(|c| matches!(c, '0' | '.')) => digits.to_owned(),
        Some(digits) => format!("\u{2212}{digits}"),
        None => text,
    }
}

/// "1.4 dB".
pub fn decibels(value: f64) -> String {
    format!("{} dB", signed(value, 1))
}

/// "50", "2k", "12.5k": for scales and tables.
pub fn frequency_label(hz: f64) -> String {
    if hz >= 1000.0 { format!("{}k", hz / 1000.0) } else { format!("{hz}") }
}

/// "500 Hz", "3.15 kHz".
pub fn frequency_words(hz: f64) -> String {
    if hz >= 1000.0 { format!("{} kHz", hz / 1000.0) } else { format!("{hz} Hz") }
}

/// "one seat", "6 seats".
pub fn seats_words(n: usize) -> String {
    if n == 1 { "one seat".into() } else { format!("{n} seats") }
}

/// "a", "a and b", "a, b and c".
pub fn list_words(items: &[String]) -> String {
    match items {
        [] => String::new(),
        [one] => one.clone(),
        [start @ .., last] => format!("{} and {last}", start.join(", ")),
    }
}

/// What the screen takes, in a sentence without a full stop.
pub fn loss_finding(result: &SessionResult) -> String {
    let headline = &result.headline;
    let [low, high] = headline.band_hz.map(frequency_words);
    let most = headline
        .largest_loss
        .map(|m| format!("most at {}: {}", frequency_words(m.nominal_hz), decibels(m.value_db)));
    match (headline.mean_loss_db, most) {
        (Some(mean), Some(most)) => {
            format!("The screen takes {} on average from {low} to {high}, {most}", decibels(mean))
        }
        (None, Some(most)) => format!("The screen takes {most}; not every band could be measured"),
        _ => format!("No loss could be measured between {low} and {high}"),
    }
}

/// How far the seats differ, in a sentence without a full stop; `None` for one seat.
pub fn spread_finding(result: &SessionResult) -> Option<String> {
    if result.seats.len() < 2 {
        return None;
    }
    Some(match result.headline.largest_range {
        Some(most) => format!(
            "The seats differ by {} at most, at {}",
            decibels(most.value_db),
            frequency_words(most.nominal_hz)
        ),
        None => "How far the seats differ could not be measured".into(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::example::example_result;
    use crate::report::result::BandFigure;

    #[test]
    fn numbers_have_a_proper_minus() {
        assert_eq!(signed(-1.5, 1), "\u{2212}1.5");
        assert_eq!(signed(-0.04, 1), "0.0");
        assert_eq!(signed(2.0, 0), "2");
        assert_eq!(decibels(-2.25), "\u{2212}2.2 dB");
    }

    #[test]
    fn frequencies_read_as_on_scales() {
        assert_eq!((frequency_label(3150.0), frequency_label(80.0)), ("3.15k".into(), "80".into()));
        assert_eq!(frequency_words(12_500.0), "12.5 kHz");
        assert_eq!(list_words(&["a".into(), "b".into(), "c".into()]), "a, b and c");
    }

    #[test]
    fn the_findings_say_what_the_headline_says() {
        let mut result = example_result(2);
        result.headline.mean_loss_db = Some(1.44);
        result.headline.largest_loss = Some(BandFigure { nominal_hz: 3150.0, value_db: 5.26 });
        result.headline.largest_range = Some(BandFigure { nominal_hz: 800.0, value_db: 0.72 });
        assert_eq!(
            loss_finding(&result),
            "The screen takes 1.4 dB on average from 500 Hz to 16 kHz, most at 3.15 kHz: 5.3 dB"
        );
        let spread = spread_finding(&result).unwrap();
        assert_eq!(spread, "The seats differ by 0.7 dB at most, at 800 Hz");
        result.headline.mean_loss_db = None;
        assert!(loss_finding(&result).ends_with("not every band could be measured"));
        result.headline.largest_loss = None;
        assert!(loss_finding(&result).starts_with("No loss could be measured"));
        assert_eq!(spread_finding(&example_result(1)), None);
    }
}
