//! Seat dependence: how much of the loss shape all seats share, and how much
//! moves from seat to seat beyond what the uncertainty explains.
//!
//! The losses are taken apart as `loss[s][b] = level[s] + shape[b] + movement[s][b]`
//! (two-way layout; least squares by alternating means, so bands may be absent).
//! The movement of a band holds the uncertainty of the seats that is independent
//! between them; what is left above it is real. The uncertainty all seats share
//! moves them together and takes no part in the size of the movement. Whether a band
//! is *shown* to move is held against the whole uncertainty: an error of common cause,
//! such as that of the echo, need not be of the same size at all seats.

use crate::analysis::estimate::Estimate;
use crate::analysis::loss::LossTable;
use crate::units::ThirdOctave;
use serde::Serialize;
use statrs::distribution::{ChiSquared, ContinuousCDF, FisherSnedecor};

/// Range of the shape figures, nominal Hz, ends included.
pub const SHAPE_RANGE_HZ: [f64; 2] = [500.0, 16_000.0];

/// Movement of a band that an equaliser must not follow, dB standard deviation over
/// seats: the tolerance that a served seat may be off anyway.
pub const MOVEMENT_LIMIT_DB: f64 = 0.5;

/// Family error of the movement tests: one false "moves" in twenty sessions.
const FAMILY_ERROR: f64 = 0.05;

/// How one band behaves over the seats.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct BandDependence {
    /// Nominal mid-band, Hz.
    pub nominal_hz: f64,
    /// Seats that hold a loss here.
    pub n_seats: usize,
    /// Shape all seats share here: mean over seats after their levels, dB, about the mean level.
    pub common_db: Option<f64>,
    /// Standard deviation over seats after their levels are taken out, dB.
    pub sd_db: Option<f64>,
    /// What the uncertainty alone lets one expect for `sd_db`, dB.
    pub expected_db: Option<f64>,
    /// Movement beyond the uncertainty: `sqrt(max(0, sd^2 - expected^2))`, dB.
    pub moving_db: Option<f64>,
    /// Probability of so much movement when nothing moves (F test against the whole
    /// uncertainty, an upper bound).
    pub p_value: Option<f64>,
    /// Whether the movement is shown, over all bands tested together (Bonferroni, 5 %).
    pub moves: bool,
    /// Whether an equaliser may treat the band as the same at all seats: it does not
    /// move, or by no more than [`MOVEMENT_LIMIT_DB`]. True with a single seat.
    pub common: bool,
}

/// How the loss depends on the seat.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SeatDependence {
    /// Bands in the order of the loss table.
    pub bands: Vec<BandDependence>,
    /// Seats with at least one loss inside [`SHAPE_RANGE_HZ`].
    pub n_seats: usize,
    /// Share of the variance of the shape that is common to the seats, 0 to 1, 500 Hz-16 kHz.
    pub common_share: Option<f64>,
    /// Common shape, dB rms over bands.
    pub common_rms_db: Option<f64>,
    /// Movement from seat to seat beyond the uncertainty, dB rms over bands.
    pub moving_rms_db: Option<f64>,
    /// Level of each seat against the mean of the seats, dB (positive = loses more throughout).
    pub level_db: Vec<Option<f64>>,
}

impl SeatDependence {
    /// Bands that enter the summary figures: those inside [`SHAPE_RANGE_HZ`].
    pub fn shape_bands(&self) -> impl Iterator<Item = &BandDependence> {
        self.bands.iter().filter(|band| in_shape_hz(band.nominal_hz))
    }

    /// The band of [`Self::shape_bands`] that moves most beyond the uncertainty, and by how much, dB.
    pub fn moves_most(&self) -> Option<(f64, &BandDependence)> {
        self.shape_bands()
            .filter_map(|band| Some((band.moving_db?, band)))
            .max_by(|a, b| a.0.total_cmp(&b.0))
    }
}

/// Tells common shape from movement.
///
/// # Shapes
/// `bands` of the result follow `table.bands`, `level_db` follows `table.seats`.
/// # Valid range
/// With fewer than two seats nothing can be said of movement: those figures are `None`.
/// Bands outside [`SHAPE_RANGE_HZ`] are judged one by one, and enter no summary figure.
/// # Source
/// Variance components of a two-way layout without replication, the error variance taken
/// from the uncertainty budget (e.g. Searle, Casella, McCulloch, Variance Components, 1992).
pub fn judge_seats(table: &LossTable) -> SeatDependence {
    let inside: Vec<bool> = table.bands.iter().map(|b| in_shape_range(*b)).collect();
    let cell = |s: usize, b: usize| table.seats[s].loss.get(b).copied().flatten().filter(usable);
    let n_seats = (0..table.seats.len())
        .filter(|&s| (0..inside.len()).any(|b| inside[b] && cell(s, b).is_some()))
        .count();
    let level_db = seat_levels(table.seats.len(), &inside, &cell);

    let n_inside = (0..inside.len())
        .filter(|&b| inside[b] && (0..table.seats.len()).any(|s| cell(s, b).is_some()))
        .count();
    // Taking the levels out costs one degree of freedom per seat, spread over the bands.
    let shrink = if n_inside > 1 { 1.0 - 1.0 / n_inside as f64 } else { 1.0 };
    let mut bands: Vec<BandDependence> = (0..inside.len())
        .map(|b| {
            let cells: Vec<(f64, Estimate)> = (0..table.seats.len())
                .filter_map(|s| Some((level_db[s].unwrap_or(0.0), cell(s, b)?)))
                .collect();
            judge_band(table.bands[b], &cells, if inside[b] { shrink } else { 1.0 })
        })
        .collect();
    let tested = bands.iter().filter(|b| b.p_value.is_some()).count().max(1) as f64;
    for band in &mut bands {
        band.moves = band.p_value.is_some_and(|p| p < FAMILY_ERROR / tested);
        band.common = !(band.moves && band.moving_db.is_some_and(|m| m > MOVEMENT_LIMIT_DB));
    }

    let summary = summarise(&bands, &inside);
    // Shapes are told about their mean, so that they read as shapes.
    let offset =
        mean(bands.iter().zip(&inside).filter(|(_, i)| **i).filter_map(|(b, _)| b.common_db));
    for band in &mut bands {
        band.common_db = band.common_db.zip(offset).map(|(c, o)| c - o);
    }
    SeatDependence {
        bands,
        n_seats,
        common_share: summary.share,
        common_rms_db: summary.common_rms_db,
        moving_rms_db: summary.moving_rms_db,
        level_db,
    }
}

/// Whether a band belongs to the shape figures: nominal name within [`SHAPE_RANGE_HZ`].
pub fn in_shape_range(band: ThirdOctave) -> bool {
    in_shape_hz(band.nominal_hz())
}

/// Bands of a table whose shape is judged, as indices.
pub fn shape_bands(table: &LossTable) -> Vec<usize> {
    (0..table.bands.len()).filter(|&b| in_shape_range(table.bands[b])).collect()
}

fn in_shape_hz(nominal_hz: f64) -> bool {
    (SHAPE_RANGE_HZ[0] * 0.999..=SHAPE_RANGE_HZ[1] * 1.001).contains(&nominal_hz)
}

/// A loss that can be calculated with; anything else counts as absent.
pub(crate) fn usable(estimate: &Estimate) -> bool {
    estimate.value_db.is_finite()
        && estimate.u_db.is_finite()
        && estimate.u_db >= 0.0
        && estimate.u_common_db.is_finite()
        && estimate.u95_db.is_finite()
        && estimate.u95_db >= 0.0
}

/// Variance of the part that is independent between seats, dB^2.
pub(crate) fn independent_variance(e: &Estimate) -> f64 {
    (e.u_db * e.u_db - e.u_common_db * e.u_common_db).max(0.0)
}

fn mean(values: impl Iterator<Item = f64>) -> Option<f64> {
    let (sum, n) = values.fold((0.0, 0usize), |(s, n), v| (s + v, n + 1));
    (n > 0).then(|| sum / n as f64)
}

/// Level of each seat about the mean of the seats. With one band level and movement are
/// the same thing and no level is taken out.
fn seat_levels(
    n_seats: usize,
    inside: &[bool],
    cell: &impl Fn(usize, usize) -> Option<Estimate>,
) -> Vec<Option<f64>> {
    let value = |s: usize, b: usize| if inside[b] { cell(s, b).map(|e| e.value_db) } else { None };
    let bands = 0..inside.len();
    let present: Vec<bool> =
        (0..n_seats).map(|s| bands.clone().any(|b| value(s, b).is_some())).collect();
    let n_bands = bands.clone().filter(|&b| (0..n_seats).any(|s| value(s, b).is_some())).count();
    let mut level = vec![0.0; n_seats];
    if n_bands > 1 {
        // Alternating means converge linearly; at once when no band is absent.
        for _ in 0..200 {
            let shape: Vec<Option<f64>> = bands
                .clone()
                .map(|b| mean((0..n_seats).filter_map(|s| Some(value(s, b)? - level[s]))))
                .collect();
            let mut change: f64 = 0.0;
            for (s, level) in level.iter_mut().enumerate() {
                let new = mean(bands.clone().filter_map(|b| Some(value(s, b)? - shape[b]?)));
                let new = new.unwrap_or(0.0);
                change = change.max((new - *level).abs());
                *level = new;
            }
            if change < 1e-9 {
                break;
            }
        }
        let centre = mean((0..n_seats).filter(|&s| present[s]).map(|s| level[s])).unwrap_or(0.0);
        level.iter_mut().for_each(|l| *l -= centre);
    }
    present.iter().zip(level).map(|(&p, l)| p.then_some(l)).collect()
}

/// One band; `cells` holds the seat's level and its loss, `shrink` the share of the
/// variance that is left after the levels were taken out.
fn judge_band(band: ThirdOctave, cells: &[(f64, Estimate)], shrink: f64) -> BandDependence {
    let n = cells.len();
    let common_db = mean(cells.iter().map(|(l, e)| e.value_db - l));
    let mut out = BandDependence {
        nominal_hz: band.nominal_hz(),
        n_seats: n,
        common_db,
        sd_db: None,
        expected_db: None,
        moving_db: None,
        p_value: None,
        moves: false,
        common: true,
    };
    let Some(centre) = common_db.filter(|_| n >= 2) else { return out };
    let sum: f64 = cells.iter().map(|(l, e)| (e.value_db - l - centre).powi(2)).sum();
    let dof = (n - 1) as f64;
    let variance = sum / (dof * shrink);
    let expected = cells.iter().map(|(_, e)| independent_variance(e)).sum::<f64>() / n as f64;
    let parts: Vec<f64> = cells.iter().map(|(_, e)| e.u_db * e.u_db).collect();
    let at_most = parts.iter().sum::<f64>() / n as f64;
    // Welch-Satterthwaite for the mean of the seats' variances (GUM, G.4.1).
    let spread: f64 = parts
        .iter()
        .zip(cells)
        .map(|(v, (_, e))| v * v / if e.dof >= 1.0 { e.dof } else { 1.0 })
        .sum();
    let at_most_dof =
        if spread > 0.0 { parts.iter().sum::<f64>().powi(2) / spread } else { f64::INFINITY };
    out.sd_db = Some(variance.sqrt());
    out.expected_db = Some(expected.sqrt());
    out.moving_db = Some((variance - expected).max(0.0).sqrt());
    out.p_value = Some(chance_of(variance, at_most, dof * shrink, at_most_dof));
    out
}

/// Probability that a variance with `dof` is so far above `expected` by chance.
fn chance_of(variance: f64, expected: f64, dof: f64, expected_dof: f64) -> f64 {
    // Without stated uncertainty any difference beyond rounding is a difference.
    if expected <= 1e-12 {
        return if variance > 1e-12 { 0.0 } else { 1.0 };
    }
    let ratio = variance / expected;
    let p = if expected_dof > 1e4 {
        ChiSquared::new(dof).map(|d| d.sf(ratio * dof)).ok()
    } else {
        FisherSnedecor::new(dof, expected_dof).map(|d| d.sf(ratio)).ok()
    };
    // Both need only positive degrees of freedom; were they refused, nothing is shown.
    p.filter(|p| p.is_finite()).unwrap_or(1.0)
}

struct Summary {
    share: Option<f64>,
    common_rms_db: Option<f64>,
    moving_rms_db: Option<f64>,
}

fn summarise(bands: &[BandDependence], inside: &[bool]) -> Summary {
    let used: Vec<&BandDependence> =
        bands.iter().zip(inside).filter(|(_, i)| **i).map(|(b, _)| b).collect();
    // Signed before the root: bands that by chance agree too well balance those that do not.
    let moving = mean(used.iter().filter_map(|b| Some(b.sd_db?.powi(2) - b.expected_db?.powi(2))))
        .map(|v| v.max(0.0));
    let centre = mean(used.iter().filter_map(|b| b.common_db));
    let n = used.iter().filter(|b| b.common_db.is_some()).count();
    let common = centre.filter(|_| n >= 2).map(|c| {
        let sum: f64 = used.iter().filter_map(|b| b.common_db).map(|v| (v - c).powi(2)).sum();
        // A mean over seats carries a share of their variance that is no common shape.
        let noise = mean(used.iter().filter_map(|b| Some(b.sd_db?.powi(2) / b.n_seats as f64)));
        (sum / (n - 1) as f64 - noise.unwrap_or(0.0)).max(0.0)
    });
    let share = common.zip(moving).and_then(|(c, m)| (c + m > 0.0).then(|| c / (c + m)));
    Summary { share, common_rms_db: common.map(f64::sqrt), moving_rms_db: moving.map(f64::sqrt) }
}

#[cfg(test)]
mod tests;
