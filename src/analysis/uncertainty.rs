//! Uncertainty of the loss: the size of each term of its budget.
//!
//! The size of each term is computed from the session; how far that size falls short of
//! what the estimator really does was calibrated once on simulated sessions with known
//! truth ([`WEIGHTS`]), see the table and its command in `examples/measured/loss.md`.

use super::budget::{Budget, Combined, Term};
use super::direct_from::DIRECT_FROM_HZ;
use super::joint::Assumption;
use super::passage::{SeatPassage, smooth_bands};
use crate::ingest::manifest::Manifest;
use crate::transfer::measure::Transfers;
use crate::transfer::seat::SeatTransmission;
use crate::units::ThirdOctave;

/// dB per relative change of power.
const DB_PER_POWER: f64 = 4.342_944_819;

/// Factors on the computed variances, calibrated on simulated sessions.
#[derive(Debug, Clone, Copy)]
pub struct Weights {
    /// Constant of the window term, dB.
    pub window_db: f64,
    /// On the scatter of spots.
    pub spots: f64,
    /// On the placement term of single spots.
    pub placement: f64,
    /// On the errors of echoes.
    pub echo: f64,
    /// On the squared change of the loss where the room's late sound may differ in any way, ...
    pub free_room: f64,
    /// ... where rows that hold it count more, ...
    pub room_counts_more: f64,
    /// ... and where the rows end earlier.
    pub fewer_rows: f64,
    /// On noise.
    pub noise: f64,
    /// On the echoes of an unknown gap.
    pub unknown_gap: f64,
}

/// Calibrated weights with two spots or more ...
pub const WEIGHTS: Weights = Weights {
    window_db: 0.014,
    spots: 0.62,
    placement: 0.0,
    echo: 0.39,
    free_room: 0.43,
    room_counts_more: 3.4,
    fewer_rows: 1.0,
    noise: 0.36,
    unknown_gap: 0.22,
};
/// ... and with a single spot.
pub const WEIGHTS_SINGLE: Weights = Weights {
    window_db: 0.012,
    spots: 0.0,
    placement: 1.2,
    echo: 0.67,
    free_room: 0.33,
    room_counts_more: 2.5,
    fewer_rows: 1.0,
    noise: 7.8,
    unknown_gap: 0.22,
};

/// The same below 500 Hz: on the scatter of spots, ...
const LOW_SPOTS: f64 = 0.47;
/// ... in its place with a single spot, dB, ...
const LOW_ONE_SPOT_DB: f64 = 0.07;
/// ... of the window, dB, ...
const LOW_WINDOW_DB: f64 = 0.0132;
/// ... and on the squared difference between direct loss and loss in the room.
const LOW_ROOM: f64 = 0.132;

/// What is left of the variance of an unknown gap where the takes tell of it.
const FOUND_GAP_SHARE: f64 = 0.1;

/// Degrees of freedom of terms whose size is judged from models: relative
/// uncertainty of about 30 % (GUM G.4.2).
const MODEL_DOF: f64 = 6.0;
/// Share of a seat's own scatter against the mean over seats.
const OWN_SHARE: f64 = 0.5;

/// What was found at one seat before uncertainty, whether or not the data carry it.
#[derive(Debug, Clone)]
pub struct SeatValues {
    /// Direct loss, dB, third-octave bands, then fine bands.
    pub direct_db: Vec<f64>,
    /// Loss in the room, dB, third-octave bands, then fine bands.
    pub in_room_db: Vec<f64>,
    /// Direct loss by each take with the screen (mean over those without), third-octave bands.
    pub by_with_db: Vec<Vec<f64>>,
    /// Direct loss under other assumptions, third-octave bands.
    pub others_db: Vec<(Assumption, Vec<f64>)>,
    /// Direct loss by each take without the screen.
    pub by_without_db: Vec<Vec<f64>>,
}

/// Variances of one seat by term, dB^2, third-octave bands; unweighted.
#[derive(Debug, Clone)]
pub struct SeatScatter {
    /// Mean over spots: variance by their scatter; `None` with a single spot.
    pub spots: Option<Vec<f64>>,
    /// Degrees of freedom of `spots`.
    pub spots_dof: f64,
    /// Error of the echoes that all seats share.
    pub echo: Vec<f64>,
    /// Echoes of an unknown gap.
    pub unknown: Vec<f64>,
    pub noise: Vec<f64>,
    /// Placement of a single spot.
    pub placement: f64,
    /// By how much the loss moves under other assumptions, dB.
    pub moves_db: Vec<(Assumption, Vec<f64>)>,
    /// Direct minus in-room loss, dB (below 500 Hz only).
    pub room_difference_db: Vec<f64>,
}

impl SeatScatter {
    /// Computes the terms of one seat.
    pub fn new(
        manifest: &Manifest,
        transfers: &Transfers,
        seat: &SeatTransmission,
        passage: &SeatPassage,
        values: &SeatValues,
    ) -> Self {
        let n_bands = transfers.bands.len();
        let mut scatter = Self {
            spots: spots_variance(transfers, seat, values),
            spots_dof: seat.spots.iter().sum::<usize>().saturating_sub(2) as f64,
            echo: vec![0.0; n_bands],
            unknown: vec![0.0; n_bands],
            noise: vec![0.0; n_bands],
            placement: placement_variance(manifest, seat),
            moves_db: values
                .others_db
                .iter()
                .map(|(a, o)| (*a, o.iter().zip(&values.direct_db).map(|(o, d)| o - d).collect()))
                .collect(),
            room_difference_db: (0..n_bands)
                .map(|b| values.direct_db[b] - values.in_room_db[b])
                .collect(),
        };
        for (b, band) in transfers.bands.iter().enumerate() {
            let direct = passage.own_power[b];
            let total = 10f64.powf(-values.direct_db[b] / 10.0);
            let to_db = DB_PER_POWER / total;
            // An echo's cross product with the direct sound averages out over a band that is
            // wide against the ripple of its lag.
            let coherence = |lag_s: f64| {
                1.0 / (1.0 + 2.0 * (std::f64::consts::PI * band.width_hz() * lag_s).powi(2))
            };
            scatter.noise[b] = noise_variance(seat, band.width_hz(), b);
            let Some(round_trip_s) = seat.timing.round_trip_s else {
                scatter.unknown[b] = unknown_gap_variance(values.direct_db[b], band.width_hz());
                continue;
            };
            if transfers.gap_was_found {
                let unknown = unknown_gap_variance(values.direct_db[b], band.width_hz());
                scatter.unknown[b] = FOUND_GAP_SHARE * unknown;
            }
            let error = passage.echo_error[b];
            let lag_s = passage.first_order as f64 * round_trip_s;
            scatter.echo[b] = to_db.powi(2) * error * (2.0 * direct * coherence(lag_s) + error);
        }
        scatter
    }
}

/// Variance between the spots of a seat, band by band, dB^2; `None` with a single one in a condition.
fn spots_variance(
    transfers: &Transfers,
    seat: &SeatTransmission,
    values: &SeatValues,
) -> Option<Vec<f64>> {
    let of_band = |(b, band): (usize, &ThirdOctave)| {
        if band.exact_hz() < DIRECT_FROM_HZ {
            room_variance(&seat.room_without, b) + room_variance(&seat.room_with, b)
        } else {
            let of = |takes: &[Vec<f64>]| variance_of_mean(takes.iter().map(|t| t[b]));
            of(&values.by_with_db) + of(&values.by_without_db)
        }
    };
    let several = seat.spots.iter().all(|&n| n > 1);
    several.then(|| transfers.bands.iter().enumerate().map(of_band).collect())
}

/// Without a stated gap the first echo may stand anywhere: a sheet that loses `loss_db`
/// sends back at most the rest of the power, and a loudspeaker front returns about half
/// of that; over gaps of 0.04 to 0.3 m the ripple averages out over wide bands.
fn unknown_gap_variance(loss_db: f64, width_hz: f64) -> f64 {
    let through = 10f64.powf(-loss_db.max(0.0) / 20.0);
    let reflected = (1.0 - through).powi(2);
    let echo = 0.5 * reflected;
    let typical_lag_s = 0.0006;
    let coherence = 1.0 / (1.0 + 2.0 * (std::f64::consts::PI * width_hz * typical_lag_s).powi(2));
    DB_PER_POWER.powi(2) * (2.0 * echo * coherence + echo.powi(2))
}

/// Noise in the direct window against the direct sound, both conditions.
fn noise_variance(seat: &SeatTransmission, width_hz: f64, band: usize) -> f64 {
    // Independent values of a band in a window: twice bandwidth times length, at least one.
    let independent = (2.0 * width_hz * seat.timing.end_s).max(1.0);
    let takes = seat.takes[0].min(seat.takes[1]) as f64;
    (2.0 * DB_PER_POWER).powi(2) * 2.0 * seat.noise_ratio[band] / independent / takes
}

/// Level change by a microphone that goes back to its mark within a tolerance (uniform).
fn placement_variance(manifest: &Manifest, seat: &SeatTransmission) -> f64 {
    let distance_m =
        manifest.seat[seat.seat].position_m.map_or(3.0, |[x, y, _]| x.hypot(y).max(0.3));
    let u_m = manifest.session.placement_tolerance_mm / 1000.0 / 3f64.sqrt();
    let fewest = seat.spots[0].min(seat.spots[1]).max(1) as f64;
    2.0 * (2.0 * DB_PER_POWER * u_m / distance_m).powi(2) / fewest
}

/// Variance of the mean level of one condition over its spots, dB^2.
fn room_variance(rows: &[[Vec<f64>; 2]], band: usize) -> f64 {
    variance_of_mean(rows.iter().map(|[p, _]| 10.0 * p[band].log10()))
}

fn variance_of_mean(values: impl Iterator<Item = f64>) -> f64 {
    let values: Vec<f64> = values.collect();
    let n = values.len() as f64;
    let mean = values.iter().sum::<f64>() / n;
    values.iter().map(|x| (x - mean).powi(2)).sum::<f64>() / (n - 1.0) / n
}

/// Scatter of all seats: what is pooled over them.
pub struct SessionScatter<'a> {
    transfers: &'a Transfers,
    seats: &'a [SeatScatter],
    pooled_spots: Option<Vec<f64>>,
    pooled_dof: f64,
    /// Squared change of the loss under each other assumption, mean over seats.
    pooled_moves: Vec<Vec<f64>>,
    room_step: Vec<f64>,
}

impl<'a> SessionScatter<'a> {
    /// Pools the scatter of spots over seats and neighbouring bands.
    pub fn new(transfers: &'a Transfers, seats: &'a [SeatScatter]) -> Self {
        let n_bands = transfers.bands.len();
        let scattered: Vec<&Vec<f64>> = seats.iter().filter_map(|s| s.spots.as_ref()).collect();
        let mean = |b: usize| scattered.iter().map(|s| s[b]).sum::<f64>() / scattered.len() as f64;
        let pooled_spots = (!scattered.is_empty())
            .then(|| smooth_bands(&(0..n_bands).map(mean).collect::<Vec<_>>()));
        let pooled_dof = seats.iter().filter(|s| s.spots.is_some()).map(|s| s.spots_dof).sum();
        let room_step = smooth_bands(
            &(0..n_bands)
                .map(|b| {
                    let squares: f64 = seats.iter().map(|s| s.room_difference_db[b].powi(2)).sum();
                    squares / seats.len().max(1) as f64
                })
                .collect::<Vec<_>>(),
        );
        let n_others = seats.iter().map(|s| s.moves_db.len()).min().unwrap_or(0);
        let pooled_moves = (0..n_others)
            .map(|i| {
                let squares = |b: usize| seats.iter().map(move |s| s.moves_db[i].1[b].powi(2));
                (0..n_bands).map(|b| squares(b).sum::<f64>() / seats.len() as f64).collect()
            })
            .collect();
        Self { transfers, seats, pooled_spots, pooled_dof, pooled_moves, room_step }
    }

    /// Weighted terms of every seat and band.
    pub fn budget(&self) -> Budget {
        let seats = self
            .seats
            .iter()
            .map(|seat| (0..self.transfers.bands.len()).map(|b| self.combine(seat, b)).collect())
            .collect();
        Budget { seats }
    }

    fn combine(&self, seat: &SeatScatter, b: usize) -> Combined {
        let mut combined = Combined::default();
        let low = self.transfers.bands[b].exact_hz() < DIRECT_FROM_HZ;
        let own = seat.spots.as_ref().map(|s| smooth_bands(s)[b]);
        let spots = match (own, &self.pooled_spots) {
            (Some(own), Some(pooled)) => Some(OWN_SHARE * own + (1.0 - OWN_SHARE) * pooled[b]),
            _ => None,
        };
        // Three neighbouring bands and all seats share the estimate, half of it.
        let spots_dof = 1.5 * (seat.spots_dof + self.pooled_dof);
        if low {
            match spots {
                Some(v) => combined.push(Term::Spots, (LOW_SPOTS * v).sqrt(), spots_dof, false),
                None => combined.push(Term::Spots, LOW_ONE_SPOT_DB, MODEL_DOF, false),
            }
            combined.push(Term::Window, LOW_WINDOW_DB, MODEL_DOF, true);
            let room = (LOW_ROOM * self.room_step[b]).sqrt();
            combined.push(Term::Room, room, MODEL_DOF, false);
            return combined;
        }
        let w = if spots.is_some() { WEIGHTS } else { WEIGHTS_SINGLE };
        match spots {
            Some(v) => combined.push(Term::Spots, (w.spots * v).sqrt(), spots_dof, false),
            None => combined.push(
                Term::Placement,
                (w.placement * seat.placement).sqrt(),
                MODEL_DOF,
                false,
            ),
        }
        let near = |x: &[f64]| smooth_bands(x)[b];
        combined.push(Term::Echo, (w.echo * near(&seat.echo)).sqrt(), MODEL_DOF, true);
        combined.push(Term::Model, self.model_variance(seat, &w, b).sqrt(), MODEL_DOF, true);
        combined.push(
            Term::UnknownGap,
            (w.unknown_gap * near(&seat.unknown)).sqrt(),
            MODEL_DOF,
            true,
        );
        combined.push(Term::Window, w.window_db, MODEL_DOF, true);
        combined.push(Term::Noise, (w.noise * seat.noise[b]).sqrt(), MODEL_DOF, false);
        combined
    }

    /// How far the loss hangs on what the fit assumes.
    fn model_variance(&self, seat: &SeatScatter, weights: &Weights, b: usize) -> f64 {
        let of = |pooled: &Vec<f64>, (assumption, own): &(Assumption, Vec<f64>)| {
            let weight = match assumption {
                Assumption::FreeRoom => weights.free_room,
                Assumption::RoomCountsMore => weights.room_counts_more,
                Assumption::FewerRows => weights.fewer_rows,
            };
            let both: Vec<f64> = pooled
                .iter()
                .zip(own)
                .map(|(p, o)| OWN_SHARE * o.powi(2) + (1.0 - OWN_SHARE) * p)
                .collect();
            weight * smooth_bands(&both)[b]
        };
        self.pooled_moves.iter().zip(&seat.moves_db).map(|(p, own)| of(p, own)).sum()
    }
}
