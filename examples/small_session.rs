//! Makes the small session that is kept under `sessions/`: `small_session DIR`.
//!
//! Three seats of the demo's invented room, two spots, a sweep of one second.

use scrimcheck::simulate::demo::demo_scenario;
use scrimcheck::simulate::{simulate, write};
use std::process::ExitCode;

fn main() -> ExitCode {
    let Some(dir) = std::env::args().nth(1) else {
        eprintln!("usage: small_session DIR");
        return ExitCode::from(2);
    };
    let mut scenario = demo_scenario();
    scenario.title = "Small session (simulated): three seats of an invented room".into();
    scenario.seats.truncate(3);
    scenario.sweep.duration_s = 1.0;
    scenario.sweep.fade_in_s = 0.02;
    scenario.lead_s = 0.15;
    scenario.trail_s = 0.45;
    if let Err(error) = write(&simulate(&scenario), std::path::Path::new(&dir)) {
        eprintln!("{error}");
        return ExitCode::from(4);
    }
    ExitCode::SUCCESS
}
