//! Helpers shared by unit tests and by the tests in this folder.

// Each test program uses its own share of these.
#![allow(dead_code)]

/// Fails unless `got` and `want` have the same length, hold something, are
/// finite throughout and differ by at most `tol_abs` everywhere.
pub fn assert_close(what: &str, got: &[f64], want: &[f64], tol_abs: f64) {
    assert!(!want.is_empty(), "{what}: nothing to compare");
    assert_eq!(got.len(), want.len(), "{what}: lengths differ");
    assert!(tol_abs.is_finite() && tol_abs >= 0.0, "{what}: tolerance {tol_abs}");
    for (i, (&g, &w)) in got.iter().zip(want).enumerate() {
        assert!(w.is_finite(), "{what}[{i}]: reference {w} is not finite");
        assert!(g.is_finite(), "{what}[{i}]: got {g}");
        assert!((g - w).abs() <= tol_abs, "{what}[{i}]: got {g}, want {w} +- {tol_abs}");
    }
}

#[cfg(test)]
mod tests {
    use super::assert_close;

    fn rejects(got: &[f64], want: &[f64], tol: f64) -> bool {
        std::panic::catch_unwind(|| assert_close("x", got, want, tol)).is_err()
    }

    #[test]
    fn the_comparator_rejects_what_it_must() {
        assert_close("equal", &[1.0, 2.0], &[1.0, 2.1], 0.11);
        assert!(rejects(&[], &[], 1.0), "empty");
        assert!(rejects(&[1.0], &[1.0, 2.0], 1.0), "shorter");
        assert!(rejects(&[1.0, 2.0], &[1.0], 1.0), "longer");
        assert!(rejects(&[f64::NAN], &[1.0], 1.0), "NaN got");
        assert!(rejects(&[1.0], &[f64::NAN], 1.0), "NaN wanted");
        assert!(rejects(&[f64::INFINITY], &[f64::INFINITY], 1.0), "infinite");
        assert!(rejects(&[1.0], &[1.2], 0.1), "too far");
        assert!(rejects(&[1.0], &[1.0], f64::NAN), "no tolerance");
    }
}
