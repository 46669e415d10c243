//! From transmissions to losses, verdicts and settings.

pub mod air;
pub mod biquad;
pub mod claims;
pub mod correction;
pub mod geometry;
pub mod loss;
pub mod picture;
pub mod predict;
pub mod seats;
pub mod sheet;

#[cfg(test)]
pub(crate) mod made_tables;
