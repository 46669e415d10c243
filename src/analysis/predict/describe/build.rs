//! From a description to the sheet that models compute with.

use super::{DescribeError, DescribedConstruction, DescribedSheet, Description};
use crate::analysis::sheet::models::Sheet;
use crate::analysis::sheet::perforated::{EndCorrection, Perforation};

impl Description {
    /// The sheet that is described. Without `construction` holes make it perforated, a flow
    /// resistance woven, a mass alone a film. A woven cloth with mass yields (mass beside flow
    /// resistance); a perforated film with mass moves.
    ///
    /// # Errors
    /// [`DescribeError::Missing`], [`DescribeError::Overlap`], [`DescribeError::Value`].
    pub fn build(&self) -> Result<DescribedSheet, DescribeError> {
        let construction = match self.construction {
            Some(construction) => construction,
            None if self.hole_diameter_mm.is_some() => DescribedConstruction::Perforated,
            None if self.flow_resistance_pa_s_m.is_some() => DescribedConstruction::Woven,
            None if self.areal_mass_g_m2.is_some() => DescribedConstruction::Film,
            None => return Err(self.missing("described", "construction")),
        };
        let mass_kg_m2 = self.areal_mass_g_m2.map(|g| g / 1e3);
        let front = match construction {
            DescribedConstruction::Perforated => self.perforated(mass_kg_m2)?,
            DescribedConstruction::Woven => {
                let rs = self
                    .flow_resistance_pa_s_m
                    .ok_or_else(|| self.missing("woven", "flow_resistance_pa_s_m"))?;
                cloth(rs, mass_kg_m2)
            }
            DescribedConstruction::Film => Sheet::Limp {
                areal_mass_kg_m2: mass_kg_m2
                    .ok_or_else(|| self.missing("film", "areal_mass_g_m2"))?,
            },
        };
        let backing = match (self.backing_flow_resistance_pa_s_m, self.backing_areal_mass_g_m2) {
            (Some(rs), mass) => Some(cloth(rs, mass.map(|g| g / 1e3))),
            (None, None) if self.backing_air_mm.is_none() => None,
            _ => return Err(self.missing("backed", "backing_flow_resistance_pa_s_m")),
        };
        let air_m = self.backing_air_mm.unwrap_or(0.0) / 1e3;
        let backing = backing.map(|sheet| (sheet, air_m));
        Ok(DescribedSheet { name: self.name.clone(), front, backing })
    }

    fn perforated(&self, mass_kg_m2: Option<f64>) -> Result<Sheet, DescribeError> {
        let need = |x: Option<f64>, key| x.ok_or_else(|| self.missing("perforated", key));
        let hole_diameter_mm = need(self.hole_diameter_mm, "hole_diameter_mm")?;
        let thickness_mm = need(self.thickness_mm, "thickness_mm")?;
        let hole_m = hole_diameter_mm / 1e3;
        let pitch_m = match (self.hole_pitch_mm, self.open_area_percent) {
            (Some(hole_pitch_mm), _) => hole_pitch_mm / 1e3,
            (None, Some(percent)) => Perforation::pitch_for(hole_m, percent / 100.0, self.lattice),
            (None, None) => {
                return Err(self.missing("perforated", "hole_pitch_mm or open_area_percent"));
            }
        };
        if pitch_m <= hole_m {
            return Err(DescribeError::Overlap {
                sheet: self.name.clone(),
                hole_diameter_mm,
                hole_pitch_mm: 1e3 * pitch_m,
            });
        }
        let holes = Perforation {
            hole_m,
            pitch_m,
            thickness_m: thickness_mm / 1e3,
            lattice: self.lattice,
            ends: EndCorrection::Pitch,
        };
        let percent = 100.0 * holes.open_area();
        if let (Some(stated), Some(_)) = (self.open_area_percent, self.hole_pitch_mm)
            && (stated / percent - 1.0).abs() > 0.05
        {
            let expected = format!("{percent:.1}, which follows from hole, pitch and lattice");
            return Err(self.value("open_area_percent", &stated.to_string(), &expected));
        }
        Ok(match mass_kg_m2 {
            Some(areal_mass_kg_m2) => Sheet::PerforatedLimp { holes, areal_mass_kg_m2 },
            None => Sheet::Perforated(holes),
        })
    }
}

fn cloth(flow_resistance_pa_s_m: f64, mass_kg_m2: Option<f64>) -> Sheet {
    match mass_kg_m2 {
        Some(areal_mass_kg_m2) => Sheet::Parallel { flow_resistance_pa_s_m, areal_mass_kg_m2 },
        None => Sheet::Resistive { flow_resistance_pa_s_m },
    }
}
