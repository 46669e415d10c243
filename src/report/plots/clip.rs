//! What lies inside a frame: plotters would move what lies outside onto the edge.

/// A rectangle: on the page, px, or of values.
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

impl Rect {
    /// Whether two rectangles share ground.
    pub fn meets(self, other: Self) -> bool {
        other.left < self.right
            && other.right > self.left
            && other.top < self.bottom
            && other.bottom > self.top
    }
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
        let at = distance / direction;
        match direction {
            0.0 if distance < 0.0 => return None,
            d if d < 0.0 => start = start.max(at),
            d if d > 0.0 => end = end.min(at),
            _ => {}
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
}
