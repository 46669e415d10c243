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
//! | `finding` | one thing found in a take, and its weight |
//! | `verdict` | what the facts of one take mean |
//! | `across` | what takes tell about each other |
//! | `linearity` | a quiet take against the loud one beside it |
//! | `session` | all takes of a session judged |
//! | `state` | used, doubtful, left out |
//! | `settle` | the last word on each take |
//! | `hear` | takes read once: facts and responses |
//! | `plan` | what is still to be recorded |

pub(crate) mod across;
pub(crate) mod amplitude;
pub(crate) mod bursts;
pub(crate) mod facts;
pub(crate) mod finding;
mod hear;
pub(crate) mod hum;
pub(crate) mod linearity;
pub(crate) mod noise;
mod plan;
pub(crate) mod rattle;
#[cfg(test)]
pub(crate) mod scene;
mod session;
mod settle;
pub(crate) mod signature;
pub(crate) mod spectrogram;
pub(crate) mod state;
pub(crate) mod track;
pub(crate) mod verdict;

pub use facts::{TakeAnalyser, TakeFacts};
pub use finding::{Finding, TakeVerdict};
pub use hear::{Heard, hear};
pub use linearity::Linearity;
pub use plan::{Missing, NextTake, missing_takes, next_take};
pub use session::{Judged, TakeRead, judge_session};
pub use settle::seats_in_use;
pub use state::{JudgedTake, Outcome, Reason, TakeState};
pub use verdict::judge_take;
