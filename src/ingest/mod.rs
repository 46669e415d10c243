//! From a session folder to checked recordings.
//!
//! In the order of use: [`manifest`] reads what the installer wrote, [`takes`] finds the recordings, [`sweep`] makes and
//! checks the played signal, [`wav`] decodes, [`session`] holds it together once `open` has checked it,
//! [`notice`] is what is odd and no reason to refuse it, [`error`] says what is
//! wrong and what to do.

pub(crate) mod blind_tests;
pub(crate) mod calibration;
pub mod error;
pub mod manifest;
pub(crate) mod notice;
mod open;
pub(crate) mod printable;
pub mod readings;
pub(crate) mod regular;
pub mod session;
pub mod sweep;
pub(crate) mod takes;
pub mod wav;
