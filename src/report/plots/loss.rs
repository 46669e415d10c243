//! The plot that matters most: loss per seat, mean and its uncertainty.

use super::bands::{
    HALF_BAND, SEATS_TOLD_APART, absent_areas, at_bands, band_axis, coinciding, mean_curve,
    number_row,
};
use super::figure::{Figure, Mark};
use super::series::{Series, Style};
use crate::report::result::SessionResult;
use crate::report::words::loss_finding;
use crate::words::{frequency_words, seats_words, signed};

/// Loss per seat with mean and uncertainty, the mean's figures under the axis.
pub fn loss_figure(result: &SessionResult) -> Figure {
    let bands = &result.bands;
    let n_seats = result.seats.len();
    let (label, what) = if n_seats == 1 { ("Loss", "the loss") } else { ("Mean", "the mean") };
    let mut marks = absent_areas(bands, &result.mean.loss_db);
    if bands.iter().any(|b| b.nominal_hz < 500.0) && bands.iter().any(|b| b.nominal_hz >= 500.0) {
        marks.push(Mark::Divide {
            at: 500.0 / HALF_BAND,
            words: ["all that reaches the seat".into(), "direct sound".into()],
        });
    }
    let seats: Vec<_> = result.seats.iter().map(|seat| seat.loss_db.clone()).collect();
    let all_seats = coinciding(bands, &seats);
    let bars = if all_seats.is_some() { " Bars: from the least to the largest seat." } else { "" };
    marks.extend(all_seats.map_or_else(|| seat_curves(result), |bars| vec![bars]));
    marks.push(mean_curve(result, label));
    Figure {
        id: "loss",
        title: loss_finding(result),
        subtitle: format!("Loss by the screen in third-octave bands, {}", seats_words(n_seats)),
        description: loss_description(result),
        caption: format!(
            "Up = the screen takes energy away. Shaded: 95 % uncertainty of {what}.{bars}"
        ),
        x: band_axis(bands),
        y_title: "Loss, dB",
        include_db: [-1.0, 3.0],
        marks,
        strip: vec![
            number_row(label, bands, &result.mean.loss_db, 1),
            number_row("\u{b1} U", bands, &result.mean.u95_db, 2),
        ],
        ..Figure::default()
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
    let said = result.bands.iter().zip(result.mean.loss_db.iter().zip(&result.mean.u95_db));
    let figures = said.map(|(band, (loss, u))| {
        let value = |(loss, u)| format!("{} \u{b1} {u:.2} dB", signed(loss, 2));
        let words = loss.zip(*u).map_or("no value".into(), value);
        format!("{}: {words}", frequency_words(band.nominal_hz))
    });
    let figures = figures.collect::<Vec<_>>().join("; ");
    format!("Mean loss over the seats with its 95 % uncertainty. {figures}.")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::example::example_result;

    #[test]
    fn the_curves_are_the_seats_and_the_mean() {
        let result = example_result(6);
        let figure = loss_figure(&result);
        let curves = figure.curves();
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
    fn seats_that_coincide_are_drawn_as_their_range() {
        let apart = |step_db: f64| {
            let mut result = example_result(3);
            let first = result.seats[0].loss_db.clone();
            for (i, seat) in result.seats.iter_mut().enumerate() {
                seat.loss_db = first.iter().map(|v| v.map(|v| v + step_db * i as f64)).collect();
            }
            (loss_figure(&result), first)
        };
        let (figure, first) = apart(0.07);
        assert_eq!(figure.curves().len(), 1, "the mean alone");
        let bars = figure.marks.iter().find_map(|m| match m {
            Mark::Bars { label, bars, .. } if label == "All 3 seats" => Some(bars),
            _ => None,
        });
        let bars = bars.expect("their range");
        for ((_, [low, high]), first) in bars.iter().zip(first.iter().flatten()) {
            assert!((low - first).abs() < 1e-12 && (high - first - 0.14).abs() < 1e-12);
        }
        // 0.16 dB apart in all.
        assert_eq!(apart(0.08).0.curves().len(), 4, "seats and mean");
    }

    #[test]
    fn one_seat_is_drawn_once_and_forty_stay_readable() {
        assert_eq!(loss_figure(&example_result(1)).curves().len(), 1);
        let figure = loss_figure(&example_result(40));
        let labelled: Vec<_> = figure.curves().into_iter().filter(|s| s.labelled).collect();
        assert_eq!(labelled.len(), 3, "most, least, mean");
        assert_eq!(figure.curves().len(), 41);
    }
}
