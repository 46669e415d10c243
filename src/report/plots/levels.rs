//! Levels without and with the screen, and the noise under them.

use super::bands::{at_bands, band_axis};
use super::colors::{PALETTE, QUIET};
use super::figure::{Figure, Mark};
use super::series::{Series, Style};
use crate::analysis::band_levels::Levels;
use crate::report::result::{Band, SessionResult};
use crate::words::frequency_words;

/// Distance to the noise above which a band's level is taken as it is, dB:
/// ISO 2969:2015, as quoted by distributors of the standard.
const CLEAR_OF_NOISE_DB: f64 = 10.0;

/// Mean levels over the seats by condition, with the noise of the recordings;
/// `None` when the result has no levels.
pub fn levels_figure(result: &SessionResult) -> Option<Figure> {
    let levels = result.levels.as_ref()?;
    let bands = &result.bands;
    let curve = |label: &str, values: &[Option<f64>], color, dash, width| {
        Series::new(label, at_bands(bands, values), Style { color, dash, width })
    };
    let mut marks = vec![
        curve("Noise", &levels.noise_db, QUIET, "3 6", 3.0),
        curve("Without", &levels.without_db, PALETTE[0], "", 4.0),
        curve("With", &levels.with_db, PALETTE[1], "18 6", 4.0),
    ];
    if levels.corrected_db.iter().any(Option::is_some) {
        marks.push(curve("Corrected", &levels.corrected_db, PALETTE[3], "4 6", 4.0));
    }
    let highest = marks.iter().filter_map(Series::range).map(|r| r[1]).fold(0.0, f64::max);
    let figure = Figure {
        id: "levels",
        title: levels_finding(result, levels),
        subtitle: "Band levels, power mean over the seats".into(),
        description: "Levels of the conditions, and noise, dB.".into(),
        caption: format!(
            "All that reaches the seats, the room with it; from 500 Hz up the loss is that of the \
             direct sound, which these curves do not show. 0 dB = {}.",
            levels.reference
        ),
        x: band_axis(bands),
        y_title: "Level in third-octave bands, dB",
        include_db: [highest - 20.0, highest],
        marks: marks.into_iter().map(Mark::Curve).collect(),
        ..Figure::default()
    };
    Some(figure.numbered())
}

/// The smallest distance of the quieter condition to the noise, with its band.
fn nearest_to_noise(result: &SessionResult, levels: &Levels) -> Option<(f64, f64)> {
    let distance = |(b, band): (usize, &Band)| {
        let quieter = levels.without_db[b]?.min(levels.with_db[b]?);
        Some((quieter - levels.noise_db[b]?, band.nominal_hz))
    };
    let distances = result.bands.iter().enumerate().filter_map(distance);
    distances.min_by(|a, b| a.0.total_cmp(&b.0))
}

fn levels_finding(result: &SessionResult, levels: &Levels) -> String {
    match nearest_to_noise(result, levels) {
        Some((distance, hz)) if distance >= CLEAR_OF_NOISE_DB => format!(
            "The recordings stand clear of the noise, by {distance:.0} dB or more (least at {})",
            frequency_words(hz)
        ),
        Some((distance, hz)) => format!(
            "Noise comes near: only {distance:.0} dB below the recording at {}",
            frequency_words(hz)
        ),
        None => "Levels without and with the screen".into(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::example::example_result;

    #[test]
    fn the_finding_names_the_band_nearest_to_the_noise() {
        let mut result = example_result(3);
        let levels = result.levels.as_mut().unwrap();
        let n = levels.noise_db.len();
        (levels.without_db, levels.with_db) = (vec![Some(60.0); n], vec![Some(58.0); n]);
        levels.noise_db = vec![Some(20.0); n];
        levels.noise_db[10] = Some(47.5);
        let title = |result: &SessionResult| levels_figure(result).unwrap().title;
        assert!(title(&result).contains("clear") && title(&result).contains("at 1 kHz"));
        result.levels.as_mut().unwrap().noise_db[10] = Some(48.5);
        assert!(title(&result).contains("only 10 dB") || title(&result).contains("only 9 dB"));
        result.levels = None;
        assert!(levels_figure(&result).is_none());
    }
}
