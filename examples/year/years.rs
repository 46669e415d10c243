//! Many years at the level of statistics: rooms drawn from the pools, errors as large as the real
//! analyses say they are.

use crate::pools::Pool;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};
use scrimcheck::jobs::collect::Job;
use scrimcheck::jobs::sheets::{NameRules, sheets_over_jobs};

/// Years drawn.
const YEARS: usize = 1000;

/// How often intervals hold, liars are found, and others accused.
pub fn many_years(jobs: &[Job], pools: &[Pool], seed: u64) {
    let mut rng = ChaCha8Rng::seed_from_u64(seed ^ 0x7EA5);
    let mut tally = Tally::default();
    for _ in 0..YEARS {
        let drawn: Vec<Job> = jobs.iter().map(|job| draw(job, pools, &mut rng)).collect();
        let over = sheets_over_jobs(&drawn, &NameRules::default()).expect("names of one spelling");
        for pool in pools {
            let Some(sheet) = over.sheets.iter().find(|s| s.name == pool.name) else { continue };
            for band in &sheet.bands {
                let Some(truth) = pool.mean_at(band.nominal_hz) else { continue };
                tally.bands += 1;
                tally.held += usize::from(
                    (band.loss_db.mean - truth).abs() <= band.loss_db.u95.unwrap_or(0.0),
                );
            }
            let mean = sheet.mean_loss_db.expect("a mean");
            tally.sheets += 1;
            tally.means_held +=
                usize::from((mean.mean - pool.mean_loss()).abs() <= mean.u95.unwrap_or(0.0));
            let Some(bias) = &sheet.bias else { continue };
            let truth = pool.off_db();
            tally.bias_held += usize::from(
                (bias.difference_db.mean - truth).abs() <= bias.difference_db.u95.unwrap_or(0.0),
            );
            if pool.too_good_db > 0.0 {
                tally.liars += 1;
                tally.found += usize::from(bias.too_good);
            } else {
                tally.honest += 1;
                tally.accused += usize::from(bias.too_good);
            }
        }
    }
    let percent = |a: usize, b: usize| 100.0 * a as f64 / b.max(1) as f64;
    println!("\n| over {YEARS} drawn years | share |\n|---|---|");
    println!(
        "| intervals of the mean in a band that hold the truth | {:.1} % |",
        percent(tally.held, tally.bands)
    );
    println!(
        "| intervals of the mean loss that hold the truth | {:.1} % |",
        percent(tally.means_held, tally.sheets)
    );
    println!(
        "| intervals of the bias that hold the truth | {:.1} % |",
        percent(tally.bias_held, tally.sheets)
    );
    println!("| claims too good by 1 to 3 dB found | {:.1} % |", percent(tally.found, tally.liars));
    println!(
        "| makers whose claims are true accused | {:.2} % |",
        percent(tally.accused, tally.honest)
    );
}

#[derive(Default)]
struct Tally {
    bands: usize,
    held: usize,
    sheets: usize,
    means_held: usize,
    bias_held: usize,
    liars: usize,
    found: usize,
    honest: usize,
    accused: usize,
}

/// The job with another room's truth, measured with an error as large as its own uncertainty.
fn draw(job: &Job, pools: &[Pool], rng: &mut ChaCha8Rng) -> Job {
    let mut job = job.clone();
    let name = scrimcheck::jobs::names::name_key(job.result.screen.name.as_deref().unwrap_or(""));
    let pool = pools
        .iter()
        .find(|p| scrimcheck::jobs::names::name_key(p.name) == name)
        .expect("a sheet of the year");
    job.result.screen.name = Some(pool.name.to_owned());
    let truth = &pool.rooms_db[rng.random_range(0..pool.rooms_db.len())];
    let mut normal = || -> f64 { StandardNormal.sample(rng) };
    // A part of the error is common to all bands, the rest is each band's own.
    let shared = normal();
    let result = &mut job.result;
    let mut errors = Vec::new();
    for (b, band) in result.bands.iter().enumerate() {
        let u = result.band(band.nominal_hz).map_or(0.0, |loss| loss.u);
        let error = u * (0.6f64.sqrt() * shared + 0.4f64.sqrt() * normal());
        errors.push(truth.get(b).map(|t| t + error));
    }
    for (loss, drawn) in result.mean.loss_db.iter_mut().zip(&errors) {
        *loss = loss.and(*drawn);
    }
    let at = |hz: f64| result.bands.iter().position(|b| b.nominal_hz == hz);
    let judged: Vec<f64> = result
        .bands
        .iter()
        .zip(&errors)
        .filter(|(b, _)| pool.mean_at(b.nominal_hz).is_some())
        .filter_map(|(_, e)| *e)
        .collect();
    let mean = judged.iter().sum::<f64>() / judged.len() as f64;
    let ten_khz = at(10_000.0).and_then(|b| errors[b]);
    for claim in &mut result.claims {
        match claim.quantity.as_str() {
            "average_loss" => claim.measured_db = Some(mean),
            "loss_at" => claim.measured_db = ten_khz,
            _ => {}
        }
    }
    job
}
