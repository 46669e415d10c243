//! How the seats differ: range, standard deviation, and each seat's place.

use super::axes::Spare;
use super::figure::{Figure, Mark, YAxis};
use super::loss::{SEATS_TOLD_APART, absent_areas, at_bands, band_axis, number_row};
use super::series::INK;
use crate::report::result::SessionResult;
use crate::report::words::{frequency_words, spread_finding};

const RANGE_COLOR: &str = "#C9D8E8";
const SD_COLOR: &str = "#8FB0D0";

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
    let ends = |b: usize| {
        let values = differences.iter().filter_map(|d| d[b]).map(|v| [v, v]);
        values.reduce(|a, b| [a[0].min(b[0]), a[1].max(b[1])])
    };
    let range_bars = (0..bands.len()).filter_map(|b| Some((bands[b].exact_hz, ends(b)?))).collect();
    let sd_bars = (0..bands.len())
        .filter_map(|b| mean.sd_db[b].map(|sd| (bands[b].exact_hz, [-sd, sd])))
        .collect();

    let mut marks = absent_areas(bands, &mean.sd_db, "no value");
    let bars =
        |label: &str, bars, width, color| Mark::Bars { label: label.into(), bars, width, color };
    marks.push(bars("Range", range_bars, 30.0, RANGE_COLOR));
    marks.push(bars("\u{b1} s", sd_bars, 30.0, SD_COLOR));
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
    Some(Figure {
        id: "spread",
        title,
        subtitle: format!(
            "Loss at each of {} seats above or below their mean, {}",
            result.seats.len(),
            result.title
        ),
        description: spread_description(result),
        caption: "Up = this seat loses more than the mean. s: standard deviation over the seats \
                  (n \u{2212} 1); range: largest minus smallest."
            .into(),
        x: band_axis(bands),
        y: YAxis {
            title: "Loss minus mean, dB".into(),
            include_db: [-2.0, 2.0],
            spare: Spare::BothEnds,
        },
        marks,
        strip,
    })
}

fn spread_description(result: &SessionResult) -> String {
    let mean = &result.mean;
    let figures: Vec<String> = result
        .bands
        .iter()
        .zip(mean.sd_db.iter().zip(&mean.range_db))
        .map(|(band, figures)| match figures {
            (Some(sd), Some(range)) => {
                format!("{}: {sd:.2} and {range:.2} dB", frequency_words(band.nominal_hz))
            }
            _ => format!("{}: no value", frequency_words(band.nominal_hz)),
        })
        .collect();
    format!("Standard deviation and range of the loss over the seats. {}.", figures.join("; "))
}
