//! Uncertainty of the loss, term by term (GUM).
//!
//! Every term is a standard uncertainty in dB with degrees of freedom. Terms that each
//! seat draws for itself shrink in the mean over seats; terms that all seats share do not.
//! The size of each term is computed from the session; how far that size falls short of
//! what the estimator really does was calibrated once on simulated sessions with known
//! truth ([`WEIGHTS`]), see the table and its command in `DEVELOPERS.md`.

use super::claims::student_quantile;
use super::loss::{DIRECT_FROM_HZ, Estimate, SeatValues};
use super::passage::{SeatPassage, smooth_bands};
use crate::ingest::session::Session;
use crate::transfer::measure::Transfers;
use crate::transfer::seat::SeatTransmission;
use serde::Serialize;

/// dB per relative change of power.
const DB_PER_POWER: f64 = 4.342_944_819;

/// A line of the budget.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Term {
    /// Scatter between microphone spots.
    Spots,
    /// One spot only: how far the microphone may be off its mark.
    Placement,
    /// Echoes between sheet and loudspeaker: error of their common ratio.
    Echo,
    /// Echoes of an unknown gap.
    UnknownGap,
    /// Response of sheet and echoes that goes on beyond the filter's end.
    Tail,
    /// Short window and ridge of the fit.
    Window,
    /// Noise of recording.
    Noise,
    /// Room's sound below 500 Hz: fields with and without the sheet differ.
    Room,
    /// Level step between conditions, where control takes measured it.
    Level,
}

/// One term at one seat and band.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Contribution {
    /// Which.
    pub term: Term,
    /// Standard uncertainty, dB.
    pub u_db: f64,
    /// Degrees of freedom.
    pub dof: f64,
    /// Whether all seats share it.
    pub common: bool,
}

/// Terms of one figure.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct Combined {
    /// Contributions.
    pub terms: Vec<Contribution>,
}

impl Combined {
    /// Combined standard uncertainty, degrees of freedom (Welch-Satterthwaite, GUM G.4.1)
    /// and expanded uncertainty around `value_db`; `None` where nothing finite results.
    pub fn estimate(&self, value_db: f64) -> Option<Estimate> {
        let squares = |common: Option<bool>| -> f64 {
            self.terms
                .iter()
                .filter(|t| common.is_none_or(|c| c == t.common))
                .map(|t| t.u_db.powi(2))
                .sum()
        };
        let variance = squares(None);
        let inverse: f64 = self.terms.iter().map(|t| t.u_db.powi(4) / t.dof).sum();
        let dof = if inverse > 0.0 { variance.powi(2) / inverse } else { f64::MAX };
        let u_db = variance.sqrt();
        let u95_db = student_quantile(0.975, dof)? * u_db;
        let finite = value_db.is_finite() && u95_db.is_finite();
        finite.then_some(Estimate {
            value_db,
            u_db,
            u_common_db: squares(Some(true)).sqrt(),
            dof: dof.min(1e6),
            u95_db,
        })
    }

    /// Adds a term, unless it is zero.
    pub fn push(&mut self, term: Term, u_db: f64, dof: f64, common: bool) {
        if u_db > 0.0 {
            self.terms.push(Contribution { term, u_db, dof, common });
        }
    }
}

/// Budget of a session: terms for each seat and band.
#[derive(Debug, Clone)]
pub struct Budget {
    seats: Vec<Vec<Combined>>,
}

impl Budget {
    /// Terms at one seat (place in the list of transmissions) and band.
    pub fn seat(&self, at: usize, band: usize) -> &Combined {
        &self.seats[at][band]
    }

    /// Terms of the mean over the seats `which`: independent terms add in power and are
    /// divided by the number of seats, shared ones are averaged.
    pub fn mean(&self, which: &[usize], band: usize) -> Combined {
        let mut combined = Combined::default();
        let n = which.len() as f64;
        let mut seen: Vec<(Term, bool)> = Vec::new();
        for &at in which {
            for t in &self.seats[at][band].terms {
                if !seen.contains(&(t.term, t.common)) {
                    seen.push((t.term, t.common));
                }
            }
        }
        for (term, common) in seen {
            let terms = || {
                which.iter().flat_map(|&at| {
                    self.seats[at][band]
                        .terms
                        .iter()
                        .filter(move |t| (t.term, t.common) == (term, common))
                })
            };
            let (u_db, dof) = if common {
                let mean = terms().map(|t| t.u_db).sum::<f64>() / n;
                (mean, terms().map(|t| t.dof).fold(f64::INFINITY, f64::min))
            } else {
                let variance: f64 = terms().map(|t| t.u_db.powi(2)).sum();
                let fourth: f64 = terms().map(|t| t.u_db.powi(4) / t.dof).sum();
                (variance.sqrt() / n, variance.powi(2) / fourth)
            };
            combined.push(term, u_db, dof, common);
        }
        combined
    }

    /// The same with one more term at every seat and band.
    pub fn with_term(mut self, term: Term, u_db: f64, dof: f64) -> Self {
        for combined in self.seats.iter_mut().flatten() {
            combined.push(term, u_db, dof, true);
        }
        self
    }
}

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
    /// On the response beyond the filter's end.
    pub tail: f64,
    /// On noise.
    pub noise: f64,
    /// On the echoes of an unknown gap.
    pub unknown_gap: f64,
}

/// Calibrated weights with two spots or more ...
pub const WEIGHTS: Weights = Weights {
    window_db: 0.0167,
    spots: 1.5,
    placement: 0.0,
    echo: 4.8,
    tail: 0.02,
    noise: 0.1,
    unknown_gap: 0.28,
};
/// ... and with a single spot.
pub const WEIGHTS_SINGLE: Weights = Weights {
    window_db: 0.0217,
    spots: 0.0,
    placement: 1.2,
    echo: 2.9,
    tail: 0.04,
    noise: 4.0,
    unknown_gap: 0.28,
};

/// What is left of the variance of an unknown gap where the takes tell of it.
const FOUND_GAP_SHARE: f64 = 0.2;

/// Degrees of freedom of terms whose size is judged from models: relative
/// uncertainty of about 30 % (GUM G.4.2).
const MODEL_DOF: f64 = 6.0;
/// Share of a seat's own scatter against the mean over seats.
const OWN_SHARE: f64 = 0.5;

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
    /// Response that goes on beyond the filter's end.
    pub tail: Vec<f64>,
    /// Noise.
    pub noise: Vec<f64>,
    /// Placement of a single spot.
    pub placement: f64,
    /// Direct minus in-room loss, dB (below 500 Hz only).
    pub room_difference_db: Vec<f64>,
}

impl SeatScatter {
    /// Computes the terms of one seat.
    pub fn new(
        session: &Session,
        transfers: &Transfers,
        seat: &SeatTransmission,
        passage: &SeatPassage,
        values: &SeatValues,
    ) -> Self {
        let n_bands = transfers.bands.len();
        let [n_without, n_with] = seat.spots;
        let several = n_without > 1 && n_with > 1;
        let spots = several.then(|| {
            (0..n_bands)
                .map(|b| {
                    if transfers.bands[b].exact_hz() < DIRECT_FROM_HZ {
                        room_variance(&seat.room_without, b) + room_variance(&seat.room_with, b)
                    } else {
                        let of = |takes: &[Vec<f64>]| variance_of_mean(takes.iter().map(|t| t[b]));
                        of(&values.by_with_db) + of(&values.by_without_db)
                    }
                })
                .collect()
        });
        let mut scatter = Self {
            spots,
            spots_dof: (n_without + n_with).saturating_sub(2) as f64,
            echo: vec![0.0; n_bands],
            unknown: vec![0.0; n_bands],
            tail: vec![0.0; n_bands],
            noise: vec![0.0; n_bands],
            placement: placement_variance(session, seat),
            room_difference_db: (0..n_bands)
                .map(|b| values.direct_db[b] - values.in_room_db[b])
                .collect(),
        };
        let tail = &passage.tail_power;
        for (b, band) in transfers.bands.iter().enumerate() {
            let direct = passage.own_power[b];
            let total = 10f64.powf(-values.direct_db[b] / 10.0);
            let to_db = DB_PER_POWER / total;
            // An echo's cross product with the direct sound averages out over a band that is
            // wide against the ripple of its lag.
            let coherence = |lag_s: f64| {
                1.0 / (1.0 + 2.0 * (std::f64::consts::PI * band.width_hz() * lag_s).powi(2))
            };
            scatter.tail[b] = to_db.powi(2) * 2.0 * direct * tail[b] * coherence(seat.timing.end_s);
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
fn placement_variance(session: &Session, seat: &SeatTransmission) -> f64 {
    let distance_m =
        session.manifest.seat[seat.seat].position_m.map_or(3.0, |[x, y, _]| x.hypot(y).max(0.3));
    let u_m = session.manifest.session.placement_tolerance_mm / 1000.0 / 3f64.sqrt();
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
        Self { transfers, seats, pooled_spots, pooled_dof, room_step }
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
                Some(v) => combined.push(Term::Spots, (0.6 * v).sqrt(), spots_dof, false),
                None => combined.push(Term::Spots, 0.08, MODEL_DOF, false),
            }
            combined.push(Term::Window, 0.015, MODEL_DOF, true);
            combined.push(Term::Room, (0.17 * self.room_step[b]).sqrt(), MODEL_DOF, false);
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
        combined.push(Term::Tail, (w.tail * near(&seat.tail)).sqrt(), MODEL_DOF, true);
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
}
