//! Trueness and coverage of the loss over sessions with known truth: simulated ones, and measured
//! rooms with simulated sheets in them.
//!
//! `cargo run --release --example accuracy -- [SESSIONS_PER_KIND] [FIRST_SEED] [KIND,KIND,...] [DUMP.csv]`
//!
//! Prints one line per kind of session (`kinds`): rms error of the third-octave loss from 500 Hz
//! to 16 kHz at the seats and of their mean, the worst session, the part of the truths that lie
//! within U at the seats and in the mean (all bands), the session with the smallest part, and the
//! median U. With a fourth argument each value is written with its budget, for calibration.

mod kinds;

use kinds::{Group, all_kinds};
use rayon::prelude::*;
use scrimcheck::analysis::budget::{Combined, Term};
use scrimcheck::analysis::estimate::Estimate;
use scrimcheck::chain::{Losses, losses_of};
use scrimcheck::simulate::memory::InMemory;
use scrimcheck::simulate::{Scenario, simulate};
use scrimcheck::transfer::measure::measure;
use std::io::Write;

/// One figure against its truth.
struct Row {
    seed: u64,
    seat: Option<usize>,
    band: usize,
    error_db: f64,
    direct_error_db: f64,
    estimate: Estimate,
    terms: Combined,
}

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let args: Vec<String> = std::env::args().skip(1).collect();
    let count: u64 = args.first().map_or(Ok(20), |a| a.parse())?;
    let first: u64 = args.get(1).map_or(Ok(1), |a| a.parse())?;
    let wanted = args.get(2).cloned().unwrap_or_default();
    let mut dump = args.get(3).map(std::fs::File::create).transpose()?;
    if let Some(file) = &mut dump {
        writeln!(file, "kind,seed,seat,band,error_db,direct_error_db,u_db,dof,u95_db,terms")?;
    }
    println!(
        "{:38}{:>5}{:>10}{:>10}{:>10}{:>10}{:>9}{:>9}{:>9}{:>9}{:>9}",
        "kind",
        "n",
        "rms seat",
        "rms mean",
        "rms low",
        "worst",
        "in U",
        "in U mn",
        "least",
        "med U",
        "med U mn"
    );
    let mut all: Vec<Row> = Vec::new();
    let mut of_group: Option<Group> = None;
    for kind in all_kinds()? {
        let name = &kind.name;
        if !wanted.is_empty() && !wanted.split(',').any(|w| w == name) {
            continue;
        }
        if of_group.is_some_and(|group| group != kind.group) {
            report("all of these", &all);
            println!();
            all.clear();
        }
        of_group = Some(kind.group);
        let rows: Vec<Row> = (first..first + count)
            .into_par_iter()
            .map(|seed| study(name, seed, &(kind.scenario)(seed)))
            .collect::<Result<Vec<_>, _>>()?
            .into_iter()
            .flatten()
            .collect();
        report(name, &rows);
        if let Some(file) = &mut dump {
            for row in &rows {
                write_row(file, name, row)?;
            }
        }
        all.extend(rows);
    }
    report("all of these", &all);
    Ok(())
}

/// A session's figures against its truth.
fn study(name: &str, seed: u64, scenario: &Scenario) -> Result<Vec<Row>, String> {
    let memory = InMemory::new(simulate(scenario)).map_err(|e| format!("{name} {seed}: {e}"))?;
    let session = &memory.session;
    let gap_m = session.manifest.screen.gap_m;
    let mut transfers = measure(session, &|i| Ok(memory.recording(i)), gap_m, &|| ())
        .map_err(|e| format!("{name} {seed}: {e}"))?;
    let Losses { table, budget, .. } = losses_of(&session.manifest, &mut transfers);
    let truth = &memory.simulated.truth;
    // Below 500 Hz the headline is the loss in the room, and so is what it is held against.
    let true_db = |at: usize, band: usize| {
        if band < FROM_500_HZ { truth.in_room_seats[at][band] } else { truth.seats[at][band] }
    };
    let mut rows = Vec::new();
    for band in 0..table.bands.len() {
        for (at, seat) in table.seats.iter().enumerate() {
            if let Some(estimate) = seat.loss[band] {
                rows.push(Row {
                    seed,
                    seat: Some(at),
                    band,
                    error_db: estimate.value_db - true_db(at, band),
                    direct_error_db: estimate.value_db - truth.seats[at][band],
                    estimate,
                    terms: budget.seat(at, band).clone(),
                });
            }
        }
        if let Some(estimate) = table.mean.loss[band] {
            rows.push(Row {
                seed,
                seat: None,
                band,
                error_db: estimate.value_db
                    - (0..table.seats.len()).map(|at| true_db(at, band)).sum::<f64>()
                        / table.seats.len() as f64,
                direct_error_db: estimate.value_db - truth.mean[band],
                estimate,
                terms: budget.mean(&(0..table.seats.len()).collect::<Vec<_>>(), band),
            });
        }
    }
    Ok(rows)
}

/// First band of the direct figures: 500 Hz.
const FROM_500_HZ: usize = 7;

fn report(name: &str, rows: &[Row]) {
    let select = |seats: bool, high: Option<bool>| -> Vec<&Row> {
        rows.iter()
            .filter(|r| r.seat.is_some() == seats)
            .filter(|r| high.is_none_or(|h| (r.band >= FROM_500_HZ) == h))
            .collect()
    };
    let rms = |rows: &[&Row]| {
        (rows.iter().map(|r| r.error_db.powi(2)).sum::<f64>() / rows.len() as f64).sqrt()
    };
    let inside = |rows: &[&Row]| {
        let n = rows.iter().filter(|r| r.error_db.abs() <= r.estimate.u95_db).count();
        100.0 * n as f64 / rows.len() as f64
    };
    let median = |rows: &[&Row]| {
        let mut u: Vec<f64> = rows.iter().map(|r| r.estimate.u95_db).collect();
        u.sort_by(f64::total_cmp);
        u.get(u.len() / 2).copied().unwrap_or(f64::NAN)
    };
    let mut seeds: Vec<u64> = rows.iter().map(|r| r.seed).collect();
    seeds.sort_unstable();
    seeds.dedup();
    let of_session = |high: Option<bool>, seed: u64| -> Vec<&Row> {
        select(true, high).into_iter().filter(|r| r.seed == seed).collect()
    };
    let worst = seeds.iter().map(|s| rms(&of_session(Some(true), *s))).fold(0.0, f64::max);
    let least = seeds.iter().map(|s| inside(&of_session(None, *s))).fold(100.0, f64::min);
    println!(
        "{name:38}{:>5}{:>10.4}{:>10.4}{:>10.4}{worst:>10.4}{:>9.1}{:>9.1}{least:>9.0}{:>9.3}{:>9.3}",
        seeds.len(),
        rms(&select(true, Some(true))),
        rms(&select(false, Some(true))),
        rms(&select(true, Some(false))),
        inside(&select(true, None)),
        inside(&select(false, None)),
        median(&select(true, Some(true))),
        median(&select(false, Some(true))),
    );
}

fn write_row(file: &mut std::fs::File, name: &str, row: &Row) -> std::io::Result<()> {
    let seat = row.seat.map_or("mean".into(), |s| s.to_string());
    let terms: Vec<String> = row
        .terms
        .terms
        .iter()
        .map(|t| format!("{}{}={:.6}", term_name(t.term), if t.common { "*" } else { "" }, t.u_db))
        .collect();
    let e = row.estimate;
    writeln!(
        file,
        "{name},{},{seat},{},{:.6},{:.6},{:.6},{:.3},{:.6},{}",
        row.seed,
        row.band,
        row.error_db,
        row.direct_error_db,
        e.u_db,
        e.dof,
        e.u95_db,
        terms.join(" ")
    )
}

fn term_name(term: Term) -> String {
    format!("{term:?}").to_lowercase()
}
