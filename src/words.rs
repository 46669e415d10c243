//! Figures and lists in words: one way to write each, for every message, plot and paper. Lengths
//! and luminances are written as their reader wants them: metric, or in feet and inches and in
//! foot-lamberts.

use crate::ingest::manifest::DisplayUnits;
use crate::units::{CD_M2_PER_FL, FOOT_M};
use serde::Serialize;

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
    let chain = std::iter::successors(Some(error), |error| error.source());
    chain.map(ToString::to_string).collect::<Vec<_>>().join(": ")
}

/// What files call a value that is a single word there; `None` for any other.
pub fn key_of(value: &(impl Serialize + ?Sized)) -> Option<String> {
    serde_json::to_value(value).ok()?.as_str().map(str::to_owned)
}

/// The same as people say it: with spaces.
pub fn key_words(value: &(impl Serialize + ?Sized)) -> String {
    key_of(value).unwrap_or_default().replace('_', " ")
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

/// Three significant digits.
pub fn three_digits(value: f64) -> String {
    if value == 0.0 || !value.is_finite() {
        return format!("{value}");
    }
    let digits = 2 - value.abs().log10().floor() as i32;
    if digits > 0 {
        format!("{value:.*}", digits as usize)
    } else {
        let unit = 10f64.powi(-digits);
        format!("{:.0}", (value / unit).round() * unit)
    }
}

/// A length in a room: "3.15 m", or "10 ft 4 in" to the nearest inch.
pub fn length(metres: f64, units: DisplayUnits) -> String {
    match units {
        DisplayUnits::Metric => format!("{} m", signed(metres, 2)),
        DisplayUnits::Imperial => {
            let inches = (metres.abs() / FOOT_M * 12.0).round();
            let sign = if metres < 0.0 && inches > 0.0 { "\u{2212}" } else { "" };
            match (inches / 12.0).floor() {
                0.0 => format!("{sign}{inches} in"),
                feet => format!("{sign}{feet} ft {} in", inches - 12.0 * feet),
            }
        }
    }
}

/// A short length: "65 mm", or "2.6 in"; "0.024 in" where less than a tenth of an inch.
pub fn short_length(metres: f64, units: DisplayUnits) -> String {
    let inches = metres / FOOT_M * 12.0;
    match units {
        DisplayUnits::Metric => format!("{:.0} mm", metres * 1000.0),
        DisplayUnits::Imperial if inches != 0.0 && inches.abs() < 0.1 => format!("{inches:.3} in"),
        DisplayUnits::Imperial => format!("{inches:.1} in"),
    }
}

/// A luminance: "52.1 cd/m\u{b2}", or "15.2 fL".
pub fn luminance(cd_m2: f64, units: DisplayUnits) -> String {
    match units {
        DisplayUnits::Metric => format!("{cd_m2:.1} cd/m\u{b2}"),
        DisplayUnits::Imperial => format!("{:.1} fL", cd_m2 / CD_M2_PER_FL),
    }
}

/// How finely a metric figure is written. In feet and inches it is told from the same rounded
/// figure, so that both say the same.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Digits {
    /// As it was stated.
    All,
    /// So many decimals.
    Decimals(usize),
    /// Three significant digits.
    Three,
}

impl Digits {
    /// The metric figure.
    pub fn write(self, value: f64) -> String {
        match self {
            Self::All => format!("{value}"),
            Self::Decimals(n) => format!("{value:.n$}"),
            Self::Three => three_digits(value),
        }
    }

    fn rounded(self, value: f64) -> f64 {
        let to = |place: i32| (value * 10f64.powi(place)).round() / 10f64.powi(place);
        match self {
            Self::Decimals(n) => to(n as i32),
            Self::Three if value != 0.0 && value.is_finite() => {
                to(2 - value.abs().log10().floor() as i32)
            }
            Self::All | Self::Three => value,
        }
    }
}

/// A length in a sentence: "3.4 m", or "11 ft 2 in".
pub fn metres(m: f64, digits: Digits, units: DisplayUnits) -> String {
    match units {
        DisplayUnits::Metric => format!("{} m", digits.write(m)),
        DisplayUnits::Imperial => length(digits.rounded(m), units),
    }
}

/// A short length in a sentence: "0.6 mm", or "0.024 in".
pub fn millimetres(mm: f64, digits: Digits, units: DisplayUnits) -> String {
    match units {
        DisplayUnits::Metric => format!("{} mm", digits.write(mm)),
        DisplayUnits::Imperial => short_length(digits.rounded(mm) / 1e3, units),
    }
}

/// A figure and its uncertainty with one unit at the end: "80 \u{b1} 4 mm".
pub fn plus_minus(figure: &str, uncertainty: &str) -> String {
    format!("{} \u{b1} {uncertainty}", bare(figure))
}

/// A figure without the unit that follows it.
pub fn bare(figure: &str) -> &str {
    figure.split_once(' ').map_or(figure, |(figure, _)| figure)
}

#[cfg(test)]
mod tests {
    use super::*;
    use DisplayUnits::{Imperial, Metric};

    #[test]
    fn lengths_are_rounded_over_the_foot() {
        assert_eq!(length(3.15, Metric), "3.15 m");
        // 3.15 m / 0.0254 m = 124.02 in = 10 ft 4.02 in.
        assert_eq!(length(3.15, Imperial), "10 ft 4 in");
        // 11.6 in of the fourth foot make the next foot, not "3 ft 12 in".
        assert_eq!(length((36.0 + 11.6) * 0.0254, Imperial), "4 ft 0 in");
        assert_eq!(length(0.2032, Imperial), "8 in");
        assert_eq!(length(-0.8, Imperial), "\u{2212}2 ft 7 in");
        assert_eq!(length(-0.001, Imperial), "0 in");
        assert_eq!(short_length(0.065, Metric), "65 mm");
        assert_eq!(short_length(0.065, Imperial), "2.6 in");
        assert_eq!(luminance(48.0, Imperial), "14.0 fL");
        assert_eq!(luminance(48.0, Metric), "48.0 cd/m\u{b2}");
    }

    #[test]
    fn both_units_tell_the_same_rounded_figure() {
        use Digits::{All, Decimals, Three};
        // 0.6 mm = 0.0236 in, 2.1 m = 82.7 in (2.06 m would be 81.1 in), 80 mm = 3.15 in.
        for (mm, digits, metric, imperial) in [
            (0.6, All, "0.6 mm", "0.024 in"),
            (80.4, Decimals(0), "80 mm", "3.1 in"),
            (1.9817, Three, "1.98 mm", "0.078 in"),
        ] {
            assert_eq!(millimetres(mm, digits, Metric), metric);
            assert_eq!(millimetres(mm, digits, Imperial), imperial);
        }
        assert_eq!(metres(2.06, Decimals(1), Metric), "2.1 m");
        assert_eq!(metres(2.06, Decimals(1), Imperial), "6 ft 11 in");
        assert_eq!(metres(0.145, All, Metric), "0.145 m");
        assert_eq!(metres(f64::NAN, All, Metric), "NaN m");
        assert_eq!(plus_minus("81 mm", "5 mm"), "81 \u{b1} 5 mm");
    }

    #[test]
    fn three_digits_for_people() {
        for (value, want) in
            [(48.26, "48.3"), (0.01234, "0.0123"), (8135.7, "8140"), (3.0, "3.00"), (123.4, "123")]
        {
            assert_eq!(three_digits(value), want);
        }
    }

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
