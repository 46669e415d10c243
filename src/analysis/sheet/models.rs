//! Sheets as impedances, layers of them, and what they do to sound: transmission, reflection,
//! loss over frequency and angle, loss of third-octave bands, the comb of the gap.
//!
//! A thin sheet of specific impedance `Z` between equal air on both sides passes
//! `T = 1 / (1 + z/2)` and throws back `R = (z/2) / (1 + z/2)`, `z = Z cos(theta) / (rho c)`
//! (standard derivation, e.g. Cremer and Mueller). Loss is `20 lg |1 + z/2|`.

use super::air::Air;
use super::perforated::{Perforation, viscous_factor};
use crate::units::{LossDb, ThirdOctave};
use realfft::num_complex::Complex;
use serde::{Deserialize, Serialize};
use std::f64::consts::TAU;

/// One thin sheet.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case", tag = "model")]
pub enum Sheet {
    /// Only flow resistance: a weave that does not move. Same loss at all frequencies.
    Resistive {
        /// Specific flow resistance, Pa s/m.
        flow_resistance_pa_s_m: f64,
    },
    /// Only mass: a limp film. Loss rises by 6 dB an octave once it is large.
    Limp {
        /// Mass per area, kg/m2.
        areal_mass_kg_m2: f64,
    },
    /// Mass and flow resistance one after the other: `Z = Rs + j w m`, air that is dragged
    /// through and must be moved as well.
    Series {
        /// Specific flow resistance, Pa s/m.
        flow_resistance_pa_s_m: f64,
        /// Mass per area, kg/m2.
        areal_mass_kg_m2: f64,
    },
    /// Mass beside flow resistance: `1/Z = 1/Rs + 1/(j w m)`, a porous cloth that gives way at
    /// low frequencies (Pieren, Textile Res. J. 2012; the equation from memory).
    Parallel {
        /// Specific flow resistance, Pa s/m.
        flow_resistance_pa_s_m: f64,
        /// Mass per area, kg/m2.
        areal_mass_kg_m2: f64,
    },
    /// Holes in a sheet that stands still.
    Perforated(Perforation),
    /// Holes in a sheet that moves: holes beside the sheet's mass.
    PerforatedLimp {
        holes: Perforation,
        /// Mass per area of the sheet, kg/m2.
        areal_mass_kg_m2: f64,
    },
    /// Holes known only by what they do: `Z = j w rho L / (1 - 2 J1(q) / (q J0(q)))`.
    EffectiveHoles {
        /// Effective length over open area `L = t' / sigma`, m.
        length_over_area_m: f64,
        /// Hole radius, m.
        radius_m: f64,
    },
}

impl Sheet {
    /// Specific impedance, Pa s/m, at `w_rad_s > 0`.
    pub fn impedance_pa_s_m(&self, w_rad_s: f64, air: &Air) -> Complex<f64> {
        let mass = |kg_m2: f64| Complex::new(0.0, w_rad_s * kg_m2);
        let beside = |a: Complex<f64>, b: Complex<f64>| a * b / (a + b);
        match *self {
            Self::Resistive { flow_resistance_pa_s_m } => flow_resistance_pa_s_m.into(),
            Self::Limp { areal_mass_kg_m2 } => mass(areal_mass_kg_m2),
            Self::Series { flow_resistance_pa_s_m, areal_mass_kg_m2 } => {
                mass(areal_mass_kg_m2) + flow_resistance_pa_s_m
            }
            Self::Parallel { flow_resistance_pa_s_m, areal_mass_kg_m2 } => {
                beside(flow_resistance_pa_s_m.into(), mass(areal_mass_kg_m2))
            }
            Self::Perforated(holes) => holes.impedance_pa_s_m(w_rad_s, air),
            Self::PerforatedLimp { holes, areal_mass_kg_m2 } => {
                beside(holes.impedance_pa_s_m(w_rad_s, air), mass(areal_mass_kg_m2))
            }
            Self::EffectiveHoles { length_over_area_m, radius_m } => {
                mass(air.density_kg_m3 * length_over_area_m)
                    * viscous_factor(radius_m, w_rad_s, air)
            }
        }
    }
}

/// A sheet with what hangs behind it and the loudspeaker it hangs before.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Hanging {
    /// The sheet that shows the picture.
    pub front: Sheet,
    /// Second cloth behind it, with the air between, m (0 = they touch).
    pub backing: Option<(Sheet, f64)>,
    /// Air between the loudspeaker's front and the nearest cloth, m, and the part of the sound
    /// pressure that the loudspeaker's front throws back (0 soft...1 hard); `None` = far away.
    pub gap: Option<Gap>,
}

/// The space behind the sheet.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Gap {
    /// Distance, m.
    pub gap_m: f64,
    /// Reflection factor of the loudspeaker's front, 0...1.
    pub front_reflection: f64,
}

/// What goes through and what comes back, complex pressure ratios.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Scattering {
    /// Through the sheet.
    pub transmission: Complex<f64>,
    /// Back towards the loudspeaker.
    pub reflection: Complex<f64>,
}

impl Hanging {
    /// A sheet by itself.
    pub fn alone(front: Sheet) -> Self {
        Self { front, backing: None, gap: None }
    }

    /// Transmission and reflection for a plane wave at `cos_theta` to the normal.
    ///
    /// Layers that do not touch are chained by the matrix of the air between them.
    pub fn scattering(&self, f_hz: f64, cos_theta: f64, air: &Air) -> Scattering {
        let w = TAU * f_hz;
        let scaled = |s: &Sheet| s.impedance_pa_s_m(w, air) * cos_theta / air.impedance_pa_s_m();
        let front = scaled(&self.front);
        let (a, b, c, d) = match &self.backing {
            None => (Complex::new(1.0, 0.0), front, Complex::new(0.0, 0.0), Complex::new(1.0, 0.0)),
            Some((sheet, air_m)) => {
                // Sound meets the backing first: [1 z2; 0 1] [cos, j sin; j sin, cos] [1 z1; 0 1].
                let back = scaled(sheet);
                let (sin, cos) = (w * air_m * cos_theta / air.speed_m_s).sin_cos();
                let j_sin = Complex::new(0.0, sin);
                let (a, b) = (cos + back * j_sin, j_sin + back * cos);
                (a, a * front + b, j_sin, j_sin * front + cos)
            }
        };
        let sum = a + b + c + d;
        Scattering { transmission: 2.0 / sum, reflection: (a + b - c - d) / sum }
    }

    /// What reaches the seat over what would without the sheet, echoes of the gap included:
    /// `T / (1 - q R exp(-j w tau))`, `tau = 2 gap cos(theta) / c`.
    pub fn response(&self, f_hz: f64, cos_theta: f64, air: &Air) -> Complex<f64> {
        let Scattering { transmission, reflection } = self.scattering(f_hz, cos_theta, air);
        match self.gap {
            None => transmission,
            Some(Gap { gap_m, front_reflection }) => {
                let phase = TAU * f_hz * 2.0 * gap_m * cos_theta / air.speed_m_s;
                let echo = reflection * Complex::from_polar(front_reflection, -phase);
                transmission / (1.0 - echo)
            }
        }
    }

    /// Loss at one frequency, dB.
    pub fn loss(&self, f_hz: f64, cos_theta: f64, air: &Air) -> LossDb {
        LossDb::from_power_ratio(self.response(f_hz, cos_theta, air).norm_sqr())
    }

    /// Loss of a third-octave band: mean power over its exact edges, dB.
    pub fn band_loss(&self, band: ThirdOctave, cos_theta: f64, air: &Air) -> LossDb {
        let f = band_frequencies_hz(band, self.gap.map_or(0.0, |g| g.gap_m), air);
        let power: f64 = f.iter().map(|&f| self.response(f, cos_theta, air).norm_sqr()).sum();
        LossDb::from_power_ratio(power / f.len() as f64)
    }

    /// Lowest frequency at which the sheet alone (no gap, straight on) takes half the power,
    /// 3.01 dB, Hz; `None` when that is not reached between 20 Hz and 80 kHz.
    pub fn corner_hz(&self, air: &Air) -> Option<f64> {
        let bare = Self { gap: None, ..self.clone() };
        let short = |f: f64| bare.response(f, 1.0, air).norm_sqr() <= 0.5;
        // 40 steps an octave, then halving.
        let step = 2f64.powf(1.0 / 40.0);
        let (mut low, mut high) = (20.0, 20.0);
        while !short(high) {
            low = high;
            high *= step;
            if high > 80_000.0 {
                return None;
            }
        }
        for _ in 0..40 {
            let middle = 0.5 * (low + high);
            if short(middle) { high = middle } else { low = middle }
        }
        Some(high)
    }
}

/// Frequencies over which a band's power is averaged: midpoints of equal parts between the exact
/// edges, at least 10 and at least 12 a ripple of the gap.
pub fn band_frequencies_hz(band: ThirdOctave, gap_m: f64, air: &Air) -> Vec<f64> {
    let ripples = band.width_hz() * 2.0 * gap_m / air.speed_m_s;
    let n = ((12.0 * ripples).ceil() as usize).max(10);
    let step = band.width_hz() / n as f64;
    (0..n).map(|i| band.lower_hz() + (i as f64 + 0.5) * step).collect()
}

#[cfg(test)]
mod tests;
