//! Where the direct sound arrives.

/// The direct sound is the first sample above this part of the largest one ...
const THRESHOLD: f64 = 0.3;
/// ... not earlier than this before it, s: a strong reflection may be the largest.
const SEARCH_S: f64 = 0.03;
/// Its own crest lies within this after that sample, s.
const CREST_S: f64 = 0.0005;

/// Index of the crest of the direct sound in a circular impulse response, or
/// `None` where the response is silent.
pub fn find_onset(response: &[f64], rate_hz: f64) -> Option<usize> {
    let n = response.len();
    let peak = peak(response);
    if peak <= 0.0 || !peak.is_finite() {
        return None;
    }
    let largest = response.iter().position(|x| x.abs() == peak)?;
    let search = ((SEARCH_S * rate_hz) as usize).min(n - 1);
    let crest = ((CREST_S * rate_hz) as usize).max(1);
    let at = |back: usize| (largest + n - back) % n;
    let back = (0..=search).rev().find(|&b| response[at(b)].abs() > THRESHOLD * peak)?;
    let first = at(back);
    (0..crest)
        .map(|i| (first + i) % n)
        .max_by(|&a, &b| response[a].abs().total_cmp(&response[b].abs()))
}

fn peak(x: &[f64]) -> f64 {
    x.iter().fold(0.0, |a, x| a.max(x.abs()))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_direct_sound_is_found_before_a_louder_reflection() {
        let mut h = vec![0.0; 4800];
        h[100] = 0.5;
        h[500] = -1.0;
        assert_eq!(find_onset(&h, 48_000.0), Some(100));
        h[100] = 0.2;
        assert_eq!(find_onset(&h, 48_000.0), Some(500));
    }

    #[test]
    fn an_onset_may_lie_across_the_seam() {
        let mut h = vec![0.0; 4800];
        h[4790] = 0.6;
        h[20] = 1.0;
        assert_eq!(find_onset(&h, 48_000.0), Some(4790));
    }

    #[test]
    fn silence_has_no_onset() {
        assert_eq!(find_onset(&[0.0; 64], 48_000.0), None);
    }
}
