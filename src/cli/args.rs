//! What is typed, word by word. Nothing behind `settings` sees these types.

use clap::{Args as ClapArgs, Parser, Subcommand};
use std::path::PathBuf;

/// Measures what a sound-transparent projection screen takes away from the
/// loudspeaker behind it, seat by seat, from sweeps recorded without and with it.
#[derive(Debug, Parser)]
#[command(name = "scrimcheck", version, max_term_width = 100, after_help = AFTER_HELP)]
pub struct Args {
    /// What to do.
    #[command(subcommand)]
    pub command: Command,
}

const AFTER_HELP: &str = "Exit status: 0 done; 1 done, and with --strict a claim was not shown to \
                          hold; 2 command line wrong; 3 session refused; 4 output cannot be written.";

/// The commands.
#[derive(Debug, Subcommand)]
pub enum Command {
    /// Write the test signal
    Sweep(SweepArgs),
}

/// `scrimcheck sweep`
#[derive(Debug, ClapArgs)]
pub struct SweepArgs {
    /// WAV file to write
    #[arg(value_name = "OUT.wav")]
    pub out: PathBuf,
    /// Shape of the signal.
    #[command(flatten)]
    pub sweep: SweepShape,
    /// Replace a file that is already there
    #[arg(long)]
    pub force: bool,
}

/// The shape of the test signal.
#[derive(Debug, ClapArgs)]
pub struct SweepShape {
    /// Lowest frequency, Hz
    #[arg(long, value_name = "HZ", default_value_t = 20.0)]
    pub start_hz: f64,
    /// Highest frequency, Hz
    #[arg(long, value_name = "HZ", default_value_t = 20_000.0)]
    pub stop_hz: f64,
    /// Length of the sweep, s
    #[arg(long, value_name = "S", default_value_t = 5.0)]
    pub duration_s: f64,
    /// Peak level, dB re full scale
    #[arg(long, value_name = "DB", default_value_t = -12.0, allow_negative_numbers = true)]
    pub level_dbfs: f64,
    /// Sampling rate, Hz
    #[arg(long, value_name = "HZ", default_value_t = 48_000)]
    pub rate_hz: u32,
}
