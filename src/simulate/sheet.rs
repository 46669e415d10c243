//! The true sheet: complex transmission and reflection by frequency and angle.
//!
//! This is the side the measurement is judged against, so it shares no code
//! with the models that the analysis fits.

use realfft::num_complex::Complex64;
use std::f64::consts::PI;

/// Density of air at 20 degrees Celsius, kg/m3.
pub const AIR_DENSITY: f64 = 1.2041;
/// Speed of sound at 20 degrees Celsius, m/s (ISO 9613-1).
pub const SPEED_OF_SOUND: f64 = 343.2;
/// Dynamic viscosity of air at 20 degrees Celsius, Pa s.
pub const AIR_VISCOSITY: f64 = 1.813e-5;
/// Smallest cosine at which a plane sheet is still asked: 80 degrees. Beyond
/// it the finite sheet and the loudspeaker's own shadow rule.
pub const LEAST_COSINE: f64 = 0.173_648_177_666_930_35;

const RHO_C: f64 = AIR_DENSITY * SPEED_OF_SOUND;

/// What hangs in front of the loudspeaker.
#[derive(Debug, Clone, PartialEq)]
pub enum Sheet {
    /// No sheet: `T = 1`, `R = 0`.
    None,
    /// Limp porous cloth: air passes (flow resistance) or moves the cloth
    /// (mass): `1/z = rho c (1/Rs + 1/(j omega m))`.
    FabricParallel {
        /// Specific flow resistance, Pa s/m.
        flow_resistance_pa_s_m: f64,
        /// Mass per area, kg/m2.
        areal_mass_kg_m2: f64,
    },
    /// Resistance and mass one after the other: `z = (Rs + j omega m)/(rho c)`.
    FabricSeries {
        /// Specific flow resistance, Pa s/m.
        flow_resistance_pa_s_m: f64,
        /// Mass per area, kg/m2 (mass of the moving air included).
        areal_mass_kg_m2: f64,
    },
    /// Film with round holes: air in the holes with its exact viscous drag
    /// (Crandall), mass end correction for neighbouring holes, and the limp film in parallel.
    Perforated {
        /// Hole diameter, m.
        hole_m: f64,
        /// Distance of hole centres, m.
        pitch_m: f64,
        /// Thickness, m.
        thickness_m: f64,
        /// Open area over whole area, 0-1.
        open_area: f64,
        /// Mass per area of the film, kg/m2; `None` = rigid.
        film_mass_kg_m2: Option<f64>,
    },
    /// A cloth no textbook model fits: a sum of positive-real parts.
    Resonant {
        /// Plain resistance, in `rho c`.
        resistance: f64,
        /// Mass per area, kg/m2.
        areal_mass_kg_m2: f64,
        /// Damped parts, each with its largest value at its own frequency.
        parts: Vec<Resonance>,
    },
    /// Two sheets with a little air between, loudspeaker side first.
    Double {
        /// The sheet nearer to the loudspeaker (the backing).
        near: Box<Sheet>,
        /// The sheet nearer to the seats.
        far: Box<Sheet>,
        /// Distance, m.
        spacing_m: f64,
    },
}

/// One damped part of [`Sheet::Resonant`]: `r / (1 + j Q (f/f0 - f0/f))`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Resonance {
    /// Resistance at `at_hz`, in `rho c`.
    pub resistance: f64,
    /// Frequency of the maximum, Hz.
    pub at_hz: f64,
    /// Quality factor.
    pub q: f64,
}

/// The sheet on a fixed list of frequencies, ready for any angle.
#[derive(Debug, Clone)]
pub struct SheetSpectrum {
    frequency_hz: Vec<f64>,
    layers: Layers,
}

#[derive(Debug, Clone)]
enum Layers {
    None,
    Single(Vec<Complex64>),
    Double { near: Box<SheetSpectrum>, far: Box<SheetSpectrum>, spacing_m: f64 },
}

impl Sheet {
    /// Series impedance of a single layer at `f_hz` (above 0), in `rho c`;
    /// `None` for [`Sheet::None`] and for two layers, which have no single one.
    ///
    /// # Source
    /// Cloth: Pieren, Textile Research Journal 2012 (doi 10.1177/0040517511429604),
    /// circuit as in the standard derivation. Holes: Crandall's tube,
    /// `j omega rho t / (1 - 2 J1(s)/(s J0(s)))`, `s = r sqrt(-j omega rho/eta)`;
    /// mass end correction `1.7 a (1 - a/b)` (Beranek, Acoustics, 1954).
    pub fn impedance(&self, f_hz: f64) -> Option<Complex64> {
        let omega = 2.0 * PI * f_hz;
        let j_omega = Complex64::new(0.0, omega);
        match self {
            Self::None | Self::Double { .. } => None,
            Self::FabricParallel { flow_resistance_pa_s_m: rs, areal_mass_kg_m2: m } => {
                let mass = j_omega * *m;
                Some(mass * *rs / (mass + *rs) / RHO_C)
            }
            Self::FabricSeries { flow_resistance_pa_s_m: rs, areal_mass_kg_m2: m } => {
                Some((j_omega * *m + *rs) / RHO_C)
            }
            Self::Perforated { hole_m, pitch_m, thickness_m, open_area, film_mass_kg_m2 } => {
                let radius = hole_m / 2.0;
                let s = Complex64::new(0.0, -omega * AIR_DENSITY / AIR_VISCOSITY).sqrt() * radius;
                let tube = j_omega * AIR_DENSITY * *thickness_m
                    / (Complex64::new(1.0, 0.0) - bessel_ratio(s) * 2.0 / s);
                let ends = 1.7 * radius * (1.0 - radius / pitch_m);
                // Friction on the sheet's faces around the holes, both sides together
                // (Ingard 1953: half of sqrt(2 omega rho eta) each).
                let faces = (2.0 * omega * AIR_DENSITY * AIR_VISCOSITY).sqrt();
                let holes = (tube + j_omega * AIR_DENSITY * ends + faces) / *open_area;
                let z = match film_mass_kg_m2 {
                    Some(m) => holes * (j_omega * *m) / (holes + j_omega * *m),
                    None => holes,
                };
                Some(z / RHO_C)
            }
            Self::Resonant { resistance, areal_mass_kg_m2, parts } => {
                let mut z = j_omega * (*areal_mass_kg_m2 / RHO_C) + *resistance;
                for p in parts {
                    let detuning = p.q * (f_hz / p.at_hz - p.at_hz / f_hz);
                    z += Complex64::new(p.resistance, 0.0) / Complex64::new(1.0, detuning);
                }
                Some(z)
            }
        }
    }

    /// Prepares the sheet for the frequencies of a grid. Frequencies of 0 Hz
    /// are asked at a millihertz, where every model has its limit.
    pub fn on_grid(&self, frequency_hz: &[f64]) -> SheetSpectrum {
        let layers = match self {
            Self::None => Layers::None,
            Self::Double { near, far, spacing_m } => Layers::Double {
                near: Box::new(near.on_grid(frequency_hz)),
                far: Box::new(far.on_grid(frequency_hz)),
                spacing_m: *spacing_m,
            },
            single => Layers::Single(
                frequency_hz.iter().filter_map(|&f| single.impedance(f.max(1e-3))).collect(),
            ),
        };
        SheetSpectrum { frequency_hz: frequency_hz.to_vec(), layers }
    }
}

impl SheetSpectrum {
    /// Pressure transmission and reflection (seen from the loudspeaker) of
    /// frequency `k` for a plane wave at `cosine` of the angle to the normal:
    /// `T = 1/(1 + z cos/2)`, `R = (z cos/2)/(1 + z cos/2)`. Two layers: all
    /// reflections between them, less the travel time that is there without them.
    pub fn transmission_reflection(&self, k: usize, cosine: f64) -> (Complex64, Complex64) {
        let one = Complex64::new(1.0, 0.0);
        match &self.layers {
            Layers::None => (one, Complex64::new(0.0, 0.0)),
            Layers::Single(z) => {
                let half = z[k] * (cosine / 2.0);
                let t = one / (one + half);
                (t, half * t)
            }
            Layers::Double { near, far, spacing_m } => {
                let (t1, r1) = near.transmission_reflection(k, cosine);
                let (t2, r2) = far.transmission_reflection(k, cosine);
                let phase = 4.0 * PI * self.frequency_hz[k] * spacing_m * cosine / SPEED_OF_SOUND;
                let round_trip = Complex64::cis(-phase);
                let between = one / (one - r1 * r2 * round_trip);
                (t1 * t2 * between, r1 + t1 * t1 * r2 * round_trip * between)
            }
        }
    }
}

/// The loudspeaker's front as a mirror for what the sheet sends back: small
/// at low frequencies, where the front is small against the wavelength.
/// `Rb = (low + high j f/fc) / (1 + j f/fc)`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FrontReflection {
    /// Pressure reflection at low frequencies, 0-1.
    pub low: f64,
    /// Pressure reflection at high frequencies, 0-1.
    pub high: f64,
    /// Frequency of the change, Hz.
    pub corner_hz: f64,
    /// Part of it that comes back from deeper inside (cone, horn, frame), 0-1 ...
    pub deep: f64,
    /// ... and later by this, s.
    pub deep_s: f64,
}

impl FrontReflection {
    /// Pressure reflection at `f_hz`.
    pub fn at(&self, f_hz: f64) -> Complex64 {
        let later = Complex64::cis(-2.0 * PI * f_hz * self.deep_s);
        shelf(f_hz / self.corner_hz, self.low, self.high) * (later * self.deep + (1.0 - self.deep))
    }
}

/// First-order causal shelf `(low + high j x)/(1 + j x)`, `x = f/fc`.
pub(crate) fn shelf(x: f64, low: f64, high: f64) -> Complex64 {
    Complex64::new(low, high * x) / Complex64::new(1.0, x)
}

/// The sheet in place: in front of a loudspeaker front, `gap_m` away.
#[derive(Debug, Clone)]
pub struct HungSheet {
    sheet: SheetSpectrum,
    front: Vec<Complex64>,
    frequency_hz: Vec<f64>,
    gap_m: f64,
    c_m_s: f64,
}

impl HungSheet {
    /// Prepares sheet and front on a grid of frequencies, Hz.
    pub fn new(
        sheet: &Sheet,
        front: FrontReflection,
        gap_m: f64,
        c_m_s: f64,
        frequency_hz: &[f64],
    ) -> Self {
        Self {
            sheet: sheet.on_grid(frequency_hz),
            front: frequency_hz.iter().map(|&f| front.at(f)).collect(),
            frequency_hz: frequency_hz.to_vec(),
            gap_m,
            c_m_s,
        }
    }

    /// Everything that passes towards a direction, over what passed without
    /// the sheet: `T sum_n (R Rb)^n exp(-j 2 pi f n 2 gap cos/c)`, n from 0.
    ///
    /// `|R Rb| < 1`, so the sum is the geometric one. Cosines below
    /// [`LEAST_COSINE`] are taken as that.
    pub fn total(&self, k: usize, cosine: f64) -> Complex64 {
        self.total_with(k, cosine, Complex64::new(0.0, 0.0))
    }

    /// The same where `scattered` comes on top of what passes at first; the loudspeaker does not
    /// see it.
    pub fn total_with(&self, k: usize, cosine: f64, scattered: Complex64) -> Complex64 {
        let cosine = cosine.abs().max(LEAST_COSINE);
        let (t, r) = self.sheet.transmission_reflection(k, cosine);
        let phase = 4.0 * PI * self.frequency_hz[k] * self.gap_m * cosine / self.c_m_s;
        (t + scattered) / (Complex64::new(1.0, 0.0) - r * self.front[k] * Complex64::cis(-phase))
    }
}

/// `J1(s)/J0(s)` of a complex argument away from the real axis, from the
/// continued fraction of the recurrence `J(n-1) + J(n+1) = 2 n J(n)/s`.
fn bessel_ratio(s: Complex64) -> Complex64 {
    // Below the order |s| the fraction only turns; 40 more terms settle it to rounding.
    let depth = (1.3 * s.norm()) as usize + 40;
    let mut tail = Complex64::new(0.0, 0.0);
    for n in (1..=depth).rev() {
        tail = Complex64::new(1.0, 0.0) / (Complex64::new(2.0 * n as f64, 0.0) / s - tail);
    }
    tail
}

#[cfg(test)]
mod tests;
