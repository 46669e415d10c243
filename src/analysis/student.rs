//! Student's t distribution.

use statrs::distribution::{ContinuousCDF, Normal, StudentsT};

/// Above this many degrees of freedom Student's t is taken as normal: the 95 % quantiles
/// differ by less than 2e-4, and the library's t distribution fails above about 1e6.
const NORMAL_ABOVE_DOF: f64 = 1e4;

/// Quantile `t(p, dof)` of Student's t distribution; `None` unless `0 < p < 1` and `dof > 0`.
///
/// Normal above 1e4 degrees of freedom.
pub fn student_quantile(p: f64, dof: f64) -> Option<f64> {
    if !(p > 0.0 && p < 1.0 && dof > 0.0) {
        return None;
    }
    let quantile = if dof > NORMAL_ABOVE_DOF {
        Normal::standard().inverse_cdf(p)
    } else {
        StudentsT::new(0.0, 1.0, dof).ok()?.inverse_cdf(p)
    };
    quantile.is_finite().then_some(quantile)
}

/// Upper tail `P(T > x)` of Student's t distribution; `None` for NaN or `dof` not above 0.
pub fn student_sf(x: f64, dof: f64) -> Option<f64> {
    if x.is_nan() || dof.is_nan() || dof <= 0.0 {
        return None;
    }
    let p = if dof > NORMAL_ABOVE_DOF {
        Normal::standard().sf(x)
    } else {
        StudentsT::new(0.0, 1.0, dof).ok()?.sf(x)
    };
    p.is_finite().then_some(p)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn quantiles_are_those_of_the_published_table() {
        // NIST TN 1297 table B.1 (= GUM table G.2), two-sided fractions; tolerance half a
        // unit of the last printed digit.
        let rows = [
            (1.0, 0.90, 6.31, 0.005),
            (2.0, 0.90, 2.92, 0.005),
            (3.0, 0.90, 2.35, 0.005),
            (5.0, 0.90, 2.02, 0.005),
            (10.0, 0.90, 1.81, 0.005),
            (50.0, 0.90, 1.68, 0.005),
            (100.0, 0.90, 1.660, 0.0005),
            (f64::INFINITY, 0.90, 1.645, 0.0005),
            (1.0, 0.95, 12.71, 0.005),
            (4.0, 0.95, 2.78, 0.005),
            (20.0, 0.95, 2.09, 0.005),
            // Headed 99.73 %: three standard deviations of a normal variable.
            (1.0, 0.997_300_204, 235.80, 0.005),
            (4.0, 0.997_300_204, 6.62, 0.005),
            (1e7, 0.95, 1.960, 0.0005),
        ];
        for (dof, two_sided, want, tol) in rows {
            let p = 1.0 - (1.0 - two_sided) / 2.0;
            let got = student_quantile(p, dof).expect("inside the valid range");
            assert!((got - want).abs() <= tol, "t({p}, {dof}) = {got}, table {want}");
        }
        for (p, dof) in [(0.0, 3.0), (1.0, 3.0), (f64::NAN, 3.0), (0.9, 0.0), (0.9, f64::NAN)] {
            assert_eq!(student_quantile(p, dof), None, "t({p}, {dof})");
        }
    }
}
