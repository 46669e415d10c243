//! What the screen does, to listen to, and a blind test of whether there is anything to hear.
//!
//! | file | step |
//! |---|---|
//! | `passage` | what passes to a seat as gain and phase over frequency: measured, or predicted |
//! | `bands` | its third-octave levels made those of the loss table |
//! | `fir` | the same as a filter at the rate of a sound |
//! | `sounds` | pink noise, clicks and speech-shaped noise, made by the program |
//! | `read` | a sound of the user's |
//! | `convolve` | a sound through a filter |
//! | `levels` | loudness and true peak (ITU-R BS.1770) |
//! | `versions` | the same sound without, with the screen, with screen and setting, and their gains |
//! | `job` | the versions that one session, or several, have to offer |
//! | `files` | versions as WAV |
//! | `blind` | rounds drawn by the system's random source, and answers |

mod bands;
pub(crate) mod blind;
mod convolve;
mod error;
pub(crate) mod files;
mod fir;
pub mod job;
pub mod levels;
pub mod passage;
pub(crate) mod read;
pub mod sounds;
pub mod versions;

pub use error::ListenError;
pub use fir::Fir;
