//! Door slams, coughs, ticks: sound where neither the sweep nor its decay can be.
//!
//! While an exponential sweep passes one frequency, bands far above it hold only noise (and
//! weak harmonics of low order), and bands below it only what is left of the decay. A burst
//! that fills several of those quiet bands at once did not come from the sweep.
//!
//! A crack is shorter than a frame, and how much of it a frame holds depends on where in the
//! frame it falls. So two neighbours are taken together by amplitude: their windows add up to
//! one everywhere, and a crack counts alike wherever it falls.

use super::noise::{self, BandLevels};
use super::spectrogram::Spectrogram;
use super::track::Course;

/// Bands above this multiple of the momentary frequency are quiet: above the 7th harmonic.
const ABOVE: f64 = 8.0;
/// Bands below this part of the momentary frequency are quiet once decayed.
const BELOW: f64 = 0.5;
/// Between this multiple and `ABOVE` there may be harmonics ...
const BETWEEN: f64 = 1.4;
/// ... which must be drowned before a band there counts, dB below the momentary sweep level.
const HARMONICS_DB: f64 = 25.0;
/// A band counts as decayed once it came this close to its noise, dB.
const DECAYED_DB: f64 = 6.0;
/// Quiet bands must stand this far above what their noise reaches in one frame of a
/// hundred, dB ...
const ABOVE_NOISE_DB: f64 = 9.5;
/// Normal quantile of one in a hundred.
const ONE_IN_HUNDRED: f64 = 2.326;
/// ... and come at least this close to the sweep's own level there, dB: less does no harm.
const BELOW_SWEEP_DB: f64 = 45.0;
/// So many quiet bands must be as loud at once ...
const BANDS_AT_LEAST: usize = 3;
/// ... and the loudest of them, up to so many, are judged by the mean of their decibels.
const BANDS_TOGETHER: usize = 5;
/// Frames with bursts nearer than this are one burst, s.
const SAME_BURST_S: f64 = 0.1;
/// Around the ends of the sweep the switching itself is heard, s.
const ENDS_S: f64 = 0.05;

/// A disturbance in a take.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Burst {
    /// First frame's time, s from the start of the file.
    pub from_s: f64,
    /// Last frame's time, s from the start of the file.
    pub to_s: f64,
    /// How far the loudest quiet bands stood above the noise's own peaks, dB.
    pub excess_db: f64,
    /// How far the third loudest quiet band stood below the sweep's own level in it, dB;
    /// negative = above the sweep's level.
    pub below_sweep_db: f64,
    /// Frequency of the sweep at that moment, Hz; absent outside the sweep.
    pub sweep_hz: Option<f64>,
    /// Whether it came before the sweep.
    pub before_sweep: bool,
}

/// All bursts of a take whose sweep starts at `start_s`.
///
/// Without silence in the take, bands stand for their own noise while the sweep is far below
/// them; a band without either takes no part.
pub fn find(s: &Spectrogram, course: &Course, start_s: f64, levels: &BandLevels) -> Vec<Burst> {
    let ends_s = start_s + course.duration_s();
    let mut listener = Listener::new(s, course, start_s, levels);
    let mut bursts: Vec<Burst> = Vec::new();
    let half = 0.5 * s.frame_s + ENDS_S;
    let at_an_end = |time_s: f64| (time_s - start_s).abs() < half || (time_s - ends_s).abs() < half;
    for frame in 1..s.n_frames {
        let time_s = s.time_s(frame);
        if at_an_end(time_s) || at_an_end(s.time_s(frame - 1)) {
            continue;
        }
        let sweep_hz = (start_s..=ends_s).contains(&time_s).then(|| course.hz_at(time_s - start_s));
        let before_sweep = time_s < start_s;
        let Some([excess_db, below_sweep_db]) = listener.heard(frame, before_sweep, sweep_hz)
        else {
            continue;
        };
        match bursts.last_mut().filter(|last| time_s - last.to_s < SAME_BURST_S) {
            Some(last) => {
                last.to_s = time_s;
                last.below_sweep_db = last.below_sweep_db.min(below_sweep_db);
                if excess_db > last.excess_db {
                    (last.excess_db, last.sweep_hz) = (excess_db, sweep_hz);
                }
            }
            None => bursts.push(Burst {
                from_s: time_s,
                to_s: time_s,
                excess_db,
                below_sweep_db,
                sweep_hz,
                before_sweep,
            }),
        }
    }
    bursts
}

/// What the bands of a take are held against, as linear powers.
struct Listener<'a> {
    s: &'a Spectrogram,
    /// Noise of each band; 0 where it is not known.
    floor: Vec<f64>,
    /// Level of the sweep while it passes each band.
    sweep_power: Vec<Option<f64>>,
    scatter: Vec<f64>,
    /// Bands that the sweep has left and that have decayed since.
    decayed: Vec<bool>,
    decayed_below: f64,
    below_sweep: f64,
    above_harmonics: f64,
}

impl<'a> Listener<'a> {
    fn new(s: &'a Spectrogram, course: &Course, start_s: f64, levels: &BandLevels) -> Self {
        let decibel = |ratio: f64| 10f64.powf(ratio / 10.0);
        let floor = match levels.silent {
            Some(_) => levels.floor.clone(),
            None => floor_under_the_sweep(s, course, start_s),
        };
        // Powers of ten cost more than all the rest: one for each band and each limit.
        Self {
            s,
            floor,
            sweep_power: levels.level_db.iter().map(|level| level.map(decibel)).collect(),
            scatter: chance_scatter(s),
            decayed: vec![false; s.bands.len()],
            decayed_below: decibel(DECAYED_DB),
            below_sweep: decibel(-BELOW_SWEEP_DB),
            above_harmonics: decibel(-HARMONICS_DB - ABOVE_NOISE_DB),
        }
    }

    /// How far the loudest quiet bands of a frame and the one before it stand above their noise,
    /// and the third of them below the sweep, dB; `None` where nothing is heard.
    fn heard(&mut self, frame: usize, before: bool, sweep_hz: Option<f64>) -> Option<[f64; 2]> {
        let s = self.s;
        let passing = sweep_hz.and_then(|hz| self.sweep_power[s.band_of(hz)?]);
        let mut top = [0f64; BANDS_TOGETHER];
        let mut near = [0f64; BANDS_TOGETHER];
        let mut quiet_bands = 0;
        for b in 0..s.bands.len() {
            let floor = if before {
                Some(self.floor[b]).filter(|floor| *floor > 0.0)
            } else {
                self.quiet_floor(frame, b, sweep_hz, passing)
            };
            let (Some(floor), Some(sweep)) = (floor, self.sweep_power[b]) else { continue };
            let least = sweep * self.below_sweep;
            let (before, now) = (s.at(frame - 1, b), s.at(frame, b));
            // The power is at most the larger of both.
            if before <= least && now <= least {
                continue;
            }
            let power = 0.25 * (before + now) + 0.5 * (before * now).sqrt();
            if power > least {
                quiet_bands += 1;
                insert(&mut top, power / (floor * self.scatter[b]));
                insert(&mut near, power / sweep);
            }
        }
        stands_out(&top, &near, quiet_bands)
    }

    /// Noise of a band that the sweep, which is at `sweep_hz` or over, is not heard in; `None` while
    /// it may be, or where the noise is not known. `passing` is the sweep's level at that moment.
    fn quiet_floor(
        &mut self,
        frame: usize,
        band: usize,
        sweep_hz: Option<f64>,
        passing: Option<f64>,
    ) -> Option<f64> {
        let floor = Some(self.floor[band]).filter(|floor| *floor > 0.0)?;
        let [lower_hz, upper_hz] = self.s.edges_hz[band];
        match (sweep_hz, passing) {
            (Some(hz), _) if lower_hz > ABOVE * hz => Some(floor),
            (Some(hz), Some(level)) if lower_hz > BETWEEN * hz => {
                Some(floor.max(level * self.above_harmonics))
            }
            (Some(hz), _) if upper_hz > BELOW * hz => None,
            _ => {
                let decayed = self.decayed[band];
                self.decayed[band] |= self.s.at(frame, band) < floor * self.decayed_below;
                decayed.then_some(floor)
            }
        }
    }
}

/// How far the loudest bands of a frame stand above their noise, and the third of them below the
/// sweep, dB; `None` where too few do or too little.
fn stands_out(
    top: &[f64; BANDS_TOGETHER],
    near: &[f64; BANDS_TOGETHER],
    quiet_bands: usize,
) -> Option<[f64; 2]> {
    // The mean of some bands scatters less than any of them.
    let heard = &top[..quiet_bands.min(BANDS_TOGETHER)];
    if heard.len() < BANDS_AT_LEAST {
        return None;
    }
    let sum_db: f64 = heard.iter().map(|ratio| 10.0 * ratio.max(1e-12).log10()).sum();
    let excess_db = sum_db / heard.len() as f64;
    (excess_db >= ABOVE_NOISE_DB).then(|| [excess_db, -10.0 * near[BANDS_AT_LEAST - 1].log10()])
}

/// How far a single frame of each band may stand above its mean by chance: chi-squared quantile
/// over its mean, after Wilson and Hilferty.
fn chance_scatter(s: &Spectrogram) -> Vec<f64> {
    (0..s.bands.len())
        .map(|b| {
            let spread = 2.0 / (9.0 * s.noise_dof(b));
            (1.0 - spread + ONE_IN_HUNDRED * spread.sqrt()).powi(3)
        })
        .collect()
}

/// Noise of each band while the sweep is far below it; 0 where it never is for long.
fn floor_under_the_sweep(s: &Spectrogram, course: &Course, start_s: f64) -> Vec<f64> {
    let from_s = start_s + ENDS_S + 0.5 * s.frame_s;
    (0..s.bands.len())
        .map(|band| {
            let to_s = start_s + course.passes_s(s.edges_hz[band][0] / ABOVE);
            let frames = (0..s.n_frames).filter(|frame| (from_s..to_s).contains(&s.time_s(*frame)));
            noise::floor(s, band, frames).unwrap_or(0.0)
        })
        .collect()
}

/// Keeps the largest values, in falling order.
fn insert(top: &mut [f64; BANDS_TOGETHER], value: f64) {
    let mut value = value;
    for slot in top.iter_mut() {
        if value > *slot {
            std::mem::swap(slot, &mut value);
        }
    }
}

#[cfg(test)]
mod tests;
