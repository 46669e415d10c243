//! What a WAV file says about itself.

use std::fmt;

/// How one sample is stored.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Encoding {
    /// Unsigned, zero at 128.
    U8,
    /// Signed, two bytes.
    I16,
    /// Signed, three bytes.
    I24,
    /// Signed, four bytes.
    I32,
    /// IEEE 754 single.
    F32,
    /// IEEE 754 double.
    F64,
}

impl Encoding {
    /// Bytes of one sample.
    pub fn n_bytes(self) -> usize {
        match self {
            Self::U8 => 1,
            Self::I16 => 2,
            Self::I24 => 3,
            Self::I32 | Self::F32 => 4,
            Self::F64 => 8,
        }
    }
}

impl fmt::Display for Encoding {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let kind = if matches!(self, Self::F32 | Self::F64) { "float" } else { "integer" };
        write!(f, "{}-bit {kind}", 8 * self.n_bytes())
    }
}

/// What the header says, checked against the length of the file.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct WavInfo {
    /// Sampling rate, Hz.
    pub rate_hz: u32,
    /// Channels.
    pub n_channels: u16,
    /// Samples of each channel.
    pub n_frames: u64,
    /// How samples are stored.
    pub encoding: Encoding,
    /// Whether the header says how much sound there is; a recorder that was cut off leaves it open,
    /// and everything up to the end of the file is sound.
    pub closed: bool,
    /// Bits that carry signal in an integer format (20 in a 24-bit container),
    /// `None` for floats.
    pub integer_bits: Option<u16>,
}

impl WavInfo {
    /// Bytes of one sample of all channels.
    pub(crate) fn bytes_per_frame(&self) -> usize {
        usize::from(self.n_channels) * self.encoding.n_bytes()
    }

    /// Length of the recording, s.
    pub fn duration_s(&self) -> f64 {
        self.n_frames as f64 / f64::from(self.rate_hz)
    }
}
