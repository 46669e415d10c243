//! The six sheets, and what each loses in all rooms that it could hang in.

use crate::JUDGED_HZ;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use scrimcheck::ingest::manifest::Construction;
use scrimcheck::simulate::sheet::Sheet;
use scrimcheck::simulate::{Kind, Scenario, simulate};
use std::f64::consts::PI;

/// Rooms that stand for all of them.
const ROOMS: u64 = 120;
/// Lots of one product differ by this, relative standard deviation about.
const LOTS: f64 = 0.05;

/// A sheet with its true losses in many rooms.
pub struct Pool {
    /// Name on the order.
    pub name: &'static str,
    /// Number, 0 to 5.
    pub number: u64,
    /// By how much its maker's claims are too good, dB.
    pub too_good_db: f64,
    /// Gain on the axis.
    pub gain: f64,
    /// Period of its structure, mm.
    pub structure_mm: f64,
    /// Bands, nominal Hz.
    pub bands_hz: Vec<f64>,
    /// True mean loss over the seats: room by band, dB.
    pub rooms_db: Vec<Vec<f64>>,
}

impl Pool {
    /// Mean over all rooms in a judged band, dB.
    pub fn mean_at(&self, nominal_hz: f64) -> Option<f64> {
        let judged = (JUDGED_HZ[0] - 1.0..=JUDGED_HZ[1] + 1.0).contains(&nominal_hz);
        let b = self.bands_hz.iter().position(|hz| *hz == nominal_hz).filter(|_| judged)?;
        Some(self.rooms_db.iter().map(|r| r[b]).sum::<f64>() / self.rooms_db.len() as f64)
    }

    /// What the maker claims: the mean loss, and that at 10 kHz, dB.
    pub fn claimed_db(&self) -> [f64; 2] {
        let ten_khz = self.mean_at(10_000.0).unwrap_or(0.0);
        // As printed, to a hundredth, and never a gain.
        let print =
            |truth_db: f64| ((truth_db - self.too_good_db).max(0.0) * 100.0).round() / 100.0;
        [print(self.mean_loss()), print(ten_khz)]
    }

    /// By how much the claims are too good as they are printed, dB.
    pub fn off_db(&self) -> f64 {
        let [mean, ten_khz] = self.claimed_db();
        let truth = self.mean_loss() + self.mean_at(10_000.0).unwrap_or(0.0);
        0.5 * (truth - mean - ten_khz)
    }

    /// Mean over all rooms and judged bands, dB.
    pub fn mean_loss(&self) -> f64 {
        let all: Vec<f64> = self.bands_hz.iter().filter_map(|hz| self.mean_at(*hz)).collect();
        all.iter().sum::<f64>() / all.len() as f64
    }
}

/// A lot of a sheet.
pub fn sheet(number: u64, lot: &mut ChaCha8Rng) -> (Sheet, Construction) {
    let mut about = |value: f64| value * (1.0 + LOTS * 3f64.sqrt() * lot.random_range(-1.0..1.0));
    let mut cloth = |resistance: f64, mass: f64, pores: f64| {
        let cloth = Sheet::FabricParallel {
            flow_resistance_pa_s_m: about(resistance),
            areal_mass_kg_m2: about(mass),
        };
        let pores =
            Sheet::FabricSeries { flow_resistance_pa_s_m: 0.0, areal_mass_kg_m2: about(pores) };
        Sheet::Double { near: Box::new(cloth), far: Box::new(pores), spacing_m: 0.0 }
    };
    let film = |hole_m: f64, open_area: f64| Sheet::Perforated {
        hole_m,
        pitch_m: hole_m * (PI / 4.0 / open_area).sqrt(),
        thickness_m: 0.3e-3,
        open_area,
        film_mass_kg_m2: Some(0.4),
    };
    match number {
        0 => (cloth(35.0, 0.2, 0.003), Construction::Woven),
        1 => (cloth(90.0, 0.3, 0.005), Construction::Woven),
        2 => (cloth(190.0, 0.4, 0.004), Construction::Woven),
        3 => (cloth(340.0, 0.5, 0.006), Construction::Woven),
        4 => (film(0.6e-3, about(0.09)), Construction::Perforated),
        _ => (film(0.9e-3, about(0.055)), Construction::Perforated),
    }
}

/// A room in which a sheet hangs: everything but the sheet and its gap comes from the seed.
pub fn room(number: u64, seed: u64) -> Scenario {
    let mut scenario = Scenario::random(Kind::Woven, seed).shortened(1.0, 0.2);
    scenario.sweep.fade_in_s = 0.02;
    scenario.lead_s = 0.15;
    scenario.trail_s = 0.4;
    scenario.seats.truncate(3);
    let mut lot = ChaCha8Rng::seed_from_u64(seed ^ 0x10F5);
    (scenario.sheet, scenario.construction) = sheet(number, &mut lot);
    // Of its own: the same room has the same gap whichever sheet hangs there.
    let mut gap = ChaCha8Rng::seed_from_u64(seed ^ 0x6A9);
    scenario.gap_m = gap.random_range(0.05..0.15);
    scenario.stated_gap_m = Some(scenario.gap_m + gap.random_range(-0.002..0.002));
    scenario
}

/// All sheets.
pub fn pools(seed: u64) -> Vec<Pool> {
    let of = [
        ("Invented weave 1", 0.0, 0.95, 0.5),
        ("Invented weave 2", 0.0, 1.0, 0.7),
        ("Invented weave 3", 1.0, 1.05, 0.6),
        ("Invented weave 4", 2.0, 1.1, 0.9),
        ("Invented film 1", 0.0, 1.2, 2.0),
        ("Invented film 2", 3.0, 1.3, 3.4),
    ];
    let pool = |(number, (name, too_good_db, gain, structure_mm)): (usize, _)| {
        let number = number as u64;
        let (mut bands_hz, mut rooms_db) = (Vec::new(), Vec::new());
        for i in 0..ROOMS {
            // Rooms of their own, none of which is a job.
            let mut scenario = room(number, seed + 100_000 + 1000 * number + i);
            // The truth is that of the sheet: how long the sweep lasts does not count.
            scenario = scenario.shortened(0.1, 0.01);
            (scenario.spots, scenario.noise) = (1, None);
            let truth = simulate(&scenario).truth;
            bands_hz = truth.bands.iter().map(|b| b.nominal_hz()).collect();
            rooms_db.push(truth.mean);
        }
        Pool { name, number, too_good_db, gain, structure_mm, bands_hz, rooms_db }
    };
    of.into_iter().enumerate().map(pool).collect()
}
