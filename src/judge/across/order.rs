//! Polarity, and disturbances that are none because they come back.

use super::super::facts::TakeAnalyser;
use super::super::finding::{Finding, TakeVerdict};
use super::entry::{Entry, TakeFindings};
use crate::ingest::manifest::SoundSource;
use crate::warning::Topic;
use std::collections::BTreeMap;

/// Bursts at sweep frequencies nearer than this, in octaves, are the same thing.
const SAME_OCTAVES: f64 = 0.25;
/// At least so many takes must have it.
const TAKES_AT_LEAST: usize = 3;

/// Takes whose polarity is not that of the first take at their seat.
///
/// Compared with the seat's first take; where that one is the odd one among three or more,
/// it is named instead of all the others.
pub(super) fn polarity(entries: &[Entry], analyser: &TakeAnalyser) -> TakeFindings {
    let mut seats: BTreeMap<(usize, SoundSource), Vec<usize>> = BTreeMap::new();
    for (index, entry) in entries.iter().enumerate() {
        if entry.comparable().is_some_and(|facts| facts.signature.is_some()) {
            seats.entry((entry.take.seat, entry.take.source)).or_default().push(index);
        }
    }
    let mut found = TakeFindings::new();
    for takes in seats.values() {
        let Some(first) = takes.first().and_then(|i| entries[*i].comparable()) else { continue };
        let turned: Vec<usize> = takes
            .iter()
            .skip(1)
            .filter(|index| {
                let facts = entries[**index].comparable();
                facts.and_then(|facts| analyser.same_polarity(first, facts)) == Some(false)
            })
            .copied()
            .collect();
        let odd_first = takes.len() >= 3 && turned.len() + 1 == takes.len();
        let (named, other) =
            if odd_first { (vec![takes[0]], takes[1]) } else { (turned, takes[0]) };
        for index in named {
            found.push((
                index,
                Finding::new(
                    TakeVerdict::Doubt,
                    Topic::Polarity,
                    format!(
                        "This take has the opposite polarity of {}: a cable, an input or a \
                         processor setting was changed between them.",
                        entries[other].name()
                    ),
                    "Polarity alone does not touch the loss, but a changed cable or setting may: \
                     find out what was changed, and repeat the take if it can have touched the \
                     level.",
                ),
            ));
        }
    }
    found
}

/// Takes with a burst that at least two other takes have at the same sweep frequency: that
/// is no slam, but something that the sweep excites.
pub fn recurring_bursts(entries: &[Entry]) -> Vec<usize> {
    let bursts = |entry: &Entry| -> Vec<f64> {
        let facts = entry.comparable();
        facts.map_or(Vec::new(), |facts| facts.bursts.iter().filter_map(|b| b.sweep_hz).collect())
    };
    let all: Vec<Vec<f64>> = entries.iter().map(bursts).collect();
    let mut octaves: Vec<(f64, usize)> = all
        .iter()
        .enumerate()
        .flat_map(|(index, hz)| hz.iter().map(move |hz| (hz.log2(), index)))
        .collect();
    octaves.sort_by(|a, b| a.0.total_cmp(&b.0));
    let comes_back = |index: usize, octave: f64| {
        let from = octaves.partition_point(|(o, _)| *o < octave - SAME_OCTAVES);
        let near = octaves[from..].iter().take_while(|(o, _)| *o <= octave + SAME_OCTAVES);
        let mut takes: Vec<usize> = near.map(|(_, take)| *take).filter(|t| *t != index).collect();
        takes.sort_unstable();
        takes.dedup();
        takes.len() + 1 >= TAKES_AT_LEAST
    };
    (0..all.len())
        .filter(|index| {
            let outside = entries[*index]
                .facts
                .is_some_and(|facts| facts.bursts.iter().any(|b| b.sweep_hz.is_none()));
            let own = &all[*index];
            !own.is_empty() && !outside && own.iter().all(|hz| comes_back(*index, hz.log2()))
        })
        .collect()
}
