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

impl Version {
    /// The version as a WAV file of 24 bits, as it is or at the loudness of the softest. Dither of
    /// one step (triangular) keeps rounding free of harmonics; with another seed the same sound has
    /// other bytes.
    ///
    /// # Errors
    /// [`ListenError::Test`] should the file not fit the format: more than 4 GiB.
    pub fn wav(&self, rate_hz: u32, matched: bool, seed: u64) -> Result<Vec<u8>, ListenError> {
        let channels = if matched { &self.matched() } else { &self.channels };
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
        for i in 0..channels.first().map_or(0, Vec::len) {
            for channel in channels {
                let dither: f64 = random.random_range(-0.5..0.5) + random.random_range(-0.5..0.5);
                let value = (channel[i] / STEP + dither).round().clamp(-8_388_608.0, 8_388_607.0);
                writer.write_sample(value as i32).map_err(failed)?;
            }
        }
        writer.finalize().map_err(failed)?;
        Ok(bytes.into_inner())
    }
}
