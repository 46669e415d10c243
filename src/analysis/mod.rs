//! From transmissions to losses, verdicts and settings.

pub mod air;
pub mod biquad;
pub mod check;
pub mod claims;
pub mod compare;
pub mod correction;
pub mod echo;
pub mod geometry;
pub mod level;
pub mod loss;
pub mod picture;
pub mod power;
pub mod predict;
pub mod repeat;
pub mod seats;
pub mod sheet;
pub mod slot;
pub mod uncertainty;
pub mod verification;

#[cfg(test)]
pub(crate) mod made_tables;
