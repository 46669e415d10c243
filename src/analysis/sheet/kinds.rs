//! What is fitted, the models that compete, and their quantities.

use super::air::Air;
use super::models::Sheet;
use crate::analysis::estimate::Estimate;
use crate::units::ThirdOctave;
use serde::de::{Deserialize, Deserializer, Error};
use serde::{Serialize, Serializer};

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

/// The models that compete; files name them by [`ModelKind::key`].
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
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

    /// Name in files.
    pub fn key(self) -> &'static str {
        match self {
            Self::Resistive => "resistive",
            Self::Mass => "mass",
            Self::Series => "series",
            Self::Parallel => "parallel",
            Self::Holes => "holes",
        }
    }

    /// The sheet with these values of [`ModelKind::parameters`].
    pub fn sheet(self, values: &[f64]) -> Sheet {
        match self {
            Self::Resistive => Sheet::Resistive { flow_resistance_pa_s_m: values[0] },
            Self::Mass => Sheet::Limp { areal_mass_kg_m2: values[0] / 1e3 },
            Self::Series => Sheet::Series {
                flow_resistance_pa_s_m: values[0],
                areal_mass_kg_m2: values[1] / 1e3,
            },
            Self::Parallel => Sheet::Parallel {
                flow_resistance_pa_s_m: values[0],
                areal_mass_kg_m2: values[1] / 1e3,
            },
            Self::Holes => Sheet::EffectiveHoles {
                length_over_area_m: values[0] / 1e3,
                radius_m: values[1] / 2e3,
            },
        }
    }

    /// The same from their logarithms, held to what is tried.
    pub(super) fn sheet_at(self, logs: &[f64]) -> Sheet {
        let values = self.parameters().iter().zip(logs).map(|(q, log)| q.value_at(*log));
        self.sheet(&values.collect::<Vec<_>>())
    }
}

impl Serialize for ModelKind {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        to.serialize_str(self.key())
    }
}

impl<'de> Deserialize<'de> for ModelKind {
    fn deserialize<D: Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
        by_key(from, &Self::ALL, Self::key)
    }
}

/// The one of `all` that a file names.
fn by_key<'de, D: Deserializer<'de>, T: Copy>(
    from: D,
    all: &[T],
    key: fn(T) -> &'static str,
) -> Result<T, D::Error> {
    let found = String::deserialize(from)?;
    let unknown =
        || D::Error::custom(format!("\"{found}\" is none of those that this program knows"));
    all.iter().copied().find(|one| key(*one) == found).ok_or_else(unknown)
}

/// A fitted quantity; files name it by [`Quantity::key`].
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Quantity {
    /// Mass per area, g/m2.
    ArealMass,
    /// Specific flow resistance, Pa s/m.
    FlowResistance,
    /// Effective length over open area, `t' / sigma`, mm.
    EffectiveLength,
    /// Hole diameter that the friction asks for, mm.
    HoleDiameter,
    /// Frequency where the bare sheet takes 3 dB, Hz.
    Corner,
}

impl Serialize for Quantity {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        to.serialize_str(self.key())
    }
}

impl<'de> Deserialize<'de> for Quantity {
    fn deserialize<D: Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
        by_key(from, &Self::ALL, Self::key)
    }
}

impl Quantity {
    const ALL: [Self; 5] = [
        Self::ArealMass,
        Self::FlowResistance,
        Self::EffectiveLength,
        Self::HoleDiameter,
        Self::Corner,
    ];

    /// Name in files, with the unit.
    pub fn key(self) -> &'static str {
        match self {
            Self::ArealMass => "areal_mass_g_m2",
            Self::FlowResistance => "flow_resistance_pa_s_m",
            Self::EffectiveLength => "effective_length_over_open_area_mm",
            Self::HoleDiameter => "hole_diameter_mm",
            Self::Corner => "corner_hz",
        }
    }

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
