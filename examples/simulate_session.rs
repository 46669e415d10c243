//! Makes a simulated session folder: `simulate_session KIND SEED DIR`.
//!
//! The truth goes into `DIR/truth.csv`: nominal and exact band frequency, then the loss of
//! every seat and the mean, dB.

use scrimcheck::simulate::{Kind, Scenario, simulate, write};
use std::fmt::Write as _;
use std::path::Path;
use std::process::ExitCode;

fn main() -> ExitCode {
    let args: Vec<String> = std::env::args().skip(1).collect();
    let [kind, seed, dir] = args.as_slice() else {
        eprintln!("usage: simulate_session KIND SEED DIR");
        return ExitCode::from(2);
    };
    let (Some(kind), Ok(seed)) = (Kind::from_name(kind), seed.parse()) else {
        let names: Vec<String> = Kind::all().map(|(_, name)| name).collect();
        eprintln!("KIND is one of {}; SEED is a whole number", names.join(", "));
        return ExitCode::from(2);
    };
    let session = simulate(&Scenario::random(kind, seed));
    let dir = Path::new(dir);
    if let Err(error) = write(&session, dir) {
        eprintln!("{error}");
        return ExitCode::from(4);
    }
    let mut table = String::from("nominal_hz,exact_hz");
    for seat in &session.scenario.seats {
        let _ = write!(table, ",{}", seat.id);
    }
    table.push_str(",mean\n");
    for (b, band) in session.truth.bands.iter().enumerate() {
        let _ = write!(table, "{},{:.3}", band.nominal_hz(), band.exact_hz());
        for seat in &session.truth.seats {
            let _ = write!(table, ",{:.5}", seat[b]);
        }
        let _ = writeln!(table, ",{:.5}", session.truth.mean[b]);
    }
    if let Err(error) = std::fs::write(dir.join("truth.csv"), table) {
        eprintln!("{}: {error}", dir.join("truth.csv").display());
        return ExitCode::from(4);
    }
    ExitCode::SUCCESS
}
