//! The played signal: made by [`generate`](fn@generate), or read and checked by [`load_sweep`].

mod generate;
mod load;
mod signal;
mod trajectory;

pub use generate::{SweepParamError, SweepParams, generate};
pub use load::load_sweep;
pub use signal::SweepSignal;

/// File of the played signal in a new session.
pub const SWEEP_FILE: &str = "sweep.wav";
/// The same signal, 10 dB lower, for the quiet take.
pub const QUIET_SWEEP_FILE: &str = "sweep-quiet.wav";
