//! WAV files in and out.
//!
//! Reading is our own: the header walk accepts RIFF, RF64 and BW64 with chunks in
//! any order, never believes a length before it has seen the bytes, and only the
//! channels that are wanted are decoded, block by block. Writing goes through the
//! `hound` crate, which is also the independent reader in the tests.

mod decode;
mod fault;
mod header;
mod info;
mod limits;
mod other;
mod read;
mod write;

pub(crate) use decode::decode_channel;
pub use fault::{WavError, WavFault};
pub(crate) use header::{Layout, broken, read_exact_at, read_long_layout, settle_format};
pub use info::{Encoding, WavInfo};
pub use limits::{MAX_ABS_SAMPLE, MAX_FILE_BYTES, MAX_FRAMES, RATE_RANGE_HZ};
pub use read::{WavData, decode_wav, read_wav, wav_info};
pub use write::{WavWriteError, write_wav_24, write_wav_24_channels};

#[cfg(test)]
mod tests;
