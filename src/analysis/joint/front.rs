//! The loudspeaker's front as what sends sound back to the sheet.
//!
//! A front is a smooth thing: a main reflection, parts some centimetres before or behind it
//! (horn, dome, frame), and less of it where it is small against the wavelength. A few
//! numbers hold it, and all seats and frequencies tell of them together.

use nalgebra::DMatrix;
use realfft::num_complex::Complex;
use std::f64::consts::PI;

/// Parts around the main one, at multiples of [`TAP_S`]: cones, horns and frames stand some
/// centimetres deeper.
const TAPS: std::ops::RangeInclusive<i32> = -2..=13;
/// Time between parts, s: 7 mm of way.
const TAP_S: f64 = 1.0 / 48_000.0;
/// Main reflection (pressure) expected, its standard deviation ...
const MAIN: [f64; 2] = [0.45, 0.3];
/// ... that of earlier parts, halved every two, ...
const EARLIER_SD: f64 = 0.1;
/// ... that of later ones, halved every eight, ...
const LATER_SD: f64 = 0.12;
/// ... and of the shelves by which less comes back at low frequencies.
const SHELF: [f64; 2] = [-0.07, 0.25];
/// Corners of these shelves, Hz: fronts of 0.1 to 0.5 m.
const SHELVES_HZ: [f64; 3] = [300.0, 700.0, 1600.0];
/// Number of parts.
const N_TAPS: usize = 16;

/// Number of terms a front is made of.
pub const N_TERMS: usize = N_TAPS + SHELVES_HZ.len();
/// Index of the main reflection.
pub const MAIN_TERM: usize = 2;

/// Terms of a front at a frequency, around the main reflection's own lag; linear.
pub fn terms(hz: f64) -> [Complex<f64>; N_TERMS] {
    // One turn by a part's time, multiplied on: sines are what costs here.
    let turn = Complex::from_polar(1.0, -2.0 * PI * hz * TAP_S);
    let mut tap = turn.powi(*TAPS.start());
    std::array::from_fn(|i| match i.checked_sub(N_TAPS) {
        None => {
            let here = tap;
            tap *= turn;
            here
        }
        Some(shelf) => Complex::new(1.0, hz / SHELVES_HZ[shelf]).inv(),
    })
}

/// Way of each part behind the main one in samples, where that is whole at a sampling rate;
/// the shelves come after the parts.
pub fn whole_samples(rate_hz: f64) -> Option<[i64; N_TAPS]> {
    let step = TAP_S * rate_hz;
    let whole = step.round();
    let first = i64::from(*TAPS.start());
    ((step - whole).abs() < 1e-9)
        .then(|| std::array::from_fn(|i| (first + i as i64) * whole as i64))
}

/// Mean and standard deviation expected of each term before any measurement.
pub fn expected() -> [[f64; 2]; N_TERMS] {
    std::array::from_fn(|i| {
        let away = (i as f64 - MAIN_TERM as f64).abs();
        match i {
            MAIN_TERM => MAIN,
            0..MAIN_TERM => [0.0, EARLIER_SD * 0.5f64.powf(away / 2.0)],
            i if i < N_TAPS => [0.0, LATER_SD * 0.5f64.powf(away / 8.0)],
            _ => SHELF,
        }
    })
}

/// A part of a front is small as a rule and large at times (a deep horn), as numbers of a Cauchy
/// distribution are. So after a step its standard deviation follows what was found of it: the
/// step of expectation and maximisation for that distribution.
const DEGREES_OF_FREEDOM: f64 = 1.0;

/// A front as it was found.
#[derive(Debug, Clone)]
pub struct Front {
    /// Weights of the terms.
    pub weights: [f64; N_TERMS],
    /// Covariance of the weights.
    pub covariance: DMatrix<f64>,
    /// Lag found over the lag of the stated gap.
    pub lag_factor: f64,
}

impl Front {
    /// Mean and standard deviation expected of each term after this was found.
    pub fn expected_next(&self) -> [[f64; 2]; N_TERMS] {
        let mut expected = expected();
        for (i, [mean, sd]) in expected.iter_mut().enumerate().take(N_TAPS) {
            if i != MAIN_TERM {
                let found = (self.weights[i] - *mean).powi(2) + self.covariance[(i, i)];
                let variance = DEGREES_OF_FREEDOM * sd.powi(2) + found;
                *sd = (variance / (DEGREES_OF_FREEDOM + 1.0)).sqrt();
            }
        }
        expected
    }

    /// Pressure reflection at a frequency.
    pub fn at(&self, hz: f64) -> Complex<f64> {
        self.of(&terms(hz))
    }

    /// The same from terms that are there already.
    pub fn of(&self, terms: &[Complex<f64>; N_TERMS]) -> Complex<f64> {
        terms.iter().zip(&self.weights).map(|(t, w)| t * w).sum()
    }

    /// Mean square error of [`Front::at`].
    pub fn variance(&self, hz: f64) -> f64 {
        let t = terms(hz);
        let mut sum = 0.0;
        for i in 0..N_TERMS {
            for j in 0..N_TERMS {
                sum += (t[i].conj() * t[j]).re * self.covariance[(i, j)];
            }
        }
        sum.max(0.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_hard_plate_is_flat_and_a_small_front_fades_below_its_corner() {
        let mut front = Front {
            weights: [0.0; N_TERMS],
            covariance: DMatrix::zeros(N_TERMS, N_TERMS),
            lag_factor: 1.0,
        };
        front.weights[MAIN_TERM] = 0.8;
        for hz in [100.0, 1000.0, 10_000.0] {
            assert!((front.at(hz) - 0.8).norm() < 1e-12);
        }
        // 0.8 - 0.8/(1 + j f/fc) = 0.8 (j f/fc)/(1 + j f/fc): first-order high-pass.
        front.weights[N_TAPS + 1] = -0.8;
        let corner_hz = SHELVES_HZ[1];
        assert!((front.at(corner_hz).norm() - 0.8 / 2f64.sqrt()).abs() < 1e-12);
        assert!(front.at(0.0).norm() < 1e-12);
    }

    /// One independent term: the variance at every frequency is the term's own.
    #[test]
    fn the_error_of_the_main_part_is_its_variance() {
        let mut covariance = DMatrix::zeros(N_TERMS, N_TERMS);
        covariance[(MAIN_TERM, MAIN_TERM)] = 0.01;
        let front = Front { weights: [0.0; N_TERMS], covariance, lag_factor: 1.0 };
        assert!((front.variance(3000.0) - 0.01).abs() < 1e-15);
    }

    /// A Cauchy distribution is a normal one whose precision `l/s^2` is drawn from a gamma
    /// distribution, `p(l) ~ exp(-l/2)/sqrt(l)`; the next precision is the mean of that, given the
    /// weight. Held against the integral.
    #[test]
    fn a_part_found_large_is_expected_large_as_a_cauchy_distribution_has_it() {
        let part = MAIN_TERM + 3;
        let sd = expected()[part][1];
        for of_sd in [0.3, 1.0, 4.0] {
            let mut weights = [0.0; N_TERMS];
            weights[part] = of_sd * sd;
            let covariance = DMatrix::zeros(N_TERMS, N_TERMS);
            let front = Front { weights, covariance, lag_factor: 1.0 };
            // l = x^2 takes the singularity out.
            let integral = |power: i32| -> f64 {
                let at =
                    |x: f64| x.powi(2 * power + 1) * (-0.5 * (1.0 + of_sd * of_sd) * x * x).exp();
                (0..20_000).map(|i| at((f64::from(i) + 0.5) * 1e-3)).sum()
            };
            let want = integral(1) / integral(0) / sd.powi(2);
            let next = front.expected_next();
            assert!((next[part][1].powi(-2) / want - 1.0).abs() < 1e-3);
            assert_eq!(next[MAIN_TERM], MAIN);
        }
    }
}
