//! A gain changed between the takes of one seat and condition.
//!
//! A gain changes all bands alike; a microphone put back a little elsewhere scatters them, some
//! far more than others. How much each band scatters is read from all pairs of the session, and
//! the step of a pair is the mean over the bands, each with the weight it so deserves.

use super::super::facts::TakeFacts;
use super::super::finding::{Finding, TakeVerdict};
use super::entry::{Entry, TakeFindings};
use super::levels::{BANDS, groups, level};
use crate::transfer::median::median;
use crate::warning::Topic;

/// Fewest bands for a statement.
const FEWEST_BANDS: usize = 8;
/// A step that counts, dB ...
const STEP_DB: f64 = 0.39;
/// ... if it is so many standard errors of its own.
const ERRORS: f64 = 3.0;
/// No band is taken to scatter less than this, dB.
const LEAST_SCATTER_DB: f64 = 0.05;

/// Level differences of a take against the first of its group, dB per band.
type Steps = Vec<Option<f64>>;

/// Takes of one seat and condition whose level is not that of the others.
///
/// With two takes it cannot be told which of them is off; the later one is named.
pub(super) fn find(entries: &[Entry]) -> TakeFindings {
    let groups = groups(entries);
    let steps: Vec<Vec<Steps>> = groups
        .values()
        .map(|takes| takes.iter().map(|(_, facts)| steps(facts, takes[0].1)).collect())
        .collect();
    let pairs = || steps.iter().flat_map(|group| group.iter().skip(1));
    let weights = weights(&pairs().collect::<Vec<_>>());
    let mut found = TakeFindings::new();
    for (takes, steps) in groups.values().zip(&steps).filter(|(takes, _)| takes.len() > 1) {
        let offsets: Vec<f64> =
            steps.iter().map(|steps| common_step(steps, &weights).unwrap_or(0.0)).collect();
        let middle = if takes.len() == 2 { 0.0 } else { median(offsets.clone()).unwrap_or(0.0) };
        for ((index, _), offset) in takes.iter().zip(&offsets) {
            let step_db = offset - middle;
            if step_db.abs() <= STEP_DB {
                continue;
            }
            let first = entries[takes[0].0].name();
            let others = if takes.len() == 2 { first } else { "the other takes here".into() };
            let way = if step_db > 0.0 { "louder" } else { "softer" };
            found.push((
                *index,
                Finding::new(
                    TakeVerdict::Doubt,
                    Topic::GainStep,
                    format!(
                        "This take is {:.1} dB {way} than {others} at all frequencies alike: \
                         a gain was changed between them.",
                        step_db.abs()
                    ),
                    "Leave every gain alone between the takes; repeat the takes of this seat in \
                     this condition.",
                ),
            ));
        }
    }
    found
}

fn steps(take: &TakeFacts, first: &TakeFacts) -> Steps {
    BANDS.map(|k| Some(level(take, k)? - level(first, k)?)).collect()
}

/// Weight of each band: one over its variance between placements, without the common step,
/// averaged over the pairs and over a band and its neighbours.
fn weights(pairs: &[&Steps]) -> Vec<f64> {
    let rests: Vec<Steps> = pairs
        .iter()
        .map(|steps| {
            let middle = median(steps.iter().flatten().copied().collect()).unwrap_or(0.0);
            steps.iter().map(|step| step.map(|step| step - middle)).collect()
        })
        .collect();
    let n_bands = BANDS.count();
    (0..n_bands)
        .map(|band| {
            let near = band.saturating_sub(1)..(band + 2).min(n_bands);
            let squares: Vec<f64> = rests
                .iter()
                .flat_map(|rest| rest[near.clone()].iter().flatten().map(|x| x * x))
                .collect();
            let mean = squares.iter().sum::<f64>() / squares.len().max(1) as f64;
            1.0 / (mean + LEAST_SCATTER_DB * LEAST_SCATTER_DB)
        })
        .collect()
}

/// Weighted mean of the steps, where it stands clear of its own standard error.
fn common_step(steps: &Steps, weights: &[f64]) -> Option<f64> {
    let all: Vec<(f64, f64)> =
        steps.iter().zip(weights).filter_map(|(step, weight)| Some(((*step)?, *weight))).collect();
    if all.len() < FEWEST_BANDS {
        return None;
    }
    let sum: f64 = all.iter().map(|(_, weight)| weight).sum();
    let mean = all.iter().map(|(step, weight)| weight * step).sum::<f64>() / sum;
    let rests: f64 = all.iter().map(|(step, weight)| (weight * (step - mean)).powi(2)).sum();
    let error = rests.sqrt() / sum;
    (mean.abs() > ERRORS * error).then_some(mean)
}
