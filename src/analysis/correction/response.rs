//! Band means of equaliser responses, the way losses are told.
//!
//! A third-octave loss is `-10 lg` of the mean power over the band, so the gain of a
//! filter that stands against it is `10 lg` of the mean of `|H|^2` over the same band
//! (evenly in frequency), not its value at mid-band: a filter of Q 4 is narrower than
//! the difference.

use crate::analysis::biquad::{Biquad, half_angle_sine_squared};
use crate::units::ThirdOctave;

/// Nodes and weights of six-point Gauss-Legendre integration on [-1, 1]
/// (Abramowitz & Stegun, table 25.4); exact for polynomials up to degree 11.
const GAUSS: [(f64, f64); 6] = [
    (-0.932_469_514_203_152, 0.171_324_492_379_170_4),
    (-0.661_209_386_466_264_5, 0.360_761_573_048_138_6),
    (-0.238_619_186_083_197, 0.467_913_934_572_691),
    (0.238_619_186_083_197, 0.467_913_934_572_691),
    (0.661_209_386_466_264_5, 0.360_761_573_048_138_6),
    (0.932_469_514_203_152, 0.171_324_492_379_170_4),
];

/// Nodes in a band.
pub(super) const PER_BAND: usize = GAUSS.len();

/// Frequencies at which responses are evaluated for a list of bands.
#[derive(Debug, Clone)]
pub struct BandNodes {
    rate_hz: f64,
    /// `sin^2(pi f / rate)` of every node, [`PER_BAND`] for each band.
    s: Vec<f64>,
}

impl BandNodes {
    /// Nodes for bands at a sample rate; a band that reaches above half the rate
    /// is averaged over the part below it.
    pub fn new(bands: &[ThirdOctave], rate_hz: f64) -> Self {
        let top = 0.4999 * rate_hz;
        let s = bands
            .iter()
            .flat_map(|b| {
                let (low, high) = (b.lower_hz().min(top), b.upper_hz().min(top));
                GAUSS.map(move |(x, _)| {
                    let hz = 0.5 * (low + high) + 0.5 * (high - low) * x;
                    half_angle_sine_squared(hz, rate_hz)
                })
            })
            .collect();
        Self { rate_hz, s }
    }

    /// Sample rate the nodes were made for, Hz.
    pub fn rate_hz(&self) -> f64 {
        self.rate_hz
    }

    /// Power response of a section at every node.
    pub fn powers(&self, section: &Biquad) -> Vec<f64> {
        self.s.iter().map(|&s| section.power_at(s)).collect()
    }

    /// Gain of a chain of sections per band, dB: `10 lg` of the band mean of the
    /// product of their power responses.
    pub fn band_gains_db(&self, sections: &[Biquad]) -> Vec<f64> {
        let mut product = vec![1.0; self.s.len()];
        for section in sections {
            product.iter_mut().zip(&self.s).for_each(|(p, &s)| *p *= section.power_at(s));
        }
        product.chunks(PER_BAND).map(|nodes| 10.0 * band_mean(nodes).log10()).collect()
    }
}

/// Mean over a band of the values at its nodes, [`PER_BAND`] of them.
pub(super) fn band_mean(nodes: &[f64]) -> f64 {
    // Weights are alike on both sides of the middle.
    let both = |i: usize| GAUSS[i].1 * (nodes[i] + nodes[PER_BAND - 1 - i]);
    0.5 * (both(0) + both(1) + both(2))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::biquad::{SectionKind, Setting, design};
    use crate::support::assert_close;

    #[test]
    fn the_integration_is_exact_for_polynomials() {
        for n in 0..=11 {
            let got: f64 = GAUSS.iter().map(|(x, w)| 0.5 * w * x.powi(n)).sum();
            let want = if n % 2 == 1 { 0.0 } else { 1.0 / f64::from(n + 1) };
            assert_close(&format!("x^{n}"), &[got], &[want], 1e-14);
        }
    }

    #[test]
    fn band_gains_are_means_of_power_over_the_band() {
        let bands: Vec<ThirdOctave> = (-4..=12).map(ThirdOctave::from_index).collect();
        for rate_hz in [44_100.0, 96_000.0] {
            let set = |kind, frequency_hz, gain_db, q| {
                design(Setting { kind, frequency_hz, gain_db, q }, rate_hz).unwrap()
            };
            let chain = [
                set(SectionKind::Peaking, 5000.0, 6.0, 4.0),
                set(SectionKind::Peaking, 14_000.0, -3.0, 4.0),
                set(SectionKind::HighShelf, 8000.0, 4.0, 0.7),
            ];
            let want: Vec<f64> = bands
                .iter()
                .map(|b| {
                    // The plain sum over many points, as the naive second opinion.
                    let n = 4000;
                    let sum: f64 = (0..n)
                        .map(|i| b.lower_hz() + b.width_hz() * (f64::from(i) + 0.5) / f64::from(n))
                        .map(|hz| chain.iter().map(|c| c.power(hz, rate_hz)).product::<f64>())
                        .sum();
                    10.0 * (sum / f64::from(n)).log10()
                })
                .collect();
            let got = BandNodes::new(&bands, rate_hz).band_gains_db(&chain);
            // Six nodes leave 0.001 dB at a peak of Q 4 and 6 dB, the sharpest allowed.
            assert_close("band gains", &got, &want, 2e-3);
            // Mid-band alone is not good enough: that is why the mean is taken.
            let mid = chain.iter().map(|c| c.gain_db(bands[11].exact_hz(), rate_hz)).sum::<f64>();
            assert!((mid - want[11]).abs() > 0.03, "{mid} {}", want[11]);
        }
    }

    #[test]
    fn no_sections_change_nothing() {
        let nodes = BandNodes::new(&[ThirdOctave::from_index(0)], 48_000.0);
        assert_close("nothing", &nodes.band_gains_db(&[]), &[0.0], 1e-12);
    }
}
