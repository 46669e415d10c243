//! Whether sweeps stand for the seats that they were recorded at, by how alike they are.

use super::align::points;
use super::found::Survey;
use super::judge::Judged;
use super::places::Place;
use crate::ingest::manifest::{Condition, SoundSource};
use crate::ingest::session::Session;
use crate::transfer::resemble::{Print, likeness};
use std::collections::{BTreeMap, BTreeSet};

/// A take that is there, or a sweep whose place is known.
pub(super) struct Known {
    pub seat: usize,
    pub condition: Condition,
    pub print: Print,
}

/// How many times as far from its own seat as from another a sweep must be before that is said.
const RATHER: f64 = 3.0;

/// Looks whether sweeps resemble the takes of another seat, in another condition, clearly
/// more than those of their own. `judged` has one for each sweep of the survey.
pub(super) fn doubt_order(
    session: &Session,
    known: &[Known],
    judged: &[&Judged],
    survey: &mut Survey,
) {
    let placed: Vec<(usize, &Place, &Print)> = (survey.sweeps.iter().zip(judged).enumerate())
        .filter_map(|(i, (sweep, judged))| {
            let place = sweep.place.as_ref().filter(|p| p.source == SoundSource::Centre)?;
            Some((i, place, judged.print.as_ref()?))
        })
        .collect();
    let refs: Vec<(usize, Condition, &Print)> = known
        .iter()
        .map(|k| (k.seat, k.condition, &k.print))
        .chain(placed.iter().map(|(_, p, print)| (p.seat, p.condition, *print)))
        .collect();
    let rather: Vec<(usize, usize, usize)> = placed
        .iter()
        .filter_map(|&(i, place, print)| Some((i, place.seat, rather_of(place, print, &refs)?)))
        .collect();
    let id = |seat: usize| &session.manifest.seat[seat].id;
    let pairs: BTreeSet<(usize, usize)> = rather.iter().map(|r| (r.1, r.2)).collect();
    for &(i, _, seat) in &rather {
        survey.sweeps[i].rather = Some(id(seat).clone());
    }
    if !pairs.is_empty() {
        let said: Vec<String> = pairs
            .iter()
            .map(|&(own, other)| {
                format!("what stands for seat {} resembles seat {}", id(own), id(other))
            })
            .collect();
        survey.order_doubt = Some(said.join("; "));
    }
}

/// The seat whose takes in other conditions are clearly more like this sweep than those of its
/// own; `None` where there is none.
fn rather_of(place: &Place, print: &Print, refs: &[(usize, Condition, &Print)]) -> Option<usize> {
    let mut of_seat: BTreeMap<usize, f64> = BTreeMap::new();
    for (seat, _, other) in refs.iter().filter(|r| r.1 != place.condition) {
        let best = of_seat.entry(*seat).or_insert(f64::NEG_INFINITY);
        *best = best.max(likeness(print, other));
    }
    let own = of_seat.get(&place.seat)?;
    let (seat, best) = of_seat.iter().max_by(|a, b| a.1.total_cmp(b.1))?;
    (1.0 - own > RATHER * (1.0 - best) && points(Some(*best)) > 0.0).then_some(*seat)
}
