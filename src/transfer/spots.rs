//! Takes of one spot become one response.

use super::take::{TakePlan, TakeResponse};
use crate::ingest::manifest::{Condition, SoundSource};
use crate::ingest::session::Session;

/// One response for each spot: takes made without touching the microphone only average noise.
pub(super) fn spot_responses(
    plan: &TakePlan,
    session: &Session,
    responses: &[TakeResponse],
    seat: usize,
    condition: Condition,
    source: SoundSource,
) -> Vec<(u32, TakeResponse)> {
    let mut spots: Vec<(u32, Vec<&TakeResponse>)> = Vec::new();
    for response in responses {
        let take = &session.takes[response.take];
        if take.quiet || (take.seat, take.condition, take.source) != (seat, condition, source) {
            continue;
        }
        match spots.iter_mut().find(|(spot, _)| *spot == take.spot) {
            Some((_, takes)) => takes.push(response),
            None => spots.push((take.spot, vec![response])),
        }
    }
    spots.into_iter().map(|(spot, takes)| (spot, average(plan, &takes))).collect()
}

/// Mean of takes from one spot, aligned. Noise stays that of a single take: on the safe side.
fn average(plan: &TakePlan, takes: &[&TakeResponse]) -> TakeResponse {
    let mut mean = takes[0].clone();
    let n = takes.len() as f64;
    if takes.len() == 1 {
        return mean;
    }
    for take in &takes[1..] {
        let delay_s = plan.early.delay_s(&mean.early, &take.early);
        let aligned = plan.early.advance(&take.early, delay_s);
        let add = |to: &mut [f64], from: &[f64]| to.iter_mut().zip(from).for_each(|(a, b)| *a += b);
        // The first take serves as reference for alignment: its scale does not matter.
        add(&mut mean.early, &aligned);
        add(&mut mean.power, &take.power);
        add(&mut mean.noise, &take.noise);
    }
    mean.early.iter_mut().chain(&mut mean.power).for_each(|x| *x /= n);
    mean.noise.iter_mut().for_each(|x| *x /= n);
    for (b, snr) in mean.snr_db.iter_mut().enumerate() {
        *snr = takes.iter().map(|t| t.snr_db[b]).fold(f64::INFINITY, f64::min);
    }
    mean
}
