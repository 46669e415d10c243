//! What kind of loss a sheet causes: physical models, their fit to the measured
//! curve, and the air gap behind the sheet.

pub mod air;
pub(crate) mod bessel;
pub mod choice;
pub mod finding;
pub mod fit;
pub mod gap;
pub mod kinds;
pub(crate) mod models;
pub(crate) mod perforated;
mod ripple;
mod scan;
mod solve;
mod starts;
pub(crate) mod stated;
