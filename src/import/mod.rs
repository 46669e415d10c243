//! Import: what a recorder gives becomes takes of a session.
//!
//! The files follow the data:
//!
//! | file | does |
//! |---|---|
//! | `formats` | opens a recording of any kind and hands its sound on, block by block |
//! | `decimate`, `find` | finds every sweep in a recording by a matched filter |
//! | `channel` | which channel is the microphone, which the electrical reference |
//! | `cut`, `resample` | a stretch of a recording at the rate of the session |
//! | `judge` | what is wrong with a sweep that was found |
//! | `names` | what the name of a file says of seat, screen and number |
//! | `listen` | all that, for one recording |
//! | `places`, `align`, `assign`, `doubt` | which sweep belongs where; what is too much or missing |
//! | `found`, `survey` | everything, for all recordings |
//! | `json` | what was found, as a document |
//! | `write`, `origin` | takes and `takes/origin.csv` |
//! | `unimported` | recordings that lie in a session and were not brought in |

mod align;
mod assign;
mod channel;
mod cut;
mod decimate;
mod doubt;
mod error;
mod find;
pub mod formats;
mod found;
pub(crate) mod json;
mod judge;
mod listen;
mod names;
mod origin;
mod places;
mod resample;
mod survey;
mod unimported;
mod write;

pub use error::ImportError;
pub use find::{Finder, SweepInStream};
pub use found::{Fate, Recording, Survey, Sweep};
pub use names::{Told, tell};
pub(crate) use origin::write as write_origins;
pub use origin::{ORIGIN_FILE, Origin, origins};
pub use places::{Place, PlanOptions};
pub use resample::resample;
pub use survey::{ImportOptions, survey};
pub use unimported::{RECORDING_ENDINGS, unimported};
pub use write::write;
pub(crate) use write::write_float;
