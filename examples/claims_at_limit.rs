//! Claims whose truth lies exactly at their limit: how often they are passed all the same.
//!
//! `cargo run --release --example claims_at_limit -- [SESSIONS_PER_KIND] [FIRST_SEED]`
//!
//! Whole simulated sessions go through the chain up to the losses; then each claim gets the
//! truth of its session as its limit. A pass says "shown to lie inside", so that a pass here is
//! a false one: at most 5 % may be. The last column has the limit 0.5 dB above the truth and
//! shows that the rule is not simply deaf.

use rayon::prelude::*;
use scrimcheck::analysis::claims::{Verdict, judge_claims};
use scrimcheck::analysis::open_level::OpenLevel;
use scrimcheck::analysis::open_level::shared_level;
use scrimcheck::chain::{Losses, losses_of};
use scrimcheck::ingest::manifest::{Claim, ClaimQuantity, ClaimScope, CurvePoint};
use scrimcheck::simulate::memory::InMemory;
use scrimcheck::simulate::{Kind, Scenario, Truth, simulate};
use scrimcheck::transfer::measure::measure;
use std::collections::BTreeMap;

/// Bands of the claims: 500 Hz to 16 kHz, as indices into the bands of the truth.
const BANDS: std::ops::Range<usize> = 7..23;

/// Passes with the limit at the truth and 0.5 dB above it.
#[derive(Default, Clone, Copy)]
struct Count {
    claims: u32,
    passes: u32,
    passes_above: u32,
}

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let mut args = std::env::args().skip(1);
    let count: u64 = args.next().map_or(Ok(20), |a| a.parse())?;
    let first: u64 = args.next().map_or(Ok(2001), |a| a.parse())?;
    let mut all: BTreeMap<&'static str, Count> = BTreeMap::new();
    let mut n_sessions = 0;
    for (kind, _) in Kind::all() {
        // Without control takes a gain step cannot be told from loss.
        if kind == Kind::GainStep {
            continue;
        }
        let counted: Vec<Vec<(&'static str, Count)>> = (first..first + count)
            .into_par_iter()
            .map(|s| study(kind, s))
            .collect::<Result<_, _>>()?;
        n_sessions += counted.len();
        for (name, new) in counted.into_iter().flatten() {
            let sum = all.entry(name).or_default();
            sum.claims += new.claims;
            sum.passes += new.passes;
            sum.passes_above += new.passes_above;
        }
    }
    println!("{n_sessions} sessions\n");
    println!("| claim | claims | passed with the truth at the limit | passed 0.5 dB inside |");
    println!("|---|---|---|---|");
    for (name, c) in all {
        let percent = |n: u32| 100.0 * f64::from(n) / f64::from(c.claims);
        println!(
            "| {name} | {} | {:.1} % | {:.0} % |",
            c.claims,
            percent(c.passes),
            percent(c.passes_above)
        );
    }
    Ok(())
}

fn study(kind: Kind, seed: u64) -> Result<Vec<(&'static str, Count)>, String> {
    let memory = InMemory::new(simulate(&Scenario::random(kind, seed)))
        .map_err(|e| format!("{kind:?} {seed}: {e}"))?;
    let session = &memory.session;
    let gap_m = session.manifest.screen.gap_m;
    let mut transfers = measure(session, &|i| Ok(memory.recording(i)), gap_m, &|| ())
        .map_err(|e| format!("{kind:?} {seed}: {e}"))?;
    let Losses { step, table, .. } = losses_of(&session.manifest, &mut transfers);
    let passed = |above_db: f64| -> Vec<(&'static str, bool)> {
        let named = claims(&memory.simulated.truth, above_db);
        let (names, claims): (Vec<_>, Vec<_>) = named.into_iter().unzip();
        let verdicts =
            judge_claims(&claims, &table, shared_level(step.as_ref(), OpenLevel::Controlled));
        names.into_iter().zip(verdicts.iter().map(|v| v.verdict == Verdict::Pass)).collect()
    };
    let at_limit = passed(0.0).into_iter();
    Ok(at_limit
        .zip(passed(0.5))
        .map(|((name, at), (_, above))| {
            (name, Count { claims: 1, passes: at.into(), passes_above: above.into() })
        })
        .collect())
}

/// Claims whose limits lie `above_db` above the truth of the session.
fn claims(truth: &Truth, above_db: f64) -> Vec<(&'static str, Claim)> {
    let n_seats = truth.seats.len() as f64;
    let mean: Vec<f64> = (0..truth.bands.len())
        .map(|b| truth.seats.iter().map(|seat| seat[b]).sum::<f64>() / n_seats)
        .collect();
    let largest = |values: &mut dyn Iterator<Item = f64>| values.fold(f64::NEG_INFINITY, f64::max);
    let hz = |band: usize| truth.bands[band].nominal_hz();
    let claim = |quantity, limit_db: f64| Claim {
        quantity,
        band_hz: None,
        limit_db: Some(limit_db + above_db),
        at_hz: None,
        reference_hz: None,
        points: None,
        tolerance_db: None,
        minimum: None,
        maximum: None,
        angle_deg: None,
        scope: ClaimScope::Mean,
        source: None,
    };
    let over_range = |quantity, limit_db| Claim {
        band_hz: Some([hz(BANDS.start), hz(BANDS.end - 1)]),
        ..claim(quantity, limit_db)
    };
    let mut all = Vec::new();
    for band in BANDS {
        let at_hz = Some(hz(band));
        all.push(("loss_at", Claim { at_hz, ..claim(ClaimQuantity::LossAt, mean[band]) }));
    }
    let average = mean[BANDS].iter().sum::<f64>() / BANDS.len() as f64;
    all.push(("average_loss", over_range(ClaimQuantity::AverageLoss, average)));
    let highest = largest(&mut mean[BANDS].iter().copied());
    all.push(("maximum_loss, mean", over_range(ClaimQuantity::MaximumLoss, highest)));
    let highest = largest(&mut truth.seats.iter().flat_map(|seat| seat[BANDS].iter().copied()));
    let every_seat = over_range(ClaimQuantity::MaximumLoss, highest);
    all.push(("maximum_loss, every seat", Claim { scope: ClaimScope::EverySeat, ..every_seat }));
    // 6.3 kHz against 500 Hz.
    let (at, reference) = (18, 7);
    let relative = claim(ClaimQuantity::RelativeLoss, mean[at] - mean[reference]);
    all.push((
        "relative_loss",
        Claim { at_hz: Some(hz(at)), reference_hz: Some(hz(reference)), ..relative },
    ));
    // All points at the upper end of a tolerance of 1 dB.
    let points = BANDS.map(|b| CurvePoint { hz: hz(b), loss_db: mean[b] - 1.0 + above_db });
    let curve = claim(ClaimQuantity::LossCurve, 0.0);
    all.push((
        "loss_curve",
        Claim { points: Some(points.collect()), tolerance_db: Some(1.0), limit_db: None, ..curve },
    ));
    let spread = largest(&mut BANDS.map(|b| {
        let of = |f: fn(f64, f64) -> f64, start| truth.seats.iter().map(|s| s[b]).fold(start, f);
        of(f64::max, f64::NEG_INFINITY) - of(f64::min, f64::INFINITY)
    }));
    all.push(("seat_spread", over_range(ClaimQuantity::SeatSpread, spread)));
    all
}
