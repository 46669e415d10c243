//! How often guessing does as well: the exact binomial probability.

use statrs::distribution::{Binomial, DiscreteCDF};

/// A result that guessing reaches in one of twenty tries, or less often, counts as shown.
pub const SHOWN_BELOW: f64 = 0.05;

/// Probability that someone who guesses is right in `right` of `rounds` rounds or more; 1 with no
/// round at all.
///
/// # Source
/// `P = sum over k from right to rounds of C(rounds, k) / 2^rounds`.
pub fn guessing(right: u64, rounds: u64) -> f64 {
    match (right.checked_sub(1), Binomial::new(0.5, rounds)) {
        (Some(below), Ok(binomial)) => binomial.sf(below),
        _ => 1.0,
    }
}

/// Whether a difference is shown.
pub fn is_shown(right: u64, rounds: u64) -> bool {
    guessing(right, rounds) <= SHOWN_BELOW
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Both sides of the limit: 14 of 20 is 0.0577, 15 of 20 0.0207.
    #[test]
    fn one_more_right_answer_decides() {
        assert!(!is_shown(14, 20) && is_shown(15, 20));
        assert!(!is_shown(0, 0) && !is_shown(0, 8));
    }
}
