//! From bytes to samples, only for the channels that are wanted.

use super::header::{Layout, read_layout};
use super::{Encoding, MAX_ABS_SAMPLE, MAX_FILE_BYTES, WavError, WavFault, WavInfo};
use std::fs::{self, File, FileType};
use std::io::{self, Read, Seek, SeekFrom};
use std::path::Path;

/// Decoded channels of a WAV file.
#[derive(Debug, Clone, PartialEq)]
pub struct WavData {
    /// Header.
    pub info: WavInfo,
    /// One vector of `info.n_frames` samples for each channel that was asked
    /// for, in that order; full scale = 1.
    pub channels: Vec<Vec<f64>>,
}

/// Reads the named channels (counted from 1) of the WAV file at `path`.
///
/// # Units
/// Full scale = 1: integers of `b` container bits are divided by `2^(b-1)`,
/// floats are taken as they are.
/// # Errors
/// Every [`WavFault`], with the path. Only regular files are opened, so a pipe
/// cannot hold the program up.
pub fn read_wav(path: &Path, channels: &[u16]) -> Result<WavData, WavError> {
    let fail = |fault| WavError { path: path.to_path_buf(), fault };
    let (mut file, n_bytes) = open_regular(path).map_err(fail)?;
    decode_wav(&mut file, n_bytes, channels).map_err(fail)
}

/// Opens a regular file of at most [`MAX_FILE_BYTES`]; also returns its length.
pub(super) fn open_regular(path: &Path) -> Result<(File, u64), WavFault> {
    let cannot = |source: io::Error| match source.kind() {
        io::ErrorKind::NotFound | io::ErrorKind::NotADirectory => WavFault::Missing,
        _ => WavFault::Io { source },
    };
    // Asked before opening: opening a pipe would wait for its writer.
    let kind = fs::metadata(path).map_err(cannot)?.file_type();
    if !kind.is_file() {
        return Err(WavFault::NotRegular { found: kind_name(kind) });
    }
    let file = File::open(path).map_err(cannot)?;
    let n_bytes = file.metadata().map_err(cannot)?.len();
    if n_bytes > MAX_FILE_BYTES {
        return Err(WavFault::TooLarge { bytes: n_bytes, limit_bytes: MAX_FILE_BYTES });
    }
    Ok((file, n_bytes))
}

/// What a path that is no regular file is, in a word.
pub(crate) fn kind_name(kind: FileType) -> &'static str {
    #[cfg(unix)]
    {
        use std::os::unix::fs::FileTypeExt;
        if kind.is_fifo() {
            return "pipe";
        }
        if kind.is_socket() {
            return "socket";
        }
        if kind.is_block_device() || kind.is_char_device() {
            return "device";
        }
    }
    if kind.is_dir() {
        "folder"
    } else if kind.is_symlink() {
        "link"
    } else {
        "special file"
    }
}

/// Decodes the named channels (counted from 1) of a WAV file of `n_bytes` bytes.
///
/// # Errors
/// [`WavFault`]; nothing is allocated from a declared length that the file does
/// not have.
pub fn decode_wav<R: Read + Seek>(
    reader: &mut R,
    n_bytes: u64,
    channels: &[u16],
) -> Result<WavData, WavFault> {
    let Layout { info, data_offset, bytes_per_frame } = read_layout(reader, n_bytes)?;
    for &asked in channels {
        if asked == 0 || asked > info.n_channels {
            return Err(WavFault::Channel { asked, present: info.n_channels });
        }
    }
    // At most MAX_FRAMES, and every frame's bytes lie inside the file.
    let n_frames = info.n_frames as usize;
    // With room to fill up to a length that transforms fast.
    let room = n_frames + n_frames / 64;
    let mut decoded: Vec<Vec<f64>> = channels.iter().map(|_| Vec::with_capacity(room)).collect();
    reader.seek(SeekFrom::Start(data_offset)).map_err(|source| WavFault::Io { source })?;
    let frames_per_block = (BLOCK_BYTES / bytes_per_frame).max(1);
    let mut block = vec![0u8; frames_per_block.min(n_frames) * bytes_per_frame];
    let mut n_left = n_frames;
    while n_left > 0 {
        let n_now = frames_per_block.min(n_left);
        let bytes = &mut block[..n_now * bytes_per_frame];
        reader.read_exact(bytes).map_err(|source| match source.kind() {
            io::ErrorKind::UnexpectedEof => WavFault::Truncated {
                declared_bytes: (n_frames * bytes_per_frame) as u64,
                present_bytes: ((n_frames - n_left) * bytes_per_frame) as u64,
            },
            _ => WavFault::Io { source },
        })?;
        for (&channel, samples) in channels.iter().zip(&mut decoded) {
            let first_new = samples.len();
            let offset = usize::from(channel - 1) * info.encoding.n_bytes();
            decode_block(bytes, bytes_per_frame, offset, info.encoding, samples);
            if matches!(info.encoding, Encoding::F32 | Encoding::F64) {
                check_floats(samples, first_new, channel, info.rate_hz)?;
            }
        }
        n_left -= n_now;
    }
    Ok(WavData { info, channels: decoded })
}

/// Small enough to stay in the cache between reading and decoding.
const BLOCK_BYTES: usize = 1 << 18;

/// Appends the samples that lie `offset` bytes into each frame of `stride` bytes.
pub(crate) fn decode_block(
    bytes: &[u8],
    stride: usize,
    offset: usize,
    encoding: Encoding,
    samples: &mut Vec<f64>,
) {
    match encoding {
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

/// Refuses what is no sound among the samples from `first` on.
pub(crate) fn check_floats(
    samples: &[f64],
    first: usize,
    channel: u16,
    rate_hz: u32,
) -> Result<(), WavFault> {
    let is_sound = |x: &f64| x.is_finite() && x.abs() <= MAX_ABS_SAMPLE;
    let Some(bad) = samples[first..].iter().position(|x| !is_sound(x)) else {
        return Ok(());
    };
    let frame = (first + bad) as u64;
    let value = samples[first + bad];
    Err(if value.is_finite() {
        WavFault::OutOfScale { channel, frame, value }
    } else {
        WavFault::NotFinite { channel, frame, time_s: frame as f64 / f64::from(rate_hz) }
    })
}
