//! `scrimcheck sweep OUT.wav`: just the test signal.

use super::args::SweepArgs;
use super::failure::Failure;
use super::{settings, terminal};
use crate::ingest::error::{IngestError, shown};
use crate::ingest::sweep::generate;
use crate::ingest::wav::write_wav_24;
use crate::report::output::write_one_file;
use std::process::ExitCode;

/// Writes the sweep and says what to put into `session.toml`.
///
/// # Errors
/// [`Failure::Usage`] for a sweep that cannot be made, [`Failure::Job`] when
/// the file is already there or cannot be written.
pub fn run(args: &SweepArgs) -> Result<ExitCode, Failure> {
    let params = settings::sweep_params(&args.sweep)?;
    let samples = generate(&params).map_err(IngestError::from)?;
    write_one_file(&args.out, args.force, |path| {
        write_wav_24(path, params.rate_hz, &samples).map_err(IngestError::from)
    })??;
    terminal::print(&format!(
        "Wrote {}: {} Hz to {} Hz in {} s, peak {} dB re full scale, {} Hz, 24 bit.\n\
         Start with the volume low and ears protected: a sweep is louder than it seems, and its \
         upper end can damage a tweeter.\n",
        shown(&args.out),
        params.start_hz,
        params.stop_hz,
        params.duration_s,
        params.level_dbfs,
        params.rate_hz,
    ))?;
    Ok(ExitCode::SUCCESS)
}
