//! From transmissions to losses, verdicts and settings.

pub mod biquad;
pub mod loss;
pub mod seats;
pub mod sheet;

#[cfg(test)]
pub(crate) mod made_tables;
