//! From transmissions to losses, verdicts and settings.

pub mod loss;
pub mod sheet;
