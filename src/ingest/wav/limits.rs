//! What is read of a WAV file at most, and what is taken for sound.

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
