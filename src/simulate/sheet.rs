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
        let cosine = cosine.abs().max(LEAST_COSINE);
        let (t, r) = self.sheet.transmission_reflection(k, cosine);
        let phase = 4.0 * PI * self.frequency_hz[k] * self.gap_m * cosine / self.c_m_s;
        t / (Complex64::new(1.0, 0.0) - r * self.front[k] * Complex64::cis(-phase))
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
mod tests {
    use super::*;

    fn loss_db(sheet: &Sheet, f_hz: f64, cosine: f64) -> f64 {
        let (t, _) = sheet.on_grid(&[f_hz]).transmission_reflection(0, cosine);
        -20.0 * t.norm().log10()
    }

    fn near(what: &str, got: f64, want: f64, tolerance: f64) {
        assert!((got - want).abs() <= tolerance, "{what}: got {got}, want {want} +- {tolerance}");
    }

    /// Computed independently from `IL = 20 lg |1 + z/2|`, `z` of resistance and
    /// mass in parallel, rho c = 413.25 Pa s/m; last digit printed.
    #[test]
    fn cloth_follows_the_parallel_circuit() {
        let cloth =
            |rs, m| Sheet::FabricParallel { flow_resistance_pa_s_m: rs, areal_mass_kg_m2: m };
        for (rs, m, f, want) in [
            (20.0, 1e9, 1000.0, 0.2077),
            (50.0, 1e9, 100.0, 0.5102),
            (100.0, 1e9, 16_000.0, 0.9921),
            (413.25, 1e9, 1000.0, 3.5218), // 20 lg 1.5
            (100.0, 0.2, 100.0, 0.6338),
            (100.0, 0.2, 500.0, 0.9701),
            (100.0, 0.2, 16_000.0, 0.9920),
            (400.0, 0.2, 100.0, 0.4454),
            (400.0, 0.2, 1000.0, 3.2047),
            (400.0, 0.2, 4000.0, 3.4136),
        ] {
            near(&format!("Rs {rs}, m {m}, {f} Hz"), loss_db(&cloth(rs, m), f, 1.0), want, 1e-4);
        }
    }

    /// Schultz, Acoustical Uses for Perforated Metals, 1986, examples 1, 2 and 9: attenuation
    /// at 10 kHz as printed (0.9, 2.9, 4.4 dB; the last read from a nomogram). The end
    /// correction was chosen with these in view, so this is a plausibility check.
    #[test]
    fn holes_lose_what_the_perforated_metal_handbook_prints() {
        let mut last = 0.0;
        for (d, b, t, want) in
            [(0.023, 0.054, 0.0184, 0.9), (0.066, 0.125, 0.0625, 2.9), (0.188, 0.313, 0.0598, 4.4)]
        {
            let inch = 0.0254;
            let sheet = Sheet::Perforated {
                hole_m: d * inch,
                pitch_m: b * inch,
                thickness_m: t * inch,
                open_area: PI * d * d / 4.0 / (b * b * 3f64.sqrt() / 2.0),
                film_mass_kg_m2: None,
            };
            let got = loss_db(&sheet, 10_000.0, 1.0);
            near(&format!("hole {d} in"), got, want, 0.6);
            assert!(got > last, "the order of the examples is lost at {d} in");
            last = got;
        }
    }

    /// Limits of Crandall's tube: Poiseuille drag `32 eta t/d^2` and inertia 4/3 rho t for
    /// narrow holes, plain inertia for wide ones.
    #[test]
    fn drag_in_a_hole_has_its_closed_limits() {
        let tube = |d: f64, f: f64| {
            let omega = 2.0 * PI * f;
            let s = Complex64::new(0.0, -omega * AIR_DENSITY / AIR_VISCOSITY).sqrt() * (d / 2.0);
            Complex64::new(0.0, omega * AIR_DENSITY)
                / (Complex64::new(1.0, 0.0) - bessel_ratio(s) * 2.0 / s)
        };
        let narrow = tube(2e-5, 10.0);
        near("drag", narrow.re / (32.0 * AIR_VISCOSITY / 4e-10), 1.0, 1e-6);
        near("inertia", narrow.im / (2.0 * PI * 10.0 * AIR_DENSITY * 4.0 / 3.0), 1.0, 1e-6);
        let wide = tube(0.02, 10_000.0);
        near("wide", wide.im / (2.0 * PI * 10_000.0 * AIR_DENSITY), 1.0, 0.01);
        // J1(j)/J0(j) = j I1(1)/I0(1) = 0.565159 j / 1.266066 (modified Bessel tables).
        near("ratio", bessel_ratio(Complex64::new(0.0, 1.0)).im, 0.565_159_1 / 1.266_065_9, 1e-7);
    }

    #[test]
    fn no_sheet_makes_energy() {
        let fabric = Sheet::FabricParallel { flow_resistance_pa_s_m: 60.0, areal_mass_kg_m2: 0.3 };
        let holes = Sheet::Perforated {
            hole_m: 0.5e-3,
            pitch_m: 2e-3,
            thickness_m: 0.3e-3,
            open_area: 0.05,
            film_mass_kg_m2: Some(0.4),
        };
        let odd = Sheet::Resonant {
            resistance: 0.1,
            areal_mass_kg_m2: 0.01,
            parts: vec![Resonance { resistance: 0.6, at_hz: 3000.0, q: 1.2 }],
        };
        let double = Sheet::Double {
            near: Box::new(fabric.clone()),
            far: Box::new(holes.clone()),
            spacing_m: 0.01,
        };
        let lossless = Sheet::FabricSeries { flow_resistance_pa_s_m: 0.0, areal_mass_kg_m2: 0.1 };
        let grid: Vec<f64> = (0..200).map(|k| 20.0 * 1.035f64.powi(k)).collect();
        for cosine in [0.2, 0.7, 1.0] {
            for sheet in [&fabric, &holes, &odd, &double, &lossless] {
                let on = sheet.on_grid(&grid);
                for (k, f) in grid.iter().enumerate() {
                    let (t, r) = on.transmission_reflection(k, cosine);
                    let sum = t.norm_sqr() + r.norm_sqr();
                    assert!(sum <= 1.0 + 1e-12, "{sheet:?} at {f} Hz: |T|2 + |R|2 = {sum}");
                }
            }
            let (t, r) = lossless.on_grid(&[5000.0]).transmission_reflection(0, cosine);
            near("lossless sheet", t.norm_sqr() + r.norm_sqr(), 1.0, 1e-12);
        }
    }

    /// Two resistances in contact are one of twice the value.
    #[test]
    fn two_layers_without_distance_are_one() {
        let r = |rs| Sheet::FabricSeries { flow_resistance_pa_s_m: rs, areal_mass_kg_m2: 0.0 };
        let double =
            Sheet::Double { near: Box::new(r(40.0)), far: Box::new(r(60.0)), spacing_m: 0.0 };
        for cosine in [0.5, 1.0] {
            near("loss", loss_db(&double, 4e3, cosine), loss_db(&r(100.0), 4e3, cosine), 1e-12);
        }
    }

    /// Ripple period `c/(2 gap)`: 858 Hz for 0.2 m (Everest and Pohlmann, Master Handbook of
    /// Acoustics, ch. 10: spacing 1/t); oblique incidence stretches it by 1/cos.
    #[test]
    fn echoes_ripple_with_the_period_of_the_gap() {
        let sheet = Sheet::FabricSeries { flow_resistance_pa_s_m: 100.0, areal_mass_kg_m2: 0.0 };
        let front =
            FrontReflection { low: 0.9, high: 0.9, corner_hz: 500.0, deep: 0.0, deep_s: 0.0 };
        for cosine in [1.0, 0.8] {
            let period = SPEED_OF_SOUND / 0.4 / cosine;
            let z = 100.0 / RHO_C * cosine;
            let (t, g) = (1.0 / (1.0 + z / 2.0), 0.9 * (z / 2.0) / (1.0 + z / 2.0));
            let grid = [period, 1.5 * period, 2.0 * period];
            let hung = HungSheet::new(&sheet, front, 0.2, SPEED_OF_SOUND, &grid);
            near("peak", hung.total(0, cosine).norm(), t / (1.0 - g), 1e-12);
            near("dip", hung.total(1, cosine).norm(), t / (1.0 + g), 1e-12);
            near("next peak", hung.total(2, cosine).norm(), t / (1.0 - g), 1e-12);
        }
    }

    /// The closed sum equals the sum written out.
    #[test]
    fn echo_sum_written_out() {
        let sheet = Sheet::FabricSeries { flow_resistance_pa_s_m: 200.0, areal_mass_kg_m2: 0.1 };
        let front =
            FrontReflection { low: 0.3, high: 0.9, corner_hz: 800.0, deep: 0.0, deep_s: 0.0 };
        let (f, gap, cosine) = (2345.0, 0.3, 0.9);
        let got = HungSheet::new(&sheet, front, gap, SPEED_OF_SOUND, &[f]).total(0, cosine);
        let (t, r) = sheet.on_grid(&[f]).transmission_reflection(0, cosine);
        let want: Complex64 = (0..400)
            .map(|n| {
                let phase = 2.0 * PI * f * f64::from(n) * 2.0 * gap * cosine / SPEED_OF_SOUND;
                t * (r * front.at(f)).powi(n) * Complex64::cis(-phase)
            })
            .sum();
        assert!((got - want).norm() < 1e-12, "{got} against {want}");
    }
}
