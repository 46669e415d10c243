//! Clock drift of a few takes of each condition: enough for a median, quick enough for
//! between takes.

use crate::ingest::error::IngestError;
use crate::ingest::manifest::{Condition, SoundSource};
use crate::ingest::session::{Recording, Session, Take};
use crate::transfer::deconvolve::Deconvolver;
use crate::transfer::drift::TakeDrift;
use crate::transfer::take::TakePlan;
use rayon::prelude::*;

/// Takes a condition whose drift is measured.
const TAKES: usize = 3;

/// Drift of up to three usable takes without and with the screen.
///
/// `usable` tells by index which takes are worth it. Empty lists for signals that are no
/// exponential sweep, and for takes in which no direct sound is found.
pub fn sampled_drift_ppm(
    session: &Session,
    usable: &[bool],
    read: &(dyn Fn(&Take) -> Result<Recording, IngestError> + Sync),
) -> [Vec<TakeDrift>; 2] {
    if session.sweep.rate_constant_s.is_none() {
        return [Vec::new(), Vec::new()];
    }
    let of = |condition: Condition| -> Vec<usize> {
        let all: Vec<usize> = (0..session.takes.len())
            .filter(|i| {
                let take = &session.takes[*i];
                usable.get(*i) == Some(&true)
                    && take.condition == condition
                    && take.source == SoundSource::Centre
            })
            .collect();
        // Spread over the session, first and last included.
        let step = |k: usize| k * (all.len() - 1) / (TAKES - 1);
        if all.len() <= TAKES { all } else { (0..TAKES).map(|k| all[step(k)]).collect() }
    };
    let (without, with) = (of(Condition::Without), of(Condition::With));
    if without.is_empty() || with.is_empty() {
        return [Vec::new(), Vec::new()];
    }
    let plan = TakePlan::new(&session.sweep);
    let recordings: Vec<(usize, Recording)> = without
        .iter()
        .chain(&with)
        .filter_map(|index| Some((*index, read(&session.takes[*index]).ok()?)))
        .collect();
    let longest = recordings.iter().map(|(_, r)| r.mic.len()).max().unwrap_or(0);
    let deconvolver = Deconvolver::new(&session.sweep, longest);
    let measured: Vec<(usize, f64)> = recordings
        .into_par_iter()
        .filter_map(|(index, recording)| {
            let response = plan.respond(index, recording, &deconvolver, None)?;
            Some((index, response.drift_ppm?))
        })
        .collect();
    let pick = |wanted: &[usize]| {
        let of = measured.iter().filter(|(index, _)| wanted.contains(index));
        of.map(|(index, ppm)| TakeDrift { seat: session.takes[*index].seat, ppm: *ppm }).collect()
    };
    [pick(&without), pick(&with)]
}
