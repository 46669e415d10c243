//! Tapers and cuts of impulse responses.

use std::f64::consts::FRAC_PI_2;

/// Rising half of a squared sine over `n` samples, midpoints sampled
/// (so that a rise and its mirror add to 1 and neither holds an exact 0 or 1).
pub fn rise(n: usize) -> impl DoubleEndedIterator<Item = f64> + ExactSizeIterator {
    (0..n).map(move |i| ((i as f64 + 0.5) / n as f64 * FRAC_PI_2).sin().powi(2))
}

/// Multiplies the first `head` samples by a rise and the last `tail` by a fall.
/// Overlapping tapers multiply.
pub fn taper_ends(x: &mut [f64], head: usize, tail: usize) {
    let n = x.len();
    x.iter_mut().zip(rise(head.min(n))).for_each(|(v, w)| *v *= w);
    x.iter_mut().rev().zip(rise(tail.min(n))).for_each(|(v, w)| *v *= w);
}

/// The circular sequence `x` from index `start` (may be negative) in pieces, `n` samples in all.
fn pieces(x: &[f64], start: i64, n: usize) -> impl Iterator<Item = &[f64]> {
    let mut at = start.rem_euclid(x.len() as i64) as usize;
    let mut n_left = n;
    std::iter::from_fn(move || {
        let piece = &x[at..at + n_left.min(x.len() - at)];
        n_left -= piece.len();
        at = 0;
        (!piece.is_empty()).then_some(piece)
    })
}

/// `n` samples of the circular sequence `x` from index `start` (may be negative).
pub fn cut_circular(x: &[f64], start: i64, n: usize) -> Vec<f64> {
    let mut cut = Vec::with_capacity(n);
    pieces(x, start, n).for_each(|piece| cut.extend_from_slice(piece));
    cut
}

/// The same through a window, in single precision: enough for powers.
pub fn windowed(x: &[f64], start: i64, window: &[f32]) -> Vec<f32> {
    let mut cut: Vec<f32> = Vec::with_capacity(window.len());
    for piece in pieces(x, start, window.len()) {
        let weights = &window[cut.len()..];
        cut.extend(piece.iter().zip(weights).map(|(x, w)| *x as f32 * w));
    }
    cut
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_rise_and_its_mirror_add_to_one() {
        for n in [4usize, 5] {
            for (a, b) in rise(n).zip(rise(n).rev()) {
                assert!((a + b - 1.0).abs() < 1e-12);
            }
        }
    }

    #[test]
    fn a_circular_cut_wraps_both_ways() {
        let x = [0.0, 1.0, 2.0, 3.0];
        assert_eq!(cut_circular(&x, -1, 3), [3.0, 0.0, 1.0]);
        assert_eq!(cut_circular(&x, 3, 3), [3.0, 0.0, 1.0]);
        assert_eq!(cut_circular(&x, -6, 6), [2.0, 3.0, 0.0, 1.0, 2.0, 3.0]);
    }
}
