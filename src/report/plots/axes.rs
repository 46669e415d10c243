//! Axes: frequency in decades, decibels in the proportion of IEC 60263, metres; drawn by plotters.

use crate::words::{frequency_label, signed};
use plotters::coord::combinators::{BindKeyPoints, WithKeyPoints};
use plotters::coord::types::RangedCoordf64;

/// An axis as plotters takes it.
pub type Scale = WithKeyPoints<RangedCoordf64>;

/// A mark on an axis.
#[derive(Debug, Clone, PartialEq)]
pub struct Tick {
    /// Value at the mark.
    pub value: f64,
    /// Text; empty for a fine line.
    pub label: String,
}

/// A linear axis with its marks.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Axis {
    /// Values at its ends, the lower one first.
    pub ends: [f64; 2],
    /// Marks in rising order.
    pub ticks: Vec<Tick>,
    /// Quantity and unit.
    pub title: String,
}

impl Axis {
    /// Frequency, marked 20 50 100 ... 20k, with a fine line at each whole multiple of a power of
    /// ten. Its values are decades, lg(f / 1 Hz), on which it is linear.
    pub fn frequency(low_hz: f64, high_hz: f64) -> Self {
        let multiples = (0..6).flat_map(|decade| (1..10).map(move |m| (m, 10f64.powi(decade))));
        let ticks = multiples
            .map(|(m, power)| (m, f64::from(m) * power))
            .filter(|(_, hz)| (low_hz * 0.999_999..=high_hz * 1.000_001).contains(hz))
            .map(|(m, hz)| {
                let label = if matches!(m, 1 | 2 | 5) { frequency_label(hz) } else { "".into() };
                Tick { value: hz.log10(), label }
            })
            .collect();
        Self { ends: [low_hz, high_hz].map(f64::log10), ticks, title: "Frequency, Hz".into() }
    }

    /// Frequency a little beyond what is drawn.
    pub fn around(low_hz: f64, high_hz: f64) -> Self {
        Self::frequency(low_hz * 0.84, high_hz * 1.12)
    }

    /// An axis from `low` to `high`, marked at whole multiples of `step`, every `label_every`th of
    /// them with its number.
    pub fn linear(low: f64, high: f64, step: f64, label_every: i64) -> Self {
        let first = (low / step - 1e-9).ceil() as i64;
        let last = (high / step + 1e-9).floor() as i64;
        let is_whole = |value: f64| (value - value.round()).abs() < 1e-9;
        let decimals = usize::from(!is_whole(step * label_every as f64));
        let ticks = (first..=last)
            .map(|k| {
                let value = k as f64 * step;
                let has_label = k.rem_euclid(label_every) == 0;
                let label = if has_label { signed(value, decimals) } else { String::new() };
                Tick { value, label }
            })
            .collect();
        Self { ends: [low, high], ticks, title: String::new() }
    }

    /// The axis for plotters: strong lines where a label stands, fine ones between.
    pub(super) fn scale(&self) -> Scale {
        let marks = |fine| self.ticks.iter().filter(move |t| t.label.is_empty() == fine);
        let [low, high] = self.ends;
        (low..high)
            .with_key_points(marks(false).map(|t| t.value).collect())
            .with_light_points(marks(true).map(|t| t.value))
    }
}

/// Decibels that take as much length as one decade of frequency:
/// IEC 60263:2020, 4.1, as quoted by distributors of the standard.
const DB_PER_DECADE: [f64; 4] = [10.0, 20.0, 25.0, 50.0];

/// The same where differences between seats are shown larger than the standard has it.
const ZOOMED: [f64; 3] = [1.0, 2.0, 5.0];

/// Distances of the lines of a decibel axis, and every how manyth has a number; the first three
/// where it is zoomed.
const STEPS: [(f64, i64); 9] =
    [(0.1, 1), (0.1, 2), (0.2, 5), (1.0, 1), (1.0, 2), (1.0, 5), (2.0, 5), (5.0, 2), (10.0, 2)];

/// A decibel axis in a proportion of IEC 60263.
#[derive(Debug, Clone, PartialEq)]
pub struct DecibelAxis {
    pub axis: Axis,
    /// Decibels as long as a decade of frequency.
    pub db_per_decade: f64,
}

impl DecibelAxis {
    /// The axis in the finest of the proportions that fits into the greatest height, no higher
    /// than the values and the least height need; lengths are in decades of the frequency axis
    /// beside it. Its ends are whole marks. Height left over goes above the values, so that curves
    /// keep their place on the page; below them too where the range has 0 in its middle. Where not
    /// even the coarsest proportion holds the range, the upper end stays, and curves leave the plot
    /// at the lower one.
    pub fn of(range_db: [f64; 2], decade_px: f64, height_px: [f64; 2], is_zoomed: bool) -> Self {
        let zoomed = if is_zoomed { &ZOOMED[..] } else { &[] };
        let [finer @ .., coarsest] = DB_PER_DECADE;
        let axis = |db: &f64| Self::in_proportion(range_db, decade_px / db, height_px, *db);
        let mut axes = zoomed.iter().chain(&finer).map(axis);
        axes.find(|d| d.shows(range_db)).unwrap_or_else(|| axis(&coarsest))
    }

    /// Whether all values of a range find room.
    pub fn shows(&self, [low_db, high_db]: [f64; 2]) -> bool {
        self.axis.ends[0] <= low_db + 1e-6 && self.axis.ends[1] >= high_db - 1e-6
    }

    fn in_proportion(
        [low, high]: [f64; 2],
        px_per_db: f64,
        height_px: [f64; 2],
        db_per_decade: f64,
    ) -> Self {
        // Fine lines at least 12 px apart, numbers at least 40 px.
        let clear = |&(step, every): &(f64, i64)| {
            step * px_per_db >= 12.0 && step * every as f64 * px_per_db >= 40.0
        };
        let steps = if db_per_decade < DB_PER_DECADE[0] { &STEPS[..] } else { &STEPS[3..] };
        let (step, every) = steps.iter().copied().find(clear).unwrap_or(STEPS[8]);
        let [low, high] = [(low / step + 1e-9).floor(), (high / step - 1e-9).ceil()];
        let [least, most] = height_px.map(|px| (px / px_per_db / step + 1e-9).floor().max(1.0));
        let n_steps = (high - low).clamp(least.min(most), most);
        let spare = n_steps - (high - low);
        let low = match spare {
            spare if spare < 0.0 => high - n_steps,
            spare if low == -high => low - (spare / 2.0).floor(),
            _ => low,
        };
        let axis = Axis::linear(low * step, (low + n_steps) * step, step, every);
        Self { axis, db_per_decade }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn labels(axis: &Axis) -> Vec<&str> {
        axis.ticks.iter().map(|t| t.label.as_str()).filter(|l| !l.is_empty()).collect()
    }

    #[test]
    fn frequencies_are_marked_in_steps_of_1_2_5() {
        assert_eq!(
            labels(&Axis::frequency(20.0, 20_000.0)),
            ["20", "50", "100", "200", "500", "1k", "2k", "5k", "10k", "20k"]
        );
        assert_eq!(labels(&Axis::frequency(80.0, 1500.0)), ["100", "200", "500", "1k"]);
        // Fine lines between: 20 to 100 has 20, 30, ... 100.
        assert_eq!(Axis::frequency(20.0, 100.0).ticks.len(), 9);
    }

    #[test]
    fn positions_run_from_0_to_1() {
        use plotters::coord::ranged1d::Ranged;
        let axis = Axis::frequency(20.0, 20_000.0).scale();
        for (hz, want) in [(20.0f64, 0.0), (200.0, 1.0 / 3.0), (20_000.0, 1.0)] {
            let got = f64::from(axis.map(&hz.log10(), (0, 100_000))) / 1e5;
            assert!((got - want).abs() < 1.1e-5, "{hz}: {got}");
        }
        assert_eq!(Axis::linear(-2.0, 8.0, 1.0, 1).scale().map(&3.0, (0, 1000)), 500);
    }

    /// The axis of a given height beside decades of 520 px.
    fn axis(range_db: [f64; 2], height_px: f64) -> DecibelAxis {
        DecibelAxis::of(range_db, 520.0, [height_px; 2], false)
    }

    #[test]
    fn a_decade_is_as_long_as_the_stated_decibels() {
        // IEC 60263:2020, 4.1: 10, 20, 25 or 50 dB per decade.
        for (range, want) in [
            ([-0.5, 6.0], 10.0),
            ([-0.5, 10.8], 10.0),
            ([-0.5, 12.5], 20.0),
            ([-1.0, 24.5], 25.0),
            ([0.0, 60.0], 50.0),
        ] {
            let d = axis(range, 660.0);
            assert_eq!(d.db_per_decade, want, "{range:?}");
            let [low, high] = d.axis.ends;
            assert!(low <= range[0] && high >= range[1], "{low} {high} {range:?}");
            let height_px = (high - low) * 520.0 / d.db_per_decade;
            assert!(height_px <= 660.0 && height_px > 580.0, "{height_px}");
        }
    }

    #[test]
    fn spare_height_goes_to_the_top_or_to_both_ends() {
        assert_eq!(axis([-1.2, 2.9], 8.1 * 52.0).axis.ends, [-2.0, 6.0]);
        assert_eq!(axis([-1.2, 1.9], 8.1 * 52.0).axis.ends, [-4.0, 4.0]);
    }

    #[test]
    fn an_axis_ends_near_the_values() {
        let axis = |range, zoomed| DecibelAxis::of(range, 520.0, [290.0, 660.0], zoomed);
        assert_eq!(axis([-0.4, 6.2], false).axis.ends, [-1.0, 7.0]);
        // At 1 dB a decade 0.31 dB are 161 px, at the least height 0.5 dB.
        let d = axis([-0.16, 0.15], true);
        assert_eq!(d.db_per_decade, 1.0);
        assert!((d.axis.ends[0] + 0.2).abs() < 1e-9 && (d.axis.ends[1] - 0.3).abs() < 1e-9);
    }

    #[test]
    fn a_range_too_large_keeps_its_upper_end() {
        let d = axis([-300.0, 10.0], 660.0);
        assert_eq!(d.db_per_decade, 50.0);
        assert_eq!(d.axis.ends[1], 10.0);
    }

    #[test]
    fn linear_axes_count_in_whole_steps() {
        let axis = Axis::linear(-1.0, 1.0, 0.1, 5);
        assert_eq!(labels(&axis), ["\u{2212}1.0", "\u{2212}0.5", "0.0", "0.5", "1.0"]);
        assert_eq!(axis.ticks.len(), 21);
    }
}
