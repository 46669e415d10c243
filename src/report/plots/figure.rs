//! A figure: axes, marks and words. [`super::layout`] finds the places, `chart` and `words` draw.

use super::axes::Axis;
use super::series::Series;
use super::svg::px;
use crate::units::ThirdOctave;
use crate::words::signed;
use plotters::style::RGBColor;

/// What a plot is made of. All texts are plain; users' words may stand in them.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Figure {
    /// File name without ending, and prefix of ids inside; letters and dashes.
    pub id: &'static str,
    /// The finding, in words.
    pub title: String,
    /// What is shown.
    pub subtitle: String,
    /// Title of the session, which stands behind the subtitle where the plot stands alone.
    pub session: Option<String>,
    /// The figures in words, for those who cannot see the plot.
    pub description: String,
    /// How to read it; the proportion of the axes is added.
    pub caption: String,
    /// Horizontal axis.
    pub x: Axis,
    /// Quantity and unit of the vertical axis, in a proportion of IEC 60263.
    pub y_title: &'static str,
    /// What the vertical axis shows in any case, beside all that is drawn, dB.
    pub include_db: [f64; 2],
    /// Whether small differences are drawn larger than the standard has it; the caption says so.
    pub is_zoomed: bool,
    /// What is drawn, from back to front.
    pub marks: Vec<Mark>,
    /// Rows of numbers under the axis.
    pub strip: Vec<StripRow>,
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
        value: f64,
        /// From and to on the horizontal axis.
        from_to: [f64; 2],
        /// Words; empty for none.
        label: String,
        /// Whether it is kept: what is kept is not drawn as an alarm.
        is_met: bool,
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
        color: RGBColor,
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
        color: RGBColor,
    },
    Curve(Series),
}

impl Mark {
    /// What it is, for reading values and for showing and hiding; empty for what has no name.
    pub(super) fn name(&self) -> &str {
        match self {
            Self::Curve(Series { label: name, .. })
            | Self::Dots { name, .. }
            | Self::Bars { label: name, .. } => name,
            _ => "",
        }
    }

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

    /// Words of the direct label, and where the mark ends.
    fn label(&self) -> Option<(&str, (f64, f64))> {
        let last =
            |points: &[(f64, Option<f64>)]| points.iter().rev().find_map(|&(x, v)| Some((x, v?)));
        let (text, end) = match self {
            Self::Curve(s) if s.labelled => (&s.label, last(&s.points)?),
            Self::Dots { label, points, .. } => (label, last(points)?),
            Self::Bars { label, bars, .. } => {
                let (x, [low, high]) = bars.last()?;
                (label, (*x, (low + high) / 2.0))
            }
            _ => return None,
        };
        (!text.is_empty()).then_some((text, end))
    }

    /// Values that the vertical axis has to show.
    fn extent(&self) -> Vec<f64> {
        match self {
            Self::Curve(series) => series.range().into_iter().flatten().collect(),
            Self::Limit { value, .. } => vec![*value],
            Self::Bars { bars, .. } => bars.iter().flat_map(|(_, ends)| *ends).collect(),
            Self::Dots { points, .. } => points.iter().filter_map(|(_, v)| *v).collect(),
            Self::Area { .. } | Self::Divide { .. } => Vec::new(),
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

/// Name of a position: the nominal name of a band, else the number itself.
pub(super) fn stop_name(hz: f64) -> String {
    let band = ThirdOctave::nearest(hz).filter(|band| (band.exact_hz() / hz - 1.0).abs() < 1e-6);
    px(band.map_or(hz, ThirdOctave::nominal_hz))
}

impl Figure {
    /// The figure with its numbers by band in its description: those of its curves, where the rows
    /// under the axis do not hold them.
    pub fn numbered(mut self) -> Self {
        let of_mark = |mark: &Mark| {
            let (name, values) = (mark.name().to_owned(), mark.values());
            let text = |v: Option<f64>| v.map_or("no value".into(), |v| signed(v, 1));
            (name, values.into_iter().map(|(hz, v)| (hz, text(v))).collect::<Vec<_>>())
        };
        let of_row = |row: &StripRow| (row.label.clone(), row.cells.clone());
        let is_told = self.strip.len() > 1;
        let marks = self.marks.iter().filter(|_| !is_told).map(of_mark);
        let rows: Vec<_> = marks.chain(self.strip.iter().map(of_row)).collect();
        // Curves finer than bands are no reading matter.
        let rows = rows.iter().filter(|(_, cells)| (1..=40).contains(&cells.len()));
        let words = rows.map(|(name, cells)| {
            let cell = |(hz, text): &(f64, String)| format!("{} Hz {text}", stop_name(*hz));
            format!(" {name}: {}.", cells.iter().map(cell).collect::<Vec<_>>().join("; "))
        });
        self.description.extend(words);
        self
    }

    /// Smallest and largest value drawn, or to be shown in any case.
    pub(super) fn value_range(&self) -> [f64; 2] {
        let values: Vec<f64> = self.marks.iter().flat_map(Mark::extent).collect();
        let [low, high] = self.include_db;
        [values.iter().copied().fold(low, f64::min), values.iter().copied().fold(high, f64::max)]
    }

    /// The marks that carry a label at the right: index, words, and where the mark ends.
    pub(super) fn labels(&self) -> Vec<(usize, &str, (f64, f64))> {
        let label = |(index, mark)| Mark::label(mark).map(|(text, end)| (index, text, end));
        self.marks.iter().enumerate().filter_map(label).collect()
    }
}

#[cfg(test)]
impl Figure {
    /// Its curves, in their order.
    pub fn curves(&self) -> Vec<&Series> {
        let curves = self.marks.iter().filter_map(|mark| match mark {
            Mark::Curve(series) => Some(series),
            _ => None,
        });
        curves.collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::plots::series::Style;

    #[test]
    fn who_cannot_see_the_plot_is_told_its_numbers() {
        let points = vec![(1000.0, Some(-0.26)), (10f64.powf(3.1), None)];
        let mut figure = Figure {
            description: "Loss.".into(),
            marks: vec![Mark::Curve(Series::new("Mean", points, Style::main()))],
            ..Figure::default()
        };
        let want = "Loss. Mean: 1000 Hz \u{2212}0.3; 1250 Hz no value.";
        assert_eq!(figure.clone().numbered().description, want);
        let row = |label: &str| StripRow {
            label: label.into(),
            cells: vec![(1000.0, "\u{2212}0.26".into())],
        };
        figure.strip = vec![row("Mean"), row("U")];
        let want = "Loss. Mean: 1000 Hz \u{2212}0.26. U: 1000 Hz \u{2212}0.26.";
        assert_eq!(figure.numbered().description, want, "the rows hold more than the curve");
    }
}
