//! What becomes of each take: used, doubtful or left out. Judged once, before anything is computed,
//! and everything after it obeys.
//!
//! | file | holds |
//! |---|---|
//! | `spectrogram` | short-time band powers, the basis of the rest |
//! | `track` | where the sweep is, and whether there is a second |
//! | `amplitude` | flat tops, peak, offset, gaps |
//! | `noise` | sweep and noise by band |
//! | `hum` | mains lines in the silence |
//! | `bursts` | slams, coughs, ticks |
//! | `rattle` | what only the screen brings |
//! | `facts` | all of it for one take, as numbers |
//! | `signature` | polarity against another take, and likeness |
//! | `verdict` | what the facts of one take mean |
//! | `across` | what takes tell about each other |
//! | `linearity` | a quiet take against the loud one beside it |
//! | `session` | all takes of a session judged |
//! | `state` | used, doubtful, left out |
//! | `settle` | the last word on each take |
//! | `hear` | takes read once: facts and responses |
//! | `plan` | what is still to be recorded |

pub mod across;
pub mod amplitude;
pub mod bursts;
pub mod facts;
mod hear;
pub mod hum;
pub mod linearity;
pub mod noise;
mod plan;
pub mod rattle;
#[cfg(test)]
pub(crate) mod scene;
mod session;
mod settle;
pub mod signature;
pub mod spectrogram;
pub mod state;
pub mod track;
pub mod verdict;

pub use facts::{TakeAnalyser, TakeFacts};
pub use hear::{Heard, hear};
pub use linearity::Linearity;
pub use plan::{Missing, NextTake, missing_takes, next_take};
pub use session::{Judged, JudgedTake, TakeRead, judge_session};
pub use settle::seats_in_use;
pub use state::{Outcome, Reason, TakeState};
pub use verdict::{Finding, TakeVerdict, judge_take};
