//! The header walk of CAF files: the library refuses those of a common writer.
//!
//! Source: Apple's published "Core Audio Format Specification 1.0": chunks of a name of 4 bytes
//! and a length of 8, big-endian; sound of unknown length (-1) reaches to the end of the file.

use super::sound::{COPY_OR_EXPORT, EXPORT, RECORD_AGAIN, Refusal};
use crate::ingest::wav::{Encoding, Layout, WavInfo};
use std::io::{Read, Seek, SeekFrom};

/// A file of empty chunks would otherwise be walked for minutes.
const MAX_CHUNKS: usize = 4096;
const DESC_BYTES: usize = 32;
/// The edit count before the samples.
const BEFORE_SAMPLES: u64 = 4;
/// Bits of the format flags.
const IS_FLOAT: u32 = 1;
const IS_LITTLE_ENDIAN: u32 = 2;

/// The place of the samples, and whether they are big-endian.
pub(super) fn read_layout<R: Read + Seek>(
    reader: &mut R,
    n_bytes: u64,
) -> Result<(Layout, bool), Refusal> {
    let mut format = None;
    let mut at = 8;
    for _ in 0..MAX_CHUNKS {
        if at + 12 > n_bytes {
            return Err(damaged("it holds no sound"));
        }
        let head: [u8; 12] = read_at(reader, at)?;
        let [a, b, c, d, size @ ..] = head;
        let body = at + 12;
        let size = i64::from_be_bytes(size);
        match &[a, b, c, d] {
            b"desc" => format = Some(settle(&read_at::<DESC_BYTES, R>(reader, body)?)?),
            b"data" => {
                let format = format.ok_or_else(|| damaged("its sound comes before its format"))?;
                let data_offset = body + BEFORE_SAMPLES;
                let present = n_bytes
                    .checked_sub(data_offset)
                    .ok_or_else(|| damaged("it ends in a header"))?;
                let declared = match size {
                    -1 => present - present % format.0.bytes_per_frame() as u64,
                    size => u64::try_from(size)
                        .ok()
                        .and_then(|s| s.checked_sub(BEFORE_SAMPLES))
                        .ok_or_else(|| damaged("its sound has a negative length"))?,
                };
                return layout(format, data_offset, declared, present);
            }
            _ => {}
        }
        at = u64::try_from(size)
            .ok()
            .and_then(|size| body.checked_add(size))
            .ok_or_else(|| damaged("a chunk without end"))?;
    }
    Err(damaged("more than 4096 chunks"))
}

fn layout(
    (info, is_big_endian): (WavInfo, bool),
    data_offset: u64,
    declared: u64,
    present: u64,
) -> Result<(Layout, bool), Refusal> {
    if declared > present {
        return Err((
            format!(
                "the file is truncated: its header declares {declared} bytes of sound, {present} are there"
            ),
            "copy the file again or repeat the takes".into(),
        ));
    }
    let per_frame = info.bytes_per_frame() as u64;
    let n_frames = declared / per_frame;
    if n_frames == 0 || !declared.is_multiple_of(per_frame) {
        return Err(damaged("its sound is no whole number of samples"));
    }
    Ok((Layout { info: WavInfo { n_frames, ..info }, data_offset }, is_big_endian))
}

/// The format, of no frames yet, and whether it is big-endian.
fn settle(desc: &[u8; DESC_BYTES]) -> Result<(WavInfo, bool), Refusal> {
    let word = |i: usize| u32::from_be_bytes([desc[i], desc[i + 1], desc[i + 2], desc[i + 3]]);
    let rate_hz = f64::from_bits((u64::from(word(0)) << 32) | u64::from(word(4)));
    let kind = &desc[8..12];
    if kind != b"lpcm" {
        let name = kind.escape_ascii().to_string();
        return Err(match kind {
            b"alac" => {
                (format!("its sound is coded as {name}, which cannot be read"), EXPORT.into())
            }
            _ => (
                format!(
                    "its sound is coded as {name}, which is lossy: the treble that is to be measured is not in it"
                ),
                RECORD_AGAIN.into(),
            ),
        });
    }
    let [flags, per_packet, frames_per_packet, n_channels, bits] = [12, 16, 20, 24, 28].map(word);
    let encoding = match (flags & IS_FLOAT != 0, bits) {
        (false, 8..=16) if bits != 8 => Encoding::I16,
        (false, 17..=24) => Encoding::I24,
        (false, 25..=32) => Encoding::I32,
        (true, 32) => Encoding::F32,
        (true, 64) => Encoding::F64,
        _ => return Err(unreadable(bits, n_channels, per_packet)),
    };
    let bytes_per_frame = encoding.n_bytes() as u64 * u64::from(n_channels);
    let n_channels = u16::try_from(n_channels).ok().filter(|&n| n > 0);
    let (Some(n_channels), true, 1) =
        (n_channels, u64::from(per_packet) == bytes_per_frame, frames_per_packet)
    else {
        return Err(unreadable(bits, word(24), per_packet));
    };
    // Out of range where it is no number; the caller refuses such rates.
    let rate_hz = if rate_hz.fract() == 0.0 { rate_hz as u32 } else { 0 };
    let info = WavInfo {
        closed: true,
        rate_hz,
        n_channels,
        n_frames: 0,
        encoding,
        integer_bits: (flags & IS_FLOAT == 0).then_some(bits as u16),
    };
    Ok((info, flags & IS_LITTLE_ENDIAN == 0))
}

fn unreadable(bits: u32, n_channels: u32, per_packet: u32) -> Refusal {
    let what = format!("{bits} bits of {n_channels} channels in {per_packet} bytes");
    (format!("the sample format of this CAF file does not fit together: {what}"), EXPORT.into())
}

fn damaged(what: &str) -> Refusal {
    (format!("this CAF file is damaged: {what}"), COPY_OR_EXPORT.into())
}

fn read_at<const N: usize, R: Read + Seek>(reader: &mut R, at: u64) -> Result<[u8; N], Refusal> {
    let mut bytes = [0; N];
    let read = reader.seek(SeekFrom::Start(at)).and_then(|_| reader.read_exact(&mut bytes));
    read.map(|()| bytes).map_err(|e| damaged(&format!("it ends in a header ({e})")))
}
