//! The invented job of the `demo` command.
//!
//! No such house, screen, loudspeaker or person exists; the manifest says so
//! in its title, its names and its claims.

use super::drive::{Harmonics, SweepShape};
use super::loudspeaker::{Crossover, EdgeArrival, Loudspeaker, Ripple};
use super::noise::Noise;
use super::room::{Room, Wall};
use super::scenario::{Recorder, Scenario, Seat, SeatBack};
use super::sheet::{FrontReflection, Sheet};
use crate::ingest::manifest::Construction;

const SESSION_LINES: &str = r#"date = 2026-03-14
humidity_percent = 45.0"#;

const SCREEN_LINES: &str = r#"name = "Invented cloth no. 1"
width_m = 2.9
height_m = 1.63
backing = false
flow_resistance_pa_s_m = 60.0
areal_mass_g_m2 = 280.0
weave_pitch_mm = 0.6"#;

const MORE_MANIFEST: &str = r#"[[claim]]
quantity = "maximum_loss"
band_hz = [500, 16000]
limit_db = 4.0
source = "invented data sheet, page 2"

[[claim]]
quantity = "average_loss"
band_hz = [500, 16000]
limit_db = 0.5
source = "invented data sheet, front page"

[[claim]]
quantity = "gain_on_axis"
minimum = 0.95
source = "invented data sheet, page 3"

[speaker]
power_w = 100.0
amplifier_w = 400.0
driver_limit_w = 60.0
driver_band_hz = [2000, 20000]
sensitivity_db = 91.0

[picture]
reference_gain = 1.0
meter_uncertainty_percent = 2.0
projector_lm = 1500.0
aspect = 1.7778
masked_aspect = 2.39
pixels_across = 3840

[handover]
client = "Invented client"
site = "Invented house, 1 Nowhere Lane"
installer = "Invented installer"
reference = "DEMO-0001"
instruments = ["Simulated measurement microphone", "Simulated recorder, 48 kHz, 24 bit"]
not_measured = ["Left and right loudspeakers"]
signatures = ["For the installer", "For the client"]
"#;

const READINGS: &str = "\
# Invented readings
point,angle_deg,screen_cd_m2,reference_cd_m2
centre,0,52.1,51.6
left,0,47.3,
right,0,46.8,
top,0,48.9,
bottom,0,48.2,
centre,15,51.5,51.4
centre,30,49.0,50.9
centre,45,44.6,49.8
";

/// Six seats in two rows, woven cloth 0.08 m in front of the loudspeaker, two conditions,
/// two spots; a room of 6 x 4.5 x 2.5 m with carpet and some treatment. More than 60 lines: one row a
/// parameter.
pub fn demo_scenario() -> Scenario {
    let seat = |id: &str, name: &str, position_m, weight| Seat {
        id: id.into(),
        name: name.into(),
        position_m,
        weight,
    };
    Scenario {
        title: "Demo (simulated): an invented home cinema, two rows".into(),
        seed: 20_260_314,
        rate_hz: 48_000,
        sweep: SweepShape {
            start_hz: 20.0,
            stop_hz: 20_000.0,
            duration_s: 5.0,
            fade_in_s: 0.1,
            fade_out_s: 0.02,
            level_dbfs: -12.0,
        },
        lead_s: 0.5,
        trail_s: 1.0,
        room: Room {
            size_m: [6.0, 4.5, 2.5],
            walls: [
                Wall::absorbing(0.25, 0.45, 800.0),
                Wall::absorbing(0.20, 0.50, 700.0),
                Wall::absorbing(0.15, 0.35, 1000.0),
                Wall::absorbing(0.15, 0.35, 1100.0),
                Wall::absorbing(0.10, 0.60, 600.0),
                Wall::absorbing(0.15, 0.25, 900.0),
            ],
            tail_s: 0.3,
            unevenness_m: 0.02,
        },
        speaker: Loudspeaker {
            position_m: [0.45, 2.25, 1.0],
            high_pass_hz: 70.0,
            low_pass_hz: 26_000.0,
            crossover: Some(Crossover::fourth(2200.0)),
            falls: Vec::new(),
            ripple: vec![
                Ripple { at_hz: 240.0, gain_db: 1.5, q: 1.0 },
                Ripple { at_hz: 1300.0, gain_db: -1.5, q: 1.2 },
                Ripple { at_hz: 9000.0, gain_db: 1.0, q: 1.5 },
            ],
            directivity_hz: 3000.0,
            off_axis_floor: 0.3,
            edges: vec![EdgeArrival { delay_s: 3.5e-4, gain: -0.08 }],
        },
        // Cloth with flow resistance and mass, and the air in its pores on top.
        sheet: Sheet::Double {
            near: Box::new(Sheet::FabricParallel {
                flow_resistance_pa_s_m: 60.0,
                areal_mass_kg_m2: 0.28,
            }),
            far: Box::new(Sheet::FabricSeries {
                flow_resistance_pa_s_m: 0.0,
                areal_mass_kg_m2: 0.008,
            }),
            spacing_m: 0.0,
        },
        scatter: Vec::new(),
        front: FrontReflection { low: 0.25, high: 0.7, corner_hz: 900.0, deep: 0.0, deep_s: 0.0 },
        gap_m: 0.08,
        stated_gap_m: Some(0.08),
        construction: Construction::Woven,
        session_lines: SESSION_LINES.into(),
        screen_lines: SCREEN_LINES.into(),
        more_manifest: MORE_MANIFEST.into(),
        more_files: vec![("readings.csv".into(), READINGS.into())],
        seats: vec![
            seat("R1L", "Front row left", [3.1, -0.75, 1.1], 1.0),
            seat("R1C", "Front row centre", [3.15, 0.0, 1.1], 1.0),
            seat("R1R", "Front row right", [3.1, 0.75, 1.1], 1.0),
            seat("R2L", "Back row left", [4.3, -0.8, 1.25], 0.5),
            seat("R2C", "Back row centre", [4.3, 0.05, 1.25], 0.5),
            seat("R2R", "Back row right", [4.3, 0.85, 1.25], 0.5),
        ],
        spots: 2,
        stated_as_one_spot: false,
        measured: Vec::new(),
        repeats: 1,
        move_rms_m: 0.004,
        early: Vec::new(),
        seat_back: Some(SeatBack { behind_m: 0.35, gain: [0.1, 0.25], corner_hz: 800.0 }),
        noise: Some(Noise { snr_db: 50.0, white: 0.2, pink: 0.7, hum: 0.1, mains_hz: 50.0 }),
        recorder: Recorder { drift_ppm: [18.0, 18.0], peak_dbfs: -12.0, ..Recorder::default() },
        temperature_c: [20.5, 20.7],
        control: None,
        harmonics: [Harmonics { second: 0.004, third: 0.002 }; 2],
        rattle: None,
        equaliser: None,
        faults: Vec::new(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::ingest::manifest::Manifest;
    use crate::simulate::{Truth, simulate};

    fn band(truth: &Truth, hz: f64) -> usize {
        truth.bands.iter().position(|b| b.nominal_hz() == hz).expect("band")
    }

    /// The claims are chosen so that one holds with room to spare and one clearly does not.
    #[test]
    fn one_claim_holds_and_one_does_not() {
        let truth = simulate(&demo_scenario().shortened(0.3, 0.03)).truth;
        let range = &truth.mean[band(&truth, 500.0)..=band(&truth, 16_000.0)];
        let largest = range.iter().copied().fold(f64::MIN, f64::max);
        let mean = range.iter().sum::<f64>() / range.len() as f64;
        assert!(largest < 3.7 && largest > 2.0, "largest loss {largest} dB against 4.0");
        assert!(mean > 0.75, "average loss {mean} dB against 0.5");
    }

    #[test]
    fn the_demo_says_that_it_is_invented_and_reads_back() {
        let short = demo_scenario().shortened(0.3, 0.03);
        let session = simulate(&short);
        let manifest: Manifest = toml::from_str(&session.manifest).expect("valid");
        assert!(manifest.session.title.contains("simulated"));
        assert!(manifest.handover.client.as_deref().is_some_and(|c| c.contains("Invented")));
        assert_eq!((manifest.seat.len(), manifest.claim.len()), (6, 3));
        assert_eq!(session.takes.len(), 24);
        assert!(session.manifest.starts_with("# Made by simulation"));
    }
}
