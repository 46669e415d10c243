//! What became of the takes, in sentences: the same in table and papers.

use super::result::SessionResult;
use crate::ingest::error::plain;
use crate::judge::{Outcome, TakeState};
use crate::warning::Topic;
use crate::words::list_words;

/// How many takes are used, when all are; else what is left out and what is doubtful, each with
/// its reason, seat by seat.
pub fn takes_sentences(result: &SessionResult) -> Vec<String> {
    let n = result.takes.len();
    let n_out = result.takes.iter().filter(|t| t.state == TakeState::LeftOut).count();
    let mut lines = grouped(result, TakeState::LeftOut);
    lines.extend(grouped(result, TakeState::Doubtful));
    if lines.is_empty() {
        return if n == 0 { lines } else { vec![format!("All {n} takes are used.")] };
    }
    lines.push(format!("{} of {n} takes are used.", n - n_out));
    lines
}

/// Whether anything was left out or is doubtful.
pub fn all_used(result: &SessionResult) -> bool {
    result.takes.iter().all(|t| t.state == TakeState::Used)
}

/// One sentence for the takes of one seat that share a kind of reason.
fn grouped(result: &SessionResult, state: TakeState) -> Vec<String> {
    let mut groups: Vec<Vec<&Outcome>> = Vec::new();
    for take in result.takes.iter().filter(|t| t.state == state) {
        let key = |t: &Outcome| (t.seat.clone(), t.reason.as_ref().map(|r| r.topic));
        match groups.iter_mut().find(|group| key(group[0]) == key(take)) {
            Some(group) => group.push(take),
            None => groups.push(vec![take]),
        }
    }
    // What is wrong itself before what is left out for it.
    let follows = |group: &Vec<&Outcome>| {
        group[0].reason.as_ref().is_some_and(|reason| reason.topic == Topic::Missing)
    };
    groups.sort_by_key(follows);
    groups.iter().map(|group| sentence(group, state)).collect()
}

fn sentence(group: &[&Outcome], state: TakeState) -> String {
    let name = |t: &&Outcome| plain(t.file.rsplit('/').next().unwrap_or(&t.file));
    let names: Vec<String> = group.iter().map(name).collect();
    let is = if group.len() == 1 { "is" } else { "are" };
    let seat = group[0].seat.as_ref().map(|s| format!("Seat {}: ", plain(s))).unwrap_or_default();
    let reason = group[0].reason.as_ref().map_or("", |r| &r.message);
    format!("{seat}{} {is} {}. {reason}", list_words(&names), state.label())
}

/// Seats whose figures rest on doubtful takes, by their ids.
pub fn seats_in_doubt(result: &SessionResult) -> Vec<String> {
    let doubtful = result.seats.iter().filter(|seat| !seat.doubtful_takes.is_empty());
    doubtful.map(|seat| seat.id.clone()).collect()
}
