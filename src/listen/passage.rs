//! What passes to a seat, as gain and phase over frequency.
//!
//! From 450 Hz up it is the fit itself: magnitude *and* phase of the sheet's transmission with its
//! echoes between sheet and loudspeaker, mean over the pairs of takes. Below it is the loss of
//! everything that reaches the seat, on the 1/24-octave grid, with the minimum phase that goes with
//! it. What the fit's phase has beyond the minimum phase of the whole is taken over from 700 Hz
//! up and comes in from 400 Hz on; a pure delay is taken out of it, since the fit aligns takes and
//! tells no delay. Outside of the bands that hold a loss the gain of the nearest such band is held.

use super::ListenError;
use super::bands::fit_bands;
use crate::analysis::direct_from::DIRECT_FROM_HZ;
use crate::analysis::passage::seat_passage;
use crate::analysis::sheet::air::Air;
use crate::analysis::sheet::models::Hanging;
use crate::chain::Analyzed;
use crate::ingest::session::Session;
use crate::report::result::SessionResult;
use crate::transfer::fft::RealFft;
use crate::transfer::seat::SeatPlan;
use crate::units::ThirdOctave;
use realfft::num_complex::Complex;
use std::f64::consts::TAU;

/// The fit's magnitude takes over from the loss in the room between these, Hz; the loss table
/// changes at the upper one.
const JOINED_HZ: [f64; 2] = [380.0, DIRECT_FROM_HZ];
/// The fit's own phase comes in between these, Hz.
const OWN_PHASE_HZ: [f64; 2] = [400.0, 700.0];
/// A delay of the fit is told between these, Hz.
const DELAY_HZ: [f64; 2] = [1000.0, 8000.0];
/// Beyond the edge of the valid bands the gain goes over to the one that is held in so many
/// octaves.
const EDGE_OCT: f64 = 1.0 / 12.0;
/// So many times finer than the fit's spectra is the grid of a passage: 1.5 Hz.
const FINER: usize = 4;

/// Gain and phase of all that passes, on a grid from 0 Hz.
#[derive(Debug, Clone)]
pub struct Passage {
    /// Step of the grid, Hz.
    pub(super) step_hz: f64,
    /// Gain, dB: a loss is negative here.
    pub(super) gain_db: Vec<f64>,
    /// What the phase has beyond the minimum phase, as numbers of modulus 1.
    pub(super) excess: Vec<Complex<f64>>,
    /// Edges of the bands that hold a loss, lowest and highest, Hz; beyond them it is held.
    pub valid_hz: [f64; 2],
    /// By how much the gain was moved in each band, so that pink noise loses there what the table
    /// says, dB; empty where there is no table.
    pub moved: Vec<(ThirdOctave, f64)>,
    /// Whether it is from theory, not from takes.
    pub predicted: bool,
}

/// What is measured at one seat, before it is put together.
struct Measured<'a> {
    /// Bands that hold a loss, with it, dB.
    bands: Vec<(ThirdOctave, f64)>,
    /// Loss on the fine grid: frequency, Hz, and dB.
    fine: Vec<(f64, f64)>,
    /// The fit's spectrum, and the power that goes with it unseen.
    total: &'a [Complex<f64>],
    unresolved: &'a [f64],
    step_hz: f64,
}

impl Passage {
    /// What was measured at a seat.
    ///
    /// # Errors
    /// [`ListenError::Seat`] names the seat, and those that can be used.
    pub fn measured(
        session: &Session,
        analyzed: &Analyzed,
        seat: &str,
    ) -> Result<Self, ListenError> {
        let Analyzed { result, transfers, joint } = analyzed;
        let ids = &session.manifest.seat;
        let at = transfers.seats.iter().position(|s| ids[s.seat].id == seat);
        let refuse = || no_such_seat(session, result, seat);
        let at = at.ok_or_else(refuse)?;
        let (plan, backing) = (&transfers.plan, session.manifest.screen.backing);
        let passed = seat_passage(plan, &transfers.seats[at], joint, at, backing);
        let measured = Measured {
            bands: band_losses(result, seat),
            fine: fine_losses(result, seat),
            total: &passed.total,
            unresolved: &passed.unresolved,
            step_hz: plan.step_hz(),
        };
        measured.put_together(plan).ok_or_else(refuse)
    }

    /// What theory says of a described sheet; its phase is the minimum phase, as it is for thin
    /// sheets and echoes weaker than what they come from.
    pub fn predicted(sheet: &Hanging, cos_theta: f64, air: &Air) -> Self {
        let gain_db = |hz: f64| -sheet.loss(hz, cos_theta, air).0;
        Self { predicted: true, ..Self::from_gain(&gain_db) }
    }

    /// A gain over frequency, dB, with its minimum phase; asked for from 20 Hz to 40 kHz and held
    /// beyond.
    pub fn from_gain(gain_db: &dyn Fn(f64) -> f64) -> Self {
        const STEP_HZ: f64 = 2.0;
        const LOWEST_HZ: f64 = 20.0;
        let gain_db: Vec<f64> =
            (0..=20_000).map(|k| gain_db((f64::from(k) * STEP_HZ).max(LOWEST_HZ))).collect();
        Self {
            step_hz: STEP_HZ,
            excess: vec![Complex::new(1.0, 0.0); gain_db.len()],
            valid_hz: [LOWEST_HZ, STEP_HZ * (gain_db.len() - 1) as f64],
            gain_db,
            moved: Vec::new(),
            predicted: false,
        }
    }

    /// By how much the gain was moved at most, dB, in the bands where the fit itself is heard, or
    /// below them.
    pub fn most_moved_db(&self, direct: bool) -> f64 {
        let there = |band: &ThirdOctave| (band.exact_hz() > DIRECT_FROM_HZ) == direct;
        let moved = self.moved.iter().filter(|(band, _)| there(band));
        moved.fold(0.0, |most, (_, db)| most.max(db.abs()))
    }

    /// Gain at a frequency, dB; beyond the grid its last value.
    pub fn gain_db(&self, hz: f64) -> f64 {
        let (i, part) = place(hz / self.step_hz, self.gain_db.len());
        self.gain_db[i] + part * (self.gain_db[i + 1] - self.gain_db[i])
    }

    /// Phase beyond the minimum phase, as a number of modulus 1.
    pub(super) fn excess(&self, hz: f64) -> Complex<f64> {
        let (i, part) = place(hz / self.step_hz, self.excess.len());
        unit(self.excess[i] * (1.0 - part) + self.excess[i + 1] * part)
    }
}

/// Cell of a grid of `n` values that holds a position, and the part of the way through it.
fn place(position: f64, n: usize) -> (usize, f64) {
    let position = position.clamp(0.0, (n - 1) as f64);
    let i = (position as usize).min(n - 2);
    (i, position - i as f64)
}

/// A number brought to modulus 1; 1 where it is nothing.
fn unit(x: Complex<f64>) -> Complex<f64> {
    if x.norm() > 1e-12 { x / x.norm() } else { Complex::new(1.0, 0.0) }
}

/// 0 below the first frequency, 1 above the second, smooth between in log frequency.
fn rise(hz: f64, [from, to]: [f64; 2]) -> f64 {
    let part = ((hz.max(1e-3) / from).ln() / (to / from).ln()).clamp(0.0, 1.0);
    part * part * (3.0 - 2.0 * part)
}

/// Value at `hz` of points in the order of frequency, linear in log frequency, held at the ends.
fn between(points: &[(f64, f64)], hz: f64) -> f64 {
    let above = points.partition_point(|(f, _)| *f < hz);
    match (above.checked_sub(1).map(|i| points[i]), points.get(above)) {
        (Some((f0, y0)), Some((f1, y1))) => y0 + (y1 - y0) * (hz / f0).ln() / (f1 / f0).ln(),
        (Some((_, y)), None) => y,
        (None, Some((_, y))) => *y,
        (None, None) => 0.0,
    }
}

impl Measured<'_> {
    /// `None` where no band holds a loss or the fit has no value.
    fn put_together(&self, plan: &SeatPlan) -> Option<Passage> {
        let (first, last) = (self.bands.first()?, self.bands.last()?);
        let valid_hz = [first.0.lower_hz(), last.0.upper_hz()];
        let n = FINER * (plan.fft.n_bins() - 1) + 1;
        let step_hz = self.step_hz / FINER as f64;
        let mut gain_db: Vec<f64> = (0..n).map(|k| self.gain_at(k as f64 * step_hz)).collect();
        if !gain_db.iter().all(|g| g.is_finite()) {
            return None;
        }
        let moved = fit_bands(&mut gain_db, step_hz, &self.bands);
        let excess = self.excess(&gain_db, valid_hz);
        Some(Passage { step_hz, gain_db, excess, valid_hz, moved, predicted: false })
    }

    /// Gain at a frequency, dB: what was measured inside valid bands, held outside.
    fn gain_at(&self, hz: f64) -> f64 {
        let hz = hz.max(1.0);
        // The nearest frequency that lies in a valid band, and how far away it is.
        let (near, away_oct) = self
            .bands
            .iter()
            .map(|(band, _)| hz.clamp(band.lower_hz(), band.upper_hz()))
            .map(|near| (near, (hz / near).log2().abs()))
            .min_by(|a, b| a.1.total_cmp(&b.1))
            .unwrap_or((hz, 0.0));
        let inside = (1.0 - away_oct / EDGE_OCT).max(0.0);
        let mids: Vec<(f64, f64)> = self.bands.iter().map(|(b, l)| (b.exact_hz(), -l)).collect();
        let held = if inside < 1.0 { between(&mids, hz) } else { 0.0 };
        let measured = if inside > 0.0 { self.measured_at(near) } else { 0.0 };
        inside * measured + (1.0 - inside) * held
    }

    fn measured_at(&self, hz: f64) -> f64 {
        let direct = rise(hz, JOINED_HZ);
        let room = if direct < 1.0 { -between(&self.fine, hz.min(JOINED_HZ[1])) } else { 0.0 };
        let own = if direct > 0.0 { self.direct_db(hz) } else { 0.0 };
        direct * own + (1.0 - direct) * room
    }

    /// Gain of the direct sound as the loss table has it, dB.
    fn direct_db(&self, hz: f64) -> f64 {
        let (i, part) = place(hz / self.step_hz, self.total.len());
        let db = |k: usize| {
            let more = self.unresolved.get(k).copied().unwrap_or(0.0);
            10.0 * (self.total[k].norm_sqr() + more).log10()
        };
        db(i) + part * (db(i + 1) - db(i))
    }

    /// What the fit's phase has beyond the minimum phase of `gain_db`, without its delay.
    fn excess(&self, gain_db: &[f64], valid_hz: [f64; 2]) -> Vec<Complex<f64>> {
        let phase = minimum_phase(gain_db);
        let mut coarse: Vec<Complex<f64>> = self
            .total
            .iter()
            .enumerate()
            .map(|(k, t)| unit(t * Complex::cis(-phase[k * FINER])))
            .collect();
        let delay_s = delay_s(&coarse, self.step_hz);
        let top_hz = valid_hz[1];
        for (k, e) in coarse.iter_mut().enumerate() {
            let hz = k as f64 * self.step_hz;
            let own = rise(hz, OWN_PHASE_HZ) * (1.0 - rise(hz, [0.9 * top_hz, top_hz]));
            let without_delay = *e * Complex::cis(TAU * hz * delay_s);
            *e = unit(without_delay * own + (1.0 - own));
        }
        (0..gain_db.len())
            .map(|k| {
                let (i, part) = place(k as f64 / FINER as f64, coarse.len());
                unit(coarse[i] * (1.0 - part) + coarse[i + 1] * part)
            })
            .collect()
    }
}

/// Phase, rad, of the minimum-phase filter with this gain, dB, at the bins of a real transform.
pub(super) fn minimum_phase(gain_db: &[f64]) -> Vec<f64> {
    let nepers: Vec<f64> = gain_db.iter().map(|g| g * std::f64::consts::LN_10 / 20.0).collect();
    RealFft::new(2 * (nepers.len() - 1)).minimum_phase(&nepers)
}

/// Delay of an all-pass, s: mean turn from bin to bin.
fn delay_s(excess: &[Complex<f64>], step_hz: f64) -> f64 {
    let [from, to] = DELAY_HZ.map(|hz| (hz / step_hz) as usize);
    let to = to.min(excess.len() - 2);
    let turn: Complex<f64> = (from..to).map(|k| excess[k + 1] * excess[k].conj()).sum();
    -turn.arg() / (TAU * step_hz)
}

/// Bands of a seat that hold a loss, from the finished result, dB.
pub fn band_losses(result: &SessionResult, seat: &str) -> Vec<(ThirdOctave, f64)> {
    let Some(seat) = result.seats.iter().find(|s| s.id == seat) else { return Vec::new() };
    let losses = result.bands.iter().zip(&seat.loss_db);
    losses.filter_map(|(b, loss)| Some((ThirdOctave::nearest(b.exact_hz)?, (*loss)?))).collect()
}

fn fine_losses(result: &SessionResult, seat: &str) -> Vec<(f64, f64)> {
    let Some(seat) = result.curve.seats.iter().find(|s| s.id == seat) else { return Vec::new() };
    let losses = result.curve.frequency_hz.iter().zip(&seat.loss_db);
    losses.filter_map(|(hz, loss)| Some((*hz, (*loss)?))).collect()
}

fn no_such_seat(session: &Session, result: &SessionResult, seat: &str) -> ListenError {
    let heard = |s: &&crate::report::result::SeatResult| s.loss_db.iter().any(Option::is_some);
    let seats: Vec<&str> = result.seats.iter().filter(heard).map(|s| s.id.as_str()).collect();
    ListenError::Seat {
        session: session.manifest.session.title.clone(),
        seat: seat.into(),
        advice: format!("seats with a measured loss: {}", seats.join(", ")),
    }
}
