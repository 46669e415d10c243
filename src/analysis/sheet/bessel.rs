//! `J1(z) / J0(z)` for the viscous boundary layer in a round hole.

use complex_bessel::{Scaling, besselj_seq};
use realfft::num_complex::Complex;

/// Ratio of Bessel functions of the first kind, orders 1 and 0; `-j`, its limit far below the real
/// axis, where `|z|` is too large for them, and no number where `z` is none.
///
/// # Source
/// The library follows Amos, Algorithm 644, ACM Trans. Math. Softw. 12 (1986); on the ray
/// `x exp(-j pi / 4)` of the hole problem it is held against another one for `x` from 0.001 to 1000.
pub fn j1_over_j0(z: Complex<f64>) -> Complex<f64> {
    // Both are scaled alike, so that neither overflows.
    match besselj_seq(0.0, z, 2, Scaling::Exponential) {
        Ok(both) => both.values[1] / both.values[0],
        Err(_) if z.is_finite() => -Complex::i(),
        Err(_) => Complex::new(f64::NAN, f64::NAN),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Rows of `fixtures/bessel_ratio.csv` (mpmath, see the .md beside it).
    const TABLE: &str = include_str!("../../../fixtures/bessel_ratio.csv");

    #[test]
    fn agrees_with_an_independent_library() {
        let mut n = 0;
        for line in TABLE.lines().skip(1) {
            let v: Vec<f64> = line.split(',').map(|x| x.parse().unwrap()).collect();
            let want = Complex::new(v[1], v[2]);
            let got = j1_over_j0(Complex::from_polar(v[0], -std::f64::consts::FRAC_PI_4));
            let off = (got - want).norm() / want.norm();
            assert!(off < 1e-12, "x = {}: {got} instead of {want}, off by {off}", v[0]);
            n += 1;
        }
        assert_eq!(n, 21);
    }

    #[test]
    fn small_arguments_follow_the_series() {
        // J1/J0 = z/2 + z^3/16 + ... (from the power series).
        let z = Complex::new(1e-2, -1e-2);
        let want = z / 2.0 + z * z * z / 16.0;
        assert!((j1_over_j0(z) - want).norm() < 1e-10);
        assert_eq!(j1_over_j0(Complex::new(0.0, 0.0)).norm(), 0.0);
    }

    #[test]
    fn far_out_it_is_its_limit() {
        // J1/J0 -> -j (Watson, Theory of Bessel Functions, 7.2), off by 1/(2 |z|).
        let far = j1_over_j0(Complex::from_polar(1e4, -std::f64::consts::FRAC_PI_4));
        assert!((far + Complex::i()).norm() < 1e-4);
        assert_eq!(j1_over_j0(Complex::new(1e300, -1e300)), -Complex::i());
        assert!(j1_over_j0(Complex::new(f64::NAN, 0.0)).is_nan());
    }
}
