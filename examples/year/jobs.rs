//! The 40 session folders.

use crate::pools::{Pool, room};
use scrimcheck::simulate::{simulate, write};
use std::fmt::Write as _;
use std::path::Path;

/// Jobs of the year.
const JOBS: u64 = 40;

/// Writes the jobs that are not there yet. Titles name invented clients.
pub fn make(folder: &Path, seed: u64, pools: &[Pool]) -> Result<(), Box<dyn std::error::Error>> {
    for i in 0..JOBS {
        let place = folder.join(format!("job-{:02}", i + 1));
        if place.join("session.toml").is_file() {
            continue;
        }
        let pool = &pools[(i % pools.len() as u64) as usize];
        let mut scenario = room(pool.number, seed + i);
        scenario.title = format!("Invented client {} (simulated)", i + 1);
        scenario.session_lines = format!("date = 2026-{:02}-{:02}", 1 + i / 4, 1 + 7 * (i % 4));
        // Spelled in three ways that all mean the same.
        let name = match (i / 6) % 3 {
            0 => pool.name.to_owned(),
            1 => pool.name.to_uppercase(),
            _ => format!(" {} ", pool.name.replace(' ', "  ")),
        };
        scenario.screen_lines = format!(
            "name = \"{name}\"\nwidth_m = 2.9\nheight_m = 1.63\n{} = {}",
            if pool.name.contains("film") { "hole_pitch_mm" } else { "weave_pitch_mm" },
            pool.structure_mm
        );
        scenario.more_manifest = claims(pool);
        scenario.more_files = vec![("readings.csv".into(), readings(pool, i))];
        write(&simulate(&scenario), &place)?;
    }
    Ok(())
}

/// What the maker says: the truth over all rooms, less what he claims too much.
fn claims(pool: &Pool) -> String {
    let mut text = String::new();
    let [mean, ten_khz] = pool.claimed_db();
    let figures =
        [("average_loss", "band_hz = [500, 16000]", mean), ("loss_at", "at_hz = 10000", ten_khz)];
    for (quantity, key, limit) in figures {
        // Writing to a String cannot fail.
        let _ = writeln!(
            text,
            "[[claim]]\nquantity = \"{quantity}\"\n{key}\nlimit_db = {limit:.2}\nsource = \"invented data \
             sheet\"\n"
        );
    }
    text + "[picture]\nmeter_uncertainty_percent = 2.0\nprojector_lm = 1800.0\n\n[speaker]\npower_w = \
            40.0\namplifier_w = 250.0\ndriver_limit_w = 30.0\ndriver_band_hz = [2000, 20000]\n"
}

fn readings(pool: &Pool, job: u64) -> String {
    // A meter's error of one percent or so, the same every time the study runs.
    let off = 1.0 + 0.01 * ((job * 37 % 11) as f64 / 5.0 - 1.0);
    let white = 50.0;
    let at = |ratio: f64| white * pool.gain * off * ratio;
    format!(
        "point,angle_deg,screen_cd_m2,reference_cd_m2\ncentre,0,{:.2},{white}\ncentre,15,{:.2},{white}\n\
         centre,30,{:.2},{white}\n",
        at(1.0),
        at(0.97),
        at(0.88)
    )
}
