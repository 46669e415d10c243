//! Versions as WAV: 24 bit with dither.

use super::ListenError;
use super::versions::Version;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use std::io::Cursor;

/// Least step of 24 bits.
const STEP: f64 = 1.0 / 8_388_608.0;

/// Seed of the dither of files, so that the same run writes the same bytes.
pub const DITHER_SEED: u64 = 1;

/// A WAV file of 24 bits. Dither of one step (triangular) keeps rounding free of harmonics; with
/// another seed the same sound has other bytes.
///
/// # Errors
/// [`ListenError::Test`] should the file not fit the format: more than 4 GiB.
pub fn wav_24(channels: &[Vec<f64>], rate_hz: u32, seed: u64) -> Result<Vec<u8>, ListenError> {
    let failed = |error: hound::Error| ListenError::Test { problem: error.to_string() };
    let mut random = ChaCha8Rng::seed_from_u64(seed);
    let mut bytes = Cursor::new(Vec::new());
    let spec = hound::WavSpec {
        channels: channels.len() as u16,
        sample_rate: rate_hz,
        bits_per_sample: 24,
        sample_format: hound::SampleFormat::Int,
    };
    let mut writer = hound::WavWriter::new(&mut bytes, spec).map_err(failed)?;
    let n = channels.first().map_or(0, Vec::len);
    for i in 0..n {
        for channel in channels {
            let dither: f64 = random.random_range(-0.5..0.5) + random.random_range(-0.5..0.5);
            let value = (channel[i] / STEP + dither).round();
            writer.write_sample(value.clamp(-8_388_608.0, 8_388_607.0) as i32).map_err(failed)?;
        }
    }
    writer.finalize().map_err(failed)?;
    Ok(bytes.into_inner())
}

impl Version {
    /// The version as a file, as it is or at the loudness of the softest.
    ///
    /// # Errors
    /// As [`wav_24`].
    pub fn wav(&self, rate_hz: u32, matched: bool, seed: u64) -> Result<Vec<u8>, ListenError> {
        if matched {
            wav_24(&self.matched(), rate_hz, seed)
        } else {
            wav_24(&self.channels, rate_hz, seed)
        }
    }
}
