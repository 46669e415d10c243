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
mod write;

pub use decode::{WavData, decode_wav, read_wav};
pub(crate) use decode::{check_floats, decode_block, kind_name};
pub use fault::{WavError, WavFault};
pub use header::wav_info;
pub(crate) use header::{Layout, read_long_layout, settle_format};
pub use info::{Encoding, WavInfo};
pub use write::{WavWriteError, write_wav_24, write_wav_24_channels};

/// Largest file that is read, bytes: 2 GiB. A take of ten seconds has 1.4 MB.
pub const MAX_FILE_BYTES: u64 = 1 << 31;

/// Longest recording that is read, frames: 5.8 minutes at 48 kHz, 87 s at 192 kHz. Keeps
/// one decoded channel below 135 MB whatever a file says about itself, so that two
/// takes at once, with what is made from them, stay below 2 GiB.
pub const MAX_FRAMES: u64 = 1 << 24;

/// Lowest and highest sampling rate, Hz.
pub const RATE_RANGE_HZ: [u32; 2] = [8_000, 192_000];

/// Largest absolute float sample (full scale is 1) that is still taken for sound.
/// Some programs write integers as floats, which is harmless; beyond a million it
/// is a broken file.
pub const MAX_ABS_SAMPLE: f64 = 1e6;

#[cfg(test)]
mod tests;
