//! Level between the conditions by the rough levels of the takes alone, before any loss is known.

use super::level::{ControlLoss, find_level, level_warnings, measure_step};
use crate::ingest::manifest::SoundSource;
use crate::ingest::session::Session;
use crate::judge::across::{Entry, RoughLosses, rough_losses};
use crate::judge::verdict::worst;
use crate::judge::{TakeRead, TakeVerdict, judge_take};
use crate::warning::Warning;

/// Warnings on the level between the conditions by the rough levels of the takes alone, for
/// `check`; a result has them from its losses.
pub fn rough_level_warnings(session: &Session, reads: &[TakeRead]) -> Vec<Warning> {
    let entries: Vec<Entry> = session
        .takes
        .iter()
        .zip(reads)
        .map(|(take, read)| {
            let usable = read.as_ref().is_ok_and(|facts| {
                worst(&judge_take(facts, session.sweep.rate_hz)) != TakeVerdict::Repeat
            });
            Entry { take, seat_id: session.seat_id(take), facts: read.as_ref().ok(), usable }
        })
        .collect();
    let control = rough_losses(&entries, SoundSource::Control);
    let losses: Vec<ControlLoss> =
        control.seats.into_iter().map(|(seat, loss_db)| ControlLoss { seat, loss_db }).collect();
    let step = measure_step(&control.bands, &losses);
    let RoughLosses { bands, seats: centre } = rough_losses(&entries, SoundSource::Centre);
    if centre.is_empty() {
        return Vec::new();
    }
    let mean: Vec<Option<f64>> = (0..bands.len())
        .map(|band| {
            let values: Vec<f64> = centre.iter().filter_map(|(_, loss)| loss[band]).collect();
            let step_db = step.as_ref().map_or(0.0, |step| step.step_db);
            (!values.is_empty()).then(|| values.iter().sum::<f64>() / values.len() as f64 - step_db)
        })
        .collect();
    level_warnings(&find_level(&bands, &mean, step.as_ref()), step.as_ref())
}
