//! Quantities that must not be mixed, and the frequency bands everything is told in.

use serde::{Deserialize, Serialize};

/// International foot, m (exact by definition of 1959).
pub const FOOT_M: f64 = 0.3048;

/// Candela per square metre in one foot-lambert, `1 / (pi x 0.3048^2)`.
pub const CD_M2_PER_FL: f64 = 1.0 / (std::f64::consts::PI * FOOT_M * FOOT_M);

/// Insertion loss in dB: **positive = the screen takes energy away**.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Serialize, Deserialize)]
pub struct LossDb(pub f64);

/// Signed level difference in dB (equaliser, level, echo): positive = louder.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Serialize, Deserialize)]
pub struct GainDb(pub f64);

impl LossDb {
    /// Loss of a power ratio `with / without`: `-10 lg ratio`.
    pub fn from_power_ratio(ratio: f64) -> Self {
        Self(-10.0 * ratio.log10())
    }
}

impl GainDb {
    /// Factor in power, `10^(G/10)`: 6 dB is 3.98, 10 dB is 10.
    pub fn power_factor(self) -> f64 {
        10f64.powf(self.0 / 10.0)
    }
}

/// A third-octave band of IEC 61260-1:2014, base 10: exact mid-band
/// `1000 x 10^(k/10)` Hz, edges a factor `10^(1/20)` below and above.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct ThirdOctave {
    k: i32,
}

/// Nominal names for one decade, IEC 61260-1:2014 annex (R10 series of ISO 266).
const NOMINAL_DECADE: [f64; 10] = [1.0, 1.25, 1.6, 2.0, 2.5, 3.15, 4.0, 5.0, 6.3, 8.0];

impl ThirdOctave {
    /// The band with mid-band `1000 x 10^(k/10)` Hz; `k = 0` is 1 kHz.
    pub const fn from_index(k: i32) -> Self {
        Self { k }
    }

    /// The bands of a report: 100 Hz to 16 kHz, and 20 kHz where `stop_hz`
    /// (the upper end of the sweep) covers its upper edge.
    pub fn report_bands(stop_hz: f64) -> Vec<Self> {
        let top = if stop_hz >= Self::from_index(13).upper_hz() { 13 } else { 12 };
        (-10..=top).map(Self::from_index).collect()
    }

    /// The band whose nominal name is nearest to `hz` on a logarithmic axis; `None` for what is no
    /// frequency: it must be finite and above 0 Hz.
    pub fn nearest(hz: f64) -> Option<Self> {
        let is_frequency = hz.is_finite() && hz > 0.0;
        is_frequency.then(|| Self { k: (10.0 * (hz / 1000.0).log10()).round() as i32 })
    }

    /// `k` of the exact mid-band `1000 x 10^(k/10)`.
    pub fn index(self) -> i32 {
        self.k
    }

    /// Exact mid-band frequency, Hz.
    pub fn exact_hz(self) -> f64 {
        1000.0 * 10f64.powf(f64::from(self.k) / 10.0)
    }

    /// Lower band edge, Hz.
    pub fn lower_hz(self) -> f64 {
        self.exact_hz() * 10f64.powf(-0.05)
    }

    /// Upper band edge, Hz.
    pub fn upper_hz(self) -> f64 {
        self.exact_hz() * 10f64.powf(0.05)
    }

    /// Width of the band, Hz.
    pub fn width_hz(self) -> f64 {
        self.upper_hz() - self.lower_hz()
    }

    /// Nominal frequency, Hz: the name printed on scales (e.g. 3150 for 3162.3).
    pub fn nominal_hz(self) -> f64 {
        let decade = self.k.div_euclid(10);
        let step = self.k.rem_euclid(10) as usize;
        NOMINAL_DECADE[step] * 1000.0 * 10f64.powi(decade)
    }
}

/// Mid-bands of the 1/24-octave grid between `low_hz` and `high_hz`
/// (even fraction: `1000 x G^((2k+1)/48)`, `G = 10^0.3`; IEC 61260-1:2014).
pub fn fine_grid_hz(low_hz: f64, high_hz: f64) -> Vec<f64> {
    let position = |hz: f64| (hz / 1000.0).log10() / 0.3 * 24.0 - 0.5;
    let first = position(low_hz).ceil() as i64;
    let last = position(high_hz).floor() as i64;
    (first..=last).map(|k| 1000.0 * 10f64.powf(0.3 * (2 * k + 1) as f64 / 48.0)).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_foot_lambert() {
        // 3.426 2591 cd/m2 (convertworld.com conversion table; NIST SP 811, appendix B.8, from
        // memory: 3.426 259); computed: 12, 14, 16, 22 fL = 41.115, 47.968, 54.820, 75.378 cd/m2;
        // 48, 55, 100 cd/m2 = 14.009, 16.053, 29.186 fL.
        assert!((CD_M2_PER_FL - 3.426_259_1).abs() < 5e-8);
        for (fl, cd) in [(12.0, 41.115), (14.0, 47.968), (16.0, 54.820), (22.0, 75.378)] {
            assert!((fl * CD_M2_PER_FL - cd).abs() < 5e-4);
        }
        for (cd, fl) in [(48.0, 14.009), (55.0, 16.053), (100.0, 29.186)] {
            assert!((cd / CD_M2_PER_FL - fl).abs() < 6e-4);
        }
    }

    #[test]
    fn a_frequency_is_positive_and_finite() {
        for bad in [f64::NAN, f64::INFINITY, 0.0, -1.0] {
            assert!(ThirdOctave::nearest(bad).is_none(), "{bad} was taken for a frequency");
        }
        assert_eq!(ThirdOctave::nearest(1e3), Some(ThirdOctave::from_index(0)));
    }

    #[test]
    fn bands_reach_20_khz_only_with_the_sweep() {
        let ends = |stop_hz| {
            let bands = ThirdOctave::report_bands(stop_hz);
            [bands[0], bands[bands.len() - 1]].map(ThirdOctave::nominal_hz)
        };
        assert_eq!(ends(20_000.0), [100.0, 16_000.0]);
        assert_eq!(ends(22_400.0), [100.0, 20_000.0]);
    }

    #[test]
    fn one_khz_is_an_edge_of_the_fine_grid() {
        let grid = fine_grid_hz(980.0, 1020.0);
        // Computed from IEC 61260-1 for b = 24: 985.71 and 1014.5 Hz around 1 kHz.
        assert_eq!(grid.len(), 2);
        assert!((grid[0] - 985.71).abs() < 0.01 && (grid[1] - 1014.5).abs() < 0.05, "{grid:?}");
    }
}
