//! The physical description of a sheet, over the rooms in which it was fitted.

use super::collect::Job;
use super::mean::{OverRooms, RoomFigure, over_rooms};
use super::stored::StoredFit;
use crate::analysis::sheet::kinds::{ModelKind, Quantity};
use crate::analysis::sheet::models::Sheet;
use serde::Serialize;

/// A physical description over rooms.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ModelOverRooms {
    pub kind: ModelKind,
    /// The sheet with the mean parameters.
    pub sheet: Sheet,
    /// Mean parameters.
    pub parameters: Vec<(Quantity, OverRooms)>,
}

/// Models of cloth: flow resistance, mass or both.
pub(super) const OF_CLOTH: [ModelKind; 4] =
    [ModelKind::Resistive, ModelKind::Mass, ModelKind::Series, ModelKind::Parallel];

/// The model of `kinds` with the smallest sum of the corrected Akaike criterion over the rooms in
/// which it was fitted; its parameters are averaged over the rooms that tell them.
pub(super) fn model(jobs: &[(usize, &Job)], kinds: &[ModelKind]) -> Option<ModelOverRooms> {
    let fits = |kind: ModelKind| {
        let of_room = move |(_, j): &(usize, &Job)| {
            j.result.sheet.as_ref()?.evidence.fits.iter().find(|f| f.kind == kind).cloned()
        };
        jobs.iter().filter_map(of_room).collect::<Vec<_>>()
    };
    let with_fits = kinds.iter().map(|&k| fits(k).len()).max().filter(|n| *n > 0)?;
    let (kind, fits) = kinds
        .iter()
        .map(|&kind| (kind, fits(kind)))
        .filter(|(_, fits)| fits.len() == with_fits)
        .min_by(|a, b| {
            let sum = |f: &[StoredFit]| f.iter().map(|f| f.aicc).sum::<f64>();
            sum(&a.1).total_cmp(&sum(&b.1))
        })?;
    let over = |quantity: Quantity| {
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
    let quantities = fits[0].parameters.iter().map(|p| p.quantity);
    let parameters: Vec<_> = quantities.filter_map(|q| Some((q, over(q)?))).collect();
    let mean = |wanted: &Quantity| {
        let found = parameters.iter().find(|(q, _)| q == wanted);
        found.map(|(_, over)| over.mean.max(1e-6))
    };
    let values: Option<Vec<f64>> = kind.parameters().iter().map(mean).collect();
    // Where the data only bound a parameter in every room, the best room's own fit stands.
    let sheet = values.map_or(fits[0].sheet, |values| kind.sheet(|i| values[i]));
    Some(ModelOverRooms { kind, sheet, parameters })
}
