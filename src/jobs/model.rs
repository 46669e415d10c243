//! The physical description of a sheet, over the rooms in which it was fitted.

use super::collect::Job;
use super::mean::{OverRooms, RoomFigure, over_rooms};
use super::stored::StoredFit;
use crate::analysis::sheet::models::Sheet;
use serde::Serialize;

/// A physical description over rooms.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ModelOverRooms {
    /// Which, as in `result.json`.
    pub kind: String,
    /// The sheet with the mean parameters.
    pub sheet: Sheet,
    /// Mean parameters: quantity with its unit, and figure.
    pub parameters: Vec<(String, OverRooms)>,
}

/// Kinds of models, as in `result.json`.
pub(super) const ALL_KINDS: [&str; 5] = ["resistive", "mass", "series", "parallel", "holes"];
pub(super) const WITH_RESISTANCE_OR_MASS: [&str; 4] = ["resistive", "mass", "series", "parallel"];

/// The model of `kinds` with the smallest sum of the corrected Akaike criterion over the rooms in
/// which it was fitted; its parameters are averaged over the rooms that tell them.
pub(super) fn model(jobs: &[(usize, &Job)], kinds: &[&str]) -> Option<ModelOverRooms> {
    let fits = |kind: &str| {
        let of_room = move |(_, j): &(usize, &Job)| {
            j.result.sheet.as_ref()?.evidence.fits.iter().find(|f| f.kind == kind).cloned()
        };
        jobs.iter().filter_map(of_room).collect::<Vec<_>>()
    };
    let with_fits = kinds.iter().map(|k| fits(k).len()).max().filter(|n| *n > 0)?;
    let (kind, fits) = kinds
        .iter()
        .map(|kind| (*kind, fits(kind)))
        .filter(|(_, fits)| fits.len() == with_fits)
        .min_by(|a, b| {
            let sum = |f: &[StoredFit]| f.iter().map(|f| f.aicc).sum::<f64>();
            sum(&a.1).total_cmp(&sum(&b.1))
        })?;
    let quantities: Vec<String> = fits[0].parameters.iter().map(|p| p.quantity.clone()).collect();
    let over = |quantity: &str| {
        let rooms: Vec<RoomFigure> = fits
            .iter()
            .filter_map(|f| {
                let p = f.parameters.iter().find(|p| p.quantity == quantity)?;
                let normal = 1.96;
                let half = 0.5 * (p.high? - p.low?) / normal;
                Some(RoomFigure { value: p.value?, u: half })
            })
            .collect();
        over_rooms(&rooms, 0.0, None)
    };
    let parameters: Vec<(String, OverRooms)> =
        quantities.iter().filter_map(|q| Some((q.clone(), over(q)?))).collect();
    // Where the data only bound a parameter in every room, the best room's own fit stands.
    let sheet = mean_sheet(kind, &parameters).unwrap_or(fits[0].sheet);
    Some(ModelOverRooms { kind: kind.to_owned(), sheet, parameters })
}

/// The sheet with mean parameters, as far as the rooms tell them.
fn mean_sheet(kind: &str, parameters: &[(String, OverRooms)]) -> Option<Sheet> {
    let at = |q: &str| parameters.iter().find(|(name, _)| name == q).map(|(_, o)| o.mean.max(1e-6));
    let mass = || at("areal_mass_g_m2").map(|g| g / 1e3);
    let resistance = || at("flow_resistance_pa_s_m");
    match kind {
        "resistive" => resistance().map(|r| Sheet::Resistive { flow_resistance_pa_s_m: r }),
        "mass" => mass().map(|m| Sheet::Limp { areal_mass_kg_m2: m }),
        "series" => resistance()
            .zip(mass())
            .map(|(r, m)| Sheet::Series { flow_resistance_pa_s_m: r, areal_mass_kg_m2: m }),
        "parallel" => resistance()
            .zip(mass())
            .map(|(r, m)| Sheet::Parallel { flow_resistance_pa_s_m: r, areal_mass_kg_m2: m }),
        _ => at("effective_length_over_open_area_mm").zip(at("hole_diameter_mm")).map(
            |(length, hole)| Sheet::EffectiveHoles {
                length_over_area_m: length / 1e3,
                radius_m: hole / 2e3,
            },
        ),
    }
}
