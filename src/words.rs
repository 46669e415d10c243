//! Figures and lists in words: one way to write each, for every message, plot and paper.

/// A number with a proper minus sign; never "-0".
pub fn signed(value: f64, decimals: usize) -> String {
    let text = format!("{value:.decimals$}");
    match text.strip_prefix('-') {
        Some(digits) if digits.chars().all(|c| matches!(c, '0' | '.')) => digits.to_owned(),
        Some(digits) => format!("\u{2212}{digits}"),
        None => text,
    }
}

/// A gain with its sign, "+0.5" or "−2.0"; 0 has none.
pub fn gain_words(value: f64, decimals: usize) -> String {
    let text = signed(value, decimals);
    let is_rise = !text.starts_with('\u{2212}') && text.chars().any(|c| ('1'..='9').contains(&c));
    if is_rise { format!("+{text}") } else { text }
}

/// "1.4 dB".
pub fn decibels(value: f64) -> String {
    format!("{} dB", signed(value, 1))
}

/// "50", "2k", "12.5k": for scales and tables.
pub fn frequency_label(hz: f64) -> String {
    if hz >= 1000.0 { format!("{}k", hz / 1000.0) } else { format!("{hz}") }
}

/// "500 Hz", "3.15 kHz": three significant digits, as nominal frequencies have them.
pub fn frequency_words(hz: f64) -> String {
    let digit = 10f64.powf(hz.abs().max(1.0).log10().floor() - 2.0);
    let hz = (hz / digit).round() * digit;
    let tidy = |x: f64| (x * 1000.0).round() / 1000.0;
    if hz >= 1000.0 { format!("{} kHz", tidy(hz / 1000.0)) } else { format!("{} Hz", tidy(hz)) }
}

/// "44.1 kHz": a sample rate, exactly.
pub fn rate_words(rate_hz: f64) -> String {
    format!("{} kHz", rate_hz / 1000.0)
}

/// An error and its causes, one after the other.
pub fn with_causes(error: &dyn std::error::Error) -> String {
    let mut text = error.to_string();
    let mut cause = error.source();
    while let Some(error) = cause {
        text += &format!(": {error}");
        cause = error.source();
    }
    text
}

/// With a capital letter at the start.
pub fn capital(text: &str) -> String {
    let mut chars = text.chars();
    chars.next().map_or_else(String::new, |c| c.to_uppercase().chain(chars).collect())
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

#[cfg(test)]
mod tests {
    use super::*;

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
        assert_eq!(
            (frequency_words(31.5), frequency_words(634.27)),
            ("31.5 Hz".into(), "634 Hz".into())
        );
        assert_eq!((frequency_words(999.7), frequency_words(8.0)), ("1 kHz".into(), "8 Hz".into()));
        assert_eq!(
            (rate_words(176_400.0), frequency_words(0.0)),
            ("176.4 kHz".into(), "0 Hz".into())
        );
        assert_eq!(list_words(&["a".into(), "b".into(), "c".into()]), "a, b and c");
    }
}
