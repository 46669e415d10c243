//! What all seats share of the loss, and what moves from seat to seat beyond the uncertainty.

use super::bands::{absent_areas, at_bands, band_axis, number_row};
use super::colors::PALETTE;
use super::figure::{Figure, Mark};
use super::series::{Series, Style};
use crate::report::result::SessionResult;
use crate::report::words::seats::share_words;
use crate::words::signed;

/// Common shape with what moves as a band around it; `None` below two seats.
pub fn dependence_figure(result: &SessionResult) -> Option<Figure> {
    let found = result.seat_dependence.as_ref().filter(|d| d.n_seats > 1)?;
    let bands = &result.bands;
    let common: Vec<Option<f64>> = found.bands.iter().map(|b| b.common_db).collect();
    let moving: Vec<Option<f64>> = found.bands.iter().map(|b| b.moving_db).collect();
    if common.len() != bands.len() || common.iter().all(Option::is_none) {
        return None;
    }
    let shown = found.bands.iter().zip(&common).map(|(b, c)| c.filter(|_| b.moves));
    let shown: Vec<Option<f64>> = shown.collect();
    let mut marks = absent_areas(bands, &common);
    marks.push(Mark::Curve(
        Series::new("Common shape", at_bands(bands, &common), Style::main())
            .with_band(moving.clone())
            .with_dots(),
    ));
    if shown.iter().any(Option::is_some) {
        marks.push(Mark::Dots {
            name: String::new(),
            label: "Moves".into(),
            points: at_bands(bands, &shown),
            radius: 8.5,
            color: PALETTE[1],
        });
    }
    let figure = Figure {
        id: "seat-dependence",
        title: finding(result),
        subtitle: format!(
            "Shape of the loss that {} seats share, levels of the seats taken out",
            found.n_seats
        ),
        description: found.sentence().to_owned(),
        caption: "Shaded: how far single seats move from it, one standard deviation beyond what \
                  the uncertainty explains. Marked: bands in which that is shown."
            .into(),
        x: band_axis(bands),
        y_title: "Loss less its mean, dB",
        include_db: [-2.0, 2.0],
        marks,
        strip: vec![
            number_row("shape, dB", bands, &common, 1),
            number_row("moves, dB", bands, &moving, 2),
        ],
        ..Figure::default()
    };
    Some(figure.numbered())
}

fn finding(result: &SessionResult) -> String {
    let found = result.seat_dependence.as_ref();
    match found.and_then(|d| d.common_share.zip(d.moving_rms_db)) {
        Some((share, moving)) => format!(
            "{} of the shape is the same at all seats; {} dB rms move from seat to seat",
            share_words(share),
            signed(moving, 1)
        ),
        None => "What the seats share, and what moves from seat to seat".into(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::seats::judge_seats;
    use crate::report::example::{example_losses, example_result};
    use crate::report::words::seats::said;

    #[test]
    fn the_curve_is_the_common_shape_and_the_band_what_moves() {
        let mut result = example_result(6);
        assert!(dependence_figure(&result).is_none());
        let found = judge_seats(&example_losses(6).1);
        result.seat_dependence = Some(said(found.clone()));
        let figure = dependence_figure(&result).unwrap();
        result.seat_dependence.as_mut().unwrap().found.common_share = Some(0.997);
        assert!(finding(&result).starts_with("More than 99 % of the shape"));
        result.seat_dependence.as_mut().unwrap().found.common_share = Some(0.93);
        assert!(finding(&result).starts_with("93 % of the shape"));
        let curve = figure.marks.iter().find_map(|m| match m {
            Mark::Curve(s) => Some(s),
            _ => None,
        });
        let curve = curve.unwrap();
        for (band, (point, half)) in
            found.bands.iter().zip(curve.points.iter().zip(&curve.half_band))
        {
            assert_eq!((band.common_db, band.moving_db), (point.1, *half));
        }
        let marked = figure.marks.iter().find_map(|m| match m {
            Mark::Dots { points, .. } => Some(points.iter().filter(|p| p.1.is_some()).count()),
            _ => None,
        });
        assert_eq!(marked.unwrap_or(0), found.bands.iter().filter(|b| b.moves).count());
        let mut one = example_result(1);
        one.seat_dependence = Some(said(judge_seats(&example_losses(1).1)));
        assert!(dependence_figure(&one).is_none(), "one seat depends on nothing");
    }
}
