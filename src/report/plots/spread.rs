//! How the seats differ: range, standard deviation, and each seat's place.

use super::bands::{SEATS_TOLD_APART, absent_areas, at_bands, band_axis, number_row, ranges};
use super::colors::{INK, RANGE};
use super::figure::{Figure, Mark};
use crate::report::result::SessionResult;
use crate::report::words::spread_finding;

/// Range and standard deviation over seats by band, around the mean, with the
/// figures under the axis; `None` below two seats.
pub fn spread_figure(result: &SessionResult) -> Option<Figure> {
    let title = spread_finding(result)?;
    let (bands, mean) = (&result.bands, &result.mean);
    let from_mean = |s: usize| -> Vec<Option<f64>> {
        let seat = result.seats[s].loss_db.iter();
        seat.zip(&mean.loss_db).map(|(v, m)| Some((*v)? - (*m)?)).collect()
    };
    let differences: Vec<_> = (0..result.seats.len()).map(from_mean).collect();
    let sd_bars = bands.iter().zip(&mean.sd_db);
    let sd_bars = sd_bars.filter_map(|(band, sd)| sd.map(|sd| (band.exact_hz, [-sd, sd])));

    let mut marks = absent_areas(bands, &mean.sd_db);
    let bars_of =
        |label: &str, bars, color| Mark::Bars { label: label.into(), bars, width: 30.0, color };
    marks.push(bars_of("Range", ranges(bands, &differences), RANGE[0]));
    marks.push(bars_of("\u{b1} s", sd_bars.collect(), RANGE[1]));
    // Dots of many seats would be a smear; the bars say the same then.
    let radius = if result.seats.len() <= SEATS_TOLD_APART { 4.2 } else { 2.6 };
    for (s, values) in differences.iter().enumerate() {
        marks.push(Mark::Dots {
            name: result.seats[s].id.clone(),
            label: if s == 0 { "Each seat".into() } else { String::new() },
            points: at_bands(bands, values),
            radius,
            color: INK,
        });
    }
    let mut strip = vec![
        number_row("s, dB", bands, &mean.sd_db, 2),
        number_row("range, dB", bands, &mean.range_db, 2),
    ];
    if result.seats.len() <= SEATS_TOLD_APART {
        let rows = result.seats.iter().zip(&differences);
        strip.extend(rows.map(|(seat, values)| number_row(&seat.id, bands, values, 1)));
    }
    let figure = Figure {
        id: "spread",
        title,
        subtitle: format!("Loss at each of {} seats above or below their mean", result.seats.len()),
        description: "Standard deviation and range of the loss over the seats.".into(),
        caption: "Up = this seat loses more than the mean. s: standard deviation over the seats \
                  (n \u{2212} 1); range: largest minus smallest."
            .into(),
        x: band_axis(bands),
        y_title: "Loss minus mean, dB",
        include_db: [-0.2, 0.2],
        is_zoomed: true,
        marks,
        strip,
        ..Figure::default()
    };
    Some(figure.numbered())
}
