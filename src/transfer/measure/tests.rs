//! Tests of `measure`.

use super::*;
use std::time::Duration;

#[test]
fn the_first_fault_is_told_though_a_later_one_comes_earlier() {
    for _ in 0..20 {
        let made = all_or_first_fault(200, |i| match i {
            40 => {
                std::thread::sleep(Duration::from_millis(2));
                Err(i)
            }
            41.. => Err(i),
            _ => Ok(i),
        });
        assert_eq!(made, Err(40));
    }
    assert_eq!(all_or_first_fault(5, Ok::<_, ()>), Ok(vec![0, 1, 2, 3, 4]));
    assert_eq!(all_or_first_fault(0, Ok::<_, ()>), Ok(vec![]));
}
