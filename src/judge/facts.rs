//! Everything that one take tells about itself, as numbers.

use super::amplitude::{self, Amplitudes};
use super::bursts::{self, Burst};
use super::hum::{self, Hum, HumFinder};
use super::noise::{self, BandLevels};
use super::signature::{Signature, SignaturePlan};
use super::spectrogram::{Analyser, Spectrogram};
use super::track::{self, Course, SweepInTake};
use crate::ingest::session::{Recording, SweepSignal};
use crate::judge::rattle;
use crate::transfer::arrivals::N_BANDS;
use crate::transfer::resemble::Print;
use crate::units::ThirdOctave;

/// Number of energy steps that make the print of a take's noise.
const PRINT_BITS: usize = 64;
/// Samples a step.
const PRINT_STEP: usize = 64;
/// A stretch so much louder than the quietest one holds more than the noise of the room, as a
/// ratio of energies: 6 dB.
const PRINT_LOUD: f64 = 4.0;

/// Band powers of a response, and of the noise in the same window.
#[derive(Debug, Clone, PartialEq)]
pub struct BandPowers {
    pub bands: Vec<ThirdOctave>,
    /// Mean power density of response and noise together.
    pub power: Vec<f64>,
    /// The same of noise.
    pub noise: Vec<f64>,
}

/// What one take tells about itself.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct TakeFacts {
    /// Sampling rate, Hz.
    pub rate_hz: u32,
    /// Length of the file, s.
    pub file_s: f64,
    /// Bits of the integer format, `None` for float files.
    pub integer_bits: Option<u16>,
    /// Whether the file's header says how long it is.
    pub closed: bool,
    /// Another channel, counted from 1, that is far louder than the microphone's and holds the
    /// sweep.
    pub heard_in: Option<u16>,
    /// Peak, offset, clipping, gaps.
    pub amplitudes: Amplitudes,
    /// Bands of all per-band values.
    pub bands: Vec<ThirdOctave>,
    /// The sweep as found in the take; `None` when no peak was found or the played signal is
    /// no exponential sweep.
    pub sweep: Option<SweepInTake>,
    /// A second sweep: the frames in which it should be heard, and where it was found.
    pub second: Option<(SweepInTake, usize)>,
    /// Course of the played sweep; `None` for other signals.
    pub course: Option<Course>,
    /// Sweep and noise by band.
    pub levels: BandLevels,
    /// Hum in the silence.
    pub hum: Option<Hum>,
    /// Disturbances, in the order of time.
    pub bursts: Vec<Burst>,
    /// High-frequency excess against sweep frequency, see [`crate::judge::rattle`].
    pub rattle: Option<rattle::Profile>,
    /// Which place the response is of; `None` until the take has been deconvolved.
    pub place: Option<Print>,
    /// Arrival of the direct sound by band, s; `None` until the take has been deconvolved.
    pub arrivals: Option<[Option<f64>; N_BANDS]>,
    /// Band powers of the response; `None` until the take has been deconvolved.
    pub powers: Option<BandPowers>,
    /// Speed at which the sweep was played where that is clearly not its own: 0.919 for a file of
    /// 48 kHz played at 44.1.
    pub pace: Option<f64>,
    /// Samples of the transfer function, for polarity.
    pub signature: Option<Signature>,
    /// Coarse print of the noise before the sweep: survives another gain or word length.
    pub print: Option<u64>,
}

/// Plans for the takes of one session.
pub struct TakeAnalyser {
    analyser: Analyser,
    hum: HumFinder,
    course: Option<Course>,
    signature: Option<SignaturePlan>,
}

impl TakeAnalyser {
    /// Prepares for recordings of `sweep`, which have its sampling rate.
    pub fn new(sweep: &SweepSignal) -> Self {
        let course = Course::of(sweep);
        Self {
            analyser: Analyser::new(sweep.rate_hz),
            hum: HumFinder::default(),
            course,
            signature: course.map(|course| SignaturePlan::new(&course, sweep.rate_hz)),
        }
    }

    /// Whether two takes at one seat have the same polarity; `None` where that cannot be told.
    pub fn same_polarity(&self, a: &TakeFacts, b: &TakeFacts) -> Option<bool> {
        let (plan, a, b) = (self.signature.as_ref()?, a.signature.as_ref()?, b.signature.as_ref()?);
        plan.same_polarity(a, b)
    }

    /// Measures one take: a pass over the samples and one over short spectra.
    pub fn facts(&self, take: &Recording) -> TakeFacts {
        let rate_hz = take.rate_hz;
        let mut facts = TakeFacts {
            rate_hz,
            file_s: take.mic.len() as f64 / f64::from(rate_hz),
            integer_bits: take.integer_bits,
            closed: take.closed,
            amplitudes: amplitude::measure(&take.mic, rate_hz),
            course: self.course,
            print: print(&take.mic, 0),
            ..TakeFacts::default()
        };
        // Another rate or broken samples cannot be analysed; both are judged by the caller.
        if !facts.amplitudes.finite || rate_hz != self.analyser.rate_hz() {
            return facts;
        }
        let s = self.analyser.spectrogram(&take.mic);
        facts.bands.clone_from(&s.bands);
        if let Some(course) = &self.course {
            self.follow(&s, course, &take.mic, &mut facts);
        }
        facts
    }

    fn follow(&self, s: &Spectrogram, course: &Course, mic: &[f64], facts: &mut TakeFacts) {
        let (first, second) = track::find(s, course);
        facts.sweep = first;
        facts.second =
            second.map(|found| (found, track::expected_frames(s, course, found.start_s)));
        let Some(found) = first else { return };
        facts.pace = track::other_pace(s, course, &found);
        facts.levels = noise::band_levels(s, course, found.start_s);
        facts.bursts = bursts::find(s, course, found.start_s, &facts.levels);
        facts.signature =
            self.signature.as_ref().and_then(|plan| plan.signature(mic, found.start_s));
        facts.rattle = rattle::profile(s, course, found.start_s, &facts.levels);
        let silences = hum::silences(mic, facts.rate_hz, course, found.start_s);
        facts.print = print(mic, silences[0].len());
        facts.hum = self.hum.find(&silences, facts.rate_hz);
    }
}

/// One bit for each pair of neighbouring steps of the first stretch before the sweep in which
/// nothing loud is heard: did the differenced signal get louder? What a player says before every
/// sweep is alike in all takes. `None` for digital silence, which is alike as well.
fn print(samples: &[f64], sweep_at: usize) -> Option<u64> {
    let length = PRINT_STEP * (PRINT_BITS + 1);
    let n_stretches = (sweep_at / length).max(1);
    let stretches: Vec<(Vec<f64>, f64)> = (0..n_stretches)
        .map_while(|i| samples.get(i * length..=(i + 1) * length))
        .map(|stretch| {
            // The difference keeps hum from shaping all takes alike.
            let step = |at: usize| &stretch[at * PRINT_STEP..=(at + 1) * PRINT_STEP];
            let of = |x: &[f64]| x.windows(2).map(|pair| (pair[1] - pair[0]).powi(2)).sum::<f64>();
            let steps: Vec<f64> = (0..=PRINT_BITS).map(|at| of(step(at))).collect();
            let energy = steps.iter().sum();
            (steps, energy)
        })
        .filter(|(steps, _)| steps.iter().filter(|e| **e > 0.0).count() > PRINT_BITS / 2)
        .collect();
    let quietest = stretches.iter().map(|(_, energy)| *energy).fold(f64::INFINITY, f64::min);
    let (steps, _) = stretches.iter().find(|(_, energy)| *energy <= PRINT_LOUD * quietest)?;
    let bits = steps.windows(2).enumerate();
    Some(bits.fold(0, |print, (i, e)| print | (u64::from(e[1] > e[0]) << i)))
}

#[cfg(test)]
mod tests {
    use super::super::scene::Scene;
    use super::*;

    #[test]
    fn a_print_survives_gain_and_word_length_but_not_another_take() {
        let scene = Scene::default();
        let take = scene.take().mic;
        let softer: Vec<f64> =
            take.iter().map(|x| (0.4 * x * 8_388_608.0).round() / 8_388_608.0).collect();
        let again = Scene { seed: 12, ..scene.clone() }.take().mic;
        let sweep_at = (scene.lead_s * f64::from(scene.rate_hz)) as usize;
        let distance = |a: &[f64], b: &[f64]| {
            let [a, b] = [a, b].map(|x| print(x, sweep_at).expect("noise"));
            (a ^ b).count_ones()
        };
        assert!(distance(&take, &softer) <= 4, "{}", distance(&take, &softer));
        assert!(distance(&take, &again) >= 16, "{}", distance(&take, &again));
        // A signal that the player gives before each sweep.
        let announced = |take: &[f64]| -> Vec<f64> {
            let tone = |i: usize| 0.3 * (0.05 * i as f64).sin() * (0.001 * i as f64).sin();
            take.iter().enumerate().map(|(i, x)| x + if i < 6000 { tone(i) } else { 0.0 }).collect()
        };
        let [one, other, soft] = [&take, &again, &softer].map(|take| announced(take));
        assert!(distance(&one, &other) >= 16, "{}", distance(&one, &other));
        assert!(distance(&one, &soft) <= 4, "{}", distance(&one, &soft));
        let hash = |take: &[f64]| amplitude::measure(take, 48_000).hash;
        assert_eq!(hash(&take), hash(&take.clone()));
        assert_ne!(hash(&take), hash(&softer));
        let inverted: Vec<f64> = take.iter().map(|x| -x).collect();
        assert_ne!(hash(&take), hash(&inverted));
        assert_eq!(print(&[0.0; 48_000], sweep_at), None);
        assert_eq!(print(&[], sweep_at), None);
    }

    #[test]
    fn broken_takes_give_facts_without_a_sweep() {
        let scene = Scene::default();
        let analyser = TakeAnalyser::new(&scene.sweep());
        let take = |mic: Vec<f64>, rate_hz| Recording::of_microphone(rate_hz, mic, None);
        for (mic, rate) in [
            (vec![], 48_000),
            (vec![0.0; 48_000], 48_000),
            (vec![f64::NAN; 48_000], 48_000),
            (scene.take().mic, 44_100),
        ] {
            let facts = analyser.facts(&take(mic, rate));
            assert_eq!(facts.sweep, None);
        }
    }
}
