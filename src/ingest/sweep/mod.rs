//! The played signal: made by [`generate`], or read and checked by [`load_sweep`].

mod generate;
mod load;
mod trajectory;

pub use generate::{SweepParamError, SweepParams, generate};
pub use load::load_sweep;
