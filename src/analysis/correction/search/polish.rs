//! Downhill over the processor's steps, and kicks out of a valley.

use super::super::steps::nearest;
use super::grid::{Candidate, OnGrid, Part, Search};
use crate::analysis::biquad::SectionKind;
use rand::{RngExt, SeedableRng};

/// Kicks out of place for each structure, on fine steps, where they seldom find anything, and
/// on coarse ones.
const KICKS: usize = 1;
const KICKS_COARSE: usize = 24;

impl Search<'_> {
    /// The best of what was found, sought more finely unless its error is above `limit_db`.
    /// `&mut`, since only one thread may use what the search has seen.
    pub(super) fn refine(&mut self, found: Vec<Candidate>, limit_db: f64) -> Candidate {
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
    pub(super) fn kick(&self, mut best: Candidate) -> Candidate {
        let mut rng = rand_chacha::ChaCha8Rng::seed_from_u64(best.filters.len() as u64);
        for _ in 0..if self.coarse() { KICKS_COARSE } else { KICKS } {
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

    /// Walks the processor's steps downhill: one number at a time with short and long
    /// steps, then two at a time, until nothing gets better.
    pub(super) fn polish(&self, filters: Vec<OnGrid>) -> Candidate {
        let mut filters = self.within_total(filters);
        let mut parts = self.parts(&filters);
        let mut best = self.error_of(&filters, &parts);
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
    pub(super) fn polish_around(&self, mut best: Candidate) -> Candidate {
        for _ in 0..3 {
            let before = best.error_db;
            for i in 0..best.filters.len() {
                for number in 0..3 {
                    for &by in self.strides(best.filters[i].kind, number) {
                        let Some(f) = self.moved(&best.filters[i], number, by) else { continue };
                        let mut filters = best.filters.clone();
                        filters[i] = f;
                        let mut parts = self.parts(&filters);
                        let mut error = self.error_of(&filters, &parts);
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
    pub(super) fn within_total(&self, mut filters: Vec<OnGrid>) -> Vec<OnGrid> {
        let zero = nearest(&self.steps.gain_db, 0.0, false);
        loop {
            let parts = self.parts(&filters);
            if self.error_of(&filters, &parts).is_finite() {
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

    pub(super) fn moved(&self, f: &OnGrid, number: usize, by: isize) -> Option<OnGrid> {
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
    pub(super) fn strides(&self, kind: SectionKind, number: usize) -> &'static [isize] {
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
    pub(super) fn polish_singly(
        &self,
        filters: &mut [OnGrid],
        parts: &mut [Part],
        best: &mut f64,
        held: Option<(usize, usize)>,
    ) {
        for i in 0..filters.len() {
            // Only one filter moves: the product of all others stays.
            let others = self.objective.product_without(parts, i);
            for number in (0..3).filter(|n| held != Some((i, *n))) {
                let strides = self.strides(filters[i].kind, number);
                // Around a number that is held the others have not far to go.
                let n_strides = if held.is_some() && !self.coarse() { 2 } else { strides.len() };
                for &by in &strides[..n_strides] {
                    while let Some(f) = self.moved(&filters[i], number, by) {
                        let part = self.powers(&f);
                        let old = std::mem::replace(&mut filters[i], f);
                        let error = self.error_below(filters, [&others, &part], *best);
                        if error < *best - 1e-9 {
                            *best = error;
                            parts[i] = part;
                        } else {
                            filters[i] = old;
                            break;
                        }
                    }
                }
            }
        }
    }

    pub(super) fn polish_in_pairs(
        &self,
        filters: &mut [OnGrid],
        parts: &mut [Part],
        best: &mut f64,
    ) {
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
                    let others = self.objective.product_without(parts, j);
                    let error = self.error_below(filters, [&others, &parts[j]], *best);
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
