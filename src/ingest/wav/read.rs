//! A WAV file's header, and the samples of the channels that are wanted.

use super::decode::decode_channel;
use super::fault::{WavError, WavFault};
use super::header::{Layout, read_layout};
use super::info::WavInfo;
use super::limits::MAX_FILE_BYTES;
use crate::ingest::regular::{self, NotOpened};
use std::fs::File;
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
    let (mut file, n_bytes) = open(path).map_err(fail)?;
    decode_wav(&mut file, n_bytes, channels).map_err(fail)
}

/// Header of the WAV file at `path`, without reading its samples.
///
/// # Errors
/// Every [`WavFault`] that shows without decoding, with the path.
pub fn wav_info(path: &Path) -> Result<WavInfo, WavError> {
    let fail = |fault| WavError { path: path.to_path_buf(), fault };
    let (mut file, n_bytes) = open(path).map_err(fail)?;
    Ok(read_layout(&mut file, n_bytes).map_err(fail)?.info)
}

/// Opens a regular file of at most [`MAX_FILE_BYTES`]; also returns its length.
fn open(path: &Path) -> Result<(File, u64), WavFault> {
    let (file, n_bytes) = regular::open_regular(path).map_err(|why| match why {
        NotOpened::Missing => WavFault::Missing,
        NotOpened::NotRegular(found) => WavFault::NotRegular { found },
        NotOpened::Io(source) => WavFault::Io { source },
    })?;
    if n_bytes > MAX_FILE_BYTES {
        return Err(WavFault::TooLarge { bytes: n_bytes, limit_bytes: MAX_FILE_BYTES });
    }
    Ok((file, n_bytes))
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
    let Layout { info, data_offset } = read_layout(reader, n_bytes)?;
    let bytes_per_frame = info.bytes_per_frame();
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
        let first_frame = (n_frames - n_left) as u64;
        for (&channel, samples) in channels.iter().zip(&mut decoded) {
            decode_channel(bytes, &info, channel, first_frame, samples)?;
        }
        n_left -= n_now;
    }
    Ok(WavData { info, channels: decoded })
}

/// Small enough to stay in the cache between reading and decoding.
const BLOCK_BYTES: usize = 1 << 18;
