//! Filters on the processor's steps, their responses and errors.

use super::super::objective::{Objective, Ranges};
use super::super::steps::{Steps, nearest};
use super::super::target::Target;
use crate::analysis::biquad::{SectionKind, Setting};
use statrs::distribution::{ChiSquared, ContinuousCDF};
use std::cell::RefCell;
use std::collections::HashMap;
use std::hash::{BuildHasherDefault, Hasher};
use std::sync::Arc;

/// Lists of gains up to this length are coarse (1 dB steps between +-6 dB are 13).
const COARSE: usize = 16;

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

/// Power response of a filter at the nodes.
pub(super) type Part = Arc<[f64]>;

/// Hash of a few small numbers that nobody chooses with bad intent.
#[derive(Default)]
struct Steady(u64);

impl Hasher for Steady {
    fn write(&mut self, bytes: &[u8]) {
        for byte in bytes {
            self.write_u64(u64::from(*byte));
        }
    }

    fn write_u64(&mut self, x: u64) {
        self.0 = (self.0.rotate_left(5) ^ x).wrapping_mul(0x9E37_79B9_7F4A_7C15);
    }

    fn write_usize(&mut self, x: usize) {
        self.write_u64(x as u64);
    }

    fn write_isize(&mut self, x: isize) {
        self.write_u64(x as u64);
    }

    fn finish(&self) -> u64 {
        self.0 ^ (self.0 >> 32)
    }
}

/// What every step of the search works with.
pub(super) struct Search<'a> {
    pub objective: &'a Objective,
    pub steps: &'a Steps,
    pub ranges: Ranges,
    pub target: &'a Target,
    /// Responses seen so far: the walk over the steps comes by the same places often.
    seen: RefCell<HashMap<OnGrid, Part, BuildHasherDefault<Steady>>>,
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

/// A peaking filter.
pub(super) fn peak(frequency_hz: f64, gain_db: f64, q: f64) -> Setting {
    Setting { kind: SectionKind::Peaking, frequency_hz, gain_db, q }
}

impl<'a> Search<'a> {
    pub(super) fn new(objective: &'a Objective, steps: &'a Steps, target: &'a Target) -> Self {
        Self { objective, steps, ranges: ranges(steps), target, seen: RefCell::default() }
    }

    pub(super) fn coarse(&self) -> bool {
        self.steps.gain_db.len() <= COARSE
    }

    pub(super) fn setting(&self, f: &OnGrid) -> Setting {
        Setting {
            kind: f.kind,
            gain_db: self.steps.gain_db[f.gain],
            frequency_hz: self.steps.frequency_hz[f.frequency],
            q: self.qs(f.kind)[f.q],
        }
    }

    pub(super) fn qs(&self, kind: SectionKind) -> &[f64] {
        match kind {
            SectionKind::HighShelf => &self.steps.shelf_q,
            SectionKind::Peaking => &self.steps.peak_q,
        }
    }

    /// Settings in rising frequency, the shelf last; filters rounded to 0 dB left out.
    pub(super) fn settings(&self, filters: &[OnGrid]) -> Vec<Setting> {
        let mut list: Vec<Setting> =
            filters.iter().map(|f| self.setting(f)).filter(|s| s.gain_db != 0.0).collect();
        list.sort_by(|a, b| {
            let shelf = |s: &Setting| s.kind == SectionKind::HighShelf;
            shelf(a).cmp(&shelf(b)).then(a.frequency_hz.total_cmp(&b.frequency_hz))
        });
        list
    }

    pub(super) fn round(&self, s: &Setting) -> OnGrid {
        OnGrid {
            kind: s.kind,
            gain: nearest(&self.steps.gain_db, s.gain_db, false),
            frequency: nearest(&self.steps.frequency_hz, s.frequency_hz, true),
            q: nearest(self.qs(s.kind), s.q, true),
        }
    }

    pub(super) fn powers(&self, f: &OnGrid) -> Part {
        if let Some(part) = self.seen.borrow().get(f) {
            return part.clone();
        }
        // The lists of steps hold only what can be made; should one fail all the same, it
        // has no nodes, and a chain without nodes has no finite error.
        let part: Part = self.objective.powers(self.setting(f)).unwrap_or_default().into();
        self.seen.borrow_mut().insert(*f, part.clone());
        part
    }

    fn gains2_db2(&self, filters: &[OnGrid]) -> f64 {
        filters.iter().map(|f| self.steps.gain_db[f.gain].powi(2)).sum()
    }

    /// Error of a chain.
    pub(super) fn error_of(&self, filters: &[OnGrid], parts: &[Part]) -> f64 {
        self.objective.error_db(parts, self.gains2_db2(filters))
    }

    /// The same of a chain in two parts, or infinity where it exceeds `limit_db`.
    pub(super) fn error_below(&self, filters: &[OnGrid], parts: [&[f64]; 2], limit_db: f64) -> f64 {
        self.objective.error_below(parts, self.gains2_db2(filters), limit_db)
    }

    pub(super) fn parts(&self, filters: &[OnGrid]) -> Vec<Part> {
        filters.iter().map(|f| self.powers(f)).collect()
    }

    pub(super) fn residuals_db(&self, filters: &[OnGrid]) -> Vec<f64> {
        self.objective.residuals_db(&self.parts(filters))
    }

    /// Left over at the seats: what the common setting misses, and what differs between them.
    pub(super) fn joint_rms_db(&self, candidate: &Candidate, spread2_db2: f64) -> f64 {
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
    pub(super) fn chance(&self, old: &Candidate, new: &Candidate) -> f64 {
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

    /// Error of settings between the steps; the limits of the total are left to the rounding.
    pub(super) fn continuous_error(&self, settings: &[Setting]) -> f64 {
        let parts: Option<Vec<Vec<f64>>> =
            settings.iter().map(|s| self.objective.powers(*s)).collect();
        let gains2 = settings.iter().map(|s| s.gain_db.powi(2)).sum();
        parts.map_or(f64::INFINITY, |parts| self.objective.unlimited_error_db(&parts, gains2))
    }

    pub(super) fn idle(&self) -> OnGrid {
        self.round(&peak(4000.0, 0.0, 1.0))
    }
}
