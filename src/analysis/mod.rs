//! From transmissions to losses, verdicts and settings.

pub mod band_levels;
pub mod biquad;
pub mod budget;
pub mod claims;
pub mod compare;
pub mod correction;
pub mod direct_from;
pub mod estimate;
pub mod geometry;
pub mod joint;
pub mod level;
pub mod loss;
pub mod open_level;
pub mod passage;
pub mod picture;
pub mod power;
pub mod predict;
pub mod rough_level;
pub mod seats;
pub mod sheet;
pub mod student;
pub mod uncertainty;
pub mod verification;

#[cfg(test)]
pub(crate) mod made_tables;
