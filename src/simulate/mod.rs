//! Sessions whose truth is known: room, sheet, moved microphone, noise.
//!
//! For the demo, for tests, for the calibration of uncertainties and for
//! benches. A [`Scenario`] holds every parameter; [`simulate`] makes all takes
//! of it in memory together with the [`Truth`]; [`write()`] puts them into a
//! session folder.
//!
//! | file | holds |
//! |---|---|
//! | [`sheet`] | the sheet's own physics, echoes between sheet and loudspeaker |
//! | [`room`] | image sources |
//! | [`loudspeaker`] | response and directivity |
//! | `response`, `sinc` | the three together: an impulse response at a microphone place |
//! | `measured` | a measured response in their place |
//! | [`drive`], [`noise`] | what is played, what disturbs it |
//! | [`scenario`], [`random`](mod@random) | all parameters, and sessions drawn at random |
//! | [`demo`] | the invented job of the `demo` command |
//! | `transform`, `stream` | spectra, random numbers |
//! | `order`, `take`, [`session`], [`truth`](mod@truth), [`write`](mod@write) | takes, truth, folder |
//!
//! Simplifications: the sheet is plane and everywhere in the way (angles above
//! 80 degrees count as 80); sound that the sheet throws back into the room is
//! left out; the two-way path through the sheet of sound that comes from the
//! room behind it is counted once.

pub mod demo;
pub mod drive;
mod fault;
pub mod loudspeaker;
mod manifest;
mod measured;
pub mod memory;
pub(crate) mod noise;
mod order;
pub mod random;
mod response;
pub mod room;
pub mod scenario;
pub mod session;
pub mod sheet;
mod sinc;
mod stream;
mod take;
#[cfg(test)]
mod tests;
mod transform;
pub(crate) mod truth;
pub mod write;

pub use demo::demo_scenario;
pub use random::Kind;
pub use scenario::Scenario;
pub use session::{SimulatedSession, simulate};
pub use take::SimulatedTake;
pub use truth::Truth;
pub use write::write;
