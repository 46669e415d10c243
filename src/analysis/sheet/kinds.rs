//! What is fitted, the models that compete, and their quantities.

use super::air::Air;
use super::models::Sheet;
use crate::analysis::estimate::Estimate;
use crate::units::ThirdOctave;
use serde::{Deserialize, Serialize};

/// What is fitted.
#[derive(Debug, Clone)]
pub struct FitInput {
    /// Bands of `loss`.
    pub bands: Vec<ThirdOctave>,
    /// Mean loss over the seats; absent bands are left out.
    pub loss: Vec<Option<Estimate>>,
    /// Cosine of the angle to the sheet's normal, one per seat; empty = all straight on.
    pub cos_theta: Vec<f64>,
    /// Gap between loudspeaker and sheet, m, where known.
    pub gap_m: Option<f64>,
    /// Standard uncertainty of the gap, m.
    pub gap_u_m: f64,
    /// Air.
    pub air: Air,
    /// Bands below are not used, Hz.
    pub from_hz: f64,
}

/// The models that compete.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum ModelKind {
    /// Flow resistance alone.
    Resistive,
    /// Mass alone; the same curve as holes without friction (`m = rho t' / sigma`).
    Mass,
    /// Flow resistance and mass in series.
    Series,
    /// Flow resistance beside mass.
    Parallel,
    /// Holes with inertia and viscous boundary layer.
    Holes,
}

impl ModelKind {
    /// All of them, simplest first.
    pub const ALL: [Self; 5] =
        [Self::Resistive, Self::Mass, Self::Series, Self::Parallel, Self::Holes];

    /// What it is made of.
    pub fn parameters(self) -> &'static [Quantity] {
        match self {
            Self::Resistive => &[Quantity::FlowResistance],
            Self::Mass => &[Quantity::ArealMass],
            Self::Series | Self::Parallel => &[Quantity::FlowResistance, Quantity::ArealMass],
            Self::Holes => &[Quantity::EffectiveLength, Quantity::HoleDiameter],
        }
    }

    /// The sheet, by the values of its [`ModelKind::parameters`].
    pub fn sheet(self, value: impl Fn(usize) -> f64) -> Sheet {
        match self {
            Self::Resistive => Sheet::Resistive { flow_resistance_pa_s_m: value(0) },
            Self::Mass => Sheet::Limp { areal_mass_kg_m2: value(0) / 1e3 },
            Self::Series => {
                Sheet::Series { flow_resistance_pa_s_m: value(0), areal_mass_kg_m2: value(1) / 1e3 }
            }
            Self::Parallel => Sheet::Parallel {
                flow_resistance_pa_s_m: value(0),
                areal_mass_kg_m2: value(1) / 1e3,
            },
            Self::Holes => Sheet::EffectiveHoles {
                length_over_area_m: value(0) / 1e3,
                radius_m: value(1) / 2e3,
            },
        }
    }

    /// The same by their logarithms, held to what is tried.
    pub(super) fn sheet_at(self, logs: &[f64]) -> Sheet {
        self.sheet(|i| self.parameters()[i].value_at(logs[i]))
    }
}

/// A fitted quantity; the unit is part of the name in files.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum Quantity {
    /// Mass per area, g/m2.
    #[serde(rename = "areal_mass_g_m2")]
    ArealMass,
    /// Specific flow resistance, Pa s/m.
    #[serde(rename = "flow_resistance_pa_s_m")]
    FlowResistance,
    /// Effective length over open area, `t' / sigma`, mm.
    #[serde(rename = "effective_length_over_open_area_mm")]
    EffectiveLength,
    /// Hole diameter that the friction asks for, mm.
    #[serde(rename = "hole_diameter_mm")]
    HoleDiameter,
    /// Frequency where the bare sheet takes 3 dB, Hz.
    #[serde(rename = "corner_hz")]
    Corner,
}

impl Quantity {
    /// Smallest and largest value that is tried.
    pub(super) fn bounds(self) -> [f64; 2] {
        match self {
            Self::ArealMass => [0.05, 2e4],
            Self::FlowResistance => [0.05, 2e4],
            Self::EffectiveLength => [0.05, 2e4],
            Self::HoleDiameter => [0.02, 20.0],
            Self::Corner => [20.0, 80_000.0],
        }
    }

    pub(super) fn value_at(self, log: f64) -> f64 {
        let [low, high] = self.bounds();
        log.exp().clamp(low, high)
    }

    /// Name and unit for people.
    pub fn words(self) -> (&'static str, &'static str) {
        match self {
            Self::ArealMass => ("areal mass", "g/m²"),
            Self::FlowResistance => ("flow resistance", "Pa s/m"),
            Self::EffectiveLength => ("effective length over open area", "mm"),
            Self::HoleDiameter => ("hole diameter", "mm"),
            Self::Corner => ("3 dB corner", "Hz"),
        }
    }
}
