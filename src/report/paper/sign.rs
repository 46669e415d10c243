//! Signs beside verdicts: shapes that printing in one colour keeps.

/// What a verdict comes to.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Sign {
    /// Shown to hold: a tick.
    Holds,
    /// Shown not to hold: a cross.
    Fails,
    /// Neither: an open diamond.
    Open,
}

impl Sign {
    /// The strokes, as points of broken lines in a square of side 1, y downwards.
    pub fn strokes(self) -> Vec<Vec<[f32; 2]>> {
        match self {
            Self::Holds => vec![vec![[0.05, 0.55], [0.38, 0.88], [0.95, 0.12]]],
            Self::Fails => vec![vec![[0.1, 0.1], [0.9, 0.9]], vec![[0.9, 0.1], [0.1, 0.9]]],
            Self::Open => {
                vec![vec![[0.5, 0.05], [0.95, 0.5], [0.5, 0.95], [0.05, 0.5], [0.5, 0.05]]]
            }
        }
    }

    /// The same as data of an SVG path, scaled by `side` and moved to `x`, `y`.
    pub fn path(self, [x, y]: [f32; 2], side: f32) -> String {
        let strokes = self.strokes();
        let line = |points: &Vec<[f32; 2]>| {
            let place = |p: &[f32; 2]| format!("{:.2} {:.2}", x + side * p[0], y + side * p[1]);
            format!("M{}", points.iter().map(place).collect::<Vec<_>>().join("L"))
        };
        strokes.iter().map(line).collect()
    }
}
