//! The middle of some values.

/// Median of the finite values: the mean of the middle two where their number is even; `None`
/// without any.
pub fn median(mut values: Vec<f64>) -> Option<f64> {
    values.retain(|x| x.is_finite());
    values.sort_by(f64::total_cmp);
    let n = values.len();
    (n > 0).then(|| 0.5 * (values[n / 2] + values[(n - 1) / 2]))
}

#[cfg(test)]
mod tests {
    use super::median;

    #[test]
    fn the_middle_of_odd_even_and_no_values() {
        assert_eq!(median(vec![3.0, 1.0, 2.0]), Some(2.0));
        assert_eq!(median(vec![4.0, 1.0, f64::NAN, 2.0, 9.0]), Some(3.0));
        assert_eq!(median(vec![f64::INFINITY]), None);
    }
}
