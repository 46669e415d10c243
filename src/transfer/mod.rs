//! From recordings to responses and transmissions.

pub mod quality;
pub mod rattle;
