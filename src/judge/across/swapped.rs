//! Takes without and with the screen exchanged: of a whole seat, or of one pair.
//!
//! A screen takes treble away; a seat that has more of it with the screen was recorded the other
//! way round.

use super::super::facts::TakeFacts;
use super::super::finding::{Finding, TakeVerdict};
use super::entry::{Entry, TakeFindings};
use super::levels::{Group, LOW, groups, loss, mean_over};
use crate::ingest::manifest::{Condition, SoundSource};
use crate::warning::Topic;
use std::collections::{BTreeMap, BTreeSet};

/// Bands in which sheets lose most: 1 to 16 kHz.
const HIGH: std::ops::RangeInclusive<i32> = 0..=12;
/// Loss at high against low frequencies below which the conditions are exchanged, dB.
const SWAPPED_DB: f64 = -0.42;
/// What is added to it for a single pair and a sweep with a rate constant of 1 s, dB: levels of one
/// pair scatter, the more, the shorter a sweep stays in a band.
const PAIR_DB: f64 = 0.04;
/// The same of the mean over seats that all have more treble with the screen, dB: the mean is more
/// certain than any of them.
const ALL_SWAPPED_DB: f64 = -0.3;

/// Takes whose condition is not what their name says.
pub(super) fn find(entries: &[Entry]) -> TakeFindings {
    let groups = groups(entries);
    let seats: BTreeSet<usize> = groups.keys().map(|key| key.0).collect();
    let mut found = TakeFindings::new();
    if let Some(all) = every_seat(&groups, &seats) {
        return all;
    }
    for seat in seats {
        let of = |condition| groups.get(&(seat, SoundSource::Centre, condition));
        let (Some(without), Some(with)) = (of(Condition::Without), of(Condition::With)) else {
            continue;
        };
        let pairs: Vec<[(usize, &TakeFacts); 2]> = without
            .iter()
            .filter_map(|a| {
                let same =
                    |b: &&(usize, &TakeFacts)| entries[b.0].take.spot == entries[a.0].take.spot;
                Some([*a, *with.iter().find(same)?])
            })
            .collect();
        let turned: Vec<(usize, usize, f64)> =
            pairs.iter().filter_map(|[a, b]| Some((a.0, b.0, louder_pair_db(*a, *b)?))).collect();
        let all = louder_db(without, with);
        let falls =
            |[a, b]: &[(usize, &TakeFacts); 2]| tilt(&[*a], &[*b]).is_some_and(|t| t.0 < 0.0);
        if let Some(louder_db) = all
            && pairs.iter().all(falls)
        {
            let takes = without.iter().chain(with).map(|(index, _)| *index);
            found.extend(takes.map(|index| (index, whole_seat(louder_db))));
        } else if !pairs.iter().all(falls) {
            // Others of the seat are the right way round.
            for (a, b, louder_db) in turned {
                found.extend([a, b].map(|index| (index, one_pair(entries, [a, b], louder_db))));
            }
        }
    }
    found
}

/// All takes, where every seat has more treble with the screen than without it.
fn every_seat(groups: &Groups, seats: &BTreeSet<usize>) -> Option<TakeFindings> {
    let mut takes = Vec::new();
    let mut tilts_db = Vec::new();
    for seat in seats {
        let of = |condition| groups.get(&(*seat, SoundSource::Centre, condition));
        let (Some(without), Some(with)) = (of(Condition::Without), of(Condition::With)) else {
            continue;
        };
        tilts_db.push(tilt(without, with)?.0);
        takes.extend(without.iter().chain(with).map(|(index, _)| *index));
    }
    let mean_db = tilts_db.iter().sum::<f64>() / tilts_db.len() as f64;
    let all = tilts_db.len() > 1 && tilts_db.iter().all(|db| *db < 0.0);
    (all && mean_db <= ALL_SWAPPED_DB)
        .then(|| takes.into_iter().map(|index| (index, whole_seat(-mean_db))).collect())
}

type Groups<'a> = BTreeMap<Group, Vec<(usize, &'a TakeFacts)>>;

/// How much louder it is at high frequencies, relative to low ones, with the screen than without
/// it, where that is more than a screen can do.
fn louder_db(without: &[(usize, &TakeFacts)], with: &[(usize, &TakeFacts)]) -> Option<f64> {
    let (tilt_db, most) = tilt(without, with)?;
    (tilt_db <= SWAPPED_DB && most).then_some(-tilt_db)
}

/// The same of one pair of takes.
fn louder_pair_db(without: (usize, &TakeFacts), with: (usize, &TakeFacts)) -> Option<f64> {
    let rate_constant_s = without.1.course?.rate_constant_s;
    louder_db(&[without], &[with]).filter(|db| *db >= PAIR_DB / rate_constant_s - SWAPPED_DB)
}

/// Loss at high against low frequencies, dB, and whether most high bands have less than the low
/// ones.
fn tilt(without: &[(usize, &TakeFacts)], with: &[(usize, &TakeFacts)]) -> Option<(f64, bool)> {
    let loss = loss(without, with);
    let (high, low) = (mean_over(&loss, HIGH)?, mean_over(&loss, LOW)?);
    let negative = loss.range(HIGH).filter(|(_, db)| **db - low < 0.0).count();
    Some((high - low, 4 * negative >= 3 * loss.range(HIGH).count()))
}

fn whole_seat(louder_db: f64) -> Finding {
    Finding::new(
        TakeVerdict::Repeat,
        Topic::Swapped,
        format!(
            "With the screen this seat is {louder_db:.1} dB louder from 1 to 16 kHz, relative to \
             low frequencies: a screen cannot do that. The takes without and with were exchanged."
        ),
        "Compare with your notes and exchange the files' names, or record this seat again.",
    )
}

fn one_pair(entries: &[Entry], [without, with]: [usize; 2], louder_db: f64) -> Finding {
    let name = |index: usize| entries[index].name();
    Finding::new(
        TakeVerdict::Repeat,
        Topic::Swapped,
        format!(
            "{} has {louder_db:.1} dB more from 1 to 16 kHz than {}, relative to low frequencies; \
             the other takes of this seat have less. These two were exchanged.",
            name(with),
            name(without)
        ),
        "Compare with your notes and exchange the names of these two files, or record both again.",
    )
}
