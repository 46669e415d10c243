//! A sheet with round holes: open area, end correction, impedance.

use super::air::Air;
use super::bessel::j1_over_j0;
use realfft::num_complex::Complex;
use serde::{Deserialize, Serialize};

/// How the holes are laid out.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Lattice {
    /// Rows and columns at right angles.
    #[default]
    Square,
    /// Rows offset by half a pitch, neighbours at 60 degrees.
    Staggered,
}

impl Lattice {
    /// Sheet area that belongs to one hole, in pitches squared.
    fn cell(self) -> f64 {
        match self {
            Self::Square => 1.0,
            Self::Staggered => 3f64.sqrt() / 2.0,
        }
    }
}

/// Added length of the air that moves in front of both ends of a hole.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum EndCorrection {
    /// None: only the plug of air in the hole.
    None,
    /// `1.7 a (1 - a/b)`, `a` the radius, `b` the pitch (Beranek, Acoustics, 1954, from memory).
    /// Of eight forms tried it comes nearest to three published laboratory examples; chosen
    /// with those in view.
    #[default]
    Pitch,
}

/// Round holes in a thin sheet.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Perforation {
    /// Hole diameter, m.
    pub hole_m: f64,
    /// Distance of neighbouring hole centres, m.
    pub pitch_m: f64,
    /// Sheet thickness, m.
    pub thickness_m: f64,
    /// Layout.
    pub lattice: Lattice,
    /// Which end correction.
    pub ends: EndCorrection,
}

impl Perforation {
    /// The pitch that a stated open area asks for: `open_area` in (0, 1).
    pub fn pitch_for(hole_m: f64, open_area: f64, lattice: Lattice) -> f64 {
        let hole_area_m2 = std::f64::consts::FRAC_PI_4 * hole_m * hole_m;
        (hole_area_m2 / (open_area * lattice.cell())).sqrt()
    }

    /// Share of the sheet that is hole, 0...1: `pi d^2 / 4` over the cell of the lattice.
    pub fn open_area(&self) -> f64 {
        let hole_area_m2 = std::f64::consts::FRAC_PI_4 * self.hole_m * self.hole_m;
        hole_area_m2 / (self.lattice.cell() * self.pitch_m * self.pitch_m)
    }

    /// Length of the air that moves, `t' = t + ends`, m.
    pub fn effective_length_m(&self) -> f64 {
        let radius_m = self.hole_m / 2.0;
        self.thickness_m
            + match self.ends {
                EndCorrection::None => 0.0,
                EndCorrection::Pitch => 1.7 * radius_m * (1.0 - radius_m / self.pitch_m),
            }
    }

    /// Specific impedance of the holes spread over the sheet, Pa s/m.
    ///
    /// `Z = (1/sigma) { j w rho t / [1 - 2 J1(q) / (q J0(q))] + j w rho (t' - t)
    /// + sqrt(2 w rho eta) / 2 }`, `q = a sqrt(w rho / eta) exp(-j pi / 4)`.
    ///
    /// # Valid range
    /// Holes apart from each other (`d < b`) and shorter than a sixth of the wave.
    /// # Source
    /// Exact form of Crandall (1926); surface resistance of the ends as in Maa, J. Acoust. Soc.
    /// Am. 104, 2861 (1998), whose printed approximation has a wrong low-frequency mass
    /// (`1/sqrt(1 + x^2/2)` instead of `1/sqrt(9 + x^2/2)`): not used here.
    pub fn impedance_pa_s_m(&self, w_rad_s: f64, air: &Air) -> Complex<f64> {
        let inertia = Complex::new(0.0, w_rad_s * air.density_kg_m3);
        let plug = inertia * self.thickness_m * viscous_factor(self.hole_m / 2.0, w_rad_s, air);
        let ends = inertia * (self.effective_length_m() - self.thickness_m);
        let surface = match self.ends {
            EndCorrection::None => 0.0,
            _ => 0.5 * (2.0 * w_rad_s * air.density_kg_m3 * air.viscosity_pa_s).sqrt(),
        };
        (plug + ends + surface) / self.open_area()
    }
}

/// What the boundary layer makes of the inertia of air in a round hole of `radius_m`:
/// `1 / (1 - 2 J1(q) / (q J0(q)))`; 1 for wide holes, 4/3 - j large for narrow ones.
pub fn viscous_factor(radius_m: f64, w_rad_s: f64, air: &Air) -> Complex<f64> {
    let x = radius_m * (w_rad_s * air.density_kg_m3 / air.viscosity_pa_s).sqrt();
    let q = Complex::from_polar(x, -std::f64::consts::FRAC_PI_4);
    1.0 / (1.0 - 2.0 * j1_over_j0(q) / q)
}

#[cfg(test)]
mod tests {
    use super::*;

    const HOLES: &str = include_str!("../../../fixtures/hole_impedance.csv");

    fn bare(hole_mm: f64, thickness_mm: f64, open_area: f64) -> Perforation {
        let hole_m = hole_mm * 1e-3;
        Perforation {
            hole_m,
            pitch_m: Perforation::pitch_for(hole_m, open_area, Lattice::Square),
            thickness_m: thickness_mm * 1e-3,
            lattice: Lattice::Square,
            ends: EndCorrection::None,
        }
    }

    #[test]
    fn exact_impedance_agrees_with_an_independent_library() {
        let air = Air::AT_20_C;
        let mut n = 0;
        for line in HOLES.lines().skip(1) {
            let v: Vec<f64> = line.split(',').map(|x| x.parse().unwrap()).collect();
            let w = std::f64::consts::TAU * v[3];
            let got = bare(v[0], v[1], v[2]).impedance_pa_s_m(w, &air) / air.impedance_pa_s_m();
            let want = Complex::new(v[4], v[5]);
            assert!((got - want).norm() < 1e-9 * want.norm(), "{line}: {got}");
            n += 1;
        }
        assert_eq!(n, 24);
    }

    #[test]
    fn low_frequency_mass_is_four_thirds() {
        // Computed from the exact form for d = t = 0.3 mm, 5 % open, 10 Hz: Im z = 0.00146,
        // while Maa's printed 1998 term gives 0.00217.
        let air = Air::AT_20_C;
        let z = bare(0.3, 0.3, 0.05).impedance_pa_s_m(std::f64::consts::TAU * 10.0, &air);
        let im = z.im / air.impedance_pa_s_m();
        assert!((im - 0.00146).abs() < 5e-6, "{im}");
        // Poiseuille flow: R = 32 eta t / (sigma d^2).
        let poiseuille = 32.0 * 1.813e-5 * 0.3e-3 / (0.05 * 0.3e-3 * 0.3e-3);
        assert!((z.re / poiseuille - 1.0).abs() < 1e-3, "{}", z.re);
    }

    #[test]
    fn open_area_and_length_of_the_handbook_examples() {
        // Handbook of perforated metal (Schultz, 1986), examples 1, 2, 9 [in]; printed open areas
        // 16.45, 25.16 and 32.5 %. Lengths computed with the pitch form of the end correction.
        for (d, b, t, percent, length_mm) in [
            (0.023, 0.054, 0.0184, 16.45, 0.8582),
            (0.066, 0.125, 0.0625, 25.28, 2.6363),
            (0.188, 0.313, 0.0598, 32.72, 4.3589),
        ] {
            let p = Perforation {
                hole_m: d * 0.0254,
                pitch_m: b * 0.0254,
                thickness_m: t * 0.0254,
                lattice: Lattice::Staggered,
                ends: EndCorrection::Pitch,
            };
            assert!((100.0 * p.open_area() - percent).abs() < 0.01, "{}", p.open_area());
            assert!((1e3 * p.effective_length_m() - length_mm).abs() < 1e-4);
        }
    }

    #[test]
    fn pitch_and_open_area_belong_together() {
        for lattice in [Lattice::Square, Lattice::Staggered] {
            let pitch_m = Perforation::pitch_for(0.5e-3, 0.05, lattice);
            let p = Perforation { pitch_m, lattice, ..bare(0.5, 0.3, 0.05) };
            assert!((p.open_area() - 0.05).abs() < 1e-12);
        }
        // Square, d 0.5 mm, 5 %: b = 1.9817 mm (computed).
        let b = Perforation::pitch_for(0.5e-3, 0.05, Lattice::Square);
        assert!((b * 1e3 - 1.9817).abs() < 5e-5);
    }
}
