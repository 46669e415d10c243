//! What the computing of the reference session costs above its floor, the bare reading
//! of the files and two real transforms a take, in the same program and on the same
//! threads: `cargo bench -p scrimcheck-benches --bench floor`. Also how time and memory
//! grow with the seats.
//!
//! The goal is a ratio of at most 2.5. With `-- quick` it only shows that it runs.

use rayon::prelude::*;
use realfft::RealFftPlanner;
use scrimcheck::analysis::correction::fit_correction;
use scrimcheck::analysis::loss::losses;
use scrimcheck::chain::{analyze, explain, find_gap};
use scrimcheck::ingest::session::Session;
use scrimcheck::ingest::wav::read_wav;
use scrimcheck::judge::TakeAnalyser;
use scrimcheck::report::csv::{bands_csv, curve_csv};
use scrimcheck::report::json::json_text;
use scrimcheck::report::plots::drawings;
use scrimcheck::report::plots::render::plot_files;
use scrimcheck::report::write::report_files;
use scrimcheck::transfer::deconvolve::fast_length;
use scrimcheck::transfer::measure::measure;
use scrimcheck_benches::{many_seats, reference};
use std::fs;
use std::hint::black_box;
use std::path::Path;
use std::time::Instant;

/// Reads every file of a take's sound, bytes alone.
fn read_bytes(session: &Session) {
    session.takes.par_iter().for_each(|take| {
        black_box(fs::read(session.root.join(&take.file)).expect("a take"));
    });
}

/// Reads every take and transforms it there and back, with one plan for all.
fn floor(session: &Session) {
    let n_samples = session.read_take(&session.takes[0]).expect("a take").mic.len();
    let mut planner = RealFftPlanner::<f64>::new();
    let n = fast_length(n_samples);
    let (forward, inverse) = (planner.plan_fft_forward(n), planner.plan_fft_inverse(n));
    session.takes.par_iter().for_each_init(
        || (vec![0.0; n], forward.make_output_vec(), inverse.make_scratch_vec()),
        |(time, spectrum, scratch), take| {
            let wav = read_wav(&session.root.join(&take.file), &[1]).expect("a take");
            let len = wav.channels[0].len().min(n);
            time[..len].copy_from_slice(&wav.channels[0][..len]);
            time[len..].fill(0.0);
            forward.process(time, spectrum).expect("lengths of one plan");
            spectrum[0].im = 0.0;
            spectrum[n / 2].im = 0.0;
            inverse.process_with_scratch(spectrum, time, scratch).expect("lengths of one plan");
            black_box(&time);
        },
    );
}

/// The main job as one run: the folder opened, everything computed, and the loss written down:
/// `result.json`, both tables, and the plots of loss, spread and levels (SVG, PNG in two sizes).
fn main_job(folder: &Path, out: &Path) {
    let session = Session::open(folder).expect("the session");
    let result = analyze(&session, &|| ()).expect("a session that can be analysed");
    let mut plots = drawings(&result, session.manifest.handover.units);
    plots.retain(|plot| ["loss", "spread", "levels"].contains(&plot.id));
    assert_eq!(plots.len(), 3);
    fs::create_dir_all(out.join("plots")).expect("a folder");
    for (name, text) in [
        ("result.json", json_text(&result)),
        ("bands.csv", bands_csv(&result)),
        ("curve.csv", curve_csv(&result)),
    ] {
        fs::write(out.join(name), text.expect("finite figures")).expect("a file");
    }
    for (name, bytes) in plot_files(&plots).expect("pictures") {
        fs::write(out.join(name), bytes).expect("a file");
    }
}

/// Name of the row that the others are held against.
const FLOOR: &str = "floor: decoded, two transforms";

/// Time that this program's threads have spent computing, ms, where the system tells it:
/// unlike the clock it hardly minds what else the machine does.
fn computed_ms() -> Option<f64> {
    let mut ns = 0.0;
    for thread in fs::read_dir("/proc/self/task").ok()? {
        let text = fs::read_to_string(thread.ok()?.path().join("schedstat")).ok()?;
        ns += text.split_whitespace().next()?.parse::<f64>().ok()?;
    }
    Some(ns / 1e6)
}

/// Medians over some runs.
#[derive(Clone, Copy)]
struct Cost {
    /// By the clock, ms.
    wall_ms: f64,
    /// Over all threads, ms; by the clock where it is not known.
    cpu_ms: f64,
}

/// Costs of some works, one after another, round after round: what else the machine does
/// falls on all of them alike.
fn costs<const N: usize>(
    runs: usize,
    mut works: [(&'static str, &mut dyn FnMut()); N],
) -> [(&'static str, Cost); N] {
    let mut times: [Vec<(f64, f64)>; N] = std::array::from_fn(|_| Vec::with_capacity(runs));
    for _ in 0..runs {
        for ((_, work), times) in works.iter_mut().zip(&mut times) {
            let (clock, before_ms) = (Instant::now(), computed_ms());
            work();
            let wall_ms = 1000.0 * clock.elapsed().as_secs_f64();
            let cpu_ms = before_ms.zip(computed_ms()).map_or(wall_ms, |(b, a)| a - b);
            times.push((wall_ms, cpu_ms));
        }
    }
    std::array::from_fn(|i| {
        let times = &mut times[i];
        times.sort_by(|a, b| a.0.total_cmp(&b.0));
        let wall_ms = times[runs / 2].0;
        times.sort_by(|a, b| a.1.total_cmp(&b.1));
        (works[i].0, Cost { wall_ms, cpu_ms: times[runs / 2].1 })
    })
}

fn cost(runs: usize, mut work: impl FnMut()) -> Cost {
    let [(_, cost)] = costs(runs, [("", &mut work)]);
    cost
}

/// Most memory that this program has held so far, MB, where the system tells it.
fn peak_mb() -> Option<f64> {
    let status = fs::read_to_string("/proc/self/status").ok()?;
    let line = status.lines().find_map(|l| l.strip_prefix("VmHWM:"))?;
    let kib: f64 = line.split_whitespace().next()?.parse().ok()?;
    Some(kib * 1024.0 / 1e6)
}

/// Forgets the peak; the system may not allow it, then later peaks include earlier ones.
fn forget_peak() {
    let _ = fs::write("/proc/self/clear_refs", "5");
}

fn main() {
    let quick = std::env::args().any(|a| a == "quick" || a == "--test");
    let runs = if quick { 1 } else { 21 };
    let (_home, session) = reference();
    println!("{} threads, {} takes", rayon::current_num_threads(), session.takes.len());

    let analyser = TakeAnalyser::new(&session.sweep);
    let read = |take: usize| session.read_take(&session.takes[take]);
    let measured =
        || measure(&session, &read, session.manifest.screen.gap_m, &|| ()).expect("takes");
    let transfers = measured();
    let explained = measured();
    let (table, _) = losses(&session.manifest, &transfers, &transfers.seats);
    let analysed = || analyze(&session, &|| ()).expect("a session that can be analysed");
    let result = analysed();
    let out = tempfile::tempdir().expect("a temporary folder");
    forget_peak();
    let costs = costs(
        runs,
        [
            ("bytes of the files alone", &mut || read_bytes(&session)),
            (FLOOR, &mut || floor(&session)),
            ("takes to transmissions", &mut || {
                black_box(measured());
            }),
            ("takes read and judged", &mut || {
                session.takes.par_iter().for_each(|take| {
                    black_box(analyser.facts(&session.read_take(take).expect("a take")));
                });
            }),
            ("echoes, losses, uncertainty", &mut || {
                black_box(losses(&session.manifest, &transfers, &transfers.seats));
            }),
            ("kind of loss and gap", &mut || {
                let gap = find_gap(&session.manifest, &explained);
                black_box(explain(&session.manifest, &explained, &table, gap.as_ref()));
            }),
            ("equaliser", &mut || {
                let limits = &session.manifest.correction;
                black_box(fit_correction(&table, limits).expect("a setting"));
            }),
            ("computing, all of it", &mut || {
                black_box(analysed());
            }),
            ("every file of the report", &mut || {
                black_box(report_files(&result, &session).expect("a report"));
            }),
            ("main job: folder to loss, plotted", &mut || main_job(&session.root, out.path())),
        ],
    );
    println!("                                     clock, ms   all threads, ms   over the floor");
    let of_floor = costs.iter().find(|(what, _)| *what == FLOOR).map_or(f64::NAN, |c| c.1.cpu_ms);
    for (what, Cost { wall_ms, cpu_ms }) in costs {
        let ratio = cpu_ms / of_floor;
        println!("{what:34} {wall_ms:11.1} {cpu_ms:17.1} {ratio:16.2}");
    }
    if let Some(mb) = peak_mb() {
        println!("most memory, session and report: {mb:.0} MB");
    }

    println!("\nseats  takes  clock, ms  all threads, ms  ms a take  most memory, MB");
    for n_seats in if quick { vec![2] } else { vec![50, 100, 200] } {
        let (_many, session) = many_seats(&session, n_seats);
        forget_peak();
        let cost = cost(if quick { 1 } else { 3 }, || {
            black_box(analyze(&session, &|| ()).expect("a session that can be analysed"));
        });
        let takes = session.takes.len();
        let a_take = cost.cpu_ms / takes as f64;
        let mb = peak_mb().map_or_else(|| "?".into(), |mb| format!("{mb:.0}"));
        println!(
            "{n_seats:5}  {takes:5}  {:9.0}  {:15.0}  {a_take:9.2}  {mb:>15}",
            cost.wall_ms, cost.cpu_ms
        );
    }
}
