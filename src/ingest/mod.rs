//! From a session folder to checked recordings.

pub mod manifest;
pub mod readings;
pub mod session;
