//! The loss per seat and its mean: what every later step and paper reads.

use super::budget::Budget;
use super::direct_from::DIRECT_FROM_HZ;
use super::estimate::Estimate;
use super::joint::{self, Joint, Spectrum};
use super::passage::{SeatPassage, seat_passage};
use super::uncertainty::{SeatScatter, SeatValues, SessionScatter};
use crate::ingest::manifest::{Manifest, SeatInfo};
use crate::transfer::measure::Transfers;
use crate::transfer::seat::SeatTransmission;
use crate::units::ThirdOctave;
use rayon::prelude::*;
use serde::Serialize;

/// Why a band holds no value.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub enum Absence {
    /// The sweep does not cover the band.
    OutsideSweep,
    /// Level above the take's own noise, dB, below the 4 dB of ISO 2969:2015.
    Noise {
        /// Smallest level-to-noise distance of the takes used, dB.
        snr_db: f64,
    },
    /// The seat has no usable take in one condition.
    NoTake,
}

/// Loss at one seat, third-octave bands.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SeatLoss {
    /// Index into `manifest.seat`.
    pub seat: usize,
    /// Seat id.
    pub id: String,
    /// Weight in fits and weighted means.
    pub weight: f64,
    /// Headline loss: direct from 500 Hz up, in the room below.
    pub loss: Vec<Option<Estimate>>,
    /// Loss of everything that reaches the seat, 240 ms, dB.
    pub in_room_db: Vec<Option<f64>>,
    /// Loss of the direct sound, dB.
    pub direct_db: Vec<Option<f64>>,
    /// Why a band is absent.
    pub absent: Vec<Option<Absence>>,
    /// Bands between 4 and 10 dB above noise: corrected, and doubtful.
    pub doubtful: Vec<bool>,
    /// Spots without and with.
    pub spots: [usize; 2],
    /// Loss on the 1/24-octave grid of [`LossTable::fine_hz`], dB.
    pub fine_db: Vec<Option<f64>>,
}

/// Mean over seats (unweighted) and spread, third-octave bands.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct MeanLoss {
    /// Mean loss.
    pub loss: Vec<Option<Estimate>>,
    /// Standard deviation over seats (n-1), dB; absent below two seats.
    pub sd_db: Vec<Option<f64>>,
    /// Largest minus smallest, dB; absent below two seats.
    pub range_db: Vec<Option<f64>>,
    /// Mean on the fine grid, dB.
    pub fine_db: Vec<Option<f64>>,
}

/// Losses of a session.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct LossTable {
    /// Bands of all per-band vectors.
    #[serde(skip)]
    pub bands: Vec<ThirdOctave>,
    /// Mid-bands of all fine vectors, Hz.
    pub fine_hz: Vec<f64>,
    /// Seats in the order of the manifest.
    pub seats: Vec<SeatLoss>,
    /// Mean and spread.
    pub mean: MeanLoss,
}

/// So many bands must lose more than their uncertainty, or no loss is shown.
const BANDS_OF_A_LOSS: usize = 3;

/// Whether a loss is shown from `from_hz` up: three bands or more lose more than their U.
pub fn shows_loss(bands: &[ThirdOctave], loss: &[Option<Estimate>], from_hz: f64) -> bool {
    let high = bands.iter().zip(loss).filter(|(band, _)| band.exact_hz() >= from_hz);
    high.filter_map(|(_, e)| *e).filter(|e| e.value_db > e.u95_db).count() >= BANDS_OF_A_LOSS
}

/// Level above noise from which a band is usable as it is, dB (ISO 2969:2015).
const USABLE_SNR_DB: f64 = 10.0;
/// Level above noise from which it is usable with correction, dB (ISO 2969:2015).
const CORRECTABLE_SNR_DB: f64 = 4.0;

/// Losses of all seats for `seats` (a list of [`Transfers`]: with, corrected or control),
/// with their uncertainty and its budget.
pub fn losses(
    manifest: &Manifest,
    transfers: &Transfers,
    seats: &[SeatTransmission],
) -> (LossTable, Budget) {
    losses_from(manifest, transfers, seats, &joint::fit(&transfers.plan, seats))
}

/// The same from a fit that is there already.
pub fn losses_from(
    manifest: &Manifest,
    transfers: &Transfers,
    seats: &[SeatTransmission],
    joint: &Joint,
) -> (LossTable, Budget) {
    let plan = &transfers.plan;
    let passages: Vec<SeatPassage> = (0..seats.len())
        .into_par_iter()
        .map(|at| seat_passage(plan, &seats[at], joint, at, manifest.screen.backing))
        .collect();
    let measured: Vec<SeatValues> = seats
        .par_iter()
        .zip(&passages)
        .map(|(seat, passage)| measure_seat(transfers, seat, passage))
        .collect();
    let scatter: Vec<SeatScatter> = seats
        .iter()
        .zip(&passages)
        .zip(&measured)
        .map(|((seat, passage), values)| {
            SeatScatter::new(manifest, transfers, seat, passage, values)
        })
        .collect();
    let budget = SessionScatter::new(transfers, &scatter).budget();
    let table = tabulate(manifest, transfers, seats, &measured, &budget);
    (table, budget)
}

fn measure_seat(
    transfers: &Transfers,
    seat: &SeatTransmission,
    passage: &SeatPassage,
) -> SeatValues {
    let plan = &transfers.plan;
    let loss_db = |total: &Spectrum, n: usize| -> Vec<f64> {
        let more = |k: usize| passage.unresolved.get(k).copied().unwrap_or(0.0);
        let power = |band| plan.bins.mean(band, |k| total[k].norm_sqr() + more(k));
        (0..n).map(|band| -10.0 * power(band).log10()).collect()
    };
    let by = |all: &[Spectrum]| all.iter().map(|s| loss_db(s, plan.n_bands)).collect();
    let direct_db = loss_db(&passage.total, plan.bins.len());
    let (by_with_db, by_without_db) = (by(&passage.by_with), by(&passage.by_without));
    let others_db = passage.others.iter().map(|(a, s)| (*a, loss_db(s, plan.n_bands))).collect();
    let in_room_db = (0..plan.bins.len())
        .map(|band| {
            let mean = |rows: &[[Vec<f64>; 2]]| {
                let n = rows.len() as f64;
                let sum: f64 = rows.iter().map(|[p, n]| (p[band] - n[band]).max(0.0)).sum();
                sum / n
            };
            10.0 * (mean(&seat.room_without) / mean(&seat.room_with)).log10()
        })
        .collect();
    SeatValues { direct_db, in_room_db, by_with_db, by_without_db, others_db }
}

/// Position of a frequency among the third-octave bands, 0 = first mid-band.
fn band_position(transfers: &Transfers, hz: f64) -> f64 {
    let first = transfers.bands[0].index() as f64;
    (10.0 * (hz / 1000.0).log10() - first).clamp(0.0, transfers.bands.len() as f64 - 1.0)
}

fn tabulate(
    manifest: &Manifest,
    transfers: &Transfers,
    seats: &[SeatTransmission],
    measured: &[SeatValues],
    budget: &Budget,
) -> LossTable {
    let mut rows = Vec::new();
    for (i, info) in manifest.seat.iter().enumerate() {
        let Some(at) = seats.iter().position(|s| s.seat == i) else {
            rows.push(absent_seat(transfers, i, info));
            continue;
        };
        rows.push(measured_seat(transfers, &seats[at], info, &measured[at], |b, value_db| {
            budget.seat(at, b).estimate(value_db)
        }));
    }
    let mean = mean_loss(&rows, transfers, seats, budget);
    LossTable {
        bands: transfers.bands.clone(),
        fine_hz: transfers.fine_hz.clone(),
        seats: rows,
        mean,
    }
}

fn measured_seat(
    transfers: &Transfers,
    seat: &SeatTransmission,
    info: &SeatInfo,
    values: &SeatValues,
    estimate: impl Fn(usize, f64) -> Option<Estimate>,
) -> SeatLoss {
    let n_bands = transfers.bands.len();
    let [low_hz, top_hz] = transfers.band_hz;
    let absent: Vec<Option<Absence>> = (0..n_bands)
        .map(|b| {
            let band = transfers.bands[b];
            if band.lower_hz() < low_hz * 0.999
                || band.upper_hz() > top_hz * 1.001 && band.exact_hz() * 1.02 > top_hz
            {
                Some(Absence::OutsideSweep)
            } else if seat.snr_db[b].is_nan() || seat.snr_db[b] < CORRECTABLE_SNR_DB {
                Some(Absence::Noise { snr_db: seat.snr_db[b] })
            } else {
                None
            }
        })
        .collect();
    let keep = |b: usize, x: f64| (absent[b].is_none() && x.is_finite()).then_some(x);
    let headline = |b: usize, hz: f64| {
        if hz > DIRECT_FROM_HZ { values.direct_db[b] } else { values.in_room_db[b] }
    };
    let loss = (0..n_bands)
        .map(|b| {
            let value_db = keep(b, headline(b, transfers.bands[b].exact_hz()))?;
            estimate(b, value_db)
        })
        .collect();
    SeatLoss {
        seat: seat.seat,
        id: info.id.clone(),
        weight: info.weight,
        loss,
        in_room_db: (0..n_bands).map(|b| keep(b, values.in_room_db[b])).collect(),
        direct_db: (0..n_bands).map(|b| keep(b, values.direct_db[b])).collect(),
        doubtful: (0..n_bands).map(|b| seat.snr_db[b] < USABLE_SNR_DB).collect(),
        spots: seat.spots,
        fine_db: transfers
            .fine_hz
            .iter()
            .enumerate()
            .map(|(f, &hz)| {
                let nearest = band_position(transfers, hz).round() as usize;
                keep(nearest, headline(n_bands + f, hz))
            })
            .collect(),
        absent,
    }
}

fn absent_seat(transfers: &Transfers, seat: usize, info: &SeatInfo) -> SeatLoss {
    let n = transfers.bands.len();
    SeatLoss {
        seat,
        id: info.id.clone(),
        weight: info.weight,
        loss: vec![None; n],
        in_room_db: vec![None; n],
        direct_db: vec![None; n],
        absent: vec![Some(Absence::NoTake); n],
        doubtful: vec![false; n],
        spots: [0, 0],
        fine_db: vec![None; transfers.fine_hz.len()],
    }
}

/// Mean over the seats that have a value in a band (unweighted: a listener sits in one seat).
fn mean_loss(
    rows: &[SeatLoss],
    transfers: &Transfers,
    seats: &[SeatTransmission],
    budget: &Budget,
) -> MeanLoss {
    let n_bands = transfers.bands.len();
    let mut mean = MeanLoss {
        loss: vec![None; n_bands],
        sd_db: vec![None; n_bands],
        range_db: vec![None; n_bands],
        fine_db: vec![None; transfers.fine_hz.len()],
    };
    let average = |x: &[f64]| x.iter().sum::<f64>() / x.len() as f64;
    for b in 0..n_bands {
        let present: Vec<(usize, f64)> = rows
            .iter()
            .filter_map(|row| {
                let at = seats.iter().position(|s| s.seat == row.seat)?;
                Some((at, row.loss[b]?.value_db))
            })
            .collect();
        if present.is_empty() {
            continue;
        }
        let (which, values): (Vec<usize>, Vec<f64>) = present.into_iter().unzip();
        let centre = average(&values);
        mean.loss[b] = budget.mean(&which, b).estimate(centre);
        if values.len() > 1 {
            let squares: f64 = values.iter().map(|x| (x - centre).powi(2)).sum();
            mean.sd_db[b] = Some((squares / (values.len() - 1) as f64).sqrt());
            let high = values.iter().cloned().fold(f64::MIN, f64::max);
            let low = values.iter().cloned().fold(f64::MAX, f64::min);
            mean.range_db[b] = Some(high - low);
        }
    }
    for f in 0..transfers.fine_hz.len() {
        let values: Vec<f64> = rows.iter().filter_map(|r| r.fine_db[f]).collect();
        if !values.is_empty() {
            mean.fine_db[f] = Some(average(&values));
        }
    }
    mean
}
