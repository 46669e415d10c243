//! From transmissions to losses, verdicts and settings.

pub(crate) mod band_levels;
pub(crate) mod biquad;
pub mod budget;
pub mod chance;
pub mod claims;
pub(crate) mod compare;
pub(crate) mod control_step;
pub mod correction;
pub(crate) mod direct_from;
pub mod estimate;
pub(crate) mod geometry;
pub mod joint;
pub mod level;
pub mod loss;
pub mod open_level;
pub(crate) mod passage;
pub(crate) mod picture;
pub(crate) mod power;
pub(crate) mod predict;
pub mod rough_level;
pub(crate) mod seats;
pub mod sheet;
pub mod student;
pub(crate) mod uncertainty;
pub(crate) mod verification;

#[cfg(test)]
pub(crate) mod made_tables;
