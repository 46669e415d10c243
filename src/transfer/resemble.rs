//! Which takes were recorded at one place: their responses resemble each other.
//!
//! Below 1 kHz a microphone that was put back to a centimetre sees the same reflections, and a
//! screen takes next to nothing away; another seat has other reflections at other times.

use super::fft::RealFft;
use realfft::num_complex::Complex;

/// The band that is compared, Hz.
const BAND_HZ: [f64; 2] = [150.0, 1000.0];
/// What is compared: from 3 ms before the direct sound to this after it, s.
const BEFORE_S: f64 = 0.003;
const AFTER_S: f64 = 0.150;
/// The direct sound itself is alike everywhere and is faded out up to this, s.
const FROM_S: f64 = 0.002;
/// The onset is found to about this, s.
const SHIFT_S: f64 = 0.0006;
const SHIFTS: i32 = 12;

/// Spectrum of a response, energy 1.
#[derive(Debug, Clone, PartialEq)]
pub struct Print {
    first_hz: f64,
    step_hz: f64,
    bins: Vec<Complex<f64>>,
}

/// The print of a circular response; `None` where it is silent.
pub fn print_of(response: &[f64], rate_hz: f64) -> Option<Print> {
    print_at(response, super::onset::find_onset(response, rate_hz)?, rate_hz)
}

/// The print of a circular response whose direct sound is at `onset`.
pub fn print_at(response: &[f64], onset: usize, rate_hz: f64) -> Option<Print> {
    let n = response.len();
    let before = (BEFORE_S * rate_hz) as usize;
    let n_part = ((BEFORE_S + AFTER_S) * rate_hz) as usize;
    let mut part: Vec<f64> = (0..n_part)
        .map(|i| {
            let t_s = (i as f64 - before as f64) / rate_hz;
            let rise = (t_s / FROM_S).clamp(0.0, 1.0);
            let fall = ((AFTER_S - t_s) / (0.3 * AFTER_S)).clamp(0.0, 1.0);
            rise * rise * fall * response[(onset + n + i - before) % n]
        })
        .collect();
    part.resize(n_part.next_power_of_two(), 0.0);
    let step_hz = rate_hz / part.len() as f64;
    let spectrum = RealFft::new(part.len()).forward_in(&mut part);
    let [low, high] = BAND_HZ.map(|hz| (hz / step_hz).round() as usize);
    let bins = spectrum.get(low..high.min(spectrum.len()))?;
    let energy: f64 = bins.iter().map(Complex::norm_sqr).sum();
    let scale = energy.sqrt().recip();
    (energy > 0.0 && scale.is_finite()).then(|| Print {
        first_hz: low as f64 * step_hz,
        step_hz,
        bins: bins.iter().map(|b| b * scale).collect(),
    })
}

/// How alike two responses are: 1 for equal ones, whatever their polarity, about 0 for those that
/// share nothing.
pub fn likeness(a: &Print, b: &Print) -> f64 {
    let products: Vec<Complex<f64>> =
        a.bins.iter().zip(&b.bins).map(|(a, b)| a * b.conj()).collect();
    (-SHIFTS..=SHIFTS)
        .map(|shift| {
            let turn_rad = std::f64::consts::TAU * SHIFT_S * f64::from(shift) / f64::from(SHIFTS);
            let mut phase = Complex::cis(turn_rad * a.first_hz);
            let turn = Complex::cis(turn_rad * a.step_hz);
            let mut sum = 0.0;
            for product in &products {
                sum += (product * phase).re;
                phase *= turn;
            }
            sum.abs()
        })
        .fold(f64::NEG_INFINITY, f64::max)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::simulate::memory::InMemory;
    use crate::simulate::random::Kind;
    use crate::simulate::scenario::Scenario;
    use crate::simulate::simulate;
    use crate::transfer::deconvolve::Deconvolver;

    /// Smallest likeness of takes of one seat, in one condition and across them, and largest of
    /// takes of two seats.
    fn extremes(scenario: &Scenario) -> [f64; 3] {
        let memory = InMemory::new(simulate(scenario)).unwrap();
        let n = memory.simulated.takes[0].samples.len();
        let deconvolver = Deconvolver::new(&memory.session.sweep, n);
        let rate_hz = f64::from(memory.simulated.rate_hz);
        let takes = &memory.session.takes;
        let prints: Vec<Print> = (0..takes.len())
            .map(|t| {
                print_of(&deconvolver.response(&memory.recording(t).mic, None, None), rate_hz)
                    .unwrap()
            })
            .collect();
        let mut out = [1.0f64, 1.0, -1.0];
        for (a, b) in (0..takes.len()).flat_map(|a| (0..a).map(move |b| (a, b))) {
            let (one, other) = (&takes[a], &takes[b]);
            if one.source != other.source {
                continue;
            }
            let alike = likeness(&prints[a], &prints[b]);
            match (one.seat == other.seat, one.condition == other.condition) {
                (true, true) => out[0] = out[0].min(alike),
                (true, false) => out[1] = out[1].min(alike),
                (false, _) => out[2] = out[2].max(alike),
            }
        }
        out
    }

    #[test]
    fn takes_of_a_seat_resemble_each_other_and_seats_do_not() {
        // The last two have seats that mirror each other in the room.
        for (kind, seed) in
            [(Kind::Mixed, 31_002), (Kind::HeavyLargeGap, 31_003), (Kind::Noisy, 31_003)]
        {
            let scenario = Scenario::random(kind, seed).shortened(1.0, 0.8);
            let [same, across, other] = extremes(&scenario);
            assert!(same > 0.98 && across > 0.98, "{kind:?} {seed}: {same} {across}");
            assert!(other < 0.96, "{kind:?} {seed}: {other}");
        }
    }
}
