//! Recordings of every kind as one: what they say of themselves, and their sound in blocks.
//!
//! WAV in all kinds, W64 and CAF are read by our own header walks and decoder (see
//! [`crate::ingest::wav`]); AIFF, AIFC and FLAC by a library, which knows no W64 and refuses the
//! CAF files of a common writer. What a file is, its content says, not its name.

mod caf;
mod decoded;
mod kind;
mod pcm;
mod sound;
mod source;
mod w64;

pub use sound::{About, Block};
pub use source::Source;
