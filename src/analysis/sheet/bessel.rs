//! `J1(z) / J0(z)` for the viscous boundary layer in a round hole.

use realfft::num_complex::Complex;

/// From here the asymptotic series is exact to 1e-14 and cheaper than the fraction.
const ASYMPTOTIC_FROM: f64 = 25.0;
/// Terms of the asymptotic series; at |z| = 25 the twelfth is below 1e-13.
const N_ASYMPTOTIC: usize = 14;

/// Ratio of Bessel functions of the first kind, orders 1 and 0, below the real axis.
///
/// # Valid range
/// `-3 pi / 4 <= arg z <= -pi / 4` roughly: the ray `x exp(-j pi / 4)` of the hole problem; there
/// it agrees with an independent library to 1e-12 for `x` from 0.001 to 1000. On the real axis
/// beyond 25 the asymptotic part would miss the second wave. `z = 0` gives 0.
/// # Source
/// Continued fraction `1/(2/z - 1/(4/z - ...))` of the recurrence (Watson, Theory of Bessel
/// Functions, 5.6), evaluated from its tail; Hankel's asymptotic series (Watson, 7.2) from 25 up.
pub fn j1_over_j0(z: Complex<f64>) -> Complex<f64> {
    if z.norm_sqr() == 0.0 {
        return Complex::new(0.0, 0.0);
    }
    match z.norm() {
        // Two terms of the power series; the next is below z^4 / 48.
        size if size < 1e-3 => 0.5 * z * (1.0 + z * z / 8.0),
        size if size < ASYMPTOTIC_FROM => by_recurrence(z),
        _ => by_asymptote(z),
    }
}

/// Downward recurrence `J[n-1] = (2n/z) J[n] - J[n+1]` from an order at which `J` is next to
/// nothing: the falling solution takes over whatever stands at the start.
fn by_recurrence(z: Complex<f64>) -> Complex<f64> {
    let n_terms = (1.4 * z.norm()) as usize + 16;
    let per_order = 2.0 / z;
    let (mut above, mut here) = (Complex::new(0.0, 0.0), Complex::new(1.0, 0.0));
    for n in (1..=n_terms).rev() {
        let below = per_order * n as f64 * here - above;
        (above, here) = (here, below);
    }
    above / here
}

/// Below the real axis only the wave `exp(jz)` counts (the other is smaller by `exp(-2 |Im z|)`):
/// `J1 / J0 = -j S1 / S0`, `S_v = sum j^k a_k(v) / z^k`.
fn by_asymptote(z: Complex<f64>) -> Complex<f64> {
    let series = |order: f64| {
        let mut term = Complex::new(1.0, 0.0);
        let mut sum = term;
        for k in 1..N_ASYMPTOTIC {
            let k = k as f64;
            let odd = 2.0 * k - 1.0;
            term *= Complex::i() * (4.0 * order * order - odd * odd) / (8.0 * k * z);
            sum += term;
        }
        sum
    };
    -Complex::<f64>::i() * series(1.0) / series(0.0)
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
}
