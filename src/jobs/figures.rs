//! Figures of one finished job.

use super::mean::RoomFigure;
use super::stored::StoredResult;

/// Bands that a job is summed up over, nominal Hz.
const SUMMED_HZ: [f64; 2] = [500.0, 16_000.0];

/// Nominal and exact frequencies of all bands that any job has.
pub(super) fn all_bands<'a>(jobs: impl Iterator<Item = &'a StoredResult>) -> Vec<[f64; 2]> {
    let mut bands: Vec<[f64; 2]> =
        jobs.flat_map(|j| j.bands.iter().map(|b| [b.nominal_hz, b.exact_hz])).collect();
    bands.sort_by(|a, b| a[0].total_cmp(&b[0]));
    bands.dedup_by(|a, b| a[0] == b[0]);
    bands
}

/// Whether a band lies inside [`SUMMED_HZ`].
pub(super) fn is_summed(nominal_hz: f64) -> bool {
    (SUMMED_HZ[0] - 1.0..=SUMMED_HZ[1] + 1.0).contains(&nominal_hz)
}

/// Bands of a job inside [`SUMMED_HZ`].
pub(super) fn summed_bands(result: &StoredResult) -> impl Iterator<Item = f64> {
    result.bands.iter().map(|b| b.nominal_hz).filter(|hz| is_summed(*hz))
}

/// Mean loss of a job. Errors of neighbouring bands hang together: the mean is trusted no better
/// than the mean of the bands' uncertainties.
pub(super) fn mean_loss(result: &StoredResult) -> Option<RoomFigure> {
    let all: Option<Vec<RoomFigure>> = summed_bands(result).map(|hz| result.band(hz)).collect();
    RoomFigure::mean(&all?)
}

/// The gap as measured with a rule, m, or where none is stated the one that the takes tell of.
pub(super) fn gap_m(result: &StoredResult) -> Option<f64> {
    let gap = &result.sheet.as_ref()?.gap;
    gap.stated_m.or(gap.used_m)
}

pub(super) fn largest_loss(result: &StoredResult) -> Option<RoomFigure> {
    result.band(result.headline.largest_loss?.nominal_hz)
}

/// Mean of the standard deviations over the seats. Its own uncertainty: `s / sqrt(2 (n - 1) N / 3)`
/// with a third of the `N` bands independent, as where two sessions are compared.
pub(super) fn seat_sd(result: &StoredResult) -> Option<RoomFigure> {
    let of_band = |hz: f64| result.mean.sd_db[result.at(hz)?];
    let sds: Vec<f64> = summed_bands(result).filter_map(of_band).collect();
    let n_seats = result.seats.len() as f64;
    if sds.is_empty() || n_seats < 2.0 {
        return None;
    }
    let value = sds.iter().sum::<f64>() / sds.len() as f64;
    let freedom = 2.0 * (n_seats - 1.0) * sds.len() as f64 / 3.0;
    Some(RoomFigure { value, u: value / freedom.sqrt() })
}

pub(super) fn gain_on_axis(result: &StoredResult) -> Option<RoomFigure> {
    result.picture.as_ref()?.light.as_ref()?.gain.as_ref()?.on_axis
}
