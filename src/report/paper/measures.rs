//! Lengths and luminances as the reader of the papers wants them: metric, or
//! feet and inches and foot-lamberts. Only for display; nothing is computed on.

use crate::analysis::picture::figure::CD_M2_PER_FL;
use crate::ingest::manifest::DisplayUnits;

/// International foot, m (exact by definition of 1959).
pub const FOOT_M: f64 = 0.3048;

/// A length in a room: "3.15 m", or "10 ft 4 in" to the nearest inch.
pub fn length(metres: f64, units: DisplayUnits) -> String {
    match units {
        DisplayUnits::Metric => format!("{} m", super::super::words::signed(metres, 2)),
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

/// A sentence with its lengths and luminances in the reader's units.
///
/// A figure is taken for one where a unit follows it as a word of its own: "80 mm", "2.1 m",
/// "52.1 \u{b1} 2.0 cd/m\u{b2}". A luminance that already stands beside it in the other unit, in
/// parentheses, is left out. All other text stays as it is.
pub fn worded(sentence: &str, units: DisplayUnits) -> String {
    if units == DisplayUnits::Metric {
        return sentence.to_owned();
    }
    let words: Vec<&str> = sentence.split(' ').collect();
    let mut out: Vec<String> = Vec::with_capacity(words.len());
    let mut i = 0;
    while i < words.len() {
        let (unit, tail) = split_tail(words[i]);
        let scale = match unit {
            "mm" => Some(1e-3),
            "m" => Some(1.0),
            "cd/m²" => None,
            _ => {
                out.push(words[i].to_owned());
                i += 1;
                continue;
            }
        };
        let convert = |value: f64| match scale {
            Some(scale) if unit == "mm" => short_length(value * scale, units),
            Some(scale) => length(value * scale, units),
            None => luminance(value, units),
        };
        // The figure before the unit, and the one before that where a sign joins them.
        let joined = out.len() >= 3
            && matches!(out[out.len() - 2].as_str(), "±" | "to")
            && number(&out[out.len() - 3]).is_some();
        if out.last().is_none_or(|word| number(word).is_none()) {
            out.push(words[i].to_owned());
            i += 1;
            continue;
        }
        let first = if joined { out.len() - 3 } else { out.len() - 1 };
        for place in (first..out.len()).step_by(2) {
            let Some((start, value)) = number(&out[place]) else { continue };
            let text = convert(value);
            let is_last = place + 1 == out.len();
            // Feet and inches carry their units; of the others one at the end is enough.
            let text = match text.rsplit_once(' ') {
                Some((figure, _)) if !is_last && !figure.contains(' ') => figure.to_owned(),
                _ => text,
            };
            out[place] = format!("{start}{text}");
        }
        if let Some(last) = out.last_mut() {
            last.push_str(tail);
        }
        i += 1;
        if scale.is_none() && words.get(i + 1).is_some_and(|w| w.starts_with("fL)")) {
            let (_, tail) = split_tail(words[i + 1].trim_start_matches("fL)"));
            if let Some(last) = out.last_mut() {
                last.push_str(tail);
            }
            i += 2;
        }
    }
    out.join(" ")
}

/// A word and the punctuation after it.
fn split_tail(word: &str) -> (&str, &str) {
    let end = word.trim_end_matches(['.', ',', ';', ':', ')']).len();
    word.split_at(end)
}

/// What stands before a number (an opening parenthesis or a sign), and the number.
fn number(word: &str) -> Option<(&str, f64)> {
    let start = word.len() - word.trim_start_matches(['(', '\u{b1}', '+', '-']).len();
    let (before, digits) = word.split_at(start);
    let is_plain = digits.chars().all(|c| c.is_ascii_digit() || c == '.') && !digits.is_empty();
    is_plain.then(|| digits.parse().ok()).flatten().map(|value| (before, value))
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
    }

    #[test]
    fn sentences_are_reworded_figure_by_figure() {
        // 80 mm = 3.15 in, 5 mm = 0.197 in, 2.1 m = 82.7 in, 52.1 / 3.4263 = 15.21.
        for (metric, imperial) in [
            (
                "Gap 80 mm, from the echoes 81 mm (±5 mm).",
                "Gap 3.1 in, from the echoes 3.2 in (±0.2 in).",
            ),
            ("structure of 0.6 mm is", "structure of 0.024 in is"),
            ("visible from 2.1 m on", "visible from 6 ft 11 in on"),
            ("has 52.1 ± 2.0 cd/m² (15.2 fL).", "has 15.2 ± 0.6 fL."),
            ("keep 48 ± 10.2 cd/m²: kept", "keep 14.0 ± 3.0 fL: kept"),
            ("7.93 g/m², 3 dB, 5 m², of m, 60 Pa s/m", "7.93 g/m², 3 dB, 5 m², of m, 60 Pa s/m"),
        ] {
            assert_eq!(worded(metric, Imperial), imperial);
            assert_eq!(worded(metric, Metric), metric);
        }
    }

    #[test]
    fn a_foot_lambert_is_3_426_candelas() {
        // NIST SP 811, appendix B.8: 1 footlambert = 3.426 259 cd/m2 (from memory).
        assert!((CD_M2_PER_FL - 3.426_259).abs() < 5e-7);
        assert_eq!(luminance(48.0, Imperial), "14.0 fL");
        assert_eq!(luminance(48.0, Metric), "48.0 cd/m\u{b2}");
    }
}
