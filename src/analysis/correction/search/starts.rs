//! Where the optimiser starts.

use super::super::objective::minimise;
use super::super::target::Row;
use super::grid::{Candidate, OnGrid, Search, peak};
use crate::analysis::biquad::{SectionKind, Setting};
use rand::{RngExt, SeedableRng};

/// Starts of the optimiser with filters anywhere, for each structure, on fine and on
/// coarse steps.
const ANYWHERE: usize = 8;
const ANYWHERE_COARSE: usize = 30;

impl Search<'_> {
    /// Bands by what is left in them: weighted size, frequency in Hz, gain wanted in dB.
    pub(super) fn most_left(&self, filters: &[OnGrid]) -> Vec<(f64, f64, f64)> {
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

    pub(super) fn target_near(&self, hz: f64) -> f64 {
        self.target
            .asked()
            .min_by(|a, b| {
                let off = |r: &Row| (r.band.exact_hz() / hz).ln().abs();
                off(a).total_cmp(&off(b))
            })
            .map_or(0.0, |r| r.target_db)
    }

    /// A chain grown from a shelf that begins below the middle and a broad cut above it, which
    /// together make a steady tilt; growing filter by filter from a shelf alone never passes
    /// by this pair, since half of it is worse than nothing.
    pub(super) fn tilt(&self, n: usize, top_db: f64) -> Vec<Setting> {
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
                    let size = |(row, r): &(&Row, &f64)| row.weight * *r * *r;
                    size(a).total_cmp(&size(b))
                });
            let (hz, gain_db) = most.map_or((2500.0, 0.5), |(row, r)| (row.band.exact_hz(), *r));
            chain.push(peak(hz, gain_db, 2.0));
        }
    }

    /// Starts of the optimiser: the best with one filter fewer and a new one where most is
    /// left (twice, narrow and broad); a shelf under it; and filters spread evenly.
    pub(super) fn starts(
        &self,
        shelf: bool,
        n: usize,
        last: &[Option<Candidate>; 2],
    ) -> Vec<Vec<Setting>> {
        let top = self.target_near(16_000.0);
        let mut starts = self.one_more(n, &last[usize::from(shelf)]);
        if let Some(c) = last[0].as_ref().filter(|c| shelf && c.filters.len() + 1 == n) {
            for hz in [3500.0, 9000.0] {
                let mut start = self.chain(c);
                start.push(shelf_at(hz, 0.7 * top));
                starts.push(start);
            }
        }
        if shelf && n > 2 {
            starts.push(self.tilt(n, top));
        }
        starts.push(self.evenly(shelf, n, top));
        if n > 1 {
            starts.extend(self.anywhere(shelf, n));
        }
        starts
    }

    fn chain(&self, c: &Candidate) -> Vec<Setting> {
        c.filters.iter().map(|f| self.setting(f)).collect()
    }

    /// The best with one filter fewer, and a new one where most is left.
    fn one_more(&self, n: usize, last: &Option<Candidate>) -> Vec<Vec<Setting>> {
        let mut starts = Vec::new();
        let Some(c) = last.as_ref().filter(|c| c.filters.len() + 1 == n) else { return starts };
        let rows = self.most_left(&c.filters);
        let mut start_with = |filter: Setting| {
            let mut start = self.chain(c);
            start.push(filter);
            starts.push(start);
        };
        if let Some(&(_, hz, gain)) = rows.first() {
            start_with(peak(hz, gain, 2.0));
            start_with(peak(hz, gain, 0.8));
            if let Some(&(_, hz, gain)) = rows.iter().find(|r| (r.1 / hz).log2().abs() > 0.6) {
                start_with(peak(hz, gain, 1.2));
            }
        }
        starts
    }

    /// Filters evenly over the logarithm of the range where they may stand.
    fn evenly(&self, shelf: bool, n: usize, top: f64) -> Vec<Setting> {
        let peaks = n - usize::from(shelf);
        let [low, high] = self.ranges.ln_frequency;
        let mut even: Vec<Setting> = (0..peaks)
            .map(|i| (low + (high - low) * (i as f64 + 0.5) / peaks as f64).exp())
            .map(|hz| peak(hz, 0.6 * self.target_near(hz), 1.0))
            .collect();
        if shelf {
            even.push(shelf_at(7000.0, 0.8 * top));
        }
        even
    }

    /// Filters anywhere, with gains too: cuts and boosts that overlap make slopes no single filter has.
    fn anywhere(&self, shelf: bool, n: usize) -> Vec<Vec<Setting>> {
        // Seeded, so that the same losses give the same setting.
        let mut rng = rand_chacha::ChaCha8Rng::seed_from_u64(n as u64);
        let [low, high] = self.ranges.ln_frequency;
        let [q_low, q_high] = self.ranges.ln_peak_q;
        let [cut, boost] = self.ranges.gain_db.map(|db| 0.8 * db);
        let one = |_| {
            let mut hz_and_db =
                || (rng.random_range(low..=high).exp(), rng.random_range(cut..=boost));
            let mut start: Vec<Setting> = Vec::with_capacity(n);
            if shelf {
                let (hz, db) = hz_and_db();
                start.push(shelf_at(hz, db));
            }
            for _ in start.len()..n {
                let (hz, db) = hz_and_db();
                start.push(peak(hz, db, 1.0));
            }
            for s in start.iter_mut().filter(|s| s.kind == SectionKind::Peaking) {
                s.q = rng.random_range(q_low..=q_high).exp();
            }
            start
        };
        (0..if self.coarse() { ANYWHERE_COARSE } else { ANYWHERE }).map(one).collect()
    }
}

fn shelf_at(frequency_hz: f64, gain_db: f64) -> Setting {
    Setting { kind: SectionKind::HighShelf, frequency_hz, gain_db, q: 0.6 }
}
