//! Impulse responses of a simulated job, and the truth about its screen.

use super::convolve::spectrum;
use realfft::RealFftPlanner;
use scrimcheck::ingest::manifest::Condition;
use scrimcheck::simulate::drive::Harmonics;
use scrimcheck::simulate::{Scenario, SimulatedTake, demo_scenario, simulate};

/// Length of a response, s.
const LENGTH_S: f64 = 0.45;
/// Peak of the strongest response.
const PEAK: f64 = 0.3;

pub struct Rooms {
    pub scenario: Scenario,
    /// Seat, condition, spot, response; all scaled alike.
    responses: Vec<(usize, Condition, u32, Vec<f64>)>,
    /// Loss by seat and band, dB.
    pub truth_db: Vec<Vec<f64>>,
    pub bands_hz: Vec<f64>,
}

impl Rooms {
    /// Two seats, two spots, nothing but room and sheet.
    pub fn new() -> Self {
        let mut scenario = demo_scenario();
        scenario.seats.truncate(2);
        scenario.spots = 2;
        scenario.sweep.duration_s = 1.5;
        (scenario.lead_s, scenario.trail_s) = (0.2, 0.8);
        (scenario.noise, scenario.rattle, scenario.equaliser, scenario.control) =
            (None, None, None, None);
        scenario.harmonics = [Harmonics::default(); 2];
        scenario.faults.clear();
        scenario.recorder.bits = None;
        scenario.recorder.gain_step_db = 0.0;
        scenario.recorder.drift_ppm = [0.0; 2];
        let made = simulate(&scenario);
        let length = (LENGTH_S * f64::from(made.rate_hz)) as usize;
        let response = |take: &SimulatedTake| {
            let h = divide(&take.samples, &made.sweep);
            let peak = (0..h.len()).max_by(|&a, &b| h[a].abs().total_cmp(&h[b].abs())).unwrap();
            (take.seat, take.condition, take.spot, h[peak - 240..peak - 240 + length].to_vec())
        };
        let mut responses: Vec<_> = made.takes.iter().map(response).collect();
        let most = responses.iter().flat_map(|r| &r.3).fold(0f64, |a, x| a.max(x.abs()));
        responses.iter_mut().flat_map(|r| &mut r.3).for_each(|x| *x *= PEAK / most);
        let bands_hz = made.truth.bands.iter().map(|b| b.nominal_hz()).collect();
        Self { scenario, responses, truth_db: made.truth.seats, bands_hz }
    }

    pub fn response(&self, seat: usize, condition: Condition, spot: u32) -> &[f64] {
        let found = self.responses.iter().find(|r| (r.0, r.1, r.2) == (seat, condition, spot));
        &found.expect("a response of every place").3
    }
}

/// What turns `played` into `heard`.
fn divide(heard: &[f64], played: &[f64]) -> Vec<f64> {
    let n = (heard.len() + played.len()).next_power_of_two();
    let mut planner = RealFftPlanner::<f64>::new();
    let (y, x) = (spectrum(&mut planner, heard, n), spectrum(&mut planner, played, n));
    let most = x.iter().map(|x| x.norm_sqr()).fold(0.0, f64::max);
    let mut h: Vec<_> = y
        .iter()
        .zip(&x)
        .map(|(y, x)| y * x.conj() / (x.norm_sqr() + 1e-9 * most) / n as f64)
        .collect();
    (h[0].im, h[n / 2].im) = (0.0, 0.0);
    let inverse = planner.plan_fft_inverse(n);
    let mut out = inverse.make_output_vec();
    inverse.process(&mut h, &mut out).unwrap();
    out
}
