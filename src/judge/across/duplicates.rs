//! One recording under two names: noise never repeats, so neither does a take.

use super::super::finding::{Finding, TakeVerdict};
use super::entry::{Entry, TakeFindings};
use super::places::first_belongs;
use crate::ingest::session::Take;
use crate::warning::Topic;
use std::collections::{BTreeMap, HashMap};

/// Prints that differ in at most so many of 64 steps are of one recording; independent
/// noise differs in about 32, by chance in fewer than 10 about once in 10^9 pairs.
const NEAR_BITS: u32 = 8;

/// Names every take that is a copy of an earlier one, and the earlier one too where nothing tells
/// which of the two is what its name says.
pub(super) fn find(entries: &[Entry]) -> TakeFindings {
    let mut copies: Vec<(usize, usize, bool)> = Vec::new();
    let mut by_hash: HashMap<u64, usize> = HashMap::new();
    // Four 16-bit parts: prints that differ in few bits share at least one part nearly
    // always, so that only takes with an equal part need comparing.
    let mut by_part: HashMap<(u32, u16), Vec<usize>> = HashMap::new();
    for (index, entry) in entries.iter().enumerate() {
        let Some(facts) = entry.facts.filter(|facts| facts.amplitudes.sound_s.is_some()) else {
            continue;
        };
        let part = |print: u64, part: u32| (part, (print >> (16 * part)) as u16);
        let near = facts.print.and_then(|print| {
            let same = |other: &&usize| {
                let print_of = entries[**other].facts.and_then(|facts| facts.print);
                print_of.is_some_and(|p| (p ^ print).count_ones() <= NEAR_BITS)
            };
            let candidates = (0..4).filter_map(|p| by_part.get(&part(print, p))).flatten();
            candidates.into_iter().find(same).copied()
        });
        match by_hash.get(&facts.amplitudes.hash).copied() {
            Some(first) => copies.push((first, index, true)),
            None => {
                by_hash.insert(facts.amplitudes.hash, index);
                if let Some(first) = near {
                    copies.push((first, index, false));
                }
            }
        }
        if let Some(print) = facts.print {
            (0..4).for_each(|p| by_part.entry(part(print, p)).or_default().push(index));
        }
    }
    let mut named: BTreeMap<usize, Finding> = BTreeMap::new();
    for (first, second, exact) in copies {
        let [first_belongs, second_belongs] = belong(first, second, entries);
        let how = if exact {
            "is the same recording as"
        } else {
            "is, apart from gain or word length, the same recording as"
        };
        for (take, other, belongs) in
            [(first, second, first_belongs), (second, first, second_belongs)]
        {
            if !belongs {
                named.entry(take).or_insert_with(|| copy(&entries[other], how));
            }
        }
    }
    named.into_iter().collect()
}

/// Whether each of two equal recordings can be what its name says. Two placements of one seat and
/// condition: the first can. Two seats: the one that it resembles. Else nobody knows.
fn belong(first: usize, second: usize, entries: &[Entry]) -> [bool; 2] {
    let (one, other) = (entries[first].take, entries[second].take);
    let place = |t: &Take| (t.seat, t.source, t.condition);
    if place(one) == place(other) {
        return [true, false];
    }
    if one.seat == other.seat {
        return [false, false];
    }
    [first_belongs(first, second, entries), first_belongs(second, first, entries)]
}

fn copy(first: &Entry, how: &str) -> Finding {
    Finding::new(
        TakeVerdict::Repeat,
        Topic::Duplicate,
        format!("This take {how} {}.", first.name()),
        "One of the two files has the wrong contents: look for the right recording, or make \
         this take again.",
    )
}
