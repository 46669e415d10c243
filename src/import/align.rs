//! Which sweep stands for which place, when the order is known and the number may not fit.
//!
//! The likeliest way to lay the sweeps along the places, by dynamic programming: sweeps that
//! follow each other at one seat resemble each other, at a change of the seat they do not; a
//! spoiled sweep is probably left out, a good one probably not.

/// Distance from full likeness at which two sweeps are as probably of one seat as of two. On
/// simulated sessions takes of one seat reach 0.016, those of two seats 0.047 and more, the
/// least where seats mirror each other in the room. Half or twice of that is worth one point.
const EVEN: f64 = 0.028;
/// Most points that one comparison is worth.
const MOST_POINTS: f64 = 2.0;
/// Points for a place without a sweep, and for a good sweep without a place ...
const MISSING: f64 = -4.0;
const EXTRA: f64 = -4.0;
/// ... for a spoiled one without a place, and with one.
const SPOILED_LEFT_OUT: f64 = -0.5;
const SPOILED_USED: f64 = -1.5;
/// No more than so many in a row are missing or too many.
const MOST_IN_A_ROW: usize = 12;

/// What is known of the sweeps, in the order of time, and the places, in the order of the plan.
pub(super) struct Line<'a> {
    /// Whether each sweep is spoiled.
    pub spoiled: &'a [bool],
    /// The seat of each place.
    pub groups: &'a [usize],
    /// How alike two sweeps are.
    pub likeness: &'a dyn Fn(usize, usize) -> Option<f64>,
    /// How alike a sweep is to what is known of the seat of a place.
    pub known: &'a dyn Fn(usize, usize) -> Option<f64>,
}

/// Points for a likeness where sweeps should be alike; minus as many where they should not.
pub(super) fn points(likeness: Option<f64>) -> f64 {
    let of = |l: f64| (EVEN / (1.0 - l).max(1e-6)).log2().clamp(-MOST_POINTS, MOST_POINTS);
    likeness.map_or(0.0, of)
}

/// The place of each sweep, `None` for those without, and the points of that.
pub(super) fn align(line: &Line<'_>) -> (Vec<Option<usize>>, f64) {
    let (n, m) = (line.spoiled.len(), line.groups.len());
    // best[i][j]: points of the best way whose last pair is sweep i at place j.
    let mut best = vec![vec![f64::NEG_INFINITY; m]; n];
    let mut from: Vec<Vec<Option<(usize, usize)>>> = vec![vec![None; m]; n];
    let cost_of_skipped = |sweeps: std::ops::Range<usize>, places: usize| -> f64 {
        let extra = |i: usize| if line.spoiled[i] { SPOILED_LEFT_OUT } else { EXTRA };
        sweeps.map(extra).sum::<f64>() + MISSING * places as f64
    };
    for i in 0..n {
        for j in 0..m {
            let own = points((line.known)(i, j)) + if line.spoiled[i] { SPOILED_USED } else { 0.0 };
            if i <= MOST_IN_A_ROW && j <= MOST_IN_A_ROW {
                best[i][j] = own + cost_of_skipped(0..i, j) + repeats(line, 0, i);
            }
            for before in i.saturating_sub(MOST_IN_A_ROW + 1)..i {
                for place in j.saturating_sub(MOST_IN_A_ROW + 1)..j {
                    let alike = points((line.likeness)(before, i));
                    let link = if line.groups[place] == line.groups[j] { alike } else { -alike };
                    let total = best[before][place]
                        + own
                        + link
                        + cost_of_skipped(before + 1..i, j - place - 1)
                        + repeats(line, before + 1, i);
                    if total > best[i][j] {
                        best[i][j] = total;
                        from[i][j] = Some((before, place));
                    }
                }
            }
        }
    }
    let mut end = None;
    let mut most = cost_of_skipped(0..n, m);
    for (i, row) in best.iter().enumerate().skip(n.saturating_sub(MOST_IN_A_ROW + 1)) {
        for (j, points) in row.iter().enumerate().skip(m.saturating_sub(MOST_IN_A_ROW + 1)) {
            let total = points + cost_of_skipped(i + 1..n, m - j - 1);
            if total > most {
                (most, end) = (total, Some((i, j)));
            }
        }
    }
    let mut places = vec![None; n];
    while let Some((i, j)) = end {
        places[i] = Some(j);
        end = from[i][j];
    }
    (places, most)
}

/// Points for spoiled sweeps that are left out before sweep `i`, which repeats them.
fn repeats(line: &Line<'_>, first: usize, i: usize) -> f64 {
    let spoiled = (first..i).filter(|&s| line.spoiled[s]);
    spoiled.map(|s| 0.25 * points((line.likeness)(s, i))).sum()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Sweeps of the seats named, `*` before one that is spoiled, laid along places.
    fn laid(sweeps: &str, places: &str) -> String {
        let seats: Vec<char> = sweeps.chars().filter(|c| *c != '*').collect();
        let mut spoiled = Vec::new();
        let mut star = false;
        for c in sweeps.chars() {
            if c != '*' {
                spoiled.push(star);
            }
            star = c == '*';
        }
        let groups: Vec<usize> = places.chars().map(|c| c as usize).collect();
        let likeness = |a: usize, b: usize| Some(if seats[a] == seats[b] { 0.995 } else { 0.6 });
        let known = |_: usize, _: usize| None;
        let (at, _) =
            align(&Line { spoiled: &spoiled, groups: &groups, likeness: &likeness, known: &known });
        at.iter().map(|p| p.map_or('-', |j| char::from(b'0' + j as u8))).collect()
    }

    #[test]
    fn what_fits_is_laid_in_order() {
        assert_eq!(laid("AABBCC", "aabbcc"), "012345");
        assert_eq!(laid("ABC", "abc"), "012");
        assert_eq!(laid("A", "a"), "0");
    }

    #[test]
    fn a_spoiled_sweep_is_left_out_for_its_repeat() {
        assert_eq!(laid("A*AABBCC", "aabbcc"), "0-12345");
        assert_eq!(laid("AABB*CCC", "aabbcc"), "0123-45");
        assert_eq!(laid("*A*AAABB", "aabb"), "--0123");
        // Without a repeat it is used: the check has the word.
        assert_eq!(laid("A*ABB", "aabb"), "0123");
    }

    #[test]
    fn the_likeliest_gap_is_where_the_seats_say() {
        let gap = laid("AABCC", "aabbcc");
        assert!(gap == "01245" || gap == "01345", "{gap}");
        let gap = laid("ABBCC", "aabbcc");
        assert!(gap == "02345" || gap == "12345", "{gap}");
    }

    #[test]
    fn the_likeliest_extra_is_where_the_seats_say() {
        let extra = laid("AABBBCC", "aabbcc");
        assert_eq!(extra.chars().position(|c| c == '-').map(|i| (2..5).contains(&i)), Some(true));
    }

    #[test]
    fn nothing_is_laid_along_nothing() {
        assert_eq!(laid("", "aabb"), "");
        assert_eq!(laid("AB", ""), "--");
    }
}
