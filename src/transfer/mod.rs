//! From recordings to responses, and per seat to the screen's own transmission.
//!
//! | step | does |
//! |---|---|
//! | [`deconvolve`] | recording to impulse response |
//! | [`onset`] | finds the direct sound |
//! | [`early`] | cuts, aligns and shifts the early part |
//! | [`drift`] | clock of recorder against player |
//! | [`take`] | all of that for one take, with band powers and noise |
//! | [`resemble`] | which takes were recorded at one place |
//! | [`powers`] | power spectra of windows, two by one transform |
//! | [`direct`] | direct sound of a pair of takes, and where it ends |
//! | [`spots`] | one response from the takes of one spot |
//! | [`seat`] | all pairs of takes of one seat |
//! | [`measure`] | the whole session, takes in parallel, a few in memory at a time |

pub(crate) mod arrivals;
pub mod bands;
pub mod deconvolve;
pub(crate) mod direct;
pub(crate) mod distortion;
pub mod drift;
pub(crate) mod early;
pub mod fft;
pub mod measure;
pub mod median;
pub(crate) mod onset;
pub(crate) mod powers;
pub(crate) mod resemble;
pub(crate) mod seat;
mod spots;
pub mod take;
pub(crate) mod whiten;
pub(crate) mod window;
