//! Curves: how they look, where they run, where they stop.

/// Colour of text and of what is most important (the mean).
pub const INK: &str = "#141B24";
/// Colour of secondary text.
pub const MUTED_INK: &str = "#4A5560";
/// Colour of lines that stand back.
pub const QUIET: &str = "#8A939C";
/// Colour of limits.
pub const LIMIT: &str = "#B3261E";

/// Colours of seats. Chosen by search for this project: contrast with white at
/// least 3.2 to 1, and any two of them (and the ink) at least 28 apart in
/// CIE 1976 Lab, for normal sight and for each of the three kinds of missing
/// cones after Machado, Oliveira and Fernandes (2009).
pub const PALETTE: [&str; 6] = ["#1B63A8", "#D16F0B", "#089EAF", "#522E0F", "#988A65", "#525A59"];

/// Dashes of seats: with the six colours, 30 lines that are all different, and
/// neighbours in the list differ in both.
const DASHES: [&str; 5] = ["", "14 6", "4 6", "18 6 4 6", "9 5"];

/// Colour, dash and width of a line.
#[derive(Debug, Clone, PartialEq)]
pub struct Style {
    /// Colour.
    pub color: &'static str,
    /// Lengths of dashes and gaps, px; empty for a full line.
    pub dash: &'static str,
    /// Width, px.
    pub width: f64,
}

impl Style {
    /// The line that matters most.
    pub fn main() -> Self {
        Self { color: INK, dash: "", width: 3.8 }
    }

    /// The line of the `i`th seat (or other thing of equal rank), from 0.
    pub fn nth(i: usize) -> Self {
        let turn = i / PALETTE.len();
        Self {
            color: PALETTE[i % PALETTE.len()],
            dash: DASHES[(i + turn) % DASHES.len()],
            width: 2.6,
        }
    }

    /// A line among many that need not be told apart.
    pub fn quiet() -> Self {
        Self { color: QUIET, dash: "", width: 1.4 }
    }

    /// A limit.
    pub fn limit() -> Self {
        Self { color: LIMIT, dash: "20 6", width: 3.2 }
    }
}

/// A curve.
#[derive(Debug, Clone, PartialEq)]
pub struct Series {
    /// What it is; shown as direct label at its right end where `labelled`.
    pub label: String,
    /// Positions in rising order with values; a missing value is a gap.
    pub points: Vec<(f64, Option<f64>)>,
    /// Half height of the shaded band around it, in the unit of the values; empty for none.
    pub half_band: Vec<Option<f64>>,
    /// Look.
    pub style: Style,
    /// Whether it carries a direct label.
    pub labelled: bool,
    /// Whether each value is marked with a dot.
    pub dots: bool,
}

impl Series {
    /// A labelled curve without band and dots.
    pub fn new(label: &str, points: Vec<(f64, Option<f64>)>, style: Style) -> Self {
        Self {
            label: label.to_owned(),
            points,
            half_band: Vec::new(),
            style,
            labelled: true,
            dots: false,
        }
    }

    /// With a shaded band of plus and minus `half_band`.
    pub fn with_band(self, half_band: Vec<Option<f64>>) -> Self {
        Self { half_band, ..self }
    }

    /// With a dot on each value.
    pub fn with_dots(self) -> Self {
        Self { dots: true, ..self }
    }

    /// Without direct label.
    pub fn without_label(self) -> Self {
        Self { labelled: false, ..self }
    }

    /// Smallest and largest value drawn, the band included.
    pub fn range(&self) -> Option<[f64; 2]> {
        let values = self.points.iter().enumerate().filter_map(|(i, (_, v))| {
            let half = self.half_band.get(i).copied().flatten().unwrap_or(0.0);
            v.filter(|v| v.is_finite()).map(|v| [v - half, v + half])
        });
        values.reduce(|a, b| [a[0].min(b[0]), a[1].max(b[1])])
    }
}

/// A rectangle on the page: left, top, right, bottom, px.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Rect {
    /// Left edge.
    pub left: f64,
    /// Top edge.
    pub top: f64,
    /// Right edge.
    pub right: f64,
    /// Bottom edge.
    pub bottom: f64,
}

/// The parts of a curve that lie inside the rectangle, each a list of points.
/// A segment that leaves is cut where it crosses the edge (Liang and Barsky
/// 1984), so that nothing runs along the edge as if it were data. A point with
/// gaps on both sides comes as a part of one point.
pub fn clip(points: &[Option<[f64; 2]>], rect: Rect) -> Vec<Vec<[f64; 2]>> {
    let inside = |p: [f64; 2]| {
        p[0] >= rect.left && p[0] <= rect.right && p[1] >= rect.top && p[1] <= rect.bottom
    };
    let mut parts: Vec<Vec<[f64; 2]>> = Vec::new();
    // Whether the last part ends at the point before, so that it goes on.
    let mut open = false;
    for (i, &point) in points.iter().enumerate() {
        let Some(to) = point else {
            open = false;
            continue;
        };
        let from = i.checked_sub(1).and_then(|before| points[before]);
        match from.and_then(|from| clip_segment(from, to, rect)) {
            Some([a, b]) => {
                match parts.last_mut() {
                    Some(part) if open => part.push(b),
                    _ => parts.push(vec![a, b]),
                }
                open = inside(to);
            }
            None => {
                let alone = from.is_none() && points.get(i + 1).copied().flatten().is_none();
                if alone && inside(to) {
                    parts.push(vec![to]);
                }
                open = false;
            }
        }
    }
    parts
}

fn clip_segment(from: [f64; 2], to: [f64; 2], rect: Rect) -> Option<[[f64; 2]; 2]> {
    let delta = [to[0] - from[0], to[1] - from[1]];
    let edges = [
        (-delta[0], from[0] - rect.left),
        (delta[0], rect.right - from[0]),
        (-delta[1], from[1] - rect.top),
        (delta[1], rect.bottom - from[1]),
    ];
    let (mut start, mut end) = (0.0f64, 1.0f64);
    for (direction, distance) in edges {
        if direction == 0.0 {
            if distance < 0.0 {
                return None;
            }
        } else if direction < 0.0 {
            start = start.max(distance / direction);
        } else {
            end = end.min(distance / direction);
        }
    }
    let at = |t: f64| [from[0] + t * delta[0], from[1] + t * delta[1]];
    (start <= end).then(|| [at(start), at(end)])
}

/// The part of an area that lies inside the rectangle, cut at one edge after another (Sutherland
/// and Hodgman 1974). Pieces of an area that come apart stay joined by lines along the edge.
pub fn clip_area(outline: &[[f64; 2]], rect: Rect) -> Vec<[f64; 2]> {
    let mut inside = outline.to_vec();
    // Axis, and the edge as a limit from below of the coordinate times the sign.
    for (axis, sign, limit) in
        [(0, 1.0, rect.left), (0, -1.0, -rect.right), (1, 1.0, rect.top), (1, -1.0, -rect.bottom)]
    {
        let depth = |p: [f64; 2]| sign * p[axis] - limit;
        let uncut = std::mem::take(&mut inside);
        for (i, &to) in uncut.iter().enumerate() {
            let from = uncut[(i + uncut.len() - 1) % uncut.len()];
            let (before, after) = (depth(from), depth(to));
            if (before < 0.0) != (after < 0.0) {
                let part = before / (before - after);
                inside.push([0, 1].map(|k| from[k] + part * (to[k] - from[k])));
            }
            if after >= 0.0 {
                inside.push(to);
            }
        }
    }
    inside
}

/// Moves labels apart: positions as near as possible to the wanted ones (least
/// squares), at least `distance` from each other, between `low` and `high`.
/// The order is kept. When there are more than fit, they share the height evenly.
pub fn spread_labels(wanted: &[f64], distance: f64, [low, high]: [f64; 2]) -> Vec<f64> {
    let n = wanted.len();
    if n == 0 {
        return Vec::new();
    }
    let distance = distance.min((high - low) / (n.max(2) - 1) as f64);
    let mut order: Vec<usize> = (0..n).collect();
    order.sort_by(|&a, &b| wanted[a].total_cmp(&wanted[b]));
    // With y[i] = z[i] + i * distance the condition is that z does not fall:
    // isotonic regression, by pooling adjacent violators.
    let mut pools: Vec<(f64, usize)> = Vec::new();
    for (rank, &i) in order.iter().enumerate() {
        pools.push((wanted[i] - rank as f64 * distance, 1));
        while let [.., (a, na), (b, nb)] = pools[..] {
            if a <= b {
                break;
            }
            let merged = (a * na as f64 + b * nb as f64) / (na + nb) as f64;
            pools.truncate(pools.len() - 2);
            pools.push((merged, na + nb));
        }
    }
    let top = high - (n - 1) as f64 * distance;
    let levels = pools.iter().flat_map(|&(z, count)| std::iter::repeat_n(z, count));
    let mut placed = vec![0.0; n];
    for ((rank, &i), z) in order.iter().enumerate().zip(levels) {
        placed[i] = z.min(top).max(low) + rank as f64 * distance;
    }
    placed
}

#[cfg(test)]
mod tests {
    use super::*;

    const RECT: Rect = Rect { left: 0.0, top: 0.0, right: 10.0, bottom: 10.0 };

    #[test]
    fn a_curve_that_leaves_is_cut_at_the_edge_and_comes_back_as_a_new_part() {
        let points = [[1.0, 5.0], [2.0, 15.0], [3.0, 15.0], [4.0, 5.0], [5.0, 5.0]].map(Some);
        // Lines through (1,5) (2,15) and (3,15) (4,5) cross y = 10 half way.
        assert_eq!(
            clip(&points, RECT),
            [vec![[1.0, 5.0], [1.5, 10.0]], vec![[3.5, 10.0], [4.0, 5.0], [5.0, 5.0]]]
        );
    }

    #[test]
    fn a_curve_that_only_passes_through_is_kept() {
        let points = [Some([-5.0, 0.0]), Some([15.0, 10.0])];
        assert_eq!(clip(&points, RECT), [vec![[0.0, 2.5], [10.0, 7.5]]]);
        assert!(clip(&[Some([-5.0, 0.0]), Some([-1.0, 10.0])], RECT).is_empty());
    }

    #[test]
    fn gaps_stay_gaps_and_lone_points_stay_visible() {
        let points =
            [Some([0.0, 1.0]), None, Some([2.0, 1.0]), Some([3.0, 1.0]), None, Some([5.0, 20.0])];
        assert_eq!(clip(&points, RECT), [vec![[0.0, 1.0]], vec![[2.0, 1.0], [3.0, 1.0]]]);
        assert!(clip(&[], RECT).is_empty());
    }

    #[test]
    fn an_area_is_cut_at_the_edges() {
        // A tent whose top is outside: its slopes cross y = 10 a third of the way from the top.
        let tent = [[2.0, 0.0], [5.0, 15.0], [8.0, 0.0]];
        assert_eq!(clip_area(&tent, RECT), [[2.0, 0.0], [4.0, 10.0], [6.0, 10.0], [8.0, 0.0]]);
        let around = [[-5.0, -5.0], [15.0, -5.0], [15.0, 15.0], [-5.0, 15.0]];
        let corners = clip_area(&around, RECT);
        let area = |p: &[[f64; 2]]| -> f64 {
            let turns = (0..p.len()).map(|i| (p[i], p[(i + 1) % p.len()]));
            turns.map(|(a, b)| (a[0] * b[1] - b[0] * a[1]) / 2.0).sum()
        };
        assert_eq!(area(&corners), 100.0);
        assert!(clip_area(&around.map(|[x, y]| [x + 30.0, y]), RECT).is_empty());
    }

    #[test]
    fn labels_keep_order_and_distance() {
        assert_eq!(spread_labels(&[50.0, 10.0], 10.0, [0.0, 100.0]), [50.0, 10.0]);
        // Two at the same place move apart by equal amounts: least squares.
        assert_eq!(spread_labels(&[50.0, 50.0], 10.0, [0.0, 100.0]), [45.0, 55.0]);
        assert_eq!(spread_labels(&[98.0, 99.0], 10.0, [0.0, 100.0]), [90.0, 100.0]);
        let crowded = spread_labels(&[5.0; 21], 10.0, [0.0, 100.0]);
        assert_eq!((crowded[0], crowded[20]), (0.0, 100.0));
        assert!(spread_labels(&[], 10.0, [0.0, 1.0]).is_empty());
        assert_eq!(spread_labels(&[200.0], 10.0, [0.0, 100.0]), [100.0]);
    }

    #[test]
    fn thirty_seats_look_different_and_neighbours_differ_twice() {
        let styles: Vec<Style> = (0..30).map(Style::nth).collect();
        for (i, a) in styles.iter().enumerate() {
            assert!(styles[..i].iter().all(|b| b != a), "seat {i} looks like an earlier one");
        }
        for pair in styles.windows(2) {
            assert!(pair[0].color != pair[1].color && pair[0].dash != pair[1].dash);
        }
    }

    /// Relative luminance and contrast ratio of WCAG 2.
    #[test]
    fn every_colour_stands_out_from_white() {
        for color in PALETTE.iter().chain(&[INK, MUTED_INK, QUIET, LIMIT]) {
            let channel = |i: usize| {
                let c = f64::from(u8::from_str_radix(&color[i..i + 2], 16).unwrap()) / 255.0;
                if c <= 0.04045 { c / 12.92 } else { ((c + 0.055) / 1.055).powf(2.4) }
            };
            let y = 0.2126 * channel(1) + 0.7152 * channel(3) + 0.0722 * channel(5);
            assert!(1.05 / (y + 0.05) >= 3.0, "{color}");
        }
    }
}
