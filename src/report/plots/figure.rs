//! A figure: axes, marks and words. [`super::layout`] finds the places, `draw` draws.

use super::axes::{Axis, Spare};
use super::draw::draw;
use super::layout::{Format, Layout};
use super::series::Series;

/// What a plot is made of. All texts are plain; users' words may stand in them.
#[derive(Debug, Clone, PartialEq)]
pub struct Figure {
    /// File name without ending, and prefix of ids inside; letters and dashes.
    pub id: &'static str,
    /// The finding, in words.
    pub title: String,
    /// What is shown.
    pub subtitle: String,
    /// The figures in words, for those who cannot see the plot.
    pub description: String,
    /// How to read it; the proportion of the axes is added.
    pub caption: String,
    /// Horizontal axis.
    pub x: Axis,
    /// Vertical axis.
    pub y: YAxis,
    /// What is drawn, from back to front.
    pub marks: Vec<Mark>,
    /// Rows of numbers under the axis.
    pub strip: Vec<StripRow>,
}

/// A vertical axis of decibels in a proportion of IEC 60263, over all that is drawn and
/// `include_db`.
#[derive(Debug, Clone, PartialEq)]
pub struct YAxis {
    /// Quantity and unit.
    pub title: String,
    /// Range that is shown in any case, dB.
    pub include_db: [f64; 2],
    /// Where height goes that the values do not need.
    pub spare: Spare,
}

/// Something drawn in the plot.
#[derive(Debug, Clone, PartialEq)]
pub enum Mark {
    /// A range of the horizontal axis, shaded from bottom to top.
    Area {
        /// From and to.
        from_to: [f64; 2],
        /// Words at its top.
        label: String,
    },
    /// A thin vertical line with words on both sides at its foot.
    Divide {
        /// Where.
        at: f64,
        /// What holds to the left, and to the right.
        words: [String; 2],
    },
    /// A horizontal limit with words above it.
    Limit {
        /// Value.
        value: f64,
        /// From and to on the horizontal axis.
        from_to: [f64; 2],
        /// Words; empty for none.
        label: String,
    },
    /// Upright bars.
    Bars {
        /// What they are, for the legend at the right.
        label: String,
        /// Position, lower and upper end.
        bars: Vec<(f64, [f64; 2])>,
        /// Width, px.
        width: f64,
        /// Colour.
        color: &'static str,
    },
    /// Dots without a line.
    Dots {
        /// Whose they are, for reading values and for showing and hiding.
        name: String,
        /// What they are, for the legend at the right; empty for none.
        label: String,
        /// Positions and values.
        points: Vec<(f64, Option<f64>)>,
        /// Radius, px.
        radius: f64,
        /// Colour.
        color: &'static str,
    },
    /// A curve.
    Curve(Series),
}

impl Mark {
    /// Positions and values that can be read off: those of named curves and dots.
    pub(super) fn values(&self) -> Vec<(f64, Option<f64>)> {
        match self {
            Self::Curve(Series { label, points, .. }) | Self::Dots { name: label, points, .. }
                if !label.is_empty() =>
            {
                points.clone()
            }
            // Bars that stand on zero have one value; those that span a range have none.
            Self::Bars { bars, .. } if bars.iter().all(|(_, ends)| ends.contains(&0.0)) => {
                bars.iter().map(|(x, [low, high])| (*x, Some(low + high))).collect()
            }
            _ => Vec::new(),
        }
    }
}

/// A row of numbers under the horizontal axis.
#[derive(Debug, Clone, PartialEq)]
pub struct StripRow {
    /// What they are.
    pub label: String,
    /// Position on the axis and text.
    pub cells: Vec<(f64, String)>,
}

impl Figure {
    /// The figure as an SVG document.
    pub fn to_svg(&self, format: Format) -> String {
        draw(self, &Layout::of(self, format))
    }

    /// How to read the figure in a format, with the proportion of its axes.
    pub fn full_caption(&self, format: Format) -> String {
        Layout::of(self, format).caption_text
    }

    /// Smallest and largest value drawn.
    pub(super) fn value_range(&self) -> Option<[f64; 2]> {
        let join = |a: [f64; 2], b: [f64; 2]| [a[0].min(b[0]), a[1].max(b[1])];
        self.marks
            .iter()
            .filter_map(|mark| match mark {
                Mark::Curve(series) => series.range(),
                Mark::Limit { value, .. } => Some([*value, *value]),
                Mark::Bars { bars, .. } => bars.iter().map(|(_, ends)| *ends).reduce(join),
                Mark::Dots { points, .. } => {
                    points.iter().filter_map(|(_, v)| v.map(|v| [v, v])).reduce(join)
                }
                Mark::Area { .. } | Mark::Divide { .. } => None,
            })
            .reduce(join)
    }

    /// The marks that carry a label at the right: name, and value at their right end.
    pub(super) fn labels(&self) -> Vec<Label<'_>> {
        let mut labels: Vec<Label<'_>> = Vec::new();
        for (index, mark) in self.marks.iter().enumerate() {
            let (text, points): (&str, &[(f64, Option<f64>)]) = match mark {
                Mark::Curve(s) if s.labelled => (&s.label, &s.points),
                Mark::Dots { label, points, .. } if !label.is_empty() => (label, points),
                Mark::Bars { label, bars, .. } if !label.is_empty() => {
                    let end = bars.last().map(|(x, ends)| (*x, (ends[0] + ends[1]) / 2.0));
                    labels.extend(end.map(|end| Label { index, text: label, end }));
                    continue;
                }
                _ => continue,
            };
            let end = points.iter().rev().find_map(|(x, v)| v.map(|v| (*x, v)));
            labels.extend(end.map(|end| Label { index, text, end }));
        }
        labels
    }
}

/// A direct label.
pub(super) struct Label<'a> {
    /// Index of the mark.
    pub(super) index: usize,
    pub(super) text: &'a str,
    /// Where its mark ends: position and value.
    pub(super) end: (f64, f64),
}
