//! The colours of all plots, found by searches made for this project: contrast with white after
//! WCAG 2, and distance in CIE 1976 Lab for normal sight and for each of the three kinds of missing
//! cones after Machado, Oliveira and Fernandes (2009). The tests reckon both again.

use plotters::style::RGBColor;

/// Colour of text and of what is most important (the mean).
pub const INK: RGBColor = RGBColor(0x14, 0x1B, 0x24);
/// Colour of secondary text, and of limits that are kept.
pub const MUTED_INK: RGBColor = RGBColor(0x4A, 0x55, 0x60);
/// Colour of lines that stand back.
pub const QUIET: RGBColor = RGBColor(0x8A, 0x93, 0x9C);
/// Colour of limits that are not kept.
pub const ALARM: RGBColor = RGBColor(0xAF, 0x30, 0x06);
/// Strong and fine lines of the grid.
pub const GRID: [RGBColor; 2] = [RGBColor(0xD3, 0xD8, 0xDD), RGBColor(0xEC, 0xEE, 0xF0)];
/// Ground where there is no value.
pub const ABSENT: RGBColor = RGBColor(0xEE, 0xF0, 0xF2);
/// Bars over the range of the seats, and over their standard deviation.
pub const RANGE: [RGBColor; 2] = [RGBColor(0xC9, 0xD8, 0xE8), RGBColor(0x8F, 0xB0, 0xD0)];

/// Colours of seats: contrast with white at least 3.2 to 1, and any two of them (and the ink) at
/// least 28 apart, 21 for the rare eyes without cones for blue.
pub const PALETTE: [RGBColor; 6] = [
    RGBColor(0x1B, 0x63, 0xA8),
    RGBColor(0xD1, 0x6F, 0x0B),
    RGBColor(0x08, 0x9E, 0xAF),
    RGBColor(0x52, 0x2E, 0x0F),
    RGBColor(0x98, 0x8A, 0x65),
    RGBColor(0x52, 0x5A, 0x59),
];

/// Steps of one hue from light to dark, so that they keep their order in grey.
pub const STEPS: [RGBColor; 5] = [
    RGBColor(0xE4, 0xED, 0xF5),
    RGBColor(0xB4, 0xCF, 0xE6),
    RGBColor(0x7F, 0xAD, 0xD4),
    RGBColor(0x47, 0x81, 0xB8),
    RGBColor(0x17, 0x4F, 0x86),
];

#[cfg(test)]
mod tests {
    use super::*;

    /// What missing cones leave of linear sRGB: Machado, Oliveira and Fernandes, "A
    /// physiologically-based model for simulation of color vision deficiency", 2009, the tables of
    /// severity 1.0: none missing, protanopia, deuteranopia, tritanopia.
    const SIGHTS: [[[f64; 3]; 3]; 4] = [
        [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]],
        [
            [0.152286, 1.052583, -0.204868],
            [0.114503, 0.786281, 0.099216],
            [-0.003882, -0.048116, 1.051998],
        ],
        [
            [0.367322, 0.860646, -0.227968],
            [0.280085, 0.672501, 0.047413],
            [-0.011820, 0.042940, 0.968881],
        ],
        [
            [1.255528, -0.076749, -0.178779],
            [-0.078411, 0.930809, 0.147602],
            [0.004733, 0.691367, 0.303900],
        ],
    ];

    /// Linear sRGB to CIE XYZ, D65 (IEC 61966-2-1), and the white.
    const XYZ: [[f64; 3]; 3] = [
        [0.4124564, 0.3575761, 0.1804375],
        [0.2126729, 0.7151522, 0.0721750],
        [0.0193339, 0.1191920, 0.9503041],
    ];
    const WHITE: [f64; 3] = [0.95047, 1.0, 1.08883];

    fn times(m: &[[f64; 3]; 3], v: [f64; 3]) -> [f64; 3] {
        m.map(|row| row.iter().zip(v).map(|(a, b)| a * b).sum())
    }

    fn linear(RGBColor(r, g, b): RGBColor) -> [f64; 3] {
        [r, g, b].map(|c| {
            let c = f64::from(c) / 255.0;
            if c <= 0.04045 { c / 12.92 } else { ((c + 0.055) / 1.055).powf(2.4) }
        })
    }

    fn lab(color: RGBColor, sight: &[[f64; 3]; 3]) -> [f64; 3] {
        let xyz = times(&XYZ, times(sight, linear(color)).map(|c| c.clamp(0.0, 1.0)));
        let [x, y, z] = [0, 1, 2].map(|i| {
            let t: f64 = xyz[i] / WHITE[i];
            if t > 216.0 / 24389.0 { t.cbrt() } else { (24389.0 / 27.0 * t + 16.0) / 116.0 }
        });
        [116.0 * y - 16.0, 500.0 * (x - y), 200.0 * (y - z)]
    }

    fn distance(a: RGBColor, b: RGBColor, sight: &[[f64; 3]; 3]) -> f64 {
        let (a, b) = (lab(a, sight), lab(b, sight));
        a.iter().zip(b).map(|(a, b)| (a - b).powi(2)).sum::<f64>().sqrt()
    }

    /// Contrast ratio with white of WCAG 2.
    fn contrast(color: RGBColor) -> f64 {
        1.05 / (times(&XYZ, linear(color))[1] + 0.05)
    }

    #[test]
    fn lab_values_are_those_of_the_standard_colours() {
        // Red of sRGB: L* 53.24, a* 80.09, b* 67.20, widely published.
        let got = lab(RGBColor(255, 0, 0), &SIGHTS[0]);
        for (got, want) in got.iter().zip([53.24, 80.09, 67.20]) {
            assert!((got - want).abs() < 0.02, "{got}, want {want}");
        }
    }

    #[test]
    fn every_colour_stands_out_from_white() {
        for color in PALETTE {
            assert!(contrast(color) >= 3.2, "{color:?}");
        }
        assert!(contrast(QUIET) >= 3.0);
        // As text: WCAG 2 asks for 4.5.
        for color in [INK, MUTED_INK, ALARM] {
            assert!(contrast(color) >= 4.5, "{color:?}");
        }
    }

    #[test]
    fn seats_are_told_apart_without_any_kind_of_cones() {
        let all: Vec<RGBColor> = PALETTE.into_iter().chain([INK]).collect();
        for (sight, least) in SIGHTS.iter().zip([28.0, 28.0, 28.0, 21.0]) {
            for (i, a) in all.iter().enumerate() {
                for b in &all[..i] {
                    let apart = distance(*a, *b, sight);
                    assert!(apart >= least, "{a:?} {b:?}: {apart}");
                }
            }
        }
    }

    #[test]
    fn an_alarm_is_no_seat_and_no_kept_limit() {
        for sight in &SIGHTS {
            for other in PALETTE.into_iter().chain([INK, MUTED_INK, QUIET]) {
                let apart = distance(ALARM, other, sight);
                assert!(apart >= 20.0, "{other:?}: {apart}");
            }
        }
    }

    #[test]
    fn steps_keep_their_order_in_grey() {
        let lightness = STEPS.map(|step| lab(step, &SIGHTS[0])[0]);
        assert!(lightness.windows(2).all(|pair| pair[0] - pair[1] > 8.0), "{lightness:?}");
    }
}
