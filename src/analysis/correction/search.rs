//! Which filters, how many, and at which steps.
//!
//! For every number of filters the optimiser runs from several starts; the best are
//! rounded to the processor's steps and polished there, one and two numbers at a time.
//! A filter stays only if it earns its place.

use super::objective::{Objective, Ranges, minimise};
use super::steps::{Steps, nearest};
use super::target::Target;
use crate::analysis::biquad::{SectionKind, Setting};
use rand::{RngExt, SeedableRng};
use serde::Serialize;
use statrs::distribution::{ChiSquared, ContinuousCDF};
use std::cell::RefCell;
use std::collections::HashMap;
use std::sync::Arc;

/// Largest probability that the uncertainty of the losses alone makes a filter look as useful.
const EARN_CHANCE: f64 = 0.01;

/// Least gain in error that is worth a filter, dB rms over seats and bands.
const EARN_DB: f64 = 0.02;

/// Continuous solutions that are polished for each structure, on fine and on coarse
/// steps: the coarser the steps, the less the order before rounding says about after.
const POLISHED: usize = 5;
const POLISHED_COARSE: usize = 12;

/// Starts of the optimiser with filters anywhere, for each structure, on fine and on
/// coarse steps.
const ANYWHERE: usize = 8;
const ANYWHERE_COARSE: usize = 30;

/// Kicks out of place for each structure, on fine and on coarse steps.
const KICKS: usize = 3;
const KICKS_COARSE: usize = 24;

/// How many times the error of the better structure another may have and still be refined.
const CATCH_UP: f64 = 1.3;

/// Lists of gains up to this length are coarse (1 dB steps between +-6 dB are 13).
const COARSE: usize = 16;

/// The best setting with a number of filters, and whether it earned its place.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct FilterStep {
    /// Filters, the shelf counted.
    pub n_filters: usize,
    /// Whether the best setting with that many has a shelf.
    pub with_shelf: bool,
    /// Error as the fit counts it: weighted, with the cost of gain, dB.
    pub error_db: f64,
    /// Left-over shape over all seats and bands of the fit, dB rms.
    pub rms_db: f64,
    /// Probability that the uncertainty alone explains the improvement on the last
    /// accepted setting; `None` for the start.
    pub p_value: Option<f64>,
    /// Whether it was accepted.
    pub earned: bool,
}

/// Result of the search.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Found {
    pub settings: Vec<Setting>,
    pub error_db: f64,
    pub tried: Vec<FilterStep>,
}

/// A filter by indices into the steps.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub(super) struct OnGrid {
    pub kind: SectionKind,
    pub gain: usize,
    pub frequency: usize,
    pub q: usize,
}

/// A chain of filters on the processor's steps with its error.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Candidate {
    pub filters: Vec<OnGrid>,
    pub error_db: f64,
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
) -> Found {
    let search = Search::new(objective, steps, target);
    let rms = |c: &Candidate| search.joint_rms_db(c, spread2_db2);
    let mut accepted =
        Candidate { filters: Vec::new(), error_db: objective.error_db::<Part>(&[], 0.0) };
    let mut tried = vec![FilterStep {
        n_filters: 0,
        with_shelf: false,
        error_db: accepted.error_db,
        rms_db: rms(&accepted),
        p_value: None,
        earned: true,
    }];
    let shelf = !steps.shelf_q.is_empty();
    // A row with as many unknowns as there are rows would be met by anything.
    let most = (max_filters + usize::from(shelf)).min(target.asked().count() / 3);
    // Best of each structure with one filter fewer: without shelf, with shelf.
    let mut last: [Option<Candidate>; 2] = [Some(accepted.clone()), None];
    for n in 1..=most {
        // Each thread keeps the responses it has seen to itself.
        let fit =
            |with_shelf: bool| Search::new(objective, steps, target).best(with_shelf, n, &last);
        let (plain, shelved) = rayon::join(
            || if n <= max_filters { fit(false) } else { None },
            || if shelf { fit(true) } else { None },
        );
        // A structure far behind the other does not catch up by finer search.
        let limit_db = [&plain, &shelved]
            .into_iter()
            .flatten()
            .map(|found| found[0].error_db)
            .fold(f64::INFINITY, f64::min)
            * CATCH_UP;
        let refine = |found: Option<Vec<Candidate>>| {
            found.map(|c| Search::new(objective, steps, target).refine(c, limit_db))
        };
        let (plain, shelved) = rayon::join(|| refine(plain), || refine(shelved));
        last = [plain.clone(), shelved.clone()];
        let Some(best) =
            [plain, shelved].into_iter().flatten().min_by(|a, b| a.error_db.total_cmp(&b.error_db))
        else {
            break;
        };
        let more = n - accepted.filters.len();
        let p_value = search.chance(&accepted, &best);
        let gained_db = rms(&accepted) - rms(&best);
        let earned = p_value < EARN_CHANCE && gained_db >= EARN_DB * more as f64;
        tried.push(FilterStep {
            n_filters: n,
            with_shelf: best.filters.iter().any(|f| f.kind == SectionKind::HighShelf),
            error_db: best.error_db,
            rms_db: rms(&best),
            p_value: Some(p_value),
            earned,
        });
        if earned {
            accepted = best;
        } else if more >= 2 {
            // Two filters together may do what one cannot; three have never been seen to.
            break;
        }
    }
    Found { settings: search.settings(&accepted.filters), error_db: accepted.error_db, tried }
}

fn ranges(steps: &Steps) -> Ranges {
    let ends = |list: &[f64]| [list[0], list[list.len() - 1]];
    let log = |list: &[f64]| {
        if list.is_empty() { [0.0, 0.0] } else { ends(list).map(f64::ln) }
    };
    Ranges {
        gain_db: ends(&steps.gain_db),
        ln_frequency: log(&steps.frequency_hz),
        ln_peak_q: log(&steps.peak_q),
        ln_shelf_q: log(&steps.shelf_q),
    }
}

fn peak(frequency_hz: f64, gain_db: f64, q: f64) -> Setting {
    Setting { kind: SectionKind::Peaking, frequency_hz, gain_db, q }
}

struct Search<'a> {
    objective: &'a Objective,
    steps: &'a Steps,
    ranges: Ranges,
    target: &'a Target,
    /// Responses seen so far: the walk over the steps comes by the same places often.
    seen: RefCell<HashMap<OnGrid, Part>>,
}

/// Power response of a filter at the nodes.
type Part = Arc<[f64]>;

impl<'a> Search<'a> {
    fn new(objective: &'a Objective, steps: &'a Steps, target: &'a Target) -> Self {
        Self { objective, steps, ranges: ranges(steps), target, seen: RefCell::default() }
    }

    fn coarse(&self) -> bool {
        self.steps.gain_db.len() <= COARSE
    }

    fn setting(&self, f: &OnGrid) -> Setting {
        Setting {
            kind: f.kind,
            gain_db: self.steps.gain_db[f.gain],
            frequency_hz: self.steps.frequency_hz[f.frequency],
            q: self.qs(f.kind)[f.q],
        }
    }

    fn qs(&self, kind: SectionKind) -> &[f64] {
        match kind {
            SectionKind::HighShelf => &self.steps.shelf_q,
            SectionKind::Peaking => &self.steps.peak_q,
        }
    }

    /// Settings in rising frequency, the shelf last; filters rounded to 0 dB left out.
    fn settings(&self, filters: &[OnGrid]) -> Vec<Setting> {
        let mut list: Vec<Setting> =
            filters.iter().map(|f| self.setting(f)).filter(|s| s.gain_db != 0.0).collect();
        list.sort_by(|a, b| {
            let shelf = |s: &Setting| s.kind == SectionKind::HighShelf;
            shelf(a).cmp(&shelf(b)).then(a.frequency_hz.total_cmp(&b.frequency_hz))
        });
        list
    }

    fn round(&self, s: &Setting) -> OnGrid {
        OnGrid {
            kind: s.kind,
            gain: nearest(&self.steps.gain_db, s.gain_db, false),
            frequency: nearest(&self.steps.frequency_hz, s.frequency_hz, true),
            q: nearest(self.qs(s.kind), s.q, true),
        }
    }

    fn powers(&self, f: &OnGrid) -> Part {
        if let Some(part) = self.seen.borrow().get(f) {
            return part.clone();
        }
        // The lists of steps hold only what can be made; should one fail all the same, it
        // has no nodes, and a chain without nodes has no finite error.
        let part: Part = self.objective.powers(self.setting(f)).unwrap_or_default().into();
        self.seen.borrow_mut().insert(*f, part.clone());
        part
    }

    fn error_of(&self, filters: &[OnGrid], parts: &[Part], limit_db: f64) -> f64 {
        let gains2 = filters.iter().map(|f| self.steps.gain_db[f.gain].powi(2)).sum();
        self.objective.error_below(parts, gains2, limit_db)
    }

    fn parts(&self, filters: &[OnGrid]) -> Vec<Part> {
        filters.iter().map(|f| self.powers(f)).collect()
    }

    fn residuals_db(&self, filters: &[OnGrid]) -> Vec<f64> {
        self.objective.residuals_db(&self.parts(filters))
    }

    /// Left over at the seats: what the common setting misses, and what differs between them.
    fn joint_rms_db(&self, candidate: &Candidate, spread2_db2: f64) -> f64 {
        let residuals = self.residuals_db(&candidate.filters);
        let asked: Vec<f64> = self
            .target
            .rows
            .iter()
            .zip(residuals)
            .filter(|(row, _)| row.variance.is_some())
            .map(|(_, r)| r * r)
            .collect();
        (asked.iter().sum::<f64>() / asked.len().max(1) as f64 + spread2_db2).sqrt()
    }

    /// Probability that the fall of the error from `old` to `new` is the work of the
    /// uncertainty alone: chi-square of the fall, three unknowns for each added filter.
    fn chance(&self, old: &Candidate, new: &Candidate) -> f64 {
        let (before, after) = (self.residuals_db(&old.filters), self.residuals_db(&new.filters));
        let fall: f64 = self
            .target
            .rows
            .iter()
            .zip(before.iter().zip(&after))
            .filter_map(|(row, (b, a))| Some((b * b - a * a) / (row.variance? + 1e-6)))
            .sum();
        let unknowns = 3 * (new.filters.len() - old.filters.len());
        match ChiSquared::new(unknowns as f64) {
            Ok(chi) if fall > 0.0 => chi.sf(fall),
            _ => 1.0,
        }
    }

    /// Chains of `n` filters with or without a shelf from several starts, the best first;
    /// `None` or at least one.
    fn best(&self, shelf: bool, n: usize, last: &[Option<Candidate>; 2]) -> Option<Vec<Candidate>> {
        let mut found: Vec<(f64, Vec<Setting>)> = self
            .starts(shelf, n, last)
            .iter()
            .map(|start| minimise(self.objective, &self.ranges, start))
            .map(|s| (self.continuous_error(&s), s))
            .collect();
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

    /// The best of what was found, sought more finely unless its error is above `limit_db`.
    fn refine(&self, found: Vec<Candidate>, limit_db: f64) -> Candidate {
        // On coarse steps valleys lie far apart and the second best may hide the best.
        let around = if self.coarse() { 3 } else { 1 };
        let first = found[0].clone();
        if first.error_db > limit_db {
            return first;
        }
        let best = found
            .into_iter()
            .take(around)
            .map(|c| self.polish_around(c))
            .min_by(|a, b| a.error_db.total_cmp(&b.error_db))
            .unwrap_or(first);
        self.kick(best)
    }

    /// Kicks all numbers a few steps out of place and walks downhill again, several times.
    /// The kicks are seeded: the same losses give the same setting.
    fn kick(&self, mut best: Candidate) -> Candidate {
        let mut rng = rand_chacha::ChaCha8Rng::seed_from_u64(best.filters.len() as u64);
        let kicks = if self.coarse() { KICKS_COARSE } else { KICKS };
        for _ in 0..kicks {
            let mut filters = best.filters.clone();
            for f in &mut filters {
                for number in 0..3 {
                    let strides = self.strides(f.kind, number);
                    let by = strides[rng.random_range(0..strides.len())]
                        * [0, 1, 1, 2][rng.random_range(0..4)];
                    *f = self.moved(f, number, by).unwrap_or(*f);
                }
            }
            let new = self.polish(filters);
            if new.error_db < best.error_db - 1e-9 {
                best = self.polish_around(new);
            }
        }
        best
    }

    /// Bands by what is left in them: weighted size, frequency in Hz, gain wanted in dB.
    fn most_left(&self, filters: &[OnGrid]) -> Vec<(f64, f64, f64)> {
        let mut rows: Vec<(f64, f64, f64)> = self
            .target
            .rows
            .iter()
            .zip(self.residuals_db(filters))
            .filter(|(row, _)| row.variance.is_some())
            .map(|(row, r)| (row.weight.sqrt() * r.abs(), row.band.exact_hz(), r))
            .collect();
        rows.sort_by(|a, b| b.0.total_cmp(&a.0));
        rows
    }

    /// Error of settings between the steps; the limits of the total are left to the rounding.
    fn continuous_error(&self, settings: &[Setting]) -> f64 {
        let parts: Option<Vec<Vec<f64>>> =
            settings.iter().map(|s| self.objective.powers(*s)).collect();
        let gains2 = settings.iter().map(|s| s.gain_db.powi(2)).sum();
        parts.map_or(f64::INFINITY, |parts| self.objective.unlimited_error_db(&parts, gains2))
    }

    fn idle(&self) -> OnGrid {
        self.round(&peak(4000.0, 0.0, 1.0))
    }

    fn target_near(&self, hz: f64) -> f64 {
        self.target
            .asked()
            .min_by(|a, b| {
                let off = |r: &super::target::Row| (r.band.exact_hz() / hz).ln().abs();
                off(a).total_cmp(&off(b))
            })
            .map_or(0.0, |r| r.target_db)
    }

    /// A chain grown from a shelf that begins below the middle and a broad cut above it, which
    /// together make a steady tilt; growing filter by filter from a shelf alone never passes
    /// by this pair, since half of it is worse than nothing.
    fn tilt(&self, n: usize, top_db: f64) -> Vec<Setting> {
        let shelf = Setting {
            kind: SectionKind::HighShelf,
            frequency_hz: 1000.0,
            gain_db: 1.2 * top_db,
            q: 0.5,
        };
        let mut chain = vec![shelf, peak(3500.0, -top_db, 0.35)];
        loop {
            if chain.len() == n {
                return chain;
            }
            chain = minimise(self.objective, &self.ranges, &chain);
            let parts: Vec<Vec<f64>> =
                chain.iter().filter_map(|s| self.objective.powers(*s)).collect();
            let left = self.objective.residuals_db(&parts);
            let most = self
                .target
                .rows
                .iter()
                .zip(&left)
                .filter(|(row, _)| row.variance.is_some())
                .max_by(|a, b| {
                    let size = |(row, r): &(&super::target::Row, &f64)| row.weight * *r * *r;
                    size(a).total_cmp(&size(b))
                });
            let (hz, gain_db) = most.map_or((2500.0, 0.5), |(row, r)| (row.band.exact_hz(), *r));
            chain.push(peak(hz, gain_db, 2.0));
        }
    }

    /// Starts of the optimiser: the best with one filter fewer and a new one where most is
    /// left (twice, narrow and broad); a shelf under it; and filters spread evenly.
    fn starts(&self, shelf: bool, n: usize, last: &[Option<Candidate>; 2]) -> Vec<Vec<Setting>> {
        let mut starts = Vec::new();
        let chain = |c: &Candidate| c.filters.iter().map(|f| self.setting(f)).collect::<Vec<_>>();
        if let Some(c) = last[usize::from(shelf)].as_ref().filter(|c| c.filters.len() + 1 == n) {
            let rows = self.most_left(&c.filters);
            if let Some(&(_, hz, gain)) = rows.first() {
                for q in [2.0, 0.8] {
                    let mut start = chain(c);
                    start.push(peak(hz, gain, q));
                    starts.push(start);
                }
                if let Some(&(_, hz, gain)) = rows.iter().find(|r| (r.1 / hz).log2().abs() > 0.6) {
                    let mut start = chain(c);
                    start.push(peak(hz, gain, 1.2));
                    starts.push(start);
                }
            }
        }
        let shelf_at = |hz: f64, gain_db: f64| Setting {
            kind: SectionKind::HighShelf,
            frequency_hz: hz,
            gain_db,
            q: 0.6,
        };
        let top = self.target_near(16_000.0);
        if shelf && let Some(c) = last[0].as_ref().filter(|c| c.filters.len() + 1 == n) {
            for hz in [3500.0, 9000.0] {
                let mut start = chain(c);
                start.push(shelf_at(hz, 0.7 * top));
                starts.push(start);
            }
        }
        // Evenly over the logarithm of the range where filters may stand.
        let peaks = n - usize::from(shelf);
        let [low, high] = self.ranges.ln_frequency;
        let mut even: Vec<Setting> = (0..peaks)
            .map(|i| (low + (high - low) * (i as f64 + 0.5) / peaks as f64).exp())
            .map(|hz| peak(hz, 0.6 * self.target_near(hz), 1.0))
            .collect();
        if shelf {
            even.push(shelf_at(7000.0, 0.8 * top));
        }
        if shelf && n > 2 {
            starts.push(self.tilt(n, top));
        }
        starts.push(even);
        if n > 1 {
            // Seeded, so that the same losses give the same setting.
            let mut rng = rand_chacha::ChaCha8Rng::seed_from_u64(n as u64);
            let [q_low, q_high] = self.ranges.ln_peak_q;
            let [cut, boost] = self.ranges.gain_db.map(|db| 0.8 * db);
            for _ in 0..if self.coarse() { ANYWHERE_COARSE } else { ANYWHERE } {
                // Gains too: cuts and boosts that overlap make slopes no single filter has.
                let mut hz_and_db =
                    || (rng.random_range(low..=high).exp(), rng.random_range(cut..=boost));
                let mut start: Vec<Setting> = Vec::with_capacity(n);
                if shelf {
                    let (hz, db) = hz_and_db();
                    start.push(shelf_at(hz, db));
                }
                for _ in 0..peaks {
                    let (hz, db) = hz_and_db();
                    start.push(peak(hz, db, 1.0));
                }
                for s in start.iter_mut().filter(|s| s.kind == SectionKind::Peaking) {
                    s.q = rng.random_range(q_low..=q_high).exp();
                }
                starts.push(start);
            }
        }
        starts
    }

    /// Walks the processor's steps downhill: one number at a time with short and long
    /// steps, then two at a time, until nothing gets better.
    pub(super) fn polish(&self, filters: Vec<OnGrid>) -> Candidate {
        let mut filters = self.within_total(filters);
        let mut parts = self.parts(&filters);
        let mut best = self.error_of(&filters, &parts, f64::INFINITY);
        // Every accepted move lowers the error on a finite grid, so this ends; the
        // number is only a stop against a slow crawl.
        for _ in 0..60 {
            let before = best;
            self.polish_singly(&mut filters, &mut parts, &mut best, None);
            if best < before - 1e-9 {
                continue;
            }
            self.polish_in_pairs(&mut filters, &mut parts, &mut best);
            if best >= before - 1e-9 {
                break;
            }
        }
        Candidate { filters, error_db: best }
    }

    /// Looks beyond the neighbours: moves one number by a step or two, holds it there, lets
    /// all others find their best again, and keeps what is better. On coarse steps gain,
    /// frequency and Q of a filter have to change together to reach the next valley.
    fn polish_around(&self, mut best: Candidate) -> Candidate {
        for _ in 0..3 {
            let before = best.error_db;
            for i in 0..best.filters.len() {
                for number in 0..3 {
                    for &by in self.strides(best.filters[i].kind, number) {
                        let Some(f) = self.moved(&best.filters[i], number, by) else { continue };
                        let mut filters = best.filters.clone();
                        filters[i] = f;
                        let mut parts = self.parts(&filters);
                        let mut error = self.error_of(&filters, &parts, f64::INFINITY);
                        for _ in 0..3 {
                            let last = error;
                            self.polish_singly(
                                &mut filters,
                                &mut parts,
                                &mut error,
                                Some((i, number)),
                            );
                            // Far behind after a round, it does not catch up.
                            if error >= last - 1e-9 || error > 1.5 * best.error_db {
                                break;
                            }
                        }
                        if error < best.error_db - 1e-9 {
                            best = Candidate { filters, error_db: error };
                        }
                    }
                }
            }
            if best.error_db >= before - 1e-9 {
                break;
            }
        }
        best
    }

    /// Lowers gains step by step until the total keeps the limits.
    fn within_total(&self, mut filters: Vec<OnGrid>) -> Vec<OnGrid> {
        let zero = nearest(&self.steps.gain_db, 0.0, false);
        loop {
            let parts = self.parts(&filters);
            if self.error_of(&filters, &parts, f64::INFINITY).is_finite() {
                return filters;
            }
            let Some(widest) = filters.iter_mut().max_by_key(|f| f.gain.abs_diff(zero)) else {
                return filters;
            };
            if widest.gain == zero {
                return filters;
            }
            widest.gain = if widest.gain > zero { widest.gain - 1 } else { widest.gain + 1 };
        }
    }

    fn moved(&self, f: &OnGrid, number: usize, by: isize) -> Option<OnGrid> {
        let mut f = *f;
        let (index, len) = match number {
            0 => (&mut f.gain, self.steps.gain_db.len()),
            1 => (&mut f.frequency, self.steps.frequency_hz.len()),
            _ => {
                let len = self.qs(f.kind).len();
                (&mut f.q, len)
            }
        };
        *index = index.checked_add_signed(by).filter(|i| *i < len)?;
        Some(f)
    }

    /// Steps worth trying: short ones, and on fine grids longer ones.
    fn strides(&self, kind: SectionKind, number: usize) -> &'static [isize] {
        let len = match number {
            0 => self.steps.gain_db.len(),
            1 => self.steps.frequency_hz.len(),
            _ => self.qs(kind).len(),
        };
        match len {
            0..=40 => &[-1, 1, -2, 2],
            41..=90 => &[-1, 1, -3, 3],
            _ => &[-1, 1, -4, 4, -12, 12],
        }
    }

    /// One number at a time, all but the one that is held.
    fn polish_singly(
        &self,
        filters: &mut [OnGrid],
        parts: &mut [Part],
        best: &mut f64,
        held: Option<(usize, usize)>,
    ) {
        for i in 0..filters.len() {
            for number in (0..3).filter(|n| held != Some((i, *n))) {
                for &by in self.strides(filters[i].kind, number) {
                    while let Some(f) = self.moved(&filters[i], number, by) {
                        let old_part = std::mem::replace(&mut parts[i], self.powers(&f));
                        let old = std::mem::replace(&mut filters[i], f);
                        let error = self.error_of(filters, parts, *best);
                        if error < *best - 1e-9 {
                            *best = error;
                        } else {
                            filters[i] = old;
                            parts[i] = old_part;
                            break;
                        }
                    }
                }
            }
        }
    }

    fn polish_in_pairs(&self, filters: &mut [OnGrid], parts: &mut [Part], best: &mut f64) {
        let numbers: Vec<(usize, usize)> =
            (0..filters.len()).flat_map(|i| (0..3).map(move |n| (i, n))).collect();
        for (a, &(i, m)) in numbers.iter().enumerate() {
            for &(j, n) in &numbers[a + 1..] {
                for (by, and) in [(1, 1), (1, -1), (-1, 1), (-1, -1)] {
                    let Some(first) = self.moved(&filters[i], m, by) else { continue };
                    let second = if i == j { Some(first) } else { Some(filters[j]) }
                        .and_then(|f| self.moved(&f, n, and));
                    let Some(second) = second else { continue };
                    let (old_i, old_j) = (filters[i], filters[j]);
                    let (part_i, part_j) = (parts[i].clone(), parts[j].clone());
                    if i != j {
                        filters[i] = first;
                        parts[i] = self.powers(&first);
                    }
                    filters[j] = second;
                    parts[j] = self.powers(&second);
                    let error = self.error_of(filters, parts, *best);
                    if error < *best - 1e-9 {
                        *best = error;
                    } else {
                        (filters[i], filters[j]) = (old_i, old_j);
                        parts[i] = part_i;
                        parts[j] = part_j;
                    }
                }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::made_tables::{noise, perforated_loss_db, sheet_loss_db, table};
    use crate::analysis::seats::judge_seats;
    use crate::ingest::manifest::CorrectionLimits;

    /// Losses as they are met: cloths, films with holes, a bump, a tilt.
    type Truth = Box<dyn Fn(f64) -> f64>;

    fn truths() -> Vec<(&'static str, Truth)> {
        let bell = |hz: f64, f0: f64, oct: f64| 0.5f64.powf((2.0 * (hz / f0).log2() / oct).powi(2));
        vec![
            ("light cloth", Box::new(|hz| sheet_loss_db(hz, 0.008, 40.0))),
            ("heavy cloth", Box::new(|hz| sheet_loss_db(hz, 0.018, 90.0))),
            ("fine holes", Box::new(|hz| perforated_loss_db(hz, 0.6e-3, 0.10))),
            ("coarse holes", Box::new(|hz| perforated_loss_db(hz, 2.6e-3, 0.25))),
            (
                "cloth with a hump",
                Box::new(move |hz| {
                    sheet_loss_db(hz, 0.008, 40.0) + 2.0 * bell(hz, 3000.0, 1.3)
                        - 1.5 * bell(hz, 9000.0, 1.0)
                }),
            ),
            (
                "ripple of the gap",
                Box::new(|hz| {
                    sheet_loss_db(hz, 0.012, 60.0)
                        + 0.8 * (std::f64::consts::TAU * hz / 2600.0).cos()
                }),
            ),
        ]
    }

    /// Best of many random starts with the same number of filters, polished alike.
    fn many_starts(search: &Search<'_>, n: usize, shelf: bool, starts: usize, seed: u64) -> f64 {
        let mut rng = rand_chacha::ChaCha8Rng::seed_from_u64(seed);
        let [low, high] = search.ranges.ln_frequency;
        (0..starts)
            .map(|_| {
                let start: Vec<Setting> = (0..n)
                    .map(|i| {
                        let kind = if shelf && i == 0 {
                            SectionKind::HighShelf
                        } else {
                            SectionKind::Peaking
                        };
                        let [q0, q1] = match kind {
                            SectionKind::HighShelf => search.ranges.ln_shelf_q,
                            SectionKind::Peaking => search.ranges.ln_peak_q,
                        };
                        Setting {
                            kind,
                            frequency_hz: rng.random_range(low..high).exp(),
                            gain_db: rng.random_range(-4.0..6.0),
                            q: rng.random_range(q0..q1).exp(),
                        }
                    })
                    .collect();
                let s = minimise(search.objective, &search.ranges, &start);
                search.polish(s.iter().map(|s| search.round(s)).collect())
            })
            .min_by(|a, b| a.error_db.total_cmp(&b.error_db))
            .map(|c| c.error_db)
            .unwrap()
    }

    /// Error found over the best of a reference search, for every sheet and structure.
    fn against_reference(starts: usize, change: impl Fn(&mut CorrectionLimits)) -> f64 {
        let mut worst: f64 = 0.0;
        for (name, truth) in truths() {
            let t = table(6, |_, hz| truth(hz), |s, k| 0.08 * noise(5, s, k), 0.08, 0.03);
            let mut limits = CorrectionLimits::default();
            change(&mut limits);
            let steps = Steps::new(&limits).unwrap();
            let target = Target::new(&t, &judge_seats(&t), &limits).unwrap();
            let objective = Objective::new(&target, &limits);
            let found = search(&target, &objective, &steps, limits.max_filters, 0.0);
            let s = Search::new(&objective, &steps, &target);
            for step in found.tried.iter().skip(1) {
                let n = step.n_filters;
                let best = [true, false]
                    .into_iter()
                    .filter(|shelf| *shelf || n <= limits.max_filters)
                    .map(|shelf| many_starts(&s, n, shelf, starts, n as u64))
                    .fold(f64::INFINITY, f64::min);
                let ratio = step.error_db / best;
                println!(
                    "{name}: {n} filters, found {:.4}, reference {best:.4}, ratio {ratio:.3}, \
                     earned {}",
                    step.error_db, step.earned
                );
                if step.earned {
                    worst = worst.max(ratio);
                }
            }
        }
        println!("worst ratio of accepted settings {worst:.3}");
        worst
    }

    #[test]
    fn the_setting_is_within_5_percent_of_a_search_from_many_starts() {
        assert!(against_reference(6, |_| ()) <= 1.05);
    }

    #[test]
    #[ignore = "slow: 200 random starts for every structure; prints the figures"]
    fn the_setting_is_within_5_percent_of_a_long_search_from_many_starts() {
        assert!(against_reference(200, |_| ()) <= 1.05);
        let coarse = |l: &mut CorrectionLimits| {
            l.gain_step_db = 1.0;
            l.frequency_step = "iso_1_3".into();
            l.q_step = 0.1;
        };
        assert!(against_reference(200, coarse) <= 1.05);
    }
}
