//! Axes: logarithmic frequency, decibels in the proportion of IEC 60263, and
//! plain linear scales.

use crate::report::words::{frequency_label, signed};

/// Decibels that take as much length as one decade of frequency:
/// IEC 60263:2020, 4.1, as quoted by distributors of the standard.
pub const DB_PER_DECADE: [f64; 4] = [10.0, 20.0, 25.0, 50.0];

/// How values become lengths.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Scale {
    /// Equal ratios are equal lengths.
    Log {
        /// Value at the start.
        low: f64,
        /// Value at the end.
        high: f64,
    },
    /// Equal differences are equal lengths.
    Linear {
        /// Value at the start.
        low: f64,
        /// Value at the end.
        high: f64,
    },
}

impl Scale {
    /// Where `value` lies: 0 at the start, 1 at the end, outside that beyond it.
    pub fn position(self, value: f64) -> f64 {
        match self {
            Self::Log { low, high } => (value / low).ln() / (high / low).ln(),
            Self::Linear { low, high } => (value - low) / (high - low),
        }
    }

    /// Value at the start and at the end.
    pub fn ends(self) -> [f64; 2] {
        match self {
            Self::Log { low, high } | Self::Linear { low, high } => [low, high],
        }
    }

    fn holds(self, value: f64) -> bool {
        (-1e-9..=1.0 + 1e-9).contains(&self.position(value))
    }
}

/// A mark on an axis.
#[derive(Debug, Clone, PartialEq)]
pub struct Tick {
    /// Value at the mark.
    pub value: f64,
    /// Text; empty for a fine line.
    pub label: String,
}

/// A scale with its marks.
#[derive(Debug, Clone, PartialEq)]
pub struct Axis {
    /// Scale.
    pub scale: Scale,
    /// Marks in rising order.
    pub ticks: Vec<Tick>,
    /// Quantity and unit.
    pub title: String,
}

impl Axis {
    /// Frequency, logarithmic, marked 20 50 100 ... 20k, with a fine line at
    /// each whole multiple of a power of ten.
    pub fn frequency(low_hz: f64, high_hz: f64) -> Self {
        let scale = Scale::Log { low: low_hz, high: high_hz };
        let multiples = (0..6).flat_map(|decade| (1..10).map(move |m| (m, 10f64.powi(decade))));
        let ticks = multiples
            .map(|(m, power)| {
                let value = f64::from(m) * power;
                let label = if matches!(m, 1 | 2 | 5) { frequency_label(value) } else { "".into() };
                Tick { value, label }
            })
            .filter(|t| scale.holds(t.value))
            .collect();
        Self { scale, ticks, title: "Frequency, Hz".into() }
    }

    /// A linear axis from `low` to `high`, marked at whole multiples of `step`,
    /// every `label_every`th of them with its number.
    pub fn linear(low: f64, high: f64, step: f64, label_every: i64, title: &str) -> Self {
        let first = (low / step - 1e-9).ceil() as i64;
        let last = (high / step + 1e-9).floor() as i64;
        let decimals = usize::from(step.fract() != 0.0) + usize::from((step * 10.0).fract() != 0.0);
        let ticks = (first..=last)
            .map(|k| {
                let value = k as f64 * step;
                let label = if k.rem_euclid(label_every.max(1)) == 0 {
                    signed(value, decimals)
                } else {
                    String::new()
                };
                Tick { value, label }
            })
            .collect();
        Self { scale: Scale::Linear { low, high }, ticks, title: title.to_owned() }
    }
}

/// A decibel axis in a proportion of IEC 60263.
#[derive(Debug, Clone, PartialEq)]
pub struct DecibelAxis {
    /// The axis.
    pub axis: Axis,
    /// Its length, px.
    pub height_px: f64,
    /// Decibels as long as a decade of frequency.
    pub db_per_decade: f64,
}

/// Where height goes that the values do not need.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Spare {
    /// Above the values, so that curves keep their place on the page.
    Top,
    /// Above and below, so that the values stay in the middle.
    BothEnds,
}

/// The decibel axis that shows `low_db` to `high_db` in the finest of the
/// proportions that fits into `max_height_px`, beside a frequency axis on which
/// a decade takes `decade_px`. The axis takes the whole height; `spare` says
/// where what is left over goes.
///
/// The ends are whole decibels (whole marks in the coarser proportions). When
/// not even the coarsest proportion holds the range, the upper end stays, and
/// curves leave the plot at the lower one.
pub fn decibel_axis(
    [low_db, high_db]: [f64; 2],
    decade_px: f64,
    max_height_px: f64,
    spare: Spare,
    title: &str,
) -> DecibelAxis {
    let mut chosen = None;
    for db_per_decade in DB_PER_DECADE {
        let px_per_db = decade_px / db_per_decade;
        // Fine lines at least 12 px apart, numbers at least 40 px.
        let (step, label_every) = [(1.0, 1), (1.0, 2), (1.0, 5), (2.0, 5), (5.0, 2)]
            .into_iter()
            .find(|&(step, every)| {
                step * px_per_db >= 12.0 && step * every as f64 * px_per_db >= 40.0
            })
            .unwrap_or((10.0, 2));
        let n_steps = (max_height_px / px_per_db / step + 1e-9).floor().max(1.0);
        let low = (low_db / step + 1e-9).floor() * step;
        let high = (high_db / step - 1e-9).ceil() * step;
        let fits = (high - low) / step <= n_steps;
        let low = if fits { low } else { high - n_steps * step };
        let spare_steps = n_steps - ((high - low) / step).round();
        let low = match spare {
            Spare::Top => low,
            Spare::BothEnds => low - (spare_steps / 2.0).floor().max(0.0) * step,
        };
        chosen = Some(DecibelAxis {
            axis: Axis::linear(low, low + n_steps * step, step, label_every, title),
            height_px: n_steps * step * px_per_db,
            db_per_decade,
        });
        if fits {
            break;
        }
    }
    // The list of proportions is not empty, so one was chosen.
    chosen.unwrap_or_else(|| DecibelAxis {
        axis: Axis::linear(low_db, high_db, 1.0, 1, title),
        height_px: max_height_px,
        db_per_decade: 10.0,
    })
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
        let log = Scale::Log { low: 20.0, high: 20_000.0 };
        for (hz, want) in [(20.0, 0.0), (200.0, 1.0 / 3.0), (20_000.0, 1.0), (2.0, -1.0 / 3.0)] {
            assert!((log.position(hz) - want).abs() < 1e-12);
        }
        assert_eq!(Scale::Linear { low: -2.0, high: 8.0 }.position(3.0), 0.5);
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
            let d = decibel_axis(range, 520.0, 660.0, Spare::Top, "");
            assert_eq!(d.db_per_decade, want, "{range:?}");
            let [low, high] = d.axis.scale.ends();
            assert!(low <= range[0] && high >= range[1], "{low} {high} {range:?}");
            assert!((d.height_px / (high - low) * want - 520.0).abs() < 1e-9);
            assert!(d.height_px <= 660.0 && d.height_px > 580.0, "{}", d.height_px);
        }
    }

    #[test]
    fn spare_height_goes_to_the_top_or_to_both_ends() {
        let ends =
            |spare| decibel_axis([-1.2, 1.9], 520.0, 8.1 * 52.0, spare, "").axis.scale.ends();
        assert_eq!(ends(Spare::Top), [-2.0, 6.0]);
        assert_eq!(ends(Spare::BothEnds), [-4.0, 4.0]);
    }

    #[test]
    fn a_range_too_large_keeps_its_upper_end() {
        let d = decibel_axis([-300.0, 10.0], 520.0, 660.0, Spare::Top, "");
        assert_eq!(d.db_per_decade, 50.0);
        assert_eq!(d.axis.scale.ends()[1], 10.0);
    }

    #[test]
    fn linear_axes_count_in_whole_steps() {
        let axis = Axis::linear(-1.0, 1.0, 0.5, 2, "");
        assert_eq!(labels(&axis), ["\u{2212}1.0", "0.0", "1.0"]);
        assert_eq!(axis.ticks.len(), 5);
    }
}
