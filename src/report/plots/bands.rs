//! What plots of third-octave bands share.

use super::axes::Axis;
use super::figure::{Mark, StripRow};
use super::series::{Series, Style};
use crate::report::result::{Band, SessionResult};
use crate::words::signed;

/// Up to this many seats each has a colour, a dash and a label of its own.
pub const SEATS_TOLD_APART: usize = 12;

/// Curves that nowhere lie further apart than this would hide each other, dB.
const COINCIDE_DB: f64 = 0.15;

/// From the middle of a band to its edge, as a factor.
pub const HALF_BAND: f64 = 1.122_018_454_301_963_4;

/// Frequency axis of all band plots: a little beyond the bands, and to 20 kHz.
pub fn band_axis(bands: &[Band]) -> Axis {
    let low = bands.first().map_or(100.0, |b| b.exact_hz);
    let high = bands.last().map_or(16_000.0, |b| b.exact_hz);
    Axis::around(low, high.max(20_000.0 / 1.12))
}

/// Values at the bands' middles.
pub fn at_bands(bands: &[Band], values: &[Option<f64>]) -> Vec<(f64, Option<f64>)> {
    bands.iter().zip(values).map(|(b, v)| (b.exact_hz, *v)).collect()
}

/// Runs of bands in which no value stands, shaded from edge to edge.
pub fn absent_areas(bands: &[Band], values: &[Option<f64>]) -> Vec<Mark> {
    let mut areas: Vec<[f64; 2]> = Vec::new();
    for (band, _) in bands.iter().zip(values).filter(|(_, value)| value.is_none()) {
        let (low, high) = (band.exact_hz / HALF_BAND, band.exact_hz * HALF_BAND);
        match areas.last_mut() {
            Some(area) if area[1] * 1.01 > low => area[1] = high,
            _ => areas.push([low, high]),
        }
    }
    areas.into_iter().map(|from_to| Mark::Area { from_to, label: "no value".into() }).collect()
}

/// Mean loss with its uncertainty.
pub fn mean_curve(result: &SessionResult, label: &str) -> Mark {
    let points = at_bands(&result.bands, &result.mean.loss_db);
    let curve = Series::new(&format!("{label} \u{b1} U"), points, Style::main());
    Mark::Curve(curve.with_band(result.mean.u95_db.clone()).with_dots())
}

/// Least and largest value of several curves in every band that has one.
pub fn ranges(bands: &[Band], curves: &[Vec<Option<f64>>]) -> Vec<(f64, [f64; 2])> {
    let of_band = |(b, band): (usize, &Band)| {
        let values = curves.iter().filter_map(|curve| curve[b]).map(|v| [v, v]);
        let ends = values.reduce(|a, b| [a[0].min(b[0]), a[1].max(b[1])])?;
        Some((band.exact_hz, ends))
    };
    bands.iter().enumerate().filter_map(of_band).collect()
}

/// The range of the seats instead of a curve each, where these would hide each other.
pub fn coinciding(bands: &[Band], seats: &[Vec<Option<f64>>]) -> Option<Mark> {
    let bars = ranges(bands, seats);
    let is_close = bars.iter().all(|(_, [low, high])| high - low <= COINCIDE_DB);
    (seats.len() > 1 && is_close).then(|| Mark::Bars {
        label: format!("All {} seats", seats.len()),
        bars,
        width: 22.0,
        color: super::colors::RANGE[0],
    })
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
