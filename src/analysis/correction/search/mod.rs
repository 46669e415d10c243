//! Which filters, how many, and at which steps.
//!
//! For every number of filters the optimiser runs from several starts; the best are
//! rounded to the processor's steps and polished there, one and two numbers at a time.
//! A filter stays only if it earns its place.
//!
//! | file | step |
//! |---|---|
//! | `grid` | filters on the steps, their responses and errors |
//! | `starts` | where the optimiser starts |
//! | `polish` | downhill over the steps, and kicks out of a valley |

mod grid;
mod polish;
mod starts;

use super::found::FilterStep;
use super::objective::{Objective, minimise};
use super::steps::Steps;
use super::target::Target;
use crate::analysis::biquad::{SectionKind, Setting};
use grid::{Candidate, Part, Search};
use rayon::prelude::*;

/// Largest probability that the uncertainty of the losses alone makes a filter look as useful.
const EARN_CHANCE: f64 = 0.01;

/// Least gain in error that is worth a filter, dB rms over seats and bands.
const EARN_DB: f64 = 0.02;

/// Continuous solutions that are polished for each structure, on fine and on coarse
/// steps: the coarser the steps, the less the order before rounding says about after.
const POLISHED: usize = 5;
const POLISHED_COARSE: usize = 12;

/// How many times the error of the better structure another may have and still be refined:
/// refining takes off more than 8 % in one structure of twenty.
const CATCH_UP: f64 = 1.1;

/// Result of the search.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct SearchResult {
    /// The best setting.
    pub settings: Vec<Setting>,
    /// Simpler ones, the simplest first: no filter, a shelf alone, then with rising number.
    pub simpler: Vec<Vec<Setting>>,
    pub error_db: f64,
    pub tried: Vec<FilterStep>,
}

/// Finds the setting.
///
/// `spread2_db2` is the mean over the rows of the variance over seats: what no common
/// setting can remove, counted so that a filter is judged by what is heard at the seats.
pub(super) fn search(
    target: &Target,
    objective: &Objective,
    steps: &Steps,
    max_filters: usize,
    spread2_db2: f64,
) -> SearchResult {
    let search = Search::new(objective, steps, target);
    let rms = |c: &Candidate| search.joint_rms_db(c, spread2_db2);
    let mut accepted =
        Candidate { filters: Vec::new(), error_db: objective.error_db::<Part>(&[], 0.0) };
    let step = |n_filters: usize, c: &Candidate, p_value: Option<f64>, earned: bool| FilterStep {
        n_filters,
        with_shelf: c.filters.iter().any(|f| f.kind == SectionKind::HighShelf),
        error_db: c.error_db,
        rms_db: rms(c),
        p_value,
        earned,
    };
    let mut tried = vec![step(0, &accepted, None, true)];
    let shelf = !steps.shelf_q.is_empty();
    let mut simpler: Vec<Vec<Setting>> = vec![Vec::new()];
    // A row with as many unknowns as there are rows would be met by anything.
    let most = (max_filters + usize::from(shelf)).min(target.asked().count() / 3);
    // Best of each structure with one filter fewer: without shelf, with shelf.
    let mut last: [Option<Candidate>; 2] = [Some(accepted.clone()), None];
    // Each structure keeps the responses it has seen to itself, and so each thread.
    let mut searches = [0, 1].map(|_| Search::new(objective, steps, target));
    for n in 1..=most {
        last = best_of_each(&mut searches, [n <= max_filters, shelf], n, &last);
        if n == 1 {
            simpler.extend(last[1].iter().map(|c| search.settings(&c.filters)));
        }
        let each = last.iter().flatten();
        let Some(best) = each.min_by(|a, b| a.error_db.total_cmp(&b.error_db)).cloned() else {
            break;
        };
        let more = n - accepted.filters.len();
        let p_value = search.chance(&accepted, &best);
        let gained_db = rms(&accepted) - rms(&best);
        let settings = |c: &Candidate| search.settings(&c.filters);
        let fights = fights(&settings(&best)).saturating_sub(fights(&settings(&accepted)));
        let earned = p_value < EARN_CHANCE && gained_db >= EARN_DB * (more + fights) as f64;
        tried.push(step(n, &best, Some(p_value), earned));
        if earned {
            simpler.push(search.settings(&accepted.filters));
            accepted = best;
        } else if more >= 2 {
            // Two filters together may do what one cannot; three have never been seen to.
            break;
        }
    }
    let settings = search.settings(&accepted.filters);
    simpler.dedup();
    simpler.retain(|s| s.len() < settings.len());
    SearchResult { settings, simpler, error_db: accepted.error_db, tried }
}

/// The best with `n` filters of each structure that is `asked` for, without and with a shelf, from the
/// best with one filter fewer.
fn best_of_each(
    [plainly, with_shelf]: &mut [Search; 2],
    asked: [bool; 2],
    n: usize,
    last: &[Option<Candidate>; 2],
) -> [Option<Candidate>; 2] {
    let (plain, shelved) = rayon::join(
        || if asked[0] { plainly.best(false, n, last) } else { None },
        || if asked[1] { with_shelf.best(true, n, last) } else { None },
    );
    // A structure far behind the other does not catch up by finer search.
    let limit_db = [&plain, &shelved]
        .into_iter()
        .flatten()
        .map(|found| found[0].error_db)
        .fold(f64::INFINITY, f64::min)
        * CATCH_UP;
    let (plain, shelved) = rayon::join(
        || plain.map(|c| plainly.refine(c, limit_db)),
        || shelved.map(|c| with_shelf.refine(c, limit_db)),
    );
    [plain, shelved]
}

/// Pairs of filters that work against each other: one boosts and the other cuts within an octave, or
/// a cut lies where a shelf boosts. Each costs as a filter does.
fn fights(settings: &[Setting]) -> usize {
    let against = |a: &Setting, b: &Setting| {
        let octaves = (b.frequency_hz / a.frequency_hz).log2();
        let reaches = match (a.kind, b.kind) {
            (SectionKind::HighShelf, _) => octaves > -1.0,
            (_, SectionKind::HighShelf) => octaves < 1.0,
            _ => octaves.abs() < 1.0,
        };
        a.gain_db * b.gain_db < 0.0 && reaches
    };
    let pairs = settings.iter().enumerate();
    pairs.map(|(i, a)| settings[i + 1..].iter().filter(|b| against(a, b)).count()).sum()
}

impl Search<'_> {
    /// Chains of `n` filters with or without a shelf from several starts, the best first;
    /// `None` or at least one.
    fn best(
        &mut self,
        shelf: bool,
        n: usize,
        last: &[Option<Candidate>; 2],
    ) -> Option<Vec<Candidate>> {
        let starts = self.starts(shelf, n, last);
        let (objective, ranges) = (self.objective, &self.ranges);
        let ends: Vec<Vec<Setting>> =
            starts.par_iter().map(|start| minimise(objective, ranges, start)).collect();
        let mut found: Vec<(f64, Vec<Setting>)> =
            ends.into_iter().map(|s| (self.continuous_error(&s), s)).collect();
        found.sort_by(|a, b| a.0.total_cmp(&b.0));
        // Two starts that came to the same place are one.
        found.dedup_by(|a, b| (a.0 - b.0).abs() < 1e-6);
        let coarse = self.coarse();
        let mut polished: Vec<Candidate> = found
            .iter()
            .take(if coarse { POLISHED_COARSE } else { POLISHED })
            .map(|(_, s)| self.polish(s.iter().map(|s| self.round(s)).collect()))
            .collect();
        if let Some(c) = last[usize::from(shelf)].as_ref().filter(|c| c.filters.len() + 1 == n) {
            // The last solution and an idle filter: more filters are never worse.
            let mut filters = c.filters.clone();
            filters.push(self.idle());
            polished.push(self.polish(filters));
        }
        polished.sort_by(|a, b| a.error_db.total_cmp(&b.error_db));
        polished.dedup_by(|a, b| a.filters == b.filters);
        (!polished.is_empty()).then_some(polished)
    }
}

#[cfg(test)]
mod tests;
