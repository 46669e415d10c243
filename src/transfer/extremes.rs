//! The larger and the smaller of two numbers, where many are looked at.
//!
//! `f64::max` looks for NaN on both sides, which takes most of its time. These are one
//! instruction each: a first number that is NaN gives way to the second.

/// The larger of two numbers; `b` where `a` is NaN.
#[inline]
pub fn larger<T: PartialOrd>(a: T, b: T) -> T {
    if a > b { a } else { b }
}

/// The smaller of two numbers; `b` where `a` is NaN.
#[inline]
pub fn smaller<T: PartialOrd>(a: T, b: T) -> T {
    if a < b { a } else { b }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_first_number_that_is_none_gives_way() {
        assert_eq!((larger(2.0, 1.0), larger(1.0, 2.0), larger(f64::NAN, 1.0)), (2.0, 2.0, 1.0));
        assert_eq!((smaller(2.0, 1.0), smaller(1.0, 2.0), smaller(f64::NAN, 1.0)), (1.0, 1.0, 1.0));
    }
}
