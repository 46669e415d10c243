//! Every judged fault at its stated size and at half of it, and false alarms on clean takes,
//! all on simulated sessions.
//!
//! `cargo run --release --example fault_table [SESSIONS [WORDS [SIZE ...]]]`
//!
//! Prints the table of `examples/measured/faults.md`. The default of 20 sessions of 12 takes makes 240
//! clean takes. A fault counts as found when its own topic is named at the take (or for the
//! session) that carries it. With WORDS only the faults whose name holds them are tried, with
//! sizes at those sizes: for finding out where a fault begins to be seen.

mod amplitude;
mod clean;
mod comparison;
mod completeness;
mod conditions;
mod disturbance;
mod fault;

use clean::{Clean, made, scenario};
use fault::Fault;
use rayon::prelude::*;
use scrimcheck::analysis::rough_level::rough_level;

fn main() {
    let args: Vec<String> = std::env::args().skip(1).collect();
    let n: u64 = args.first().and_then(|n| n.parse().ok()).unwrap_or(20);
    let sessions: Vec<Clean> = (0..n).into_par_iter().map(|i| made(&scenario(i))).collect();
    let words = args.get(1).map_or("", String::as_str);
    let sizes: Vec<f64> = args.iter().skip(2).filter_map(|size| size.parse().ok()).collect();
    if words.is_empty() {
        false_alarms("sweep of 5 s", &sessions);
        for duration_s in [1.0, 2.0] {
            let short = |i: u64| made(&scenario(1000 + i).shortened(duration_s, 0.4));
            let short: Vec<Clean> = (0..n).into_par_iter().map(short).collect();
            false_alarms(&format!("sweep of {duration_s} s"), &short);
        }
    }
    let mut faults: Vec<Fault> = amplitude::faults();
    faults.extend(completeness::faults());
    faults.extend(disturbance::faults());
    faults.extend(comparison::faults());
    faults.extend(conditions::faults());
    println!("\n| fault | size | found | half | found at half |");
    println!("|---|---|---|---|---|");
    for fault in faults.iter().filter(|fault| fault.name.contains(words)) {
        if sizes.is_empty() {
            let [size, half] = fault.sizes;
            let (found, found_half) = (fault.hits(&sessions, size), fault.hits(&sessions, half));
            let Fault { name, unit, .. } = fault;
            println!(
                "| {name} | {size} {unit} | {found} of {n} | {half} {unit} | {found_half} of {n} |"
            );
        }
        for size in &sizes {
            println!(
                "{}: {size} {}: {} of {n}",
                fault.name,
                fault.unit,
                fault.hits(&sessions, *size)
            );
        }
    }
}

/// Findings on takes and sessions in which nothing is wrong.
fn false_alarms(what: &str, sessions: &[Clean]) {
    let (mut takes, mut alarms, mut about_sessions) = (0, 0, 0);
    for clean in sessions {
        let judged = clean.judged_with_drift();
        takes += judged.takes.len();
        for take in &judged.takes {
            alarms += usize::from(!take.findings.is_empty());
            for finding in &take.findings {
                eprintln!("false alarm: {}: {:?} {}", take.file, finding.topic, finding.message);
            }
        }
        let level = rough_level(&clean.session, &clean.reads_with(Vec::new()), &judged);
        let level = level.map_or_else(Vec::new, |level| level.doubts);
        for doubt in &level {
            eprintln!("false alarm (level): {doubt:?}");
        }
        about_sessions += usize::from(!judged.session.is_empty() || !level.is_empty());
        for finding in &judged.session {
            eprintln!("false alarm (session): {:?} {}", finding.topic, finding.message);
        }
    }
    println!(
        "Clean, {what}: {takes} takes, {alarms} with a finding ({:.2} %); {} sessions, \
         {about_sessions} with a finding.",
        100.0 * alarms as f64 / takes as f64,
        sessions.len()
    );
}
