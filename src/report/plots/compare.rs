//! Sessions side by side: mean loss of each, with its uncertainty.

use super::axes::Axis;
use super::figure::{Figure, Mark};
use super::series::{Series, Style};
use crate::analysis::compare::{Comparison, Entry, Origin, Pair};
use crate::report::words::frequency_range;
use crate::report::words::said::{Said, Statement};
use crate::units::ThirdOctave;
use crate::words::decibels;

/// Up to this many shaded bands can be told apart.
const BANDS_TOLD_APART: usize = 3;

/// Mean loss of every session over frequency.
pub fn compare_figure(comparison: &Said<Comparison, Statement>) -> Figure {
    let entries = &comparison.entries;
    let is_shaded = entries.len() <= BANDS_TOLD_APART;
    let curves = entries.iter().enumerate().map(|(i, entry)| {
        let summary = &entry.summary;
        let points =
            summary.bands_hz.iter().map(|hz| exact_hz(*hz)).zip(summary.loss_db.iter().copied());
        let band = if is_shaded { summary.u95_db.clone() } else { Vec::new() };
        Series::new(&summary.name, points.collect(), Style::nth(i)).with_dots().with_band(band)
    });
    let shaded = if is_shaded { " Shaded: 95 % uncertainty." } else { "" };
    let all_hz = || entries.iter().flat_map(|e| &e.summary.bands_hz).copied();
    let [low, high] = [all_hz().fold(100.0, f64::min), all_hz().fold(16_000.0, f64::max)];
    Figure {
        id: "compare",
        title: finding(comparison),
        subtitle: format!(
            "Mean loss over the seats in third-octave bands, {}",
            counted(comparison)
        ),
        description: comparison.words.statement.join(" "),
        caption: format!("Up = the screen takes energy away.{shaded}"),
        x: Axis::around(low, high.max(20_000.0 / 1.12)),
        y_title: "Mean loss, dB",
        include_db: [-1.0, 3.0],
        marks: curves.map(Mark::Curve).collect(),
        ..Figure::default()
    }
}

/// How many were measured, and how many only described.
fn counted(comparison: &Comparison) -> String {
    let of = |origin| comparison.entries.iter().filter(|e| e.summary.origin == origin).count();
    let words = |n: usize, what: &str| match n {
        0 => None,
        1 => Some(format!("1 {what}")),
        n => Some(format!("{n} {what}s")),
    };
    let sessions = words(of(Origin::Measured), "session");
    let sheets = words(of(Origin::Predicted), "described sheet");
    sessions.into_iter().chain(sheets).collect::<Vec<_>>().join(" and ")
}

fn exact_hz(nominal_hz: f64) -> f64 {
    ThirdOctave::nearest(nominal_hz).map_or(nominal_hz, ThirdOctave::exact_hz)
}

/// The least and the largest mean loss, in words.
fn finding(comparison: &Comparison) -> String {
    let by_loss = |a: &&Entry, b: &&Entry| a.mean_loss_db.value.total_cmp(&b.mean_loss_db.value);
    let bands_hz = &comparison.common_bands_hz;
    let ends = bands_hz.first().zip(bands_hz.last()).map(|(low, high)| [*low, *high]);
    let range = ends.map_or_else(String::new, |ends| format!(" from {}", frequency_range(ends)));
    let (Some(least), Some(most)) =
        (comparison.entries.iter().min_by(by_loss), comparison.entries.iter().max_by(by_loss))
    else {
        return "Nothing to compare".into();
    };
    let [low, high] = [least, most].map(|e| decibels(e.mean_loss_db.value));
    let is_of = |pair: &&Pair| {
        [&least.summary.name, &most.summary.name].iter().all(|name| pair.names.contains(name))
    };
    if comparison.pairs.iter().filter(is_of).any(|pair| pair.shown) {
        format!(
            "{} takes {low} on average{range}, {} takes {high}",
            least.summary.name, most.summary.name
        )
    } else {
        format!("No difference shown: {low} to {high} on average{range}")
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::compare::{Summary, compare};
    use crate::report::example::example_result;
    use crate::report::words::compare::said;

    #[test]
    fn every_session_is_a_curve_at_exact_mid_bands() {
        let summary = |name: &str, more_db: f64| {
            let mut result = example_result(3);
            result.mean.loss_db.iter_mut().flatten().for_each(|l| *l += more_db);
            let document = serde_json::to_value(&result).unwrap();
            Summary::from_result(name, &document).unwrap()
        };
        let described = Summary { origin: Origin::Predicted, ..summary("drawing", 1.0) };
        let three = vec![summary("light", 0.0), summary("heavy", 2.0), described];
        let words = compare_figure(&said(compare(three).unwrap())).subtitle;
        assert!(words.ends_with("2 sessions and 1 described sheet"), "{words}");
        let two = vec![summary("light", 0.0), summary("heavy", 2.0)];
        let comparison = said(compare(two).unwrap());
        let figure = compare_figure(&comparison);
        let result = example_result(3);
        assert_eq!(figure.marks.len(), 2);
        let Mark::Curve(light) = &figure.marks[0] else { panic!("no curve") };
        let loss: Vec<_> = light.points.iter().map(|p| p.1).collect();
        assert_eq!(loss, result.mean.loss_db);
        assert!((light.points[15].0 - 10f64.powf(3.5)).abs() < 1e-6, "3.15 kHz");
        assert!(figure.title.starts_with("light takes") && figure.title.contains("heavy takes"));
    }
}
