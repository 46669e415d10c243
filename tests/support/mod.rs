//! Helpers shared by unit tests and by the tests in this folder.

// Each test program uses its own share of these.
#![allow(dead_code)]

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};

/// Every file below a folder with its contents.
pub fn contents(folder: &Path) -> BTreeMap<PathBuf, Vec<u8>> {
    let mut found = BTreeMap::new();
    let mut folders = vec![folder.to_owned()];
    while let Some(next) = folders.pop() {
        for entry in fs::read_dir(&next).unwrap() {
            let path = entry.unwrap().path();
            if path.is_dir() {
                folders.push(path);
            } else {
                let name = path.strip_prefix(folder).unwrap().to_owned();
                found.insert(name, fs::read(&path).unwrap());
            }
        }
    }
    found
}

/// What a program of poppler-utils says about a document; complaints fail the test, but for the
/// one about "Suspects", which ISO 32000-1, table 321 wants as a boolean.
pub fn poppler(program: &str, options: &[&str], pdf: &Path) -> String {
    let mut command = std::process::Command::new(program);
    command.args(options).arg(pdf);
    if program == "pdftotext" {
        command.arg("-");
    }
    let output = command.output().unwrap_or_else(|e| panic!("{program} (poppler-utils): {e}"));
    let complaints = String::from_utf8_lossy(&output.stderr)
        .replace("Syntax Error: Suspects object is wrong type (boolean)\n", "");
    assert!(output.status.success() && complaints.is_empty(), "{program}: {output:?}");
    String::from_utf8_lossy(&output.stdout).into_owned()
}

/// Fails unless `got` and `want` have the same length, hold something, are
/// finite throughout and differ by at most `tol_abs` everywhere.
pub fn assert_close(what: &str, got: &[f64], want: &[f64], tol_abs: f64) {
    assert!(!want.is_empty(), "{what}: nothing to compare");
    assert_eq!(got.len(), want.len(), "{what}: lengths differ");
    assert!(tol_abs.is_finite() && tol_abs >= 0.0, "{what}: tolerance {tol_abs}");
    for (i, (&g, &w)) in got.iter().zip(want).enumerate() {
        assert!(w.is_finite(), "{what}[{i}]: reference {w} is not finite");
        assert!(g.is_finite(), "{what}[{i}]: got {g}");
        assert!((g - w).abs() <= tol_abs, "{what}[{i}]: got {g}, want {w} ± {tol_abs}");
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
