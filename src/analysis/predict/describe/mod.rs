//! A sheet as somebody describes it on the command line, before there is one to measure.

mod build;

use crate::analysis::sheet::models::Sheet;
use crate::analysis::sheet::perforated::Lattice;
use crate::analysis::sheet::stated::nearest_lattice;
use crate::ingest::manifest::{Construction, ScreenInfo};
use serde::Serialize;

/// Why a description makes no sheet.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum DescribeError {
    /// A key that is not known.
    #[error("sheet \"{sheet}\": unknown key \"{key}\"; {advice}")]
    UnknownKey {
        /// Name of the sheet.
        sheet: String,
        /// Key as written.
        key: String,
        /// The nearest key, or all of them.
        advice: String,
    },
    /// A part that is not `key=value`.
    #[error("sheet \"{sheet}\": \"{part}\" is not key=value")]
    NotAPair {
        /// Name of the sheet.
        sheet: String,
        /// The part as written.
        part: String,
    },
    /// A value that cannot be meant.
    #[error("sheet \"{sheet}\": {key} is \"{found}\", expected {expected}")]
    Value {
        /// Name of the sheet.
        sheet: String,
        key: String,
        /// Value as written.
        found: String,
        /// What would do.
        expected: String,
    },
    /// A key that the construction needs.
    #[error("sheet \"{sheet}\": a {construction} sheet needs {key}")]
    Missing {
        /// Name of the sheet.
        sheet: String,
        construction: &'static str,
        /// Key or keys.
        key: &'static str,
    },
    /// Holes that overlap or leave no sheet.
    #[error(
        "sheet \"{sheet}\": holes of {hole_diameter_mm} mm every {hole_pitch_mm:.3} mm overlap; the pitch must \
         be larger than the hole"
    )]
    Overlap {
        /// Name of the sheet.
        sheet: String,
        hole_diameter_mm: f64,
        hole_pitch_mm: f64,
    },
}

/// How the described sheet lets sound through.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum DescribedConstruction {
    /// Film with holes.
    Perforated,
    /// Cloth.
    Woven,
    /// Film without holes.
    Film,
}

/// Everything that can be said about a sheet; lengths in mm, as on data sheets.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Description {
    /// Name in tables.
    pub name: String,
    pub construction: Option<DescribedConstruction>,
    pub hole_diameter_mm: Option<f64>,
    /// Distance of hole centres, mm.
    pub hole_pitch_mm: Option<f64>,
    pub thickness_mm: Option<f64>,
    /// Open area, percent; instead of the pitch.
    pub open_area_percent: Option<f64>,
    /// Layout of the holes.
    pub lattice: Lattice,
    /// Mass per area, g/m2.
    pub areal_mass_g_m2: Option<f64>,
    /// Specific flow resistance, Pa s/m.
    pub flow_resistance_pa_s_m: Option<f64>,
    /// Mass per area of a cloth behind, g/m2.
    pub backing_areal_mass_g_m2: Option<f64>,
    /// Flow resistance of a cloth behind, Pa s/m.
    pub backing_flow_resistance_pa_s_m: Option<f64>,
    /// Air between sheet and cloth behind, mm.
    pub backing_air_mm: Option<f64>,
}

/// Keys of a description.
pub const KEYS: [&str; 11] = [
    "construction",
    "hole_diameter_mm",
    "hole_pitch_mm",
    "thickness_mm",
    "open_area_percent",
    "lattice",
    "areal_mass_g_m2",
    "flow_resistance_pa_s_m",
    "backing_areal_mass_g_m2",
    "backing_flow_resistance_pa_s_m",
    "backing_air_mm",
];

/// Keys that are so much less like a slip than the nearest one are not proposed.
const ALIKE: f64 = 0.06;

/// A sheet ready to be computed.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct DescribedSheet {
    /// Name in tables.
    pub name: String,
    /// The sheet.
    pub front: Sheet,
    /// Cloth behind and the air between, m.
    pub backing: Option<(Sheet, f64)>,
}

impl Description {
    /// A description that says nothing yet.
    pub fn named(name: &str) -> Self {
        Self {
            name: name.into(),
            construction: None,
            hole_diameter_mm: None,
            hole_pitch_mm: None,
            thickness_mm: None,
            open_area_percent: None,
            lattice: Lattice::Square,
            areal_mass_g_m2: None,
            flow_resistance_pa_s_m: None,
            backing_areal_mass_g_m2: None,
            backing_flow_resistance_pa_s_m: None,
            backing_air_mm: None,
        }
    }

    /// What the `[screen]` table of a session says of its sheet. A cloth behind, which the table
    /// only names, is not in it.
    pub fn of_screen(screen: &ScreenInfo) -> Self {
        let construction = match screen.construction {
            Some(Construction::Perforated) => Some(DescribedConstruction::Perforated),
            Some(Construction::Woven) => Some(DescribedConstruction::Woven),
            Some(Construction::Other) | None => None,
        };
        // The table has no key for the lattice: pitch and open area tell it.
        let lattice =
            match (screen.hole_diameter_mm, screen.hole_pitch_mm, screen.open_area_percent) {
                (Some(hole_mm), Some(pitch_mm), Some(percent)) => {
                    nearest_lattice(hole_mm / 1e3, pitch_mm / 1e3, percent / 100.0).0
                }
                _ => Lattice::Square,
            };
        Self {
            construction,
            hole_diameter_mm: screen.hole_diameter_mm,
            hole_pitch_mm: screen.hole_pitch_mm,
            thickness_mm: screen.thickness_mm,
            open_area_percent: screen.open_area_percent,
            lattice,
            areal_mass_g_m2: screen.areal_mass_g_m2,
            flow_resistance_pa_s_m: screen.flow_resistance_pa_s_m,
            ..Self::named(screen.name.as_deref().unwrap_or("Sheet"))
        }
    }

    /// Whether anything is said of the sheet but its name.
    pub fn says_anything(&self) -> bool {
        *self != Self::named(&self.name)
    }

    /// Reads `name:key=value,key=value`; keys as in [`KEYS`], dashes count as underscores.
    ///
    /// # Errors
    /// [`DescribeError`] naming sheet, key and value.
    pub fn parse(text: &str) -> Result<Self, DescribeError> {
        let (name, rest) = text.split_once(':').unwrap_or(("sheet", text));
        let mut description = Self::named(name.trim());
        for part in rest.split(',').map(str::trim).filter(|p| !p.is_empty()) {
            let Some((key, value)) = part.split_once('=') else {
                return Err(DescribeError::NotAPair { sheet: name.into(), part: part.into() });
            };
            description.set(key.trim(), value.trim())?;
        }
        Ok(description)
    }

    /// Sets one key.
    ///
    /// # Errors
    /// [`DescribeError::UnknownKey`] with the nearest key, [`DescribeError::Value`].
    pub fn set(&mut self, key: &str, value: &str) -> Result<(), DescribeError> {
        let plain = key.to_lowercase().replace('-', "_");
        match plain.as_str() {
            "construction" => {
                self.construction = Some(match value.to_lowercase().as_str() {
                    "perforated" => DescribedConstruction::Perforated,
                    "woven" => DescribedConstruction::Woven,
                    "film" => DescribedConstruction::Film,
                    _ => return Err(self.value(key, value, "perforated, woven or film")),
                });
            }
            "lattice" => {
                self.lattice = match value.to_lowercase().as_str() {
                    "square" => Lattice::Square,
                    "staggered" => Lattice::Staggered,
                    _ => return Err(self.value(key, value, "square or staggered")),
                };
            }
            "hole_diameter_mm" => self.hole_diameter_mm = Some(self.positive(key, value)?),
            "hole_pitch_mm" => self.hole_pitch_mm = Some(self.positive(key, value)?),
            "thickness_mm" => self.thickness_mm = Some(self.positive(key, value)?),
            "open_area_percent" => self.open_area_percent = Some(self.positive(key, value)?),
            "areal_mass_g_m2" => self.areal_mass_g_m2 = Some(self.positive(key, value)?),
            "flow_resistance_pa_s_m" => {
                self.flow_resistance_pa_s_m = Some(self.positive(key, value)?);
            }
            "backing_areal_mass_g_m2" => {
                self.backing_areal_mass_g_m2 = Some(self.positive(key, value)?)
            }
            "backing_flow_resistance_pa_s_m" => {
                self.backing_flow_resistance_pa_s_m = Some(self.positive(key, value)?);
            }
            "backing_air_mm" => self.backing_air_mm = Some(self.positive(key, value)?),
            _ => {
                let likeness = |k: &&str| strsim::jaro_winkler(k, &plain);
                let most = KEYS.iter().map(likeness).fold(0.0, f64::max);
                // Half a key may mean two of them.
                let near = |k: &&str| likeness(k) > f64::max(0.8, most - ALIKE);
                let names: Vec<&str> = KEYS.into_iter().filter(near).collect();
                return Err(DescribeError::UnknownKey {
                    sheet: self.name.clone(),
                    key: key.into(),
                    advice: if names.is_empty() {
                        format!("the keys are {}", KEYS.join(", "))
                    } else {
                        format!("did you mean {}?", names.join(" or "))
                    },
                });
            }
        }
        Ok(())
    }

    fn value(&self, key: &str, found: &str, expected: &str) -> DescribeError {
        DescribeError::Value {
            sheet: self.name.clone(),
            key: key.into(),
            found: found.into(),
            expected: expected.into(),
        }
    }

    fn positive(&self, key: &str, value: &str) -> Result<f64, DescribeError> {
        match value.parse::<f64>() {
            Ok(v) if v.is_finite() && v > 0.0 && v < 1e6 => Ok(v),
            _ => Err(self.value(key, value, "a number above 0")),
        }
    }

    fn missing(&self, construction: &'static str, key: &'static str) -> DescribeError {
        DescribeError::Missing { sheet: self.name.clone(), construction, key }
    }
}

#[cfg(test)]
mod tests;
