//! The whole session: every take to its response, every seat to its transmission.

use super::deconvolve::{Deconvolver, fast_length};
use super::drift::{DriftDifference, TakeDrift, drift_difference, drift_warp};
use super::seat::{SeatPlan, SeatTransmission, transmit};
use super::spots::spot_responses;
use super::take::{TakePlan, TakeResponse};
use crate::air::speed_of_sound_m_s;
use crate::ingest::error::IngestError;
use crate::ingest::manifest::{Condition, Manifest, PerCondition, SoundSource};
use crate::ingest::session::{Recording, Session, Take};
use crate::units::ThirdOctave;
use rayon::prelude::*;
use realfft::num_complex::Complex;
use std::collections::HashMap;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::{Arc, Mutex};

/// Why a session cannot be measured although its files are in order.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum TransferError {
    /// A file could not be used.
    #[error(transparent)]
    Ingest(#[from] IngestError),
    /// No direct sound in a recording.
    #[error(
        "{file} (seat {seat}): no sweep can be found in this recording; \
         expected the played signal, found none of it. Record this take again"
    )]
    NoSweep {
        /// File of the take.
        file: String,
        /// Seat id.
        seat: String,
    },
}

/// Responses and transmissions of a session.
pub struct Transfers {
    /// Third-octave bands of all per-band values.
    pub bands: Vec<ThirdOctave>,
    /// Mid-bands of the fine curve, Hz.
    pub fine_hz: Vec<f64>,
    /// Plans for spectra of taps.
    pub plan: SeatPlan,
    /// What each take said of itself, in the order of the session's takes.
    pub takes: Vec<TakeResponse>,
    /// Seats with both conditions, in the order of the manifest.
    pub seats: Vec<SeatTransmission>,
    /// The same for `corrected` against `without`, where such takes exist.
    pub corrected: Vec<SeatTransmission>,
    /// The same for the control loudspeaker (no screen in its way).
    pub control: Vec<SeatTransmission>,
    /// Difference of clock drift, with less without; where it stands out it was removed.
    pub drift_difference: Option<DriftDifference>,
    /// What the sweep covers and the sampling rate carries, Hz.
    pub band_hz: [f64; 2],
    /// Speed of sound used, m/s.
    pub speed_m_s: f64,
    /// Whether the gap that places the echoes was found in the takes, not stated.
    pub gap_was_found: bool,
}

impl Transfers {
    /// Takes a change of gain between the conditions out of all takes of the main loudspeaker that
    /// were made with the screen; `step_db` positive = they are softer.
    ///
    /// Before anything is fitted: what a sheet throws back follows from what it passes, and that
    /// must not hold a gain.
    pub fn take_out_step(&mut self, step_db: f64) {
        let (power, pressure) = (10f64.powf(step_db / 10.0), 10f64.powf(step_db / 20.0));
        for seat in self.seats.iter_mut().chain(&mut self.corrected) {
            seat.pairs.iter_mut().flat_map(|p| &mut p.with).for_each(|x| *x *= pressure);
            seat.ratio.iter_mut().for_each(|x| *x *= pressure);
            seat.room_with.iter_mut().flatten().flatten().for_each(|x| *x *= power);
        }
    }

    /// Places the echoes of the sheet by a gap that was found in the takes, m.
    pub fn place_gap(&mut self, manifest: &Manifest, gap_m: f64) {
        for seat in self.seats.iter_mut().chain(&mut self.corrected) {
            let cosine = manifest.seat_cosine(seat.seat);
            seat.timing.round_trip_s = Some(2.0 * gap_m * cosine / self.speed_m_s);
        }
        self.gap_was_found = true;
    }
}

/// Reads the recording of a take, by its index in the session.
pub type ReadTake<'a> = dyn Fn(usize) -> Result<Recording, IngestError> + Sync + 'a;

/// Responds to every take and pairs them seat by seat, all of them used: for studies. What comes
/// from outside goes through `judge` between the two steps.
///
/// `read` gives a take's recording (from disk, or from memory in simulations); `gap_m` places the echoes (normally the stated gap). `tick` is called once for every
/// finished take, from any thread.
///
/// # Errors
/// [`TransferError`] names the file and the seat.
pub fn measure(
    session: &Session,
    read: &ReadTake,
    gap_m: Option<f64>,
    tick: &(dyn Fn() + Sync),
) -> Result<Transfers, TransferError> {
    let responder = Responder::new(session);
    let responses = all_or_first_fault(session.takes.len(), |index| {
        let response = responder.again(index, 0.0, read);
        tick();
        response
    })?;
    responder.pair_up(responses, read, gap_m)
}

/// From recordings to responses, and from the responses that are used to pairs.
pub struct Responder<'a> {
    session: &'a Session,
    plan: TakePlan,
    deconvolvers: Deconvolvers<'a>,
}

impl<'a> Responder<'a> {
    /// Plans for the takes of one session.
    pub fn new(session: &'a Session) -> Self {
        let plan = TakePlan::new(&session.sweep);
        Self { session, plan, deconvolvers: Deconvolvers::new(session) }
    }

    /// Third-octave bands of the powers.
    pub fn bands(&self) -> &[ThirdOctave] {
        &self.plan.bands
    }

    /// Response of the take with this index, whose recorder's clock is `eps` too fast; `None` where
    /// no sound is found.
    pub fn respond(&self, index: usize, recording: Recording, eps: f64) -> Option<TakeResponse> {
        let sweep = &self.session.sweep;
        let deconvolver = self.deconvolvers.for_recording(&recording);
        let warp = sweep
            .rate_constant_s
            .filter(|_| eps != 0.0)
            .map(|l| drift_warp(eps, l, sweep.band_hz[0]));
        let warp = warp.as_ref().map(|warp| warp as &dyn Fn(f64) -> Complex<f64>);
        self.plan.respond(index, recording, &deconvolver, warp)
    }

    /// The same of a take that is read for it.
    fn again(
        &self,
        index: usize,
        eps: f64,
        read: &ReadTake,
    ) -> Result<TakeResponse, TransferError> {
        let response = self.respond(index, read(index)?, eps);
        response.ok_or_else(|| no_sweep(self.session, &self.session.takes[index]))
    }

    /// Pairs responses seat by seat, after a difference of the clocks has been taken out, for which
    /// takes are read again.
    ///
    /// # Errors
    /// [`TransferError`] names the file and the seat.
    pub fn pair_up(
        &self,
        mut responses: Vec<TakeResponse>,
        read: &ReadTake,
        gap_m: Option<f64>,
    ) -> Result<Transfers, TransferError> {
        let Self { session, plan, .. } = self;
        let respond = |index: usize, eps: f64| self.again(index, eps, read);
        let drift = remove_drift(session, &mut responses, &respond)?;
        let speed_m_s = speed_of_sound(session);
        let [low_hz, high_hz] = session.sweep.band_hz;
        let seat_plan = SeatPlan::new(f64::from(session.sweep.rate_hz), &plan.bands, &plan.fine_hz);
        let pair = |condition: Condition, source: SoundSource| -> Vec<SeatTransmission> {
            (0..session.manifest.seat.len())
                .into_par_iter()
                .filter_map(|seat| {
                    let spots = |condition| {
                        spot_responses(plan, session, &responses, seat, condition, source)
                    };
                    let (without, with) = (spots(Condition::Without), spots(condition));
                    let cosine = session.manifest.seat_cosine(seat);
                    let round_trip_s = gap_m
                        .filter(|_| source == SoundSource::Centre)
                        .map(|gap| 2.0 * gap * cosine / speed_m_s);
                    transmit(&seat_plan, &plan.early, seat, &without, &with, round_trip_s)
                })
                .collect()
        };
        let seats = pair(Condition::With, SoundSource::Centre);
        let corrected = pair(Condition::Corrected, SoundSource::Centre);
        let control = pair(Condition::With, SoundSource::Control);
        Ok(Transfers {
            bands: plan.bands.clone(),
            fine_hz: plan.fine_hz.clone(),
            plan: seat_plan,
            takes: responses,
            seats,
            corrected,
            control,
            drift_difference: drift,
            band_hz: [low_hz, high_hz.min(0.45 * f64::from(session.sweep.rate_hz))],
            speed_m_s,
            gap_was_found: false,
        })
    }
}

/// Speed of sound at the session's temperature, 20 degrees Celsius where none is stated.
fn speed_of_sound(session: &Session) -> f64 {
    let celsius = match session.manifest.session.temperature_c {
        Some(PerCondition::One(t)) => t,
        Some(PerCondition::Each(t)) => t.with,
        None => 20.0,
    };
    speed_of_sound_m_s(celsius)
}

fn no_sweep(session: &Session, take: &Take) -> TransferError {
    TransferError::NoSweep {
        file: take.file.display().to_string(),
        seat: session.manifest.seat[take.seat].id.clone(),
    }
}

/// Plans by transform length, made when first needed.
struct Deconvolvers<'a> {
    session: &'a Session,
    by_length: Mutex<HashMap<usize, Arc<Deconvolver>>>,
}

impl<'a> Deconvolvers<'a> {
    fn new(session: &'a Session) -> Self {
        Self { session, by_length: Mutex::new(HashMap::new()) }
    }

    fn for_recording(&self, recording: &Recording) -> Arc<Deconvolver> {
        let n = fast_length(recording.mic.len().max(self.session.sweep.samples.len()));
        // A panic elsewhere leaves the map whole: every insertion is one step.
        let mut plans = self.by_length.lock().unwrap_or_else(|poisoned| poisoned.into_inner());
        plans.entry(n).or_insert_with(|| Arc::new(Deconvolver::new(&self.session.sweep, n))).clone()
    }
}

/// What `work` makes of `0..n`, in parallel and in this order. Of several faults the one with the
/// smallest index is told, not the one that came first by the clock: the same session gets the
/// same answer. What comes after a fault is left out as far as it has not begun.
fn all_or_first_fault<T: Send, E: Send>(
    n: usize,
    work: impl Fn(usize) -> Result<T, E> + Sync,
) -> Result<Vec<T>, E> {
    let first_fault = AtomicUsize::new(usize::MAX);
    let made: Vec<Option<Result<T, E>>> = (0..n)
        .into_par_iter()
        .map(|index| {
            if index > first_fault.load(Ordering::Relaxed) {
                return None;
            }
            let made = work(index);
            if made.is_err() {
                first_fault.fetch_min(index, Ordering::Relaxed);
            }
            Some(made)
        })
        .collect();
    // Nothing before the first fault was left out.
    made.into_iter().flatten().collect()
}

/// Takes a difference in clock drift between the conditions out of all takes with the screen.
fn remove_drift(
    session: &Session,
    responses: &mut [TakeResponse],
    respond: &(dyn Fn(usize, f64) -> Result<TakeResponse, TransferError> + Sync),
) -> Result<Option<DriftDifference>, TransferError> {
    let of = |responses: &[TakeResponse], condition: Condition| -> Vec<TakeDrift> {
        responses
            .iter()
            .filter(|r| session.takes[r.take].condition == condition)
            .filter_map(|r| Some(TakeDrift { seat: session.takes[r.take].seat, ppm: r.drift_ppm? }))
            .collect()
    };
    // Only an exponential sweep shows drift.
    let Some(rate_constant_s) = session.sweep.rate_constant_s else { return Ok(None) };
    let without = of(responses, Condition::Without);
    let mut reported = None;
    for condition in [Condition::With, Condition::Corrected] {
        let found = drift_difference(&without, &of(responses, condition), rate_constant_s);
        if let Some(DriftDifference { ppm, stands_out: true }) = found {
            let drifted: Vec<&mut TakeResponse> = responses
                .iter_mut()
                .filter(|r| session.takes[r.take].condition == condition)
                .collect();
            let takes: Vec<usize> = drifted.iter().map(|r| r.take).collect();
            let without_drift = all_or_first_fault(takes.len(), |i| respond(takes[i], ppm * 1e-6))?;
            for (old, new) in drifted.into_iter().zip(without_drift) {
                *old = TakeResponse { drift_ppm: old.drift_ppm, ..new };
            }
        }
        if condition == Condition::With {
            reported = found;
        }
    }
    Ok(reported)
}

#[cfg(test)]
mod tests;
