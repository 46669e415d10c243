//! The same filters set so that the worst seat comes off best.
//!
//! The search looks for the least error over all seats; whether a simple setting serves is decided by
//! the seat and the band that are farthest off. From the best over all seats this goes downhill over the
//! processor's steps in that measure.

use super::response::BandNodes;
use super::steps::{Steps, nearest};
use super::target::Target;
use crate::analysis::biquad::{SectionKind, Setting, design};
use crate::analysis::loss::LossTable;
use crate::analysis::seats::{shape_bands, usable};
use crate::ingest::manifest::CorrectionLimits;

/// Steps that one number of one filter may move at once.
const MOVES: [i64; 6] = [-4, -2, -1, 1, 2, 4];

/// So much of the tolerances may be used up without regret: uncertainty needs the rest.
const WELL_INSIDE: f64 = 0.85;

/// What a decibel of boost costs in parts of the tolerances: little, so that it only decides where
/// the seats do not.
const BOOST_PRICE: f64 = 0.005;

/// Most moves; a setting far off does not serve anyway.
const MOST_MOVES: usize = 60;

/// What a setting leaves at the seats that count, in parts of the tolerances.
pub(super) struct Even<'a> {
    steps: &'a Steps,
    limits: &'a CorrectionLimits,
    nodes: BandNodes,
    /// Band of the table and loss less the level, of each seat that counts.
    seats: Vec<Vec<(usize, f64)>>,
    /// Level that the typed trim leaves, dB.
    off_db: f64,
}

impl<'a> Even<'a> {
    pub(super) fn new(
        table: &LossTable,
        limits: &'a CorrectionLimits,
        steps: &'a Steps,
        target: &Target,
    ) -> Self {
        let bands = shape_bands(table);
        let seats = table.seats.iter().filter(|seat| seat.weight > 0.0).map(|seat| {
            let cell = |&b: &usize| {
                let loss = seat.loss.get(b).copied().flatten().filter(usable)?;
                Some((b, loss.value_db - target.level_db))
            };
            bands.iter().filter_map(cell).collect()
        });
        Self {
            steps,
            limits,
            nodes: BandNodes::new(&table.bands, limits.processor_rate_hz),
            seats: seats.collect(),
            off_db: target.level_db - target.trim_db,
        }
    }

    /// The filters of `settings` with other numbers, so that the worst seat comes off best.
    pub(super) fn evened(&self, settings: &[Setting]) -> Vec<Setting> {
        let mut best = self.start(settings);
        let mut least = self.worst(&best);
        for _ in 0..MOST_MOVES {
            let tries = (0..best.len()).flat_map(|filter| self.moved(&best, filter));
            let next = tries
                .map(|tried| (self.worst(&tried), tried))
                .min_by(|a, b| a.0.total_cmp(&b.0))
                .filter(|(worst, _)| *worst < least - 1e-9);
            let Some((worst, tried)) = next else { break };
            (least, best) = (worst, tried);
        }
        best
    }

    /// Where to start from: a shelf alone may lie in another valley than the best over all seats, so
    /// that a coarse grid is looked over first.
    fn start(&self, settings: &[Setting]) -> Vec<Setting> {
        let own = settings.to_vec();
        let [Setting { kind: kind @ SectionKind::HighShelf, q, .. }] = *settings else {
            return own;
        };
        let coarse = |list: &'a [f64]| list.iter().step_by(2);
        let shelves = coarse(&self.steps.frequency_hz).flat_map(|&frequency_hz| {
            let gains = coarse(&self.steps.gain_db).filter(|gain_db| **gain_db != 0.0);
            gains.map(move |&gain_db| vec![Setting { kind, frequency_hz, gain_db, q }])
        });
        let worst = |s: &Vec<Setting>| self.worst(s);
        let best = shelves.chain([own]).min_by(|a, b| worst(a).total_cmp(&worst(b)));
        best.unwrap_or_default()
    }

    /// Every setting with one number of one filter moved; a gain of nothing is no filter.
    fn moved(&self, settings: &[Setting], filter: usize) -> Vec<Vec<Setting>> {
        let own = settings[filter];
        let qs = match own.kind {
            SectionKind::HighShelf => &self.steps.shelf_q,
            SectionKind::Peaking => &self.steps.peak_q,
        };
        let with = |list: &[f64], value: f64, log: bool, set: &dyn Fn(f64) -> Setting| {
            let at = nearest(list, value, log) as i64;
            let places = MOVES.map(|by| usize::try_from(at + by).ok());
            places.into_iter().flatten().filter_map(|i| list.get(i)).map(|v| set(*v)).collect()
        };
        let moved: [Vec<Setting>; 3] = [
            with(&self.steps.gain_db, own.gain_db, false, &|gain_db| Setting { gain_db, ..own }),
            with(&self.steps.frequency_hz, own.frequency_hz, true, &|frequency_hz| Setting {
                frequency_hz,
                ..own
            }),
            with(qs, own.q, true, &|q| Setting { q, ..own }),
        ];
        let moved = moved.into_iter().flatten().filter(|setting| setting.gain_db != 0.0);
        moved
            .map(|setting| {
                let mut all = settings.to_vec();
                all[filter] = setting;
                all
            })
            .collect()
    }

    /// What is made small: the worst seat, and once that is well inside, the boost, which costs power.
    fn worst(&self, settings: &[Setting]) -> f64 {
        let boost_db: f64 = settings.iter().map(|s| s.gain_db.max(0.0)).sum();
        self.used_up(settings).max(WELL_INSIDE) + BOOST_PRICE * boost_db
    }

    /// Largest part of a tolerance that any seat uses up: 1 and below is inside.
    fn used_up(&self, settings: &[Setting]) -> f64 {
        let rate_hz = self.limits.processor_rate_hz;
        let sections = settings.iter().filter_map(|s| design(*s, rate_hz).ok()).collect::<Vec<_>>();
        let gains_db = self.nodes.band_gains_db(&sections);
        let seat = |losses: &Vec<(usize, f64)>| {
            let left = || losses.iter().map(|(b, loss_db)| loss_db - gains_db[*b]);
            let rms_db = (left().map(|db| db * db).sum::<f64>() / losses.len() as f64).sqrt();
            let band_db = left().map(|db| (db + self.off_db).abs()).fold(0.0, f64::max);
            (rms_db / self.limits.tolerance_rms_db).max(band_db / self.limits.tolerance_band_db)
        };
        self.seats.iter().map(seat).fold(0.0, f64::max)
    }
}
