//! The header walk: which chunk is where, and what the samples are.
//!
//! Sources: RIFF/WAVE and `WAVE_FORMAT_EXTENSIBLE` as in the format's published
//! description (Multimedia Programming Interface and Data Specifications 1.0;
//! valid bits are left-aligned in their container), RF64 as in EBU Tech 3306,
//! BW64 as in ITU-R BS.2088. From memory, checked against files of other writers.

use super::fault::WavFault;
use super::info::{Encoding, WavInfo};
use super::limits::{MAX_FRAMES, RATE_RANGE_HZ};
use super::other::{looks_like, tag_name};
use std::io::{self, Read, Seek, SeekFrom};

/// [`WavInfo`] and the place of the samples.
#[derive(Debug)]
pub(crate) struct Layout {
    pub(crate) info: WavInfo,
    /// Bytes from the start of the file.
    pub(crate) data_offset: u64,
}

/// A file of zero-sized chunks would otherwise be walked for minutes.
const MAX_CHUNKS: usize = 4096;

/// Bytes of a `fmt ` chunk that matter: the extensible form.
const FMT_BYTES: usize = 40;

/// Walks the chunks of a file of `n_bytes` and settles the format of a take.
pub(super) fn read_layout<R: Read + Seek>(
    reader: &mut R,
    n_bytes: u64,
) -> Result<Layout, WavFault> {
    let layout = read_long_layout(reader, n_bytes)?;
    let n_frames = layout.info.n_frames;
    if n_frames > MAX_FRAMES { Err(WavFault::TooLong { n_frames }) } else { Ok(layout) }
}

/// As [`read_layout`], of a recording of any length.
pub(crate) fn read_long_layout<R: Read + Seek>(
    reader: &mut R,
    n_bytes: u64,
) -> Result<Layout, WavFault> {
    let Chunks { fmt, data, is_last, end: at } = walk(reader, n_bytes)?;
    let (data_offset, declared) = data.ok_or_else(|| broken(at, "there is no `data` chunk"))?;
    let present = n_bytes - data_offset;
    if declared > present && !is_last {
        return Err(WavFault::Truncated { declared_bytes: declared, present_bytes: present });
    }
    let (fmt_at, fmt) = fmt.ok_or_else(|| broken(at, "there is no `fmt ` chunk"))?;
    let format = settle_format(fmt_at, &fmt)?;
    let per_frame = format.bytes_per_frame() as u64;
    let closed = !(is_last && present >= per_frame);
    // The last frame may be cut.
    let declared = if closed { declared } else { present - present % per_frame };
    if declared == 0 {
        return Err(WavFault::Empty { what: "its header declares 0 bytes of sound" });
    }
    if declared % per_frame != 0 {
        return Err(broken(
            data_offset - 8,
            format!("{declared} bytes of sound are no whole number of {per_frame}-byte frames"),
        ));
    }
    let info = WavInfo { n_frames: declared / per_frame, closed, ..format };
    Ok(Layout { info, data_offset })
}

/// What the walk over the chunks found.
struct Chunks {
    /// Place and bytes of the `fmt ` chunk.
    fmt: Option<(u64, Vec<u8>)>,
    /// First byte of the sound, and how many the header declares.
    data: Option<(u64, u64)>,
    /// Whether the length is left open and the sound goes on to the end of the file.
    is_last: bool,
    /// Where the walk ended.
    end: u64,
}

/// A length that the header leaves open, or to a `ds64` chunk.
const OPEN: u64 = u32::MAX as u64;

fn walk<R: Read + Seek>(reader: &mut R, n_bytes: u64) -> Result<Chunks, WavFault> {
    let is_64 = read_form(reader, n_bytes)?;
    let mut found = Chunks { fmt: None, data: None, is_last: false, end: 12 };
    let mut ds64_data_bytes = None;
    let mut n_chunks = 0usize;
    while found.end + 8 <= n_bytes {
        let at = found.end;
        n_chunks += 1;
        if n_chunks > MAX_CHUNKS {
            return Err(broken(at, format!("more than {MAX_CHUNKS} chunks")));
        }
        // No chunk name: whatever this is, the chunks have ended.
        let Some((name, mut size)) = chunk_head(reader, at)? else { break };
        let body = at + 8;
        match &name {
            b"fmt " if found.fmt.is_some() => return Err(broken(at, "a second `fmt ` chunk")),
            b"data" if found.data.is_some() => return Err(broken(at, "a second `data` chunk")),
            b"fmt " => found.fmt = Some((at, read_fmt(reader, at, size, n_bytes)?)),
            b"ds64" if is_64 => ds64_data_bytes = Some(read_ds64(reader, at, size, n_bytes)?),
            b"data" => {
                if is_64 && size == OPEN {
                    let what =
                        "the length of the sound is left to a `ds64` chunk that is not there";
                    size = ds64_data_bytes.ok_or_else(|| broken(at, what))?;
                }
                found.data = Some((body, size));
                // Sound may look like chunks.
                let is_open = size == 0 || (size == OPEN && !is_64);
                found.is_last = is_open && !more_chunks(reader, body, n_bytes)?;
                if found.is_last {
                    break;
                }
            }
            _ => {}
        }
        let Some(end) = body.checked_add(size).filter(|&end| end <= n_bytes) else { break };
        found.end = after_padding(reader, end, size, n_bytes)?;
    }
    Ok(found)
}

/// Name and length of the chunk at `at`; `None` where what stands there is no name.
fn chunk_head<R: Read + Seek>(reader: &mut R, at: u64) -> Result<Option<([u8; 4], u64)>, WavFault> {
    let [a, b, c, d, size @ ..]: [u8; 8] = read_at(reader, at)?;
    let name = [a, b, c, d];
    let is_name = name.iter().all(|b| (0x20..0x7f).contains(b));
    Ok(is_name.then(|| (name, u64::from(u32::from_le_bytes(size)))))
}

/// What matters of the body of the `fmt ` chunk at `at`.
fn read_fmt<R: Read + Seek>(
    reader: &mut R,
    at: u64,
    size: u64,
    n_bytes: u64,
) -> Result<Vec<u8>, WavFault> {
    if size < 16 || at + 8 + size > n_bytes {
        return Err(broken(
            at,
            format!("a `fmt ` chunk of {size} bytes, expected 16 or more, all present"),
        ));
    }
    let mut bytes = vec![0u8; (size as usize).min(FMT_BYTES)];
    read_exact_at(reader, at + 8, &mut bytes)?;
    Ok(bytes)
}

/// Bytes of sound that the `ds64` chunk at `at` declares.
fn read_ds64<R: Read + Seek>(
    reader: &mut R,
    at: u64,
    size: u64,
    n_bytes: u64,
) -> Result<u64, WavFault> {
    if size < 24 || at + 32 > n_bytes {
        return Err(broken(at, format!("a `ds64` chunk of {size} bytes, expected 28 or more")));
    }
    Ok(u64::from_le_bytes(read_at(reader, at + 16)?))
}

/// Whether a walk of whole chunks leads from `at` to the end of the file.
fn more_chunks<R: Read + Seek>(
    reader: &mut R,
    mut at: u64,
    n_bytes: u64,
) -> Result<bool, WavFault> {
    for _ in 0..MAX_CHUNKS {
        if at + 8 > n_bytes {
            return Ok(at + 1 >= n_bytes);
        }
        let Some((_, size)) = chunk_head(reader, at)? else { return Ok(false) };
        at = at + 8 + size + size % 2;
    }
    Ok(false)
}

/// Checks the first twelve bytes; true for the 64-bit forms.
fn read_form<R: Read + Seek>(reader: &mut R, n_bytes: u64) -> Result<bool, WavFault> {
    if n_bytes == 0 {
        return Err(WavFault::Empty { what: "it has 0 bytes" });
    }
    let mut head = [0u8; 12];
    let n_head = n_bytes.min(12) as usize;
    read_exact_at(reader, 0, &mut head[..n_head])?;
    let is_64 = match &head[..4] {
        b"RIFF" => false,
        b"RF64" | b"BW64" => true,
        _ => return Err(WavFault::NotWav { found: looks_like(&head[..n_head]) }),
    };
    if n_head < 12 {
        return Err(broken(0, format!("the file ends after {n_bytes} bytes")));
    }
    if &head[8..] != b"WAVE" {
        return Err(WavFault::NotWav {
            found: format!("a RIFF file of kind \"{}\"", head[8..].escape_ascii()),
        });
    }
    Ok(is_64)
}

/// Chunks start at even positions. Some writers forget the padding byte, so a
/// non-zero byte there that begins a known chunk name is taken as that chunk.
fn after_padding<R: Read + Seek>(
    reader: &mut R,
    end: u64,
    size: u64,
    n_bytes: u64,
) -> Result<u64, WavFault> {
    if size.is_multiple_of(2) {
        return Ok(end);
    }
    if end + 8 <= n_bytes {
        let id: [u8; 4] = read_at(reader, end)?;
        let known: [&[u8; 4]; 9] =
            [b"fmt ", b"data", b"fact", b"LIST", b"bext", b"JUNK", b"ds64", b"cue ", b"iXML"];
        if known.contains(&&id) {
            return Ok(end);
        }
    }
    Ok(end + 1)
}

const TAG_PCM: u16 = 1;
const TAG_FLOAT: u16 = 3;
const TAG_EXTENSIBLE: u16 = 0xfffe;

/// Bytes 2..16 of the sub-format identifiers that stand for a plain format tag.
const SUBFORMAT_TAIL: [u8; 14] = [0, 0, 0, 0, 0x10, 0, 0x80, 0, 0, 0xaa, 0, 0x38, 0x9b, 0x71];

/// The format by the body of the `fmt ` chunk at byte `at`, 16 bytes or more: of no frames yet.
pub(crate) fn settle_format(at: u64, fmt: &[u8]) -> Result<WavInfo, WavFault> {
    let word = |i: usize| u16::from_le_bytes([fmt[i], fmt[i + 1]]);
    let n_channels = word(2);
    let rate_hz = u32::from_le_bytes([fmt[4], fmt[5], fmt[6], fmt[7]]);
    let bytes_per_frame = usize::from(word(12));
    let container_bits = word(14);
    let mut tag = word(0);
    let mut valid_bits = container_bits;
    if tag == TAG_EXTENSIBLE {
        if fmt.len() < FMT_BYTES || word(16) < 22 {
            return Err(broken(at, "an extensible `fmt ` chunk without its extension"));
        }
        if fmt[26..40] != SUBFORMAT_TAIL {
            return Err(WavFault::Format {
                what: format!("an unknown sub-format {:02x?}", &fmt[24..40]),
            });
        }
        tag = word(24);
        // 0 is written by some recorders and means "all of them".
        if word(18) != 0 {
            valid_bits = word(18);
        }
    }
    if !matches!(tag, TAG_PCM | TAG_FLOAT) {
        return Err(WavFault::Compressed { tag, name: tag_name(tag) });
    }
    if n_channels == 0 {
        return Err(WavFault::Format { what: "0 channels".into() });
    }
    if bytes_per_frame == 0 || bytes_per_frame % usize::from(n_channels) != 0 {
        return Err(WavFault::Format {
            what: format!("{bytes_per_frame} bytes a frame for {n_channels} channels"),
        });
    }
    let n_bytes = bytes_per_frame / usize::from(n_channels);
    let mismatch = || WavFault::Format {
        what: format!(
            "{valid_bits} of {container_bits} bits {} in {n_bytes} bytes a sample",
            if tag == TAG_FLOAT { "float" } else { "integer" }
        ),
    };
    let fits = usize::from(container_bits) <= 8 * n_bytes
        && valid_bits <= container_bits
        && valid_bits >= 8;
    let encoding = match (tag, n_bytes) {
        _ if !fits => return Err(mismatch()),
        (TAG_PCM, 1) => Encoding::U8,
        (TAG_PCM, 2) => Encoding::I16,
        (TAG_PCM, 3) => Encoding::I24,
        (TAG_PCM, 4) => Encoding::I32,
        (TAG_FLOAT, 4) if container_bits == 32 => Encoding::F32,
        (TAG_FLOAT, 8) if container_bits == 64 => Encoding::F64,
        _ => return Err(mismatch()),
    };
    if rate_hz < RATE_RANGE_HZ[0] || rate_hz > RATE_RANGE_HZ[1] {
        return Err(WavFault::Rate { found_hz: rate_hz });
    }
    let integer_bits = (tag == TAG_PCM).then_some(valid_bits);
    Ok(WavInfo { rate_hz, n_channels, n_frames: 0, encoding, closed: true, integer_bits })
}

pub(crate) fn broken(at_byte: u64, what: impl Into<String>) -> WavFault {
    WavFault::Broken { at_byte, what: what.into() }
}

fn read_at<const N: usize, R: Read + Seek>(reader: &mut R, at: u64) -> Result<[u8; N], WavFault> {
    let mut bytes = [0u8; N];
    read_exact_at(reader, at, &mut bytes)?;
    Ok(bytes)
}

pub(crate) fn read_exact_at<R: Read + Seek>(
    reader: &mut R,
    at: u64,
    bytes: &mut [u8],
) -> Result<(), WavFault> {
    reader.seek(SeekFrom::Start(at)).and_then(|_| reader.read_exact(bytes)).map_err(|source| {
        match source.kind() {
            io::ErrorKind::UnexpectedEof => broken(at, "the file ended while being read"),
            _ => WavFault::Io { source },
        }
    })
}
