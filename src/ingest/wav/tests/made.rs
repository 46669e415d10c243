//! WAV files, byte by byte.

/// A WAV file whose every field can be wrong.
#[derive(Clone)]
pub(super) struct Made {
    pub(super) form: &'static [u8; 4],
    pub(super) tag: u16,
    pub(super) n_channels: u16,
    pub(super) rate_hz: u32,
    pub(super) container_bits: u16,
    pub(super) valid_bits: u16,
    pub(super) extensible: bool,
    pub(super) data: Vec<u8>,
    pub(super) declared: Option<u32>,
}

impl Made {
    pub(super) fn integer(bits: u16, n_channels: u16, data: Vec<u8>) -> Self {
        Self {
            form: b"RIFF",
            tag: 1,
            n_channels,
            rate_hz: 48_000,
            container_bits: bits,
            valid_bits: bits,
            extensible: false,
            data,
            declared: None,
        }
    }

    pub(super) fn float(bits: u16, n_channels: u16, data: Vec<u8>) -> Self {
        Self { tag: 3, ..Self::integer(bits, n_channels, data) }
    }

    pub(super) fn extensible(bits: u16, valid_bits: u16, n_channels: u16, data: Vec<u8>) -> Self {
        Self { extensible: true, valid_bits, ..Self::integer(bits, n_channels, data) }
    }

    pub(super) fn fmt(&self) -> Vec<u8> {
        let align = self.container_bits.div_ceil(8) * self.n_channels;
        let tag = if self.extensible { 0xfffe } else { self.tag };
        let mut body = Vec::new();
        body.extend(tag.to_le_bytes());
        body.extend(self.n_channels.to_le_bytes());
        body.extend(self.rate_hz.to_le_bytes());
        body.extend((self.rate_hz * u32::from(align)).to_le_bytes());
        body.extend(align.to_le_bytes());
        body.extend(self.container_bits.to_le_bytes());
        if self.extensible {
            body.extend(22u16.to_le_bytes());
            body.extend(self.valid_bits.to_le_bytes());
            body.extend(0u32.to_le_bytes());
            body.extend(self.tag.to_le_bytes());
            body.extend([0, 0, 0, 0, 0x10, 0, 0x80, 0, 0, 0xaa, 0, 0x38, 0x9b, 0x71]);
        }
        chunk(b"fmt ", &body)
    }

    pub(super) fn data(&self) -> Vec<u8> {
        let mut out = chunk(b"data", &self.data);
        if let Some(declared) = self.declared {
            out[4..8].copy_from_slice(&declared.to_le_bytes());
        }
        out
    }

    pub(super) fn bytes(&self) -> Vec<u8> {
        file(self.form, &[self.fmt(), self.data()])
    }
}

pub(super) fn chunk(id: &[u8; 4], body: &[u8]) -> Vec<u8> {
    let mut out = id.to_vec();
    out.extend((body.len() as u32).to_le_bytes());
    out.extend(body);
    if body.len() % 2 == 1 {
        out.push(0);
    }
    out
}

pub(super) fn file(form: &[u8; 4], chunks: &[Vec<u8>]) -> Vec<u8> {
    let body: Vec<u8> = chunks.concat();
    let mut out = form.to_vec();
    out.extend((body.len() as u32 + 4).to_le_bytes());
    out.extend(b"WAVE");
    out.extend(body);
    out
}
