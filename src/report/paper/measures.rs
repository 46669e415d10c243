//! Lengths and luminances as the reader of the papers wants them: metric, or
//! feet and inches and foot-lamberts. Only for display; nothing is computed on.

use crate::ingest::manifest::DisplayUnits;

/// International foot, m (exact by definition of 1959).
const FOOT_M: f64 = 0.3048;

/// Candelas per square metre of one foot-lambert: 1/pi cd per square foot.
const FOOT_LAMBERT_CD_M2: f64 = 1.0 / (std::f64::consts::PI * FOOT_M * FOOT_M);

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

/// A short length: "65 mm", or "2.6 in".
pub fn short_length(metres: f64, units: DisplayUnits) -> String {
    match units {
        DisplayUnits::Metric => format!("{:.0} mm", metres * 1000.0),
        DisplayUnits::Imperial => format!("{:.1} in", metres / FOOT_M * 12.0),
    }
}

/// A luminance: "52.1 cd/m\u{b2}", or "15.2 fL".
pub fn luminance(cd_m2: f64, units: DisplayUnits) -> String {
    match units {
        DisplayUnits::Metric => format!("{cd_m2:.1} cd/m\u{b2}"),
        DisplayUnits::Imperial => format!("{:.1} fL", cd_m2 / FOOT_LAMBERT_CD_M2),
    }
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
    fn a_foot_lambert_is_3_426_candelas() {
        // NIST SP 811, appendix B.8: 1 footlambert = 3.426 259 cd/m2 (from memory).
        assert!((FOOT_LAMBERT_CD_M2 - 3.426_259).abs() < 5e-7);
        assert_eq!(luminance(48.0, Imperial), "14.0 fL");
        assert_eq!(luminance(48.0, Metric), "48.0 cd/m\u{b2}");
    }
}
