//! Sheets, walls, reflections and loudspeakers, drawn one by one.

use super::kind::Kind;
use crate::ingest::manifest::Construction;
use crate::simulate::loudspeaker::{
    Crossover, CrossoverOrder, EdgeArrival, Fall, Loudspeaker, Ripple,
};
use crate::simulate::room::Wall;
use crate::simulate::scenario::{Control, EarlyReflection, Scatter, Scenario, SeatBack};
use crate::simulate::sheet::{Resonance, Sheet};
use rand::RngExt;
use rand_chacha::ChaCha8Rng;
use std::f64::consts::PI;

/// Draws in plain words.
pub(super) struct Draw(pub(super) ChaCha8Rng);

impl Draw {
    pub(super) fn between(&mut self, low: f64, high: f64) -> f64 {
        self.0.random_range(low..high)
    }

    pub(super) fn log_between(&mut self, low: f64, high: f64) -> f64 {
        self.between(low.ln(), high.ln()).exp()
    }

    pub(super) fn chance(&mut self, p: f64) -> bool {
        self.0.random_range(0.0..1.0) < p
    }

    /// The sheet of a session of a kind.
    pub(super) fn sheet(&mut self, kind: Kind) -> (Sheet, Construction) {
        match kind {
            Kind::Woven => self.woven(),
            Kind::Perforated => self.perforated(),
            Kind::Unknown => self.unknown(),
            Kind::Backing => self.backing(),
            Kind::HeavyLargeGap => self.heavy(),
            Kind::NothingHung => (Sheet::None, Construction::Other),
            Kind::Scattering => self.woven(),
            Kind::ScatteringFilm => self.perforated(),
            Kind::HeavyOneSpot => self.heavy_film(),
            _ => self.any_sheet(),
        }
    }

    fn woven(&mut self) -> (Sheet, Construction) {
        let sheet = Sheet::FabricParallel {
            flow_resistance_pa_s_m: self.log_between(20.0, 250.0),
            areal_mass_kg_m2: self.between(0.12, 0.5),
        };
        // Real cloth has a little inertia of the air in its pores on top.
        let pores = Sheet::FabricSeries {
            flow_resistance_pa_s_m: 0.0,
            areal_mass_kg_m2: self.log_between(0.001, 0.006),
        };
        let sheet = if self.chance(0.6) {
            Sheet::Double { near: Box::new(sheet), far: Box::new(pores), spacing_m: 0.0 }
        } else {
            sheet
        };
        (sheet, Construction::Woven)
    }

    fn perforated(&mut self) -> (Sheet, Construction) {
        let hole_m = self.log_between(0.4e-3, 1.3e-3);
        let open_area = self.between(0.04, 0.12);
        (
            Sheet::Perforated {
                hole_m,
                pitch_m: hole_m * (PI / 4.0 / open_area).sqrt(),
                thickness_m: self.between(0.2e-3, 0.5e-3),
                open_area,
                film_mass_kg_m2: Some(self.between(0.25, 0.6)),
            },
            Construction::Perforated,
        )
    }

    fn unknown(&mut self) -> (Sheet, Construction) {
        let parts = (0..3)
            .map(|_| Resonance {
                resistance: self.log_between(0.05, 0.6),
                at_hz: self.log_between(800.0, 14_000.0),
                q: self.between(0.4, 2.0),
            })
            .collect();
        let sheet = Sheet::Resonant {
            resistance: self.between(0.02, 0.2),
            areal_mass_kg_m2: self.log_between(0.001, 0.01),
            parts,
        };
        (sheet, Construction::Other)
    }

    fn backing(&mut self) -> (Sheet, Construction) {
        let near = Sheet::FabricParallel {
            flow_resistance_pa_s_m: self.log_between(15.0, 60.0),
            areal_mass_kg_m2: self.between(0.1, 0.2),
        };
        let (far, construction) = if self.chance(0.5) { self.woven() } else { self.perforated() };
        let spacing_m = self.log_between(0.001, 0.012);
        (Sheet::Double { near: Box::new(near), far: Box::new(far), spacing_m }, construction)
    }

    fn heavy(&mut self) -> (Sheet, Construction) {
        if self.chance(0.5) {
            let sheet = Sheet::FabricParallel {
                flow_resistance_pa_s_m: self.between(300.0, 450.0),
                areal_mass_kg_m2: self.between(0.4, 0.7),
            };
            (sheet, Construction::Woven)
        } else {
            self.heavy_film()
        }
    }

    fn heavy_film(&mut self) -> (Sheet, Construction) {
        let hole_m = self.between(0.8e-3, 1.2e-3);
        let open_area = self.between(0.035, 0.05);
        let sheet = Sheet::Perforated {
            hole_m,
            pitch_m: hole_m * (PI / 4.0 / open_area).sqrt(),
            thickness_m: self.between(0.35e-3, 0.5e-3),
            open_area,
            film_mass_kg_m2: Some(self.between(0.4, 0.7)),
        };
        (sheet, Construction::Perforated)
    }

    /// Sound thrown towards one seat.
    pub(super) fn scatter(&mut self) -> Vec<Scatter> {
        let one = |draw: &mut Self| Scatter {
            delay_s: draw.between(0.04e-3, 0.22e-3),
            gain: draw.between(-0.08, 0.08),
        };
        (0..4).map(|_| one(self)).collect()
    }

    /// Weak treble, tilt, crossovers and horns on top of what a loudspeaker has.
    pub(super) fn as_real_ones_are(&mut self, speaker: &mut Loudspeaker) {
        let fall_db = self.between(0.0, 40.0);
        let from_hz = self.log_between(2000.0, 8000.0);
        speaker.falls =
            vec![Fall::to(from_hz, 16_000.0, fall_db), Fall::tilt(100.0, self.between(0.0, 1.0))];
        let order = if self.chance(0.5) { CrossoverOrder::Second } else { CrossoverOrder::Fourth };
        let late_s = self.between(-0.0003, 0.0007);
        speaker.crossover = Some(Crossover {
            at_hz: self.log_between(300.0, 3000.0),
            order,
            treble_late_s: if self.chance(0.5) { late_s } else { 0.0 },
        });
        speaker.directivity_hz = self.log_between(1000.0, 4000.0);
        speaker.off_axis_floor = self.between(0.1, 0.3);
    }

    fn series(&mut self) -> (Sheet, Construction) {
        let sheet = Sheet::FabricSeries {
            flow_resistance_pa_s_m: self.log_between(20.0, 150.0),
            areal_mass_kg_m2: self.log_between(0.002, 0.012),
        };
        (sheet, Construction::Woven)
    }

    fn any_sheet(&mut self) -> (Sheet, Construction) {
        match self.0.random_range(0..5) {
            0 => self.woven(),
            1 => self.perforated(),
            2 => self.unknown(),
            3 => self.series(),
            _ => self.backing(),
        }
    }

    /// Absorption at low frequencies around the limits, a little more above.
    pub(super) fn walls(&mut self, low: f64, high: f64) -> [Wall; 6] {
        std::array::from_fn(|i| {
            let a = self.between(low, high);
            // Carpet on most floors.
            let carpet = i == 4 && self.chance(0.7);
            let treble = if carpet { self.between(0.4, 0.65) } else { a + self.between(0.0, 0.25) };
            Wall::absorbing(a, treble, self.log_between(300.0, 2000.0))
        })
    }

    pub(super) fn early(&mut self, delay_s: f64) -> EarlyReflection {
        let high = self.between(0.2, 0.4);
        EarlyReflection {
            delay_s,
            gain: [0.5 * high, high],
            corner_hz: self.log_between(500.0, 1500.0),
            turn_deg: self.between(12.0, 45.0) * if self.chance(0.5) { 1.0 } else { -1.0 },
        }
    }

    pub(super) fn seat_back(&mut self) -> SeatBack {
        let high = self.between(0.2, 0.45);
        SeatBack {
            behind_m: self.between(0.2, 0.4),
            gain: [0.15, high],
            corner_hz: self.log_between(400.0, 1200.0),
        }
    }

    pub(super) fn control(&mut self, s: &Scenario) -> Control {
        let [x, y, z] = s.speaker.position_m;
        let side = self.between(1.5, 1.8);
        Control {
            position_m: [x + self.between(0.0, 0.3), y - side, z + self.between(-0.1, 0.1)],
            every_spot: true,
        }
    }

    pub(super) fn speaker(&mut self, width_m: f64) -> Loudspeaker {
        let ripple = (0..4)
            .map(|_| Ripple {
                at_hz: self.log_between(150.0, 15_000.0),
                gain_db: self.between(-3.0, 3.0),
                q: self.between(0.7, 3.0),
            })
            .collect();
        let edges = (0..self.0.random_range(0..3))
            .map(|_| EdgeArrival {
                delay_s: self.between(2e-4, 6e-4),
                gain: self.between(-0.12, 0.06),
            })
            .collect();
        Loudspeaker {
            position_m: [
                self.between(0.35, 0.6),
                width_m / 2.0 + self.between(-0.15, 0.15),
                self.between(0.8, 1.15),
            ],
            high_pass_hz: self.between(60.0, 90.0),
            low_pass_hz: self.between(20_000.0, 30_000.0),
            crossover: self
                .chance(0.8)
                .then(|| Crossover::fourth(self.log_between(1500.0, 3500.0))),
            falls: Vec::new(),
            ripple,
            directivity_hz: self.log_between(2000.0, 5000.0),
            off_axis_floor: self.between(0.2, 0.4),
            edges,
        }
    }
}
