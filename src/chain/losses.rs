//! What the screen takes away, and what goes with it: the level between the conditions, the gap and the
//! kind of loss.

use crate::analysis::budget::{Budget, Term};
use crate::analysis::control_step::{ControlLoss, ControlStep, measure_step, widen_by_step};
use crate::analysis::direct_from::DIRECT_FROM_HZ;
use crate::analysis::joint::{self, Joint};
use crate::analysis::loss::{LossTable, losses, losses_from, shows_loss};
use crate::analysis::sheet::air::Air;
use crate::analysis::sheet::finding::{SheetFinding, explain_loss};
use crate::analysis::sheet::gap::{GapEstimate, GapSearch, SeatRatio, estimate_gap};
use crate::ingest::manifest::Manifest;
use crate::transfer::measure::Transfers;

/// Losses, with what was found on the way to them.
pub struct Losses {
    /// Gain step between the conditions, where control takes show it.
    pub step: Option<ControlStep>,
    /// The gap that the takes tell of.
    pub gap: Option<GapEstimate>,
    /// Sheet and front.
    pub joint: Joint,
    /// The losses.
    pub table: LossTable,
    /// Their uncertainty, term by term.
    pub budget: Budget,
}

/// Losses of a session: first the level, since what a sheet throws back follows from what it
/// passes, then sheet and front together. Where no gap is stated, the one that the takes tell of
/// places the echoes; where no loss is shown nothing hangs there, and no gap is told.
pub fn losses_of(manifest: &Manifest, transfers: &mut Transfers) -> Losses {
    let step = control_step(manifest, transfers);
    if let Some(step) = &step {
        transfers.take_out_step(step.step_db);
    }
    let fitted = |transfers: &Transfers| {
        let joint = joint::fit(&transfers.plan, &transfers.seats);
        let (table, budget) = losses_from(manifest, transfers, &transfers.seats, &joint);
        (joint, table, budget)
    };
    let (mut joint, mut table, mut budget) = fitted(transfers);
    let shown = shows_loss(&table.bands, &table.mean.loss, DIRECT_FROM_HZ);
    let gap = if shown { find_gap(manifest, transfers) } else { None };
    if let Some(gap) = gap.filter(|_| manifest.screen.gap_m.is_none()) {
        transfers.place_gap(manifest, gap.gap_m);
        (joint, table, budget) = fitted(transfers);
    }
    // A seat that is left out has no figures, and no row of dashes either.
    table.seats.retain(|seat| transfers.seats.iter().any(|s| s.seat == seat.seat));
    if let Some(step) = &step {
        widen_by_step(&mut table, step);
        budget.add_to_all(Term::Level, step.u_db);
    }
    Losses { step, gap, joint, table, budget }
}

/// The gap that the ripple at the seats tells of.
pub fn find_gap(manifest: &Manifest, transfers: &Transfers) -> Option<GapEstimate> {
    let air = Air { speed_m_s: transfers.speed_m_s, ..Air::AT_20_C };
    let ratios: Vec<SeatRatio> = transfers
        .seats
        .iter()
        .map(|s| SeatRatio { ratio: s.ratio.clone(), cos_theta: manifest.seat_cosine(s.seat) })
        .collect();
    let top_hz = transfers.band_hz[1];
    let default = GapSearch::default();
    let search = GapSearch {
        band_hz: [default.band_hz[0], default.band_hz[1].min(0.9 * top_hz)],
        ..default
    };
    estimate_gap(&ratios, transfers.plan.ratio_step_hz(), &air, &search)
}

/// Kind of loss, from the mean loss and the gap.
pub fn explain(
    manifest: &Manifest,
    transfers: &Transfers,
    table: &LossTable,
    found: Option<&GapEstimate>,
) -> SheetFinding {
    let air = Air { speed_m_s: transfers.speed_m_s, ..Air::AT_20_C };
    let cosines: Vec<f64> = (0..manifest.seat.len())
        .filter(|&s| manifest.seat[s].position_m.is_some())
        .map(|s| manifest.seat_cosine(s))
        .collect();
    explain_loss(table, &manifest.screen, &cosines, found, &air)
}

/// The level step between the conditions, where control takes show it.
pub fn control_step(manifest: &Manifest, transfers: &Transfers) -> Option<ControlStep> {
    if transfers.control.is_empty() {
        return None;
    }
    let (table, _) = losses(manifest, transfers, &transfers.control);
    let control: Vec<ControlLoss> = table
        .seats
        .iter()
        .map(|seat| ControlLoss {
            seat: seat.id.clone(),
            loss_db: seat.loss.iter().map(|e| e.map(|e| e.value_db)).collect(),
        })
        .collect();
    measure_step(&table.bands, &control)
}
