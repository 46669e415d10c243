//! Curves: how they look, where they run, where they stop.

use super::backend::stroke;
use super::colors::{ALARM, INK, MUTED_INK, PALETTE, QUIET};
use plotters::style::{RGBColor, ShapeStyle};

/// Dashes of seats: with the six colours, 30 lines that are all different, and
/// neighbours in the list differ in both.
const DASHES: [&str; 5] = ["", "14 6", "4 6", "18 6 4 6", "9 5"];

/// Colour, dash and width of a line.
#[derive(Debug, Clone, PartialEq)]
pub struct Style {
    /// Colour.
    pub color: RGBColor,
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

    /// The line for plotters.
    pub(super) fn stroke(&self) -> ShapeStyle {
        stroke(self.color, self.width)
    }

    /// A limit: an alarm where it is not kept.
    pub fn limit(is_met: bool) -> Self {
        Self { color: if is_met { MUTED_INK } else { ALARM }, dash: "20 6", width: 3.2 }
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

    /// Outlines of the shaded band, one for each run of values without a gap.
    pub(super) fn band_outlines(&self) -> Vec<Vec<(f64, f64)>> {
        let ends = |(&(x, v), &half): (&(f64, Option<f64>), &Option<f64>)| {
            let (v, half) = (v?, half?);
            (v + half).is_finite().then_some([(x, v + half), (x, v - half)])
        };
        let whole: Vec<_> = self.points.iter().zip(&self.half_band).map(ends).collect();
        let runs = whole.split(Option::is_none).filter(|run| run.len() > 1);
        let outline = |run: &[Option<[(f64, f64); 2]>]| {
            let upper = run.iter().flatten().map(|ends| ends[0]);
            upper.chain(run.iter().flatten().rev().map(|ends| ends[1])).collect()
        };
        runs.map(outline).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

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
}
