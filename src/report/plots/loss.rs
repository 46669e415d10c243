//! The plot that matters most: loss per seat, mean and its uncertainty.

use super::axes::{Axis, Spare};
use super::figure::{Figure, Mark, StripRow, YAxis};
use super::series::{Series, Style};
use crate::report::result::{Band, SessionResult};
use crate::report::words::{frequency_words, loss_finding, seats_words, signed};

/// Up to this many seats each has a colour, a dash and a label of its own.
pub const SEATS_TOLD_APART: usize = 12;

/// Frequency axis of all band plots: a little beyond the bands, and to 20 kHz.
pub fn band_axis(bands: &[Band]) -> Axis {
    let low = bands.first().map_or(100.0, |b| b.exact_hz);
    let high = bands.last().map_or(16_000.0, |b| b.exact_hz);
    Axis::frequency(low * 0.84, (high * 1.12).max(20_000.0))
}

/// Values at the bands' middles.
pub fn at_bands(bands: &[Band], values: &[Option<f64>]) -> Vec<(f64, Option<f64>)> {
    bands.iter().zip(values).map(|(b, v)| (b.exact_hz, *v)).collect()
}

/// Runs of bands in which no value stands, shaded from edge to edge.
pub fn absent_areas(bands: &[Band], values: &[Option<f64>], words: &str) -> Vec<Mark> {
    let half_band = 10f64.powf(0.05);
    let mut areas: Vec<[f64; 2]> = Vec::new();
    for (band, value) in bands.iter().zip(values) {
        let (low, high) = (band.exact_hz / half_band, band.exact_hz * half_band);
        match (value, areas.last_mut()) {
            (Some(_), _) => {}
            (None, Some(area)) if area[1] * 1.01 > low => area[1] = high,
            (None, _) => areas.push([low, high]),
        }
    }
    areas.into_iter().map(|from_to| Mark::Area { from_to, label: words.to_owned() }).collect()
}

/// Loss per seat with mean and uncertainty, the mean's figures under the axis.
pub fn loss_figure(result: &SessionResult) -> Figure {
    let bands = &result.bands;
    let n_seats = result.seats.len();
    let mut marks = absent_areas(bands, &result.mean.loss_db, "no value");
    if bands.iter().any(|b| b.nominal_hz < 500.0) && bands.iter().any(|b| b.nominal_hz >= 500.0) {
        marks.push(Mark::Divide {
            at: 500.0 * 10f64.powf(-0.05),
            words: ["all that reaches the seat".into(), "direct sound".into()],
        });
    }
    marks.extend(seat_curves(result));
    let label = if n_seats == 1 { "Loss" } else { "Mean" };
    let mean = Series::new(
        &format!("{label} \u{b1} U"),
        at_bands(bands, &result.mean.loss_db),
        Style::main(),
    )
    .with_band(result.mean.u95_db.clone())
    .with_dots();
    marks.push(Mark::Curve(mean));

    Figure {
        id: "loss",
        title: loss_finding(result),
        subtitle: format!(
            "Loss by the screen in third-octave bands, {}, {}",
            seats_words(n_seats),
            result.title
        ),
        description: loss_description(result),
        caption: format!(
            "Up = the screen takes energy away. Shaded: 95 % uncertainty of {}.",
            if n_seats == 1 { "the loss" } else { "the mean" }
        ),
        x: band_axis(bands),
        y: YAxis { title: "Loss, dB".into(), include_db: [-1.0, 3.0], spare: Spare::Top },
        marks,
        strip: vec![
            number_row(label, bands, &result.mean.loss_db, 1),
            number_row("\u{b1} U", bands, &result.mean.u95_db, 2),
        ],
    }
}

/// A row of numbers under the bands; a dash where there is no value.
pub fn number_row(
    label: &str,
    bands: &[Band],
    values: &[Option<f64>],
    decimals: usize,
) -> StripRow {
    let text = |v: &Option<f64>| v.map_or("\u{2013}".to_owned(), |v| signed(v, decimals));
    StripRow {
        label: label.to_owned(),
        cells: bands.iter().zip(values).map(|(b, v)| (b.exact_hz, text(v))).collect(),
    }
}

/// One curve a seat. Where there are too many to tell apart, all of them are
/// quiet but the two that lose most and least.
fn seat_curves(result: &SessionResult) -> Vec<Mark> {
    let n_seats = result.seats.len();
    if n_seats < 2 {
        // The mean is the seat.
        return Vec::new();
    }
    let points = |s: usize| at_bands(&result.bands, &result.seats[s].loss_db);
    if n_seats <= SEATS_TOLD_APART {
        return (0..n_seats)
            .map(|s| Mark::Curve(Series::new(&result.seats[s].id, points(s), Style::nth(s))))
            .collect();
    }
    let total = |s: usize| result.seats[s].loss_db.iter().flatten().sum::<f64>();
    let by_total = |a: &usize, b: &usize| total(*a).total_cmp(&total(*b));
    let most = (0..n_seats).max_by(by_total);
    let least = (0..n_seats).min_by(by_total);
    let quiet = (0..n_seats)
        .filter(|s| Some(*s) != most && Some(*s) != least)
        .map(|s| Series::new(&result.seats[s].id, points(s), Style::quiet()).without_label());
    let named =
        [(most, "most", 0), (least, "least", 1)].into_iter().filter_map(|(s, word, look)| {
            let label = format!("{} ({word})", result.seats[s?].id);
            Some(Series::new(&label, points(s?), Style::nth(look)))
        });
    quiet.chain(named).map(Mark::Curve).collect()
}

fn loss_description(result: &SessionResult) -> String {
    let mean = &result.mean;
    let figures: Vec<String> = result
        .bands
        .iter()
        .zip(mean.loss_db.iter().zip(&mean.u95_db))
        .map(|(band, figures)| match figures {
            (Some(loss), Some(u)) => {
                format!(
                    "{}: {} \u{b1} {u:.2} dB",
                    frequency_words(band.nominal_hz),
                    signed(*loss, 2)
                )
            }
            _ => format!("{}: no value", frequency_words(band.nominal_hz)),
        })
        .collect();
    format!("Mean loss over the seats with its 95 % uncertainty. {}.", figures.join("; "))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::example::example_result;

    fn curves(figure: &Figure) -> Vec<&Series> {
        figure
            .marks
            .iter()
            .filter_map(|m| match m {
                Mark::Curve(s) => Some(s),
                _ => None,
            })
            .collect()
    }

    #[test]
    fn the_curves_are_the_seats_and_the_mean() {
        let result = example_result(6);
        let figure = loss_figure(&result);
        let curves = curves(&figure);
        assert_eq!(curves.len(), 7);
        for (curve, seat) in curves.iter().zip(&result.seats) {
            assert_eq!(curve.label, seat.id);
            let values: Vec<_> = curve.points.iter().map(|p| p.1).collect();
            assert_eq!(values, seat.loss_db);
            assert_eq!(curve.points[3].0, result.bands[3].exact_hz);
        }
        assert_eq!(curves[6].half_band, result.mean.u95_db);
        assert!(figure.marks.iter().any(|m| matches!(m, Mark::Area { .. })), "125 Hz is absent");
        assert_eq!(figure.strip[0].cells[1].1, "\u{2013}");
    }

    #[test]
    fn one_seat_is_drawn_once_and_forty_stay_readable() {
        assert_eq!(curves(&loss_figure(&example_result(1))).len(), 1);
        let figure = loss_figure(&example_result(40));
        let labelled: Vec<_> = curves(&figure).into_iter().filter(|s| s.labelled).collect();
        assert_eq!(labelled.len(), 3, "most, least, mean");
        assert_eq!(curves(&figure).len(), 41);
    }
}
