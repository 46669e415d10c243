//! Plain samples from WAV, W64 and CAF files, block by block.

use super::sound::{About, Block, Fault, Sound};
use crate::ingest::wav::{Layout, WavFault, decode_channel};
use std::fs::File;
use std::io::{self, Read, Seek, SeekFrom};

/// Bytes read at once: large enough for the disk, small enough for the cache.
const BLOCK_BYTES: usize = 1 << 19;

/// Plain samples of a file and the place in it.
pub(super) struct Pcm {
    file: File,
    layout: Layout,
    next_frame: u64,
    bytes: Vec<u8>,
    is_big_endian: bool,
}

impl Pcm {
    /// The first sample of a file of this layout.
    pub(super) fn at_start(file: File, layout: Layout, is_big_endian: bool) -> Result<Self, Fault> {
        let mut pcm = Self { file, layout, next_frame: 0, bytes: Vec::new(), is_big_endian };
        pcm.seek(0)?;
        Ok(pcm)
    }

    /// What a file of this layout and kind says of itself.
    pub(super) fn about(layout: &Layout, kind: &str) -> About {
        let info = &layout.info;
        About {
            rate_hz: info.rate_hz,
            n_channels: usize::from(info.n_channels),
            n_frames: Some(info.n_frames),
            format: format!("{kind}, {}", info.encoding),
        }
    }
}

impl Sound for Pcm {
    fn seek(&mut self, frame: u64) -> Result<u64, Fault> {
        let info = &self.layout.info;
        let frame = frame.min(info.n_frames);
        let at = self.layout.data_offset + frame * info.bytes_per_frame() as u64;
        self.file.seek(SeekFrom::Start(at)).map_err(|source| WavFault::Io { source })?;
        self.next_frame = frame;
        Ok(frame)
    }

    fn next(&mut self, block: &mut Block) -> Result<bool, Fault> {
        let info = &self.layout.info;
        let stride = info.bytes_per_frame();
        let n_left = info.n_frames - self.next_frame;
        let n_now = n_left.min((BLOCK_BYTES / stride).max(1) as u64) as usize;
        block.resize(usize::from(info.n_channels), Vec::new());
        block.iter_mut().for_each(Vec::clear);
        if n_now == 0 {
            return Ok(false);
        }
        self.bytes.resize(n_now * stride, 0);
        self.file.read_exact(&mut self.bytes).map_err(|source| match source.kind() {
            io::ErrorKind::UnexpectedEof => WavFault::Truncated {
                declared_bytes: info.n_frames * stride as u64,
                present_bytes: self.next_frame * stride as u64,
            },
            _ => WavFault::Io { source },
        })?;
        if self.is_big_endian {
            self.bytes.chunks_exact_mut(info.encoding.n_bytes()).for_each(<[u8]>::reverse);
        }
        for (channel, samples) in (1u16..).zip(block.iter_mut()) {
            decode_channel(&self.bytes, info, channel, self.next_frame, samples)?;
        }
        self.next_frame += n_now as u64;
        Ok(true)
    }
}
