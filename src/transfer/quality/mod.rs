//! Is a take good? Facts of one take, what they mean, and what takes tell about each other.
//!
//! | file | holds |
//! |---|---|
//! | `spectrogram` | short-time band powers, the basis of the rest |
//! | `track` | where the sweep is, and whether there is a second |
//! | `amplitude` | flat tops, peak, offset, gaps |
//! | `noise` | sweep and noise by band |
//! | `hum` | mains lines in the silence |
//! | `bursts` | slams, coughs, ticks |
//! | `facts` | all of it for one take, as numbers |
//! | `signature` | polarity against another take |
//! | `verdict` | what the facts of one take mean |
//! | `across` | what takes tell about each other |

pub mod across;
pub mod amplitude;
pub mod bursts;
pub mod facts;
pub mod hum;
pub mod noise;
#[cfg(test)]
pub(crate) mod scene;
pub mod signature;
pub mod spectrogram;
pub mod track;
pub mod verdict;

pub use facts::{TakeAnalyser, TakeFacts};
pub use verdict::{Finding, TakeVerdict, judge_take};
