//! Harmonics of the loudspeaker against the frequency of the fundamental, a plot a condition.

use super::axes::Axis;
use super::colors::PALETTE;
use super::figure::{Figure, Mark};
use super::series::{Series, Style};
use crate::report::result::SessionResult;
use crate::transfer::distortion::Distortion;
use crate::words::{frequency_words, signed};

/// Second to fifth harmonic with the noise under each, for every condition that has them.
pub fn distortion_figures(result: &SessionResult) -> Vec<Figure> {
    let Some(found) = &result.distortion else { return Vec::new() };
    let conditions = [
        ("distortion-without", "Without the screen", &found.without),
        ("distortion-with", "With the screen", &found.with),
        ("distortion-corrected", "With the setting active", &found.corrected),
    ];
    let figures = conditions.into_iter();
    figures.filter_map(|(id, condition, d)| condition_figure(id, condition, d.as_ref()?)).collect()
}

fn condition_figure(id: &'static str, condition: &str, found: &Distortion) -> Option<Figure> {
    let hz = &found.fundamental_hz;
    let [low, high] = [*hz.first()?, *hz.last()?];
    let points = |values: &[Option<f64>]| hz.iter().copied().zip(values.iter().copied()).collect();
    let mut marks = Vec::new();
    for (i, harmonic) in found.harmonics.iter().enumerate() {
        let color = PALETTE[i % PALETTE.len()];
        let floor = Style { color, dash: "2 7", width: 1.8 };
        let label = if i == 0 { "Noise, dotted" } else { "" };
        let curve = Series::new(label, points(&harmonic.floor_db), floor);
        marks.push(if i == 0 { curve } else { curve.without_label() });
        let look = Style { width: 3.2, ..Style::nth(i) };
        let name = format!("{} harmonic", ordinal(harmonic.order));
        marks.push(Series::new(&name, points(&harmonic.level_db), look));
    }
    // Where not all of it finds room, the strongest stays and the weakest is cut off.
    let top_db = marks.iter().filter_map(Series::range).map(|r| r[1]).reduce(f64::max)?;
    let mut x = Axis::around(low, high);
    x.title = "Fundamental, Hz".into();
    let figure = Figure {
        id,
        title: finding(condition, found),
        subtitle: "Harmonics of the centre loudspeaker, mean over the takes".into(),
        description: format!("{condition}, harmonics in dB; no value: below the noise."),
        caption: "\u{2212}40 dB = 1 %, \u{2212}60 dB = 0.1 %. A harmonic is drawn where it stands \
                  6 dB above the noise; dotted: what the noise alone would show."
            .into(),
        x,
        y_title: "Level against the fundamental, dB",
        include_db: [top_db - 40.0, top_db],
        marks: marks.into_iter().map(Mark::Curve).collect(),
        ..Figure::default()
    };
    Some(figure.numbered())
}

fn ordinal(order: usize) -> String {
    match order {
        2 => "2nd".into(),
        3 => "3rd".into(),
        n => format!("{n}th"),
    }
}

/// The strongest harmonic: order, fundamental, level.
fn strongest(found: &Distortion) -> Option<(usize, f64, f64)> {
    let of = |h: &crate::transfer::distortion::Harmonic| {
        let order = h.order;
        let levels = found.fundamental_hz.iter().zip(&h.level_db);
        levels.filter_map(move |(hz, level)| Some((order, *hz, (*level)?))).collect::<Vec<_>>()
    };
    found.harmonics.iter().flat_map(of).max_by(|a, b| a.2.total_cmp(&b.2))
}

fn finding(condition: &str, found: &Distortion) -> String {
    match strongest(found) {
        Some((order, hz, level)) => format!(
            "{condition} the {} harmonic is strongest: {} dB ({}) at {}",
            ordinal(order),
            signed(level, 0),
            percent(level),
            frequency_words(hz.round())
        ),
        None => format!("{condition} no harmonic stands above the noise"),
    }
}

/// A level as a share of the fundamental: \u{2212}40 dB is 1 %.
fn percent(level_db: f64) -> String {
    let share = 100.0 * 10f64.powf(level_db / 20.0);
    let decimals = if share >= 1.0 { 1 } else { 2 };
    format!("{share:.decimals$} %")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::example::example_result;
    use crate::report::result::DistortionResult;
    use crate::transfer::distortion::Harmonic;

    #[test]
    fn each_condition_has_its_plot_and_the_strongest_harmonic_its_name() {
        let harmonic = |order, levels: [Option<f64>; 3]| Harmonic {
            order,
            level_db: levels.to_vec(),
            floor_db: vec![Some(-80.0); 3],
        };
        let with = Distortion {
            fundamental_hz: vec![100.0, 200.0, 400.0],
            harmonics: vec![
                harmonic(2, [Some(-40.0), None, Some(-50.0)]),
                harmonic(3, [None, Some(-34.0), None]),
            ],
        };
        let none = Distortion {
            fundamental_hz: vec![100.0, 200.0, 400.0],
            harmonics: vec![harmonic(2, [None; 3])],
        };
        let mut result = example_result(2);
        assert!(distortion_figures(&result).is_empty());
        result.distortion =
            Some(DistortionResult { without: Some(none), with: Some(with), corrected: None });
        let figures = distortion_figures(&result);
        assert_eq!(figures.len(), 2);
        assert!(figures[0].title.ends_with("no harmonic stands above the noise"));
        // 10^(-34/20) = 1.995 %.
        assert_eq!(
            figures[1].title,
            "With the screen the 3rd harmonic is strongest: \u{2212}34 dB (2.0 %) at 200 Hz"
        );
        let Mark::Curve(second) = &figures[1].marks[1] else { panic!() };
        assert_eq!(second.points[1], (200.0, None), "what noise covers is a gap");
    }
}
