//! scrimcheck: what a sound-transparent projection screen takes away from the
//! centre loudspeaker, seat by seat, from sweeps recorded without and with it.
//!
//! The modules follow the data:
//!
//! | module | turns | into |
//! |---|---|---|
//! | [`ingest`] | a session folder | a checked [`ingest::session::Session`] with its recordings |
//! | [`transfer`] | recordings | responses, and per seat the screen's own transmission |
//! | [`judge`] | recordings and their facts | takes used, doubtful or left out |
//! | [`analysis`] | transmissions | losses with uncertainty, verdicts, settings |
//! | [`report`] | one finished result | table, JSON, CSV, plots, papers |
//!
//! [`listen`] turns the transmissions into sound, and asks in a blind test whether there is
//! anything to hear; [`start`] makes a new session folder and [`import`] brings what a recorder gives into it, before all of
//! them;
//! [`jobs`] takes the finished results of many sessions together;
//! [`chain`] is the way through all of them, readable top to bottom; [`job`] opens a session, runs it and
//! writes its report;
//! [`simulate`] makes sessions whose truth is known (demo, tests, benches);
//! [`cli`] is the command line over all of it, [`page`] the same in a browser; [`units`] names what is counted,
//! [`warning`] what is doubtful; [`words`] writes figures; [`air`] carries the sound; [`staging`] holds folders
//! in the making.
//!
//! Sign: a *loss* is positive when the screen takes energy away.

#![forbid(unsafe_code)]
#![deny(missing_docs)]
// The documentation is for those who work on the program: it is made with its private items.
#![allow(rustdoc::private_intra_doc_links)]

pub mod air;
pub mod analysis;
pub mod chain;
pub mod cli;
pub mod import;
pub mod ingest;
pub(crate) mod job;
pub mod jobs;
pub mod judge;
pub mod listen;
pub(crate) mod page;
pub mod report;
pub mod simulate;
pub mod staging;
pub mod start;
pub mod transfer;
pub mod units;
pub mod warning;
pub(crate) mod words;

#[cfg(test)]
#[path = "../tests/support/mod.rs"]
mod support;
