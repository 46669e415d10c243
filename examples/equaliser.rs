//! The equaliser setting against the true loss of whole simulated sessions.
//!
//! `cargo run --release --example equaliser -- [SESSIONS_PER_KIND] [FIRST_SEED]`
//!
//! Recordings are simulated and go through the chain; the setting is worked out from the
//! losses that come out and then held against the truth, which the chain does not see: shape
//! of the true loss over seats and bands (500 Hz to 16 kHz) about the level, before and after.

use rayon::prelude::*;
use scrimcheck::analysis::correction::fit_correction;
use scrimcheck::analysis::loss::losses;
use scrimcheck::ingest::manifest::CorrectionLimits;
use scrimcheck::simulate::memory::InMemory;
use scrimcheck::simulate::{Kind, Scenario, simulate};
use scrimcheck::transfer::measure::measure;

/// Bands in which the shape counts: 500 Hz to 16 kHz, as indices into the truth's.
const BANDS: std::ops::Range<usize> = 7..23;
/// The goal: so much shape, dB rms, or this part of what it was.
const GOAL_DB: f64 = 0.35;
const GOAL_PART: f64 = 0.35;

/// One session.
struct Outcome {
    seed: u64,
    gap_m: f64,
    before_db: f64,
    after_db: f64,
    /// Largest shape left at a seat, dB rms, and largest band, dB: what the tolerance is about.
    worst_seat_db: f64,
    worst_band_db: f64,
    n_filters: usize,
    claims_to_serve: bool,
    /// Whether it says that this is shown with the uncertainty counted in.
    shown: bool,
}

impl Outcome {
    fn reaches_goal(&self) -> bool {
        self.after_db <= GOAL_DB.max(GOAL_PART * self.before_db)
    }
}

fn main() -> Result<(), std::num::ParseIntError> {
    let mut args = std::env::args().skip(1);
    let count: u64 = args.next().map_or(Ok(40), |a| a.parse())?;
    let first: u64 = args.next().map_or(Ok(9001), |a| a.parse())?;
    let limits = CorrectionLimits::default();
    println!(
        "| kind | sessions | shape before | shape left, mean | goal reached | most filters | claimed \
         to serve | of these true | shown to serve | of these true |"
    );
    println!("|---|---|---|---|---|---|---|---|---|---|");
    let kinds = [
        ("woven", Kind::Woven),
        ("perforated", Kind::Perforated),
        ("heavy, 0.3 m away", Kind::HeavyLargeGap),
        ("one spot, hard room", Kind::OneSpotReflective),
    ];
    for (name, kind) in kinds {
        let all: Vec<Result<Outcome, String>> = (first..first + count)
            .into_par_iter()
            .map(|seed| outcome(kind, seed, &limits))
            .collect();
        all.iter()
            .filter_map(|o| o.as_ref().err())
            .for_each(|error| eprintln!("left out: {error}"));
        let all: Vec<Outcome> = all.into_iter().flatten().collect();
        let n = all.len() as f64;
        let mean = |of: fn(&Outcome) -> f64| all.iter().map(of).sum::<f64>() / n;
        let claimed: Vec<&Outcome> = all.iter().filter(|o| o.claims_to_serve).collect();
        let held = |o: &&&Outcome| {
            o.worst_seat_db <= limits.tolerance_rms_db
                && o.worst_band_db <= limits.tolerance_band_db
        };
        println!(
            "| {name} | {} | {:.2} dB | {:.2} dB | {} | {} | {} | {} | {} | {} |",
            all.len(),
            mean(|o| o.before_db),
            mean(|o| o.after_db),
            all.iter().filter(|o| o.reaches_goal()).count(),
            all.iter().map(|o| o.n_filters).max().unwrap_or(0),
            claimed.len(),
            claimed.iter().filter(held).count(),
            claimed.iter().filter(|o| o.shown).count(),
            claimed.iter().filter(|o| o.shown).filter(held).count(),
        );
        for o in all.iter().filter(|o| !o.reaches_goal()) {
            eprintln!(
                "{name} {}: gap {:.2} m, {:.2} -> {:.2} dB, {}",
                o.seed,
                o.gap_m,
                o.before_db,
                o.after_db,
                if o.claims_to_serve { "claimed" } else { "refused" }
            );
        }
        for o in claimed.iter().filter(|o| !held(o)) {
            eprintln!(
                "{name} {}: claimed, but a seat keeps {:.2} dB rms and a band {:.2} dB",
                o.seed, o.worst_seat_db, o.worst_band_db
            );
        }
    }
    Ok(())
}

fn outcome(kind: Kind, seed: u64, limits: &CorrectionLimits) -> Result<Outcome, String> {
    let told = |e: &dyn std::fmt::Display| format!("{kind:?} {seed}: {e}");
    let memory = InMemory::new(simulate(&Scenario::random(kind, seed))).map_err(|e| told(&e))?;
    let session = &memory.session;
    let gap_m = session.manifest.screen.gap_m;
    let transfers =
        measure(session, &|i| Ok(memory.recording(i)), gap_m, &|| ()).map_err(|e| told(&e))?;
    let (table, _) = losses(&session.manifest, &transfers, &transfers.seats);
    let correction = fit_correction(&table, limits).map_err(|e| told(&e))?;
    let truth = &memory.simulated.truth;
    let gains = correction.band_gains_db(&truth.bands);
    let rms =
        |values: &[f64]| (values.iter().map(|x| x * x).sum::<f64>() / values.len() as f64).sqrt();
    let shape = |seat: &Vec<f64>, with_filters: bool| -> Vec<f64> {
        let gain = |b: usize| if with_filters { gains[b] } else { 0.0 };
        BANDS.map(|b| seat[b] - correction.trim_db - gain(b)).collect()
    };
    let shapes = |filters: bool| -> Vec<Vec<f64>> {
        truth.seats.iter().map(|seat| shape(seat, filters)).collect()
    };
    let (before, after) = (shapes(false), shapes(true));
    Ok(Outcome {
        seed,
        gap_m: memory.simulated.scenario.gap_m,
        before_db: rms(&before.concat()),
        after_db: rms(&after.concat()),
        worst_seat_db: after.iter().map(|seat| rms(seat)).fold(0.0, f64::max),
        worst_band_db: after.concat().iter().fold(0.0, |worst, x| worst.max(x.abs())),
        n_filters: correction.sections.len(),
        claims_to_serve: correction.serves_all_seats,
        shown: correction.serves_all_seats && correction.shown,
    })
}
