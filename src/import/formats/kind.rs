//! What a file is, by its content.

use super::sound::{RECORD_AGAIN, Refusal};

/// Bytes at the start of a file that tell its kind.
pub(super) const HEAD_BYTES: usize = 4096;

/// Kinds of recordings that can be brought in.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Kind {
    /// RIFF, RF64 or BW64.
    Wav,
    /// Wave64: chunks named by identifiers of 16 bytes.
    W64,
    /// AIFF or AIFC.
    Aiff,
    /// Core Audio Format.
    Caf,
    /// FLAC, possibly after a tag of so many bytes.
    Flac {
        /// Where the stream begins, bytes.
        offset: u64,
    },
}

/// First bytes of the identifiers that a Wave64 file begins with: `riff` and 12 more.
pub(super) const W64_RIFF: [u8; 16] = [
    0x72, 0x69, 0x66, 0x66, 0x2e, 0x91, 0xcf, 0x11, 0xa5, 0xd6, 0x28, 0xdb, 0x04, 0xc1, 0x00, 0x00,
];

/// Kind of the file that begins with `head`.
///
/// # Errors
/// What it is instead, and what to do: lossy recordings are refused, since what they leave out
/// is what is to be measured.
pub(super) fn recognise(head: &[u8]) -> Result<Kind, Refusal> {
    let (at, tagged) = after_tag(head);
    let body = head.get(at..).unwrap_or(&[]);
    if body.starts_with(b"fLaC") {
        return Ok(Kind::Flac { offset: at as u64 });
    }
    if tagged {
        return Err(lossy("MP3"));
    }
    match head.get(..4) {
        Some(b"RIFF" | b"RF64" | b"BW64") => return Ok(Kind::Wav),
        Some(b"FORM") => return Ok(Kind::Aiff),
        Some(b"caff") => return Ok(Kind::Caf),
        _ => {}
    }
    if head.starts_with(&W64_RIFF) {
        return Ok(Kind::W64);
    }
    Err(refusal(head))
}

/// Where the sound begins after a tag of the kind that MP3 files carry, which some programs
/// put before FLAC too; and whether there is one.
fn after_tag(head: &[u8]) -> (usize, bool) {
    let [b'I', b'D', b'3', _, _, _, a, b, c, d, ..] = *head else { return (0, false) };
    let size = [a, b, c, d].iter().fold(0usize, |n, x| (n << 7) | usize::from(x & 0x7f));
    (size + 10, true)
}

fn refusal(head: &[u8]) -> Refusal {
    let is_at = |at: usize, magic: &[u8]| head.get(at..).is_some_and(|h| h.starts_with(magic));
    let holds = |magic: &[u8]| head.windows(magic.len()).any(|w| w == magic);
    if is_at(0, b"OggS") {
        return match () {
            () if holds(b"OpusHead") => lossy("Opus"),
            () if holds(b"\x01vorbis") => lossy("Ogg Vorbis"),
            () if holds(b"Speex   ") => lossy("Speex"),
            () if holds(b"\x7fFLAC") => unreadable("FLAC inside Ogg"),
            () => lossy("Ogg"),
        };
    }
    if is_at(4, b"ftyp") {
        return if holds(b"alac") {
            unreadable("ALAC inside MP4")
        } else {
            lossy("AAC (MP4 or M4A)")
        };
    }
    if let Some(name) = mpeg_frame(head) {
        return lossy(name);
    }
    let lossy_kinds: [(&[u8], &str); 4] = [
        (b"\x30\x26\xb2\x75\x8e\x66\xcf\x11", "Windows Media"),
        (b"#!AMR", "AMR"),
        (b"ADIF", "AAC"),
        (b"MPCK", "Musepack"),
    ];
    let other_kinds: [(&[u8], &str); 11] = [
        (b"RIFX", "a big-endian RIFX file"),
        (b"wvpk", "WavPack"),
        (b"MAC ", "Monkey's Audio"),
        (b"DSD ", "DSD"),
        (b"FRM8", "DSD"),
        (b"\x1a\x45\xdf\xa3", "a Matroska or WebM film"),
        (b".snd", "a Sun audio file"),
        (b"MThd", "MIDI"),
        (b"PK\x03\x04", "a ZIP archive"),
        (b"%PDF", "PDF"),
        (b"<", "a web page or XML"),
    ];
    let named = |kinds: &[(&[u8], &'static str)]| {
        kinds.iter().find(|(magic, _)| is_at(0, magic)).map(|(_, name)| *name)
    };
    match (named(&lossy_kinds), named(&other_kinds)) {
        (Some(name), _) => lossy(name),
        (_, Some(name)) => unreadable(name),
        _ => {
            let start = head[..head.len().min(4)].escape_ascii();
            unreadable(&format!("no recording of a known kind (it begins with \"{start}\")"))
        }
    }
}

/// Two of MPEG's frame headers, one where the first says the next begins: chance alone makes
/// one of two bytes in two thousand.
fn mpeg_frame(head: &[u8]) -> Option<&'static str> {
    const KBIT_S: [[usize; 15]; 2] = [
        [0, 32, 40, 48, 56, 64, 80, 96, 112, 128, 160, 192, 224, 256, 320],
        [0, 8, 16, 24, 32, 40, 48, 56, 64, 80, 96, 112, 128, 144, 160],
    ];
    let [0xff, b, c, d, e, f, ..] = *head else { return None };
    if b & 0xf6 == 0xf0 {
        // ADTS: 13 bits of length, from the fourth byte on.
        let length = (usize::from(d & 3) << 11) | (usize::from(e) << 3) | usize::from(f >> 5);
        return same_sync(head, length).then_some("AAC");
    }
    if b & 0xe6 != 0xe2 {
        return None;
    }
    let version_1 = b & 0x08 != 0;
    let kbit = *KBIT_S[usize::from(!version_1)].get(usize::from(c >> 4))?;
    let rate = [44_100usize, 48_000, 32_000].get(usize::from((c >> 2) & 3))?
        >> match (b >> 3) & 3 {
            3 => 0,
            2 => 1,
            _ => 2,
        };
    let length =
        (if version_1 { 144_000 } else { 72_000 }) * kbit / rate + usize::from((c >> 1) & 1);
    same_sync(head, length).then_some("MP3")
}

/// Whether another frame of the same stream begins `length` bytes after the first, or would
/// begin beyond what was read.
fn same_sync(head: &[u8], length: usize) -> bool {
    length > 4
        && head.get(length..length + 2).is_none_or(|next| next[0] == head[0] && next[1] == head[1])
}

fn lossy(name: &str) -> Refusal {
    (
        format!("this is {name}, which is lossy: the treble that is to be measured is not in it"),
        RECORD_AGAIN.into(),
    )
}

fn unreadable(name: &str) -> Refusal {
    (
        format!("this is {name}, which cannot be read"),
        "export it as WAV or FLAC, without loss and without any processing".into(),
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn kinds_are_told_by_content() {
        let mut tagged = b"ID3\x04\0\0\0\0\0\x05junk!fLaC".to_vec();
        assert_eq!(recognise(&tagged), Ok(Kind::Flac { offset: 15 }));
        tagged[15] = b'x';
        assert!(recognise(&tagged).unwrap_err().0.contains("MP3, which is lossy"));
        assert_eq!(recognise(b"RF64\xff\xff\xff\xffWAVE"), Ok(Kind::Wav));
        assert_eq!(recognise(b"caff\0\x01"), Ok(Kind::Caf));
        for (head, part) in [
            (&b"OggS\0\0\0OpusHead"[..], "Opus, which is lossy"),
            (b"OggS\0\0\0\x01vorbis", "Vorbis, which is lossy"),
            (b"\0\0\0\x20ftypM4A ", "AAC (MP4 or M4A), which is lossy"),
            (b"\0\0\0\x20ftypM4A ....alac", "ALAC"),
            (b"%PDF-1.7", "PDF, which cannot be read"),
            (b"", "begins with \"\""),
            (b"hello", "begins with \"hell\""),
        ] {
            let (problem, advice) = recognise(head).unwrap_err();
            assert!(problem.contains(part), "{problem}");
            assert!(advice.contains("WAV or FLAC"), "{advice}");
        }
    }

    #[test]
    fn mpeg_frames_need_two_that_agree() {
        // 128 kbit/s, 44.1 kHz: 417 bytes a frame.
        let mut mp3 = vec![0u8; 1000];
        mp3[..4].copy_from_slice(&[0xff, 0xfb, 0x90, 0x00]);
        mp3[417..419].copy_from_slice(&[0xff, 0xfb]);
        assert!(recognise(&mp3).unwrap_err().0.contains("MP3"));
        mp3[417] = 0;
        assert!(recognise(&mp3).unwrap_err().0.contains("cannot be read"));
        let mut aac = vec![0u8; 1000];
        aac[..7].copy_from_slice(&[0xff, 0xf1, 0x50, 0x80, 0x2e, 0x7f, 0xfc]);
        aac[371..373].copy_from_slice(&[0xff, 0xf1]);
        let length = (0x2e << 3) | (0x7f >> 5);
        assert_eq!(length, 371);
        assert!(recognise(&aac).unwrap_err().0.contains("AAC"));
    }
}
