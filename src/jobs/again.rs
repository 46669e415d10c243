//! One room measured twice: what changed at which seat beyond both uncertainties.
//!
//! Many bands at many seats are looked at at once. One of twenty would leave its 95 % interval by
//! chance, so a change counts as shown only where it would be shown with all of them looked at
//! together (Bonferroni: 5 % over all seats and bands of the comparison). What both measurements
//! share, such as what the method assumes, is counted in both, though it cancels: the interval is
//! too wide rather than too narrow.

use super::figures::gain_on_axis;
use super::stored::{StoredParameter, StoredRattle, StoredResult, StoredSeat, standard};
use crate::analysis::sheet::kinds::Quantity;
use crate::analysis::student::student_quantile;
use serde::Serialize;

/// Chance that anything counts as changed where nothing did.
const FALSE_ALARM: f64 = 0.05;
/// From here on up losses are those of the direct sound, Hz.
const TREBLE_HZ: f64 = 2000.0;

/// What changed.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Again {
    /// Titles; empty where names were not asked for.
    pub titles: Option<[String; 2]>,
    pub dates: [Option<String>; 2],
    /// Seats that both have.
    pub seats: Vec<SeatAgain>,
    /// Mean over the seats.
    pub mean: Vec<BandAgain>,
    /// Seats that only one of them has.
    pub seats_of_one: Vec<String>,
    pub gap_mm: Option<FigureAgain>,
    /// Flow resistance and mass, where the same model was fitted.
    pub sheet: Vec<(Quantity, FigureAgain)>,
    /// The trim that is needed, dB.
    pub trim_db: Option<FigureAgain>,
    /// Filters that are needed, old and new, in words.
    pub filters: [Vec<String>; 2],
    pub gain_on_axis: Option<FigureAgain>,
    /// Ranges that rattle now and did not, Hz.
    pub new_rattle_hz: Vec<[f64; 2]>,
    /// What it may be.
    pub likely: Vec<Cause>,
}

/// A seat measured twice.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SeatAgain {
    pub id: String,
    /// Distance between the stated places, m, where both state one.
    pub moved_m: Option<f64>,
    pub bands: Vec<BandAgain>,
}

/// A band measured twice.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct BandAgain {
    /// Name, Hz.
    pub nominal_hz: f64,
    /// Mid-band, Hz.
    pub exact_hz: f64,
    pub loss_db: FigureAgain,
}

/// A figure measured twice.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct FigureAgain {
    /// Then.
    pub old: f64,
    /// Now.
    pub new: f64,
    /// Now less then.
    pub change: f64,
    /// Expanded uncertainty of the change, 95 %, for this figure alone.
    pub u95: f64,
    /// Whether the change is shown, all figures of the comparison looked at together.
    pub shown: bool,
}

/// What a change may come from; never more than one possibility among others.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Cause {
    /// More loss in the treble at most seats, and more flow resistance or none known: dust, paint,
    /// a second cloth.
    Clogged,
    /// Another gap: the sheet sags, or the loudspeaker was moved.
    GapMoved,
    /// Single seats changed, the others did not: the seat, the microphone, or a turned loudspeaker.
    SingleSeats,
    /// The same change in all bands: a gain that was touched between the conditions.
    Level,
    /// Something rattles that did not.
    Rattle,
    /// The gain of the sheet changed: dirt, age, another surface.
    Surface,
    /// The setting that is needed is another one.
    Setting,
}

/// A value with standard uncertainty and degrees of freedom.
type Known = (f64, f64, f64);

/// Holds the new measurement against the old one.
pub fn again(old: &StoredResult, new: &StoredResult, with_names: bool) -> Again {
    let common: Vec<[f64; 2]> = old
        .bands
        .iter()
        .filter(|b| new.bands.iter().any(|n| n.nominal_hz == b.nominal_hz))
        .map(|b| [b.nominal_hz, b.exact_hz])
        .collect();
    let ids: Vec<&str> = old
        .seats
        .iter()
        .map(|s| s.id.as_str())
        .filter(|id| new.seats.iter().any(|n| n.id == *id))
        .collect();
    let n_compared = (common.len() * ids.len()).max(1);
    let seats: Vec<SeatAgain> =
        ids.iter().filter_map(|id| seat(old, new, id, &common, n_compared)).collect();
    let mean = common.iter().filter_map(|&[nominal_hz, exact_hz]| {
        let of = |r: &StoredResult| {
            let b = r.at(nominal_hz)?;
            known(r.mean.loss_db[b]?, r.mean.u95_db[b]?, r.mean.dof[b]?)
        };
        let loss_db = hold(of(old)?, of(new)?, common.len())?;
        Some(BandAgain { nominal_hz, exact_hz, loss_db })
    });
    let once = |of: fn(&StoredResult) -> Option<Known>| hold(of(old)?, of(new)?, 1);
    let one_of = old.seats.iter().chain(&new.seats).map(|s| &s.id);
    let mut out = Again {
        titles: with_names.then(|| [old.title.clone(), new.title.clone()]),
        dates: [old.date.clone(), new.date.clone()],
        mean: mean.collect(),
        seats_of_one: one_of.filter(|id| !ids.contains(&id.as_str())).cloned().collect(),
        gap_mm: once(gap),
        sheet: parameters(old, new),
        trim_db: once(trim),
        filters: [filters(old), filters(new)],
        gain_on_axis: once(gain),
        new_rattle_hz: new_rattle(old, new),
        likely: Vec::new(),
        seats,
    };
    out.likely = causes(&out);
    out
}

fn known(value: f64, u95: f64, dof: f64) -> Option<Known> {
    Some((value, standard(u95, dof)?, dof))
}

fn seat<'a>(
    old: &'a StoredResult,
    new: &'a StoredResult,
    id: &str,
    common: &[[f64; 2]],
    n_compared: usize,
) -> Option<SeatAgain> {
    let find = |r: &'a StoredResult| r.seats.iter().find(|s| s.id == id);
    let (a, b) = (find(old)?, find(new)?);
    let bands = common.iter().filter_map(|&[nominal_hz, exact_hz]| {
        let of = |r: &StoredResult, s: &StoredSeat| {
            let b = r.at(nominal_hz)?;
            known(s.loss_db[b]?, s.u95_db[b]?, s.dof[b]?)
        };
        let loss_db = hold(of(old, a)?, of(new, b)?, n_compared)?;
        Some(BandAgain { nominal_hz, exact_hz, loss_db })
    });
    let moved_m = a
        .position_m
        .zip(b.position_m)
        .map(|(a, b)| a.iter().zip(b).map(|(x, y)| (x - y).powi(2)).sum::<f64>().sqrt());
    Some(SeatAgain { id: id.to_owned(), moved_m, bands: bands.collect() })
}

/// The difference of two figures, one of `n_compared` (Welch-Satterthwaite degrees of freedom).
fn hold(old: Known, new: Known, n_compared: usize) -> Option<FigureAgain> {
    let variance = old.1.powi(2) + new.1.powi(2);
    let fourth = old.1.powi(4) / old.2 + new.1.powi(4) / new.2;
    let dof = if fourth > 0.0 { variance.powi(2) / fourth } else { f64::MAX };
    let (u, change) = (variance.sqrt(), new.0 - old.0);
    let together = student_quantile(1.0 - 0.5 * FALSE_ALARM / n_compared as f64, dof)?;
    Some(FigureAgain {
        old: old.0,
        new: new.0,
        change,
        u95: student_quantile(0.975, dof)? * u,
        shown: change.abs() > together * u,
    })
}

fn gap(result: &StoredResult) -> Option<Known> {
    let found = result.sheet.as_ref()?.gap.found?;
    Some((1e3 * found.gap_m, 1e3 * found.u95_m / 2.0, 1e4))
}

fn trim(result: &StoredResult) -> Option<Known> {
    let c = result.correction.as_ref()?;
    Some((c.trim_db, c.trim_u95_db / 2.0, 1e4))
}

fn gain(result: &StoredResult) -> Option<Known> {
    let on_axis = gain_on_axis(result)?;
    Some((on_axis.value, on_axis.u, 1e4))
}

/// Parameters of the model that was best in the old measurement, where the new one fitted it too.
fn parameters<'a>(old: &'a StoredResult, new: &'a StoredResult) -> Vec<(Quantity, FigureAgain)> {
    let fits = |r: &'a StoredResult| r.sheet.iter().flat_map(|s| &s.evidence.fits);
    let Some(a) = fits(old).next() else { return Vec::new() };
    let Some(b) = fits(new).find(|f| f.kind == a.kind) else { return Vec::new() };
    let of = |p: &StoredParameter| Some((p.value?, (p.high? - p.low?) / 4.0, 1e4));
    let n = a.parameters.len();
    let pair = |p: &StoredParameter| {
        let q = b.parameters.iter().find(|q| q.quantity == p.quantity)?;
        Some((p.quantity, hold(of(p)?, of(q)?, n)?))
    };
    a.parameters.iter().filter_map(pair).collect()
}

fn filters(result: &StoredResult) -> Vec<String> {
    let sections = result.correction.iter().flat_map(|c| &c.sections);
    sections
        .map(|s| {
            let kind = s.kind.replace('_', " ");
            format!("{kind} {:.0} Hz, {:+.1} dB, Q {:.2}", s.frequency_hz, s.gain_db, s.q)
        })
        .collect()
}

fn new_rattle(old: &StoredResult, new: &StoredResult) -> Vec<[f64; 2]> {
    let is_new = |now: &&StoredRattle| {
        !old.rattle.iter().any(|then| now.low_hz <= then.high_hz && then.low_hz <= now.high_hz)
    };
    new.rattle.iter().filter(is_new).map(|r| [r.low_hz, r.high_hz]).collect()
}

/// What the changes may come from.
fn causes(again: &Again) -> Vec<Cause> {
    let n = again.seats.len();
    let changed = again.seats.iter().filter(|s| s.bands.iter().any(|b| b.loss_db.shown)).count();
    let more =
        |b: &&BandAgain| b.loss_db.shown && b.loss_db.change > 0.0 && b.nominal_hz >= TREBLE_HZ;
    let n_more = again.mean.iter().filter(more).count();
    let (low, high): (Vec<&BandAgain>, Vec<&BandAgain>) =
        again.mean.iter().partition(|b| b.nominal_hz < 500.0);
    let mean = |of: &[&BandAgain]| {
        of.iter().map(|b| b.loss_db.change).sum::<f64>() / of.len().max(1) as f64
    };
    let n_low = low.iter().filter(|b| b.loss_db.shown).count();
    let level = n_low * 2 > low.len() && (mean(&low) - mean(&high)).abs() < 0.3 * mean(&low).abs();
    let found = [
        (level, Cause::Level),
        (!level && n_more >= 3, Cause::Clogged),
        (again.gap_mm.is_some_and(|g| g.shown), Cause::GapMoved),
        (changed > 0 && 2 * changed <= n && n_more < 3, Cause::SingleSeats),
        (!again.new_rattle_hz.is_empty(), Cause::Rattle),
        (again.gain_on_axis.is_some_and(|g| g.shown), Cause::Surface),
        (again.trim_db.is_some_and(|t| t.shown), Cause::Setting),
    ];
    found.into_iter().filter(|(is_found, _)| *is_found).map(|(_, cause)| cause).collect()
}

#[cfg(test)]
#[path = "again/tests.rs"]
mod tests;
