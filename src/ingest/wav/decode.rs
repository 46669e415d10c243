//! From bytes to samples.

use super::fault::WavFault;
use super::info::{Encoding, WavInfo};
use super::limits::MAX_ABS_SAMPLE;

/// Appends the samples of `channel`, counted from 1, that lie in whole frames of `bytes`, the
/// first of which is frame `first_frame` of the file; full scale = 1.
///
/// # Errors
/// [`WavFault::NotFinite`] and [`WavFault::OutOfScale`] for floats that are no sound.
pub(crate) fn decode_channel(
    bytes: &[u8],
    info: &WavInfo,
    channel: u16,
    first_frame: u64,
    samples: &mut Vec<f64>,
) -> Result<(), WavFault> {
    let first_new = samples.len();
    let stride = info.bytes_per_frame();
    let offset = usize::from(channel - 1) * info.encoding.n_bytes();
    match info.encoding {
        Encoding::U8 => {
            spread(bytes, stride, offset, samples, |[a]: [u8; 1]| (f64::from(a) - 128.0) / 128.0)
        }
        Encoding::I16 => spread(bytes, stride, offset, samples, |b| {
            f64::from(i16::from_le_bytes(b)) / f64::from(1u32 << 15)
        }),
        // The three bytes go to the top of a 32-bit integer, so the sign comes along.
        Encoding::I24 => spread(bytes, stride, offset, samples, |[a, b, c]: [u8; 3]| {
            f64::from(i32::from_le_bytes([0, a, b, c])) / f64::from(1u32 << 31)
        }),
        Encoding::I32 => spread(bytes, stride, offset, samples, |b| {
            f64::from(i32::from_le_bytes(b)) / f64::from(1u32 << 31)
        }),
        Encoding::F32 => {
            spread(bytes, stride, offset, samples, |b| f64::from(f32::from_le_bytes(b)));
        }
        Encoding::F64 => spread(bytes, stride, offset, samples, f64::from_le_bytes),
    }
    if info.integer_bits.is_some() {
        return Ok(());
    }
    let is_sound = |x: &f64| x.is_finite() && x.abs() <= MAX_ABS_SAMPLE;
    let new = &samples[first_new..];
    let Some(bad) = new.iter().position(|x| !is_sound(x)) else { return Ok(()) };
    let frame = first_frame + bad as u64;
    Err(if new[bad].is_finite() {
        WavFault::OutOfScale { channel, frame, value: new[bad] }
    } else {
        WavFault::NotFinite { channel, frame, time_s: frame as f64 / f64::from(info.rate_hz) }
    })
}

/// Appends one sample for each frame of `stride` bytes.
fn spread<const N: usize>(
    bytes: &[u8],
    stride: usize,
    offset: usize,
    samples: &mut Vec<f64>,
    convert: impl Fn([u8; N]) -> f64,
) {
    if stride == N {
        samples.extend(bytes.as_chunks::<N>().0.iter().map(|&b| convert(b)));
    } else {
        samples.extend(bytes.chunks_exact(stride).filter_map(|frame| {
            // Always there: `offset + N` lies inside a frame by the header's checks.
            frame[offset..].first_chunk::<N>().map(|&b| convert(b))
        }));
    }
}
