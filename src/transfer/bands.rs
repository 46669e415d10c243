//! Band means of spectra: third octaves for tables, 1/24 octaves for curves.

/// Weights of the bins of a one-sided spectrum for each band, fractional at the edges.
///
/// The mean over a band is uniform in hertz, as a filter fed with white noise forms it.
#[derive(Debug, Clone)]
pub struct BandBins {
    bands: Vec<Bins>,
}

#[derive(Debug, Clone)]
struct Bins {
    first: usize,
    weights: Vec<f64>,
}

impl BandBins {
    /// Bins `k df_hz`, `k = 0..n_bins`, seen as cells of width `df_hz` around them.
    /// Each edge pair is `(lower_hz, upper_hz)`; the weights of a band sum to 1.
    /// A band narrower than a cell takes that cell; a band outside the spectrum
    /// holds no weights and has mean 0.
    pub fn new(edges_hz: impl IntoIterator<Item = (f64, f64)>, df_hz: f64, n_bins: usize) -> Self {
        let bands = edges_hz
            .into_iter()
            .map(|(low_hz, high_hz)| {
                let first = ((low_hz / df_hz + 0.5).floor() as usize).min(n_bins);
                let last = ((high_hz / df_hz + 0.5).floor() as usize + 1).min(n_bins);
                let mut weights: Vec<f64> = (first..last)
                    .map(|k| {
                        let cell = [(k as f64 - 0.5) * df_hz, (k as f64 + 0.5) * df_hz];
                        (cell[1].min(high_hz) - cell[0].max(low_hz)).max(0.0)
                    })
                    .collect();
                let sum: f64 = weights.iter().sum();
                weights.iter_mut().for_each(|w| *w /= sum);
                Bins { first, weights }
            })
            .collect();
        Self { bands }
    }

    /// Number of bands.
    pub fn len(&self) -> usize {
        self.bands.len()
    }

    /// Whether there is no band.
    pub fn is_empty(&self) -> bool {
        self.bands.is_empty()
    }

    /// Weighted mean over band `band` of `value(bin)`.
    pub fn mean(&self, band: usize, value: impl Fn(usize) -> f64) -> f64 {
        let bins = &self.bands[band];
        bins.weights.iter().zip(bins.first..).map(|(w, k)| w * value(k)).sum()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::ThirdOctave;

    #[test]
    fn a_constant_stays_and_a_slope_gives_the_centre() {
        let bands: Vec<_> = (-10..=12).map(ThirdOctave::from_index).collect();
        let bins =
            BandBins::new(bands.iter().map(|b| (b.lower_hz(), b.upper_hz())), 5.859_375, 4097);
        for (i, band) in bands.iter().enumerate() {
            assert!((bins.mean(i, |_| 2.0) - 2.0).abs() < 1e-12);
            let centre_hz = 0.5 * (band.lower_hz() + band.upper_hz());
            let got_hz = bins.mean(i, |k| k as f64 * 5.859_375);
            // Within a cell at the two edges: df^2 / width.
            assert!((got_hz - centre_hz).abs() < 5.86f64.powi(2) / band.width_hz(), "{got_hz}");
        }
    }

    #[test]
    fn a_band_outside_the_spectrum_is_empty() {
        let bins = BandBins::new([(30_000.0, 40_000.0)], 10.0, 100);
        assert_eq!(bins.mean(0, |_| 1.0), 0.0);
    }
}
