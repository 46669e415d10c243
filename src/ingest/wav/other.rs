//! What a file is that is no plain WAV file, in words.

/// A guess in words at what a file is, from its first bytes.
pub(super) fn looks_like(head: &[u8]) -> String {
    let known: &[(&[u8], &str)] = &[
        (b"RIFX", "it is a big-endian RIFX file"),
        (b"FORM", "it looks like AIFF"),
        (b"fLaC", "it looks like FLAC"),
        (b"OggS", "it looks like Ogg"),
        (b"ID3", "it looks like MP3"),
        (b"\xff\xfb", "it looks like MP3"),
        (b"caff", "it looks like a CAF file"),
        (b"riff", "it looks like a Wave64 file"),
        (b"MThd", "it looks like MIDI"),
        (b"PK\x03\x04", "it looks like a ZIP archive"),
        (b"%PDF", "it looks like PDF"),
        (b"<", "it looks like a web page or XML"),
    ];
    if head.len() >= 8 && &head[4..8] == b"ftyp" {
        return "it looks like MP4 or M4A".into();
    }
    for (magic, words) in known {
        if head.starts_with(magic) {
            return (*words).into();
        }
    }
    format!("it begins with \"{}\", expected \"RIFF\"", head[..head.len().min(4)].escape_ascii())
}

/// The coding that a format tag stands for.
pub(super) fn tag_name(tag: u16) -> &'static str {
    match tag {
        0x0002 | 0x0011 => "ADPCM",
        0x0006 => "A-law",
        0x0007 => "mu-law",
        0x0031 => "GSM",
        0x0050 | 0x0055 => "MPEG audio",
        0x00ff | 0x1600..=0x1610 => "AAC",
        0x0160..=0x0163 => "a Windows media format",
        0xf1ac => "FLAC",
        _ => "an unknown coding",
    }
}
