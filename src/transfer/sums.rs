//! Sums of products.

use std::ops::{Add, Mul};

/// Sum of the products of two sequences of one length, in eight chains that need not wait for
/// each other.
pub fn dot<T: Copy + Default + Add<Output = T> + Mul<Output = T>>(a: &[T], b: &[T]) -> T {
    let ((a, a_rest), (b, b_rest)) = (a.as_chunks::<8>(), b.as_chunks::<8>());
    let mut sums = [T::default(); 8];
    for (a, b) in a.iter().zip(b) {
        for ((sum, x), y) in sums.iter_mut().zip(a).zip(b) {
            *sum = *sum + *x * *y;
        }
    }
    let of_rest = a_rest.iter().zip(b_rest).map(|(x, y)| *x * *y);
    sums.into_iter().chain(of_rest).fold(T::default(), T::add)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The sum of the squares of 1 to n is `n (n + 1) (2 n + 1) / 6`; whole numbers are exact.
    #[test]
    fn squares_add_up_for_lengths_with_and_without_a_rest() {
        for n in [0u32, 1, 7, 8, 9, 31, 64] {
            let x: Vec<f64> = (1..=n).map(f64::from).collect();
            assert_eq!(dot(&x, &x), f64::from(n * (n + 1) * (2 * n + 1) / 6));
        }
    }
}
