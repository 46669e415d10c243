//! A simulated year of a designer: 40 jobs, six sheets, three of them with claims that are 1 to 3 dB
//! too good. Are the means over rooms true, are the three found and no other, does the choice for the
//! next room rank by truth?
//!
//! `cargo run --release --example year -- FOLDER [SEED]`: jobs that are there already are kept.

mod jobs;
mod pools;
mod rank;
mod years;

use pools::Pool;
use scrimcheck::chain;
use scrimcheck::ingest::session::Session;
use scrimcheck::jobs::collect::{Collected, Work, collect};
use scrimcheck::jobs::names::name_key;
use scrimcheck::jobs::sheets::{NameRules, sheets_over_jobs};
use scrimcheck::report::inputs::Inputs;
use scrimcheck::report::output::OutputFolder;
use scrimcheck::report::write::write_report;
use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::time::{Instant, SystemTime};

/// Bands that are judged, nominal Hz: those whose loss is that of the direct sound.
pub const JUDGED_HZ: [f64; 2] = [500.0, 16_000.0];

fn main() -> ExitCode {
    let args: Vec<String> = std::env::args().skip(1).collect();
    let Some(folder) = args.first().map(PathBuf::from) else {
        eprintln!("usage: year FOLDER [SEED]");
        return ExitCode::from(2);
    };
    let seed = args.get(1).and_then(|s| s.parse().ok()).unwrap_or(7001);
    match study(&folder, seed) {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => {
            eprintln!("{error}");
            ExitCode::from(4)
        }
    }
}

fn study(folder: &Path, seed: u64) -> Result<(), Box<dyn std::error::Error>> {
    let pools = pools::pools(seed);
    jobs::make(folder, seed, &pools)?;
    let first = timed("first look, everything analysed", folder);
    let second = timed("second look, nothing changed", folder);
    if second.jobs.iter().any(|j| j.redone.is_some()) {
        return Err("the second look analysed something again".into());
    }
    let over = sheets_over_jobs(&first.jobs, &NameRules::default())?;
    this_year(&over, &pools);
    years::many_years(&first.jobs, &pools, seed);
    rank::next_rooms(&first.jobs, seed);
    Ok(())
}

/// Collects with the time it takes.
fn timed(what: &str, folder: &Path) -> Collected {
    let started = Instant::now();
    let collected =
        collect(&[folder.to_owned()], &Work { analyze: &analyze, begin: &|_| (), tick: &|| () });
    let (n, s) = (collected.jobs.len(), started.elapsed().as_secs_f64());
    println!("{what}: {n} jobs in {s:.2} s");
    for note in collected.refused.iter().take(3) {
        println!("refused: {note:?}");
    }
    collected
}

fn analyze(folder: &Path) -> Result<(), String> {
    let opened = SystemTime::now();
    let work = || -> Result<(), Box<dyn std::error::Error>> {
        let session = Session::open(folder)?;
        let output = OutputFolder::open(&folder.join("report"), false)?;
        let inputs = Inputs::look(&session, opened).ok();
        let result = chain::analyze(&session, &|| ())?;
        write_report(&result, &session, inputs, output)?;
        Ok(())
    };
    work().map_err(|e| e.to_string())
}

/// The year itself: every sheet against the mean of all rooms.
fn this_year(over: &scrimcheck::jobs::sheets::SheetsOverJobs, pools: &[Pool]) {
    println!(
        "\n| sheet | rooms | mean loss, dB | truth, dB | bands held | measured less claimed, dB | truth, dB | said |"
    );
    println!("|---|---|---|---|---|---|---|---|");
    let (mut held, mut all) = (0, 0);
    for pool in pools {
        let Some(sheet) = over.sheets.iter().find(|s| name_key(&s.name) == name_key(pool.name))
        else {
            continue;
        };
        let inside = sheet.bands.iter().filter(|b| {
            let Some(truth) = pool.mean_at(b.nominal_hz) else { return false };
            b.loss_db.u95.is_some_and(|u| (b.loss_db.mean - truth).abs() <= u)
        });
        let judged = sheet.bands.iter().filter(|b| pool.mean_at(b.nominal_hz).is_some()).count();
        let inside = inside.count();
        held += inside;
        all += judged;
        let mean = sheet.mean_loss_db.expect("a mean");
        let (bias, said) = sheet.bias.as_ref().map_or((String::new(), "-"), |b| {
            let u = b.difference_db.u95.unwrap_or(f64::NAN);
            (
                format!("{:.2} +- {u:.2}", b.difference_db.mean),
                if b.too_good { "too good" } else { "-" },
            )
        });
        println!(
            "| {} | {} | {:.2} +- {:.2} | {:.2} | {inside} of {judged} | {bias} | {:.2} | {said} |",
            pool.name,
            sheet.rooms.len(),
            mean.mean,
            mean.u95.unwrap_or(f64::NAN),
            pool.mean_loss(),
            pool.off_db()
        );
    }
    println!(
        "\nBands held by their intervals this year: {held} of {all} ({:.1} %).",
        100.0 * held as f64 / all as f64
    );
}
