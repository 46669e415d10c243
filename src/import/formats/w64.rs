//! The header walk of Wave64 files, which the library does not read.
//!
//! Source: the published description of the format (Sonic Foundry, "Wave64 file format"):
//! chunks have an identifier of 16 bytes, a length of 8 bytes that counts the 24 bytes of the
//! head, and begin at multiples of 8 bytes. The bodies are those of WAV. From memory, checked
//! against files of two other writers.

use super::kind::W64_RIFF;
use crate::ingest::wav::{Layout, WavFault, WavInfo, broken, read_exact_at, settle_format};
use std::io::{Read, Seek};

/// The last 12 bytes of the identifiers `wave`, `fmt ` and `data`.
const TAIL: [u8; 12] = [0xf3, 0xac, 0xd3, 0x11, 0x8c, 0xd1, 0x00, 0xc0, 0x4f, 0x8e, 0xdb, 0x8a];
const HEAD_BYTES: u64 = 24;
/// A file of empty chunks would otherwise be walked for minutes.
const MAX_CHUNKS: usize = 4096;

pub(super) fn read_layout<R: Read + Seek>(
    reader: &mut R,
    n_bytes: u64,
) -> Result<Layout, WavFault> {
    let mut head = [0; 40];
    read_exact_at(reader, 0, &mut head)?;
    if head[..16] != W64_RIFF || !is(&head[24..], b"wave") {
        return Err(broken(0, "no Wave64 header"));
    }
    let mut format = None;
    let mut at = 40;
    for _ in 0..MAX_CHUNKS {
        let mut head = [0; HEAD_BYTES as usize];
        if at + HEAD_BYTES > n_bytes {
            return Err(broken(at, "there is no `data` chunk"));
        }
        read_exact_at(reader, at, &mut head)?;
        let [.., a, b, c, d, e, f, g, h] = head;
        let size = u64::from_le_bytes([a, b, c, d, e, f, g, h]);
        let body_bytes = size
            .checked_sub(HEAD_BYTES)
            .ok_or_else(|| broken(at, "a chunk that is shorter than its head"))?;
        let body = at + HEAD_BYTES;
        if is(&head, b"fmt ") {
            if format.is_some() || body_bytes < 16 || body + body_bytes.min(40) > n_bytes {
                return Err(broken(at, "a `fmt ` chunk that is doubled, too short or cut off"));
            }
            let mut bytes = vec![0; body_bytes.min(40) as usize];
            read_exact_at(reader, body, &mut bytes)?;
            format = Some(settle_format(at, &bytes)?);
        } else if is(&head, b"data") {
            let format = format.ok_or_else(|| broken(at, "no `fmt ` chunk before `data`"))?;
            let present_bytes = n_bytes - body;
            if body_bytes > present_bytes {
                return Err(WavFault::Truncated { declared_bytes: body_bytes, present_bytes });
            }
            let per_frame = format.bytes_per_frame() as u64;
            if body_bytes == 0 {
                return Err(WavFault::Empty { what: "its header declares 0 bytes of sound" });
            }
            if !body_bytes.is_multiple_of(per_frame) {
                return Err(broken(at, "its sound is no whole number of frames"));
            }
            let info = WavInfo { n_frames: body_bytes / per_frame, ..format };
            return Ok(Layout { info, data_offset: body });
        }
        at = at
            .checked_add(size)
            .and_then(|end| end.checked_next_multiple_of(8))
            .ok_or_else(|| broken(at, "a chunk without end"))?;
    }
    Err(broken(at, "more than 4096 chunks"))
}

/// Whether the identifier at the start of `head` is that of `name`.
fn is(head: &[u8], name: &[u8; 4]) -> bool {
    head.len() >= 16 && head[..4] == name[..] && head[4..16] == TAIL
}
