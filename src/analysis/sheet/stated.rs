//! The sheet as its maker describes it, and what it should lose.

use super::fit::{ModelFit, mean_band_loss_db};
use super::kinds::FitInput;
use super::models::{Hanging, Sheet};
use super::perforated::{EndCorrection, Lattice, Perforation};
use crate::ingest::manifest::{Construction, ScreenInfo};
use crate::units::ThirdOctave;
use serde::Serialize;

/// A sheet built from stated data.
#[derive(Debug, Clone, PartialEq)]
pub struct StatedSheet {
    /// The model.
    pub sheet: Sheet,
    /// What had to be assumed.
    pub assumed: Option<Assumed>,
}

/// What had to be assumed of a stated sheet.
#[derive(Debug, Clone, Copy, PartialEq)]
#[non_exhaustive]
pub enum Assumed {
    /// Holes in a square lattice.
    SquareLattice,
    /// The stated open area, percent, where the stated pitch would give another.
    OpenArea {
        /// As stated, percent.
        percent: f64,
    },
    /// The cloth does not move.
    StillCloth,
}

/// Measured against expected from stated data.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct StatedComparison {
    /// The stated sheet.
    #[serde(skip)]
    pub stated: StatedSheet,
    /// Expected loss per band of the loss table, of the sheet alone, dB.
    pub expected_db: Vec<f64>,
    /// Nominal frequency of the band that is compared in words, Hz.
    pub at_nominal_hz: f64,
    /// Expected loss there, dB.
    pub expected_at_db: f64,
    /// What the air in the pores of a cloth may add to that, dB.
    #[serde(skip)]
    pub pores_at_db: f64,
    /// Measured loss there, echoes of the gap taken out where it is known, dB.
    pub measured_at_db: f64,
    /// Its expanded uncertainty, dB.
    pub u95_at_db: f64,
    /// Whether the two agree within U and the model's own doubt in all bands that could be
    /// compared.
    pub agrees: bool,
    /// Band with the largest difference beyond both, nominal Hz.
    pub worst_nominal_hz: Option<f64>,
    /// That band.
    #[serde(skip)]
    pub worst: Option<StatedBand>,
    /// Whether the air in the pores of a cloth shows in any band.
    #[serde(skip)]
    pub pores_show: bool,
    /// Whether the echoes of the gap are taken out of the measured loss.
    #[serde(skip)]
    pub without_echoes: bool,
}

/// One band of the comparison.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct StatedBand {
    pub band: ThirdOctave,
    /// Expected loss, dB.
    pub expected_db: f64,
    /// What the air in the pores of a cloth may add, dB.
    pub pores_db: f64,
    /// Measured loss, dB.
    pub measured_db: f64,
    /// Its expanded uncertainty, dB.
    pub u95_db: f64,
}

/// Less than this of the air in the pores does not show in one decimal, dB.
pub const PORES_SHOW_DB: f64 = 0.05;

/// What a prediction from stated data is trusted to, dB (95 %): 0.3 dB for tolerances of the
/// data, and a fifth of the value, which is what the published examples of perforated sheets
/// scatter (0.6 dB at 3 dB).
pub fn prediction_u95_db(expected_db: f64) -> f64 {
    0.3f64.hypot(0.2 * expected_db)
}

/// Builds the model from `[screen]`; `None` when the stated data do not make one.
///
/// Perforated: hole diameter, thickness, and pitch or open area. With pitch and open area the
/// lattice is taken that fits them better; with the pitch alone, square. A stated areal mass
/// lets the sheet itself move. Woven (or not said): flow resistance, with areal mass the cloth
/// may yield (the two beside each other). A woven cloth's mass alone says nothing about its
/// loss.
pub fn stated_sheet(screen: &ScreenInfo) -> Option<StatedSheet> {
    let known = |x: Option<f64>| x.filter(|v| v.is_finite() && *v > 0.0);
    let mass_kg_m2 = known(screen.areal_mass_g_m2).map(|g| g / 1e3);
    let holes = (known(screen.hole_diameter_mm), known(screen.thickness_mm));
    if let (Some(hole_mm), Some(thickness_mm)) = holes
        && screen.construction != Some(Construction::Woven)
    {
        let open_area = known(screen.open_area_percent).map(|p| p / 100.0).filter(|s| *s < 0.9);
        let (pitch_m, lattice, assumed) =
            layout(hole_mm / 1e3, known(screen.hole_pitch_mm).map(|p| p / 1e3), open_area)?;
        let holes = Perforation {
            hole_m: hole_mm / 1e3,
            pitch_m,
            thickness_m: thickness_mm / 1e3,
            lattice,
            ends: EndCorrection::Pitch,
        };
        if holes.hole_m >= holes.pitch_m {
            return None;
        }
        let sheet = match mass_kg_m2 {
            Some(areal_mass_kg_m2) => Sheet::PerforatedLimp { holes, areal_mass_kg_m2 },
            None => Sheet::Perforated(holes),
        };
        return Some(StatedSheet { sheet, assumed });
    }
    let flow_resistance_pa_s_m = known(screen.flow_resistance_pa_s_m)?;
    Some(match mass_kg_m2 {
        Some(areal_mass_kg_m2) => StatedSheet {
            sheet: Sheet::Parallel { flow_resistance_pa_s_m, areal_mass_kg_m2 },
            assumed: None,
        },
        None => StatedSheet {
            sheet: Sheet::Resistive { flow_resistance_pa_s_m },
            assumed: Some(Assumed::StillCloth),
        },
    })
}

/// The lattice in which holes of a diameter and pitch, m, come nearest to an open area, 0 to 1, and
/// by how much they miss it: natural logarithm of the pitches' ratio, without sign.
pub fn nearest_lattice(hole_m: f64, pitch_m: f64, open_area: f64) -> (Lattice, f64) {
    let miss = |lattice| (Perforation::pitch_for(hole_m, open_area, lattice) / pitch_m).ln().abs();
    let both = [Lattice::Square, Lattice::Staggered].map(|lattice| (lattice, miss(lattice)));
    if both[0].1 <= both[1].1 { both[0] } else { both[1] }
}

/// Pitch and lattice from what is stated.
fn layout(
    hole_m: f64,
    pitch_m: Option<f64>,
    open_area: Option<f64>,
) -> Option<(f64, Lattice, Option<Assumed>)> {
    match (pitch_m, open_area) {
        (Some(pitch_m), Some(open_area)) => {
            let (lattice, miss) = nearest_lattice(hole_m, pitch_m, open_area);
            // The open area decides the loss; the pitch only the end correction.
            let pitch_by_area_m = Perforation::pitch_for(hole_m, open_area, lattice);
            let percent = 100.0 * open_area;
            let assumed = (miss > 0.05).then_some(Assumed::OpenArea { percent });
            Some((pitch_by_area_m, lattice, assumed))
        }
        (Some(pitch_m), None) => Some((pitch_m, Lattice::Square, Some(Assumed::SquareLattice))),
        (None, Some(open_area)) => Some((
            Perforation::pitch_for(hole_m, open_area, Lattice::Square),
            Lattice::Square,
            Some(Assumed::SquareLattice),
        )),
        (None, None) => None,
    }
}

/// Air that moves in the pores of a cloth, kg/m2: half a millimetre of cloth, a seventh of it
/// open, with the air before and behind (own estimate; simulated cloth has 1 to 8 g/m2).
const PORES_KG_M2: f64 = 0.008;

/// What is expected of a stated sheet alone in every band, dB, and beside it what was measured in those
/// that are usable, less the echoes of the gap as `fit` sees them.
fn side_by_side(
    stated: &StatedSheet,
    input: &FitInput,
    fit: Option<&ModelFit>,
) -> (Vec<f64>, Vec<StatedBand>) {
    let mean_db =
        |hanging: &Hanging| mean_band_loss_db(hanging, &input.bands, &input.cos_theta, &input.air);
    let hanging = Hanging::alone(stated.sheet);
    let expected_db = mean_db(&hanging);
    let echo_db: Vec<f64> = match fit {
        None => vec![0.0; input.bands.len()],
        Some(f) => f
            .loss_db
            .iter()
            .zip(mean_db(&Hanging::alone(f.sheet)))
            .map(|(with, bare)| with.map_or(0.0, |with| with - bare))
            .collect(),
    };
    let misfit_db = fit.map_or(0.0, |f| 2.0 * f.misfit_db);
    let pores_db = match stated.sheet {
        Sheet::Resistive { .. } | Sheet::Parallel { .. } => {
            let pores = Sheet::Limp { areal_mass_kg_m2: PORES_KG_M2 };
            let with = Hanging { backing: Some((pores, 0.0)), ..hanging.clone() };
            mean_db(&with).iter().zip(&expected_db).map(|(w, e)| (w - e).max(0.0)).collect()
        }
        _ => vec![0.0; expected_db.len()],
    };
    let usable = input
        .bands
        .iter()
        .zip(&input.loss)
        .zip(expected_db.iter().zip(pores_db).zip(echo_db))
        .filter(|((band, _), _)| band.exact_hz() >= input.from_hz)
        .filter_map(|((band, loss), ((expected, pores_db), echo_db))| {
            loss.map(|l| StatedBand {
                band: *band,
                expected_db: *expected,
                pores_db,
                measured_db: l.value_db - echo_db,
                u95_db: l.u95_db.hypot(misfit_db),
            })
        })
        .filter(|row| row.measured_db.is_finite() && row.u95_db.is_finite())
        .collect();
    (expected_db, usable)
}

/// Holds the measured mean loss against the stated sheet; `None` without usable bands.
///
/// With a `fit` the echoes of the gap are taken out of the measured loss as the fit sees them,
/// since their phase depends on more than the stated data; its misfit then counts as doubt.
pub fn compare_stated(
    stated: StatedSheet,
    input: &FitInput,
    fit: Option<&ModelFit>,
) -> Option<StatedComparison> {
    let fit = fit.filter(|f| f.gap_m.is_some());
    let (expected_db, usable) = side_by_side(&stated, input, fit);
    let doubt = |row: &StatedBand| {
        let upwards = if row.measured_db > row.expected_db { row.pores_db } else { 0.0 };
        prediction_u95_db(row.expected_db) + upwards
    };
    let beyond =
        |row: &StatedBand| (row.measured_db - row.expected_db).abs() - row.u95_db.hypot(doubt(row));
    // Told: 10 kHz, where perforated sheets are quoted, or the nearest band there is.
    let distance = |band: &ThirdOctave| (band.index() - 10).abs();
    let here = usable.iter().min_by_key(|row| distance(&row.band))?;
    let worst = usable
        .iter()
        .filter(|row| beyond(row) > 0.0)
        .max_by(|a, b| beyond(a).total_cmp(&beyond(b)));
    Some(StatedComparison {
        stated,
        expected_db,
        at_nominal_hz: here.band.nominal_hz(),
        expected_at_db: here.expected_db,
        pores_at_db: here.pores_db,
        measured_at_db: here.measured_db,
        u95_at_db: here.u95_db,
        agrees: worst.is_none(),
        worst_nominal_hz: worst.map(|w| w.band.nominal_hz()),
        worst: worst.copied(),
        pores_show: usable.iter().any(|row| row.pores_db >= PORES_SHOW_DB),
        without_echoes: fit.is_some(),
    })
}

#[cfg(test)]
mod tests {
    use super::super::air::Air;
    use super::super::fit::tests::measured;
    use super::*;

    /// Expected loss of a stated sheet at one frequency, alone and straight on, dB.
    fn expected_loss_db(stated: &StatedSheet, f_hz: f64, air: &Air) -> f64 {
        Hanging::alone(stated.sheet).loss(f_hz, 1.0, air).0
    }

    pub fn screen() -> ScreenInfo {
        ScreenInfo {
            name: None,
            construction: Some(Construction::Perforated),
            width_m: None,
            height_m: None,
            gap_m: None,
            backing: false,
            hole_diameter_mm: Some(1.6764),
            hole_pitch_mm: Some(3.175),
            thickness_mm: Some(1.5875),
            open_area_percent: Some(25.28),
            areal_mass_g_m2: None,
            flow_resistance_pa_s_m: None,
            weave_pitch_mm: None,
        }
    }

    #[test]
    fn the_handbook_sheet_in_millimetres_is_found_staggered() {
        // Example 2 of Schultz 1986 in mm; inertia form 2.81 dB at 10 kHz, published 2.9.
        let stated = stated_sheet(&screen()).unwrap();
        let Sheet::Perforated(holes) = stated.sheet else { panic!("{stated:?}") };
        assert_eq!(holes.lattice, Lattice::Staggered);
        let loss = expected_loss_db(&stated, 1e4, &Air::AT_20_C);
        assert!((loss - 2.9).abs() < 0.6, "plausibility check: {loss}");
    }

    #[test]
    fn stated_data_that_make_no_sheet_make_none() {
        let mut s = screen();
        s.thickness_mm = None;
        assert_eq!(stated_sheet(&s), None);
        let mut s = screen();
        (s.hole_pitch_mm, s.open_area_percent) = (Some(1.0), None);
        assert_eq!(stated_sheet(&s), None, "holes that overlap");
        let mut s = screen();
        s.hole_diameter_mm = Some(f64::NAN);
        assert_eq!(stated_sheet(&s), None);
        let mut s = screen();
        s.construction = Some(Construction::Woven);
        s.areal_mass_g_m2 = Some(300.0);
        assert_eq!(stated_sheet(&s), None, "the mass of a cloth alone says nothing");
        s.flow_resistance_pa_s_m = Some(100.0);
        let loss = expected_loss_db(&stated_sheet(&s).unwrap(), 1e4, &Air::AT_20_C);
        assert!((loss - 0.992).abs() < 1e-3, "{loss}");
    }

    #[test]
    fn as_stated_and_not_as_stated() {
        let stated = stated_sheet(&screen()).unwrap();
        let truth = Hanging::alone(stated.sheet);
        let mut input = measured(&truth, &[1.0], 0.05, 1);
        let same = compare_stated(stated.clone(), &input, None).unwrap();
        assert!(same.agrees && same.worst_nominal_hz.is_none(), "{same:?}");
        assert_eq!(same.at_nominal_hz, 10_000.0);

        for l in input.loss.iter_mut().flatten() {
            l.value_db += 1.5;
        }
        let more = compare_stated(stated.clone(), &input, None).unwrap();
        assert!(!more.agrees && more.worst.is_some(), "{more:?}");
        input.loss.fill(None);
        assert_eq!(compare_stated(stated, &input, None), None);
    }
}
