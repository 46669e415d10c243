//! Plain samples from WAV, W64 and CAF files, block by block.

use super::{About, Block, caf, w64};
use crate::ingest::wav::{
    Encoding, Layout, WavFault, WavInfo, check_floats, decode_block, read_long_layout,
};
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
    pub(super) fn wav(mut file: File, n_bytes: u64) -> Result<(About, Self), WavFault> {
        let layout = read_long_layout(&mut file, n_bytes)?;
        Self::at_start(file, layout, "WAV")
    }

    pub(super) fn w64(mut file: File, n_bytes: u64) -> Result<(About, Self), WavFault> {
        let layout = w64::read_layout(&mut file, n_bytes)?;
        Self::at_start(file, layout, "W64")
    }

    pub(super) fn caf(mut file: File, n_bytes: u64) -> Result<(About, Self), (String, String)> {
        let (layout, is_big_endian) = caf::read_layout(&mut file, n_bytes)?;
        let (about, pcm) = Self::at_start(file, layout, "CAF")
            .map_err(|fault| (fault.to_string(), "copy the file again".into()))?;
        Ok((about, Self { is_big_endian, ..pcm }))
    }

    fn at_start(file: File, layout: Layout, kind: &str) -> Result<(About, Self), WavFault> {
        let WavInfo { rate_hz, n_channels, n_frames, encoding, .. } = layout.info;
        let about = About {
            rate_hz,
            n_channels: usize::from(n_channels),
            n_frames: Some(n_frames),
            format: format!("{kind}, {encoding}"),
        };
        let mut pcm = Self { file, layout, next_frame: 0, bytes: Vec::new(), is_big_endian: false };
        pcm.seek(0)?;
        Ok((about, pcm))
    }

    pub(super) fn seek(&mut self, frame: u64) -> Result<u64, WavFault> {
        let frame = frame.min(self.layout.info.n_frames);
        let at = self.layout.data_offset + frame * self.layout.bytes_per_frame as u64;
        self.file.seek(SeekFrom::Start(at)).map_err(|source| WavFault::Io { source })?;
        self.next_frame = frame;
        Ok(frame)
    }

    pub(super) fn next(&mut self, block: &mut Block) -> Result<bool, WavFault> {
        let stride = self.layout.bytes_per_frame;
        let info = &self.layout.info;
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
            let offset = usize::from(channel - 1) * info.encoding.n_bytes();
            decode_block(&self.bytes, stride, offset, info.encoding, samples);
            if matches!(info.encoding, Encoding::F32 | Encoding::F64) {
                check_floats(samples, 0, channel, info.rate_hz)
                    .map_err(|f| later(f, self.next_frame, info.rate_hz))?;
            }
        }
        self.next_frame += n_now as u64;
        Ok(true)
    }
}

/// A fault found in a block that begins with frame `first`, told from the start of the file.
fn later(fault: WavFault, first: u64, rate_hz: u32) -> WavFault {
    match fault {
        WavFault::NotFinite { channel, frame, .. } => {
            let frame = first + frame;
            WavFault::NotFinite { channel, frame, time_s: frame as f64 / f64::from(rate_hz) }
        }
        WavFault::OutOfScale { channel, frame, value } => {
            WavFault::OutOfScale { channel, frame: first + frame, value }
        }
        other => other,
    }
}
