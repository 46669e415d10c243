//! A whole session: every take, the sweep, the manifest, the truth.

use super::drive::Harmonics;
use super::fault;
use super::manifest::manifest_text;
use super::order::{Order, orders_of_seat};
use super::response::{Acoustics, PRE_ROLL, SeatPaths};
use super::room::Image;
use super::scenario::{Equaliser, Scenario};
use super::stream::{Stream, random};
use super::take::{SimulatedTake, peak};
use super::transform::{Transform, smooth_length};
use super::truth::{Truth, truth};
use crate::ingest::manifest::{Condition, SoundSource};
use crate::ingest::takes::{TAKES_FOLDER, default_name};
use crate::units::{LossDb, ThirdOctave};
use rand::RngExt;
use rand_distr::StandardNormal;
use rayon::prelude::*;
use realfft::RealFftPlanner;
use realfft::num_complex::Complex64;
use std::f64::consts::PI;

/// A session in memory.
#[derive(Debug, Clone)]
pub struct SimulatedSession {
    /// Text of `session.toml`.
    pub manifest: String,
    /// Sampling rate, Hz.
    pub rate_hz: u32,
    /// The played signal, full scale = 1.
    pub sweep: Vec<f64>,
    /// Takes in order of seat, source, condition, spot, repeat.
    pub takes: Vec<SimulatedTake>,
    /// What a perfect measurement would find.
    pub truth: Truth,
    /// The scenario it was made from.
    pub scenario: Scenario,
}

/// Simulates a session. The same scenario gives the same samples.
pub fn simulate(scenario: &Scenario) -> SimulatedSession {
    let studio = Studio::new(scenario);
    let orders: Vec<Vec<Order>> =
        (0..scenario.seats.len()).map(|seat| orders_of_seat(scenario, seat)).collect();
    let seats: Vec<_> = orders
        .into_par_iter()
        .enumerate()
        .map(|(seat, orders)| {
            let centre = studio.paths(seat, SoundSource::Centre);
            let control = studio.paths(seat, SoundSource::Control);
            let in_room = centre.as_ref().map(|paths| studio.in_room_loss(paths, seat));
            let takes: Vec<_> = orders
                .into_iter()
                .filter_map(|order| {
                    let paths = match order.source {
                        SoundSource::Centre => centre.as_ref(),
                        SoundSource::Control => control.as_ref(),
                    }?;
                    Some((order, studio.record(paths, order)))
                })
                .collect();
            (takes, in_room.unwrap_or_default())
        })
        .collect();
    let (takes, in_room): (Vec<_>, Vec<_>) = seats.into_iter().unzip();
    let mut takes: Vec<(Order, SimulatedTake)> = takes.into_iter().flatten().collect();
    set_level_and_add_noise(scenario, &mut takes);
    fault::copy_takes(scenario, &mut takes);
    let takes: Vec<SimulatedTake> = takes.into_iter().map(|(_, take)| take).collect();
    SimulatedSession {
        manifest: manifest_text(scenario, &takes),
        rate_hz: scenario.rate_hz,
        sweep: scenario.sweep.samples(f64::from(scenario.rate_hz), 0.0, Harmonics::default()),
        truth: truth(scenario, in_room),
        takes,
        scenario: scenario.clone(),
    }
}

/// What all takes share: acoustics, plans, the sweep's spectrum.
struct Studio<'a> {
    scenario: &'a Scenario,
    acoustics: Acoustics,
    images: Vec<Image>,
    control_images: Option<Vec<Image>>,
    transform: Transform,
    /// Lower limit of the loudspeaker with the transform's scale.
    high_pass: Vec<Complex64>,
    /// Spectrum of the undisturbed drive, without and with the screen.
    drive: [Vec<Complex64>; 2],
}

impl<'a> Studio<'a> {
    fn new(scenario: &'a Scenario) -> Self {
        let mut planner = RealFftPlanner::new();
        let acoustics = Acoustics::new(scenario, &mut planner);
        let rate_hz = f64::from(scenario.rate_hz);
        let images = acoustics.images(scenario.speaker.position_m, scenario.seed);
        let control_images = scenario
            .control
            .as_ref()
            .map(|c| acoustics.images(c.position_m, scenario.seed.wrapping_add(1)));
        // Direct sound (at most the room's diagonal), tail, the grid's own decay, and room
        // for the lower limit to die away (80 ms).
        let diagonal = scenario.room.size_m.iter().map(|l| l * l).sum::<f64>().sqrt();
        let response_s = diagonal / 330.0 + scenario.room.tail_s + 0.18;
        let n_fft =
            smooth_length(((scenario.sweep.duration_s * 1.001 + response_s) * rate_hz) as usize);
        let transform = Transform::new(n_fft, &mut planner);
        let high_pass = (0..=n_fft / 2)
            .map(|k| scenario.speaker.high_pass(k as f64 * rate_hz / n_fft as f64) / n_fft as f64)
            .collect();
        let drive = [0, 1].map(|side| {
            let drift = scenario.recorder.drift_ppm[side];
            transform.forward(scenario.sweep.samples(rate_hz, drift, scenario.harmonics[side]))
        });
        Self { scenario, acoustics, images, control_images, transform, high_pass, drive }
    }

    fn paths(&self, seat: usize, source: SoundSource) -> Option<SeatPaths> {
        let (images, behind) = match source {
            SoundSource::Centre => (Some(&self.images), true),
            SoundSource::Control => (self.control_images.as_ref(), false),
        };
        images.map(|i| self.acoustics.paths(self.scenario, seat, i, behind))
    }

    /// Loss of everything that reaches the nominal place, per report band, dB.
    fn in_room_loss(&self, paths: &SeatPaths, seat: usize) -> Vec<f64> {
        let mic = self.scenario.seat_in_room_m(seat);
        let c = self.scenario.speed_of_sound_m_s();
        let powers = [false, true].map(|hung| {
            let c = c[usize::from(hung)];
            let response = self.acoustics.impulse_response(paths, mic, hung, c, 0.0, 1.0);
            self.transform.forward(response)
        });
        let step_hz = f64::from(self.scenario.rate_hz) / self.transform.n as f64;
        ThirdOctave::report_bands(self.scenario.sweep.stop_hz)
            .iter()
            .map(|band| {
                let bins = (band.lower_hz() / step_hz).ceil() as usize
                    ..=(band.upper_hz() / step_hz).floor() as usize;
                let [without, with] = [0, 1].map(|side| -> f64 {
                    let limited = |k: usize| (powers[side][k] * self.high_pass[k]).norm_sqr();
                    bins.clone().map(limited).sum()
                });
                LossDb::from_power_ratio(with / without).0
            })
            .collect()
    }

    /// One take without noise, level not yet set.
    fn record(&self, paths: &SeatPaths, order: Order) -> SimulatedTake {
        let scenario = self.scenario;
        let side = order.side();
        let rate_hz = f64::from(scenario.rate_hz);
        let clock = 1.0 + scenario.recorder.drift_ppm[side] * 1e-6;
        let mut place = random(scenario.seed, Stream::Place, order.place_index());
        let per_axis = scenario.move_rms_m / 3f64.sqrt();
        let mic = scenario.seat_in_room_m(order.key.seat).map(|x| {
            let step: f64 = place.sample(StandardNormal);
            x + per_axis * step
        });
        let mut start = random(scenario.seed, Stream::Start, order.index());
        let lead = (scenario.lead_s + start.random_range(-0.03..0.03)).max(0.01) * rate_hz;
        let late_s = lead.fract() / rate_hz;
        let response = self.acoustics.impulse_response(
            paths,
            mic,
            order.hung(),
            scenario.speed_of_sound_m_s()[side],
            late_s,
            clock,
        );
        let mut total = self.transform.forward(response);
        let extra = fault::rattle_spectrum(scenario, order, |ticks| self.transform.forward(ticks));
        for (k, h) in total.iter_mut().enumerate() {
            let mut drive = self.drive[side][k];
            if order.key.condition == 2 && order.source == SoundSource::Centre {
                drive *= equaliser_at(scenario.equaliser.as_ref(), k, rate_hz, self.transform.n);
            }
            if let Some(ticks) = &extra {
                drive += ticks[k];
            }
            *h *= drive * self.high_pass[k];
        }
        let reference = scenario.recorder.reference.then(|| self.reference(side, lead));
        let condition =
            [Condition::Without, Condition::With, Condition::Corrected][order.key.condition];
        SimulatedTake {
            seat: order.key.seat,
            condition,
            spot: if scenario.stated_as_one_spot { 1 } else { order.key.spot },
            source: order.source,
            file: file_name(scenario, order, condition),
            samples: self.placed(&self.transform.back(&mut total), lead as usize, PRE_ROLL),
            reference,
        }
    }

    /// What the recorder's second channel holds of a sweep that starts at the sample `lead`.
    fn reference(&self, side: usize, lead: f64) -> Vec<f64> {
        let n_fft = self.transform.n as f64;
        let turn = -2.0 * PI * lead.fract() / n_fft;
        let mut direct: Vec<Complex64> = self.drive[side]
            .iter()
            .enumerate()
            .map(|(k, d)| d * Complex64::cis(turn * k as f64) / n_fft)
            .collect();
        self.placed(&self.transform.back(&mut direct), lead as usize, 0)
    }

    /// A signal whose sample `skip` lies at the sample `lead` of a recording.
    fn placed(&self, signal: &[f64], lead: usize, skip: usize) -> Vec<f64> {
        let Scenario { lead_s, trail_s, sweep, .. } = self.scenario;
        let length_s = lead_s + sweep.duration_s + trail_s;
        let mut take = vec![0.0; (length_s * f64::from(self.scenario.rate_hz)) as usize];
        if lead >= skip {
            take[lead - skip..].iter_mut().zip(signal).for_each(|(t, s)| *t = *s);
        }
        take
    }
}

fn file_name(scenario: &Scenario, order: Order, condition: Condition) -> String {
    let number = (order.key.spot - 1) * scenario.repeats + order.repeat + 1;
    let id = &scenario.seats[order.key.seat].id;
    format!("{TAKES_FOLDER}/{}", default_name(id, condition, order.source, number))
}

fn equaliser_at(equaliser: Option<&Equaliser>, k: usize, rate_hz: f64, n_fft: usize) -> Complex64 {
    let Some(eq) = equaliser else { return Complex64::new(1.0, 0.0) };
    let f_hz = k as f64 * rate_hz / n_fft as f64;
    let z1 = Complex64::cis(-2.0 * PI * f_hz / eq.rate_hz);
    let mut h = Complex64::new(10f64.powf(eq.trim_db / 20.0), 0.0);
    for [b0, b1, b2, a1, a2] in &eq.sections {
        h *= (z1 * z1 * *b2 + z1 * *b1 + *b0) / (z1 * z1 * *a2 + z1 * *a1 + 1.0);
    }
    h
}

/// Sets the recording level, then adds what the room and the recorder add.
fn set_level_and_add_noise(scenario: &Scenario, takes: &mut [(Order, SimulatedTake)]) {
    let step = 10f64.powf(scenario.recorder.gain_step_db / 20.0);
    let peak = takes
        .iter()
        .map(|(o, t)| peak(&t.samples) * if o.hung() { step } else { 1.0 })
        .fold(f64::MIN_POSITIVE, f64::max);
    let level = 10f64.powf(scenario.recorder.peak_dbfs / 20.0) / peak;
    let rate_hz = f64::from(scenario.rate_hz);
    let Some(reference) = takes.first().map(|(_, t)| {
        let n_sweep = (scenario.sweep.duration_s * rate_hz).max(1.0);
        (t.samples.iter().map(|x| x * x).sum::<f64>() / n_sweep).sqrt()
    }) else {
        return;
    };
    takes.par_iter_mut().for_each(|(order, take)| {
        fault::before_noise(scenario, *order, &mut take.samples);
        if let Some(noise) = &scenario.noise {
            let rms = reference * 10f64.powf(-noise.snr_db / 20.0);
            let mut rng = random(scenario.seed, Stream::Noise, order.index());
            let hiss = noise.samples(take.samples.len(), rate_hz, rms, &mut rng);
            for (x, n) in take.samples.iter_mut().zip(&hiss) {
                *x += n;
            }
        }
        let mut gain = level * if order.hung() { step } else { 1.0 };
        if order.hung() && scenario.recorder.inverted_with {
            gain = -gain;
        }
        for x in &mut take.samples {
            *x *= gain;
        }
        fault::after_level(scenario, *order, take);
        if let Some(bits) = scenario.recorder.bits {
            let steps = 2f64.powi(bits as i32 - 1);
            take.samples.iter_mut().for_each(|x| *x = (*x * steps).round() / steps);
        }
    });
}
