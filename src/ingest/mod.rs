//! From a session folder to checked recordings.
//!
//! In the order of use: [`manifest`] reads what the installer wrote, [`takes`] finds the recordings, [`sweep`] makes and
//! checks the played signal, [`wav`] decodes, [`session`] holds it together,
//! [`error`] says what is wrong and what to do.

pub mod calibration;
pub mod error;
pub mod manifest;
pub mod readings;
pub mod session;
pub mod sweep;
pub mod takes;
pub mod wav;
