//! Level between the conditions by the rough levels of the takes alone, before any loss is known.

use super::control_step::{ControlLoss, measure_step};
use super::level::{LevelFinding, find_level};
use crate::ingest::manifest::SoundSource;
use crate::ingest::session::Session;
use crate::judge::across::{Entry, RoughLosses, rough_losses};
use crate::judge::{Judged, TakeRead};

/// The level between the conditions by the rough levels of the takes in use alone, for `check`; a
/// result has it from its losses. `None` without a seat in both conditions.
pub fn rough_level(session: &Session, reads: &[TakeRead], judged: &Judged) -> Option<LevelFinding> {
    let in_use = judged.in_use();
    let entries: Vec<Entry> = session
        .takes
        .iter()
        .zip(reads)
        .enumerate()
        .map(|(index, (take, read))| Entry {
            take,
            seat_id: session.seat_id(take),
            facts: read.as_ref().ok(),
            usable: in_use.contains(&index),
        })
        .collect();
    let control = rough_losses(&entries, SoundSource::Control);
    let losses: Vec<ControlLoss> =
        control.seats.into_iter().map(|(seat, loss_db)| ControlLoss { seat, loss_db }).collect();
    let step = measure_step(&control.bands, &losses);
    let RoughLosses { bands, seats: centre } = rough_losses(&entries, SoundSource::Centre);
    if centre.is_empty() {
        return None;
    }
    let mean: Vec<Option<f64>> = (0..bands.len())
        .map(|band| {
            let values: Vec<f64> = centre.iter().filter_map(|(_, loss)| loss[band]).collect();
            let step_db = step.as_ref().map_or(0.0, |step| step.step_db);
            (!values.is_empty()).then(|| values.iter().sum::<f64>() / values.len() as f64 - step_db)
        })
        .collect();
    Some(find_level(&bands, &mean, step.as_ref()))
}
