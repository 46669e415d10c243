//! Compression of bytes that are mostly zeros: a zlib stream (RFC 1950) of one block (RFC 1951).
//!
//! The rows of a plot, each as its difference to the row above, are zeros but for a few edges.
//! A general compressor looks at every byte; this one is told how many zeros there are.

/// Longest run that one symbol stands for.
const LONGEST: usize = 258;
/// Symbols of the first alphabet: bytes, the end, and lengths of runs.
const N_SYMBOLS: usize = 286;
const END: usize = 256;
/// Of the longest run.
const WHOLE: usize = 285;

/// Bits of a symbol: few for zeros and whole runs of them, about the same for all other bytes, which
/// are steps of smooth edges between any two colours. With eight bytes at 8 bits the code is complete.
const fn bits_of(symbol: usize) -> u8 {
    match symbol {
        WHOLE => 2,
        0 => 3,
        1..=4 | 252..=255 | 257..=284 => 8,
        _ => 9,
    }
}

const LENGTHS: [u8; N_SYMBOLS] = {
    let mut lengths = [0; N_SYMBOLS];
    let mut symbol = 0;
    while symbol < N_SYMBOLS {
        lengths[symbol] = bits_of(symbol);
        symbol += 1;
    }
    lengths
};
static CODES: [(u16, u8); N_SYMBOLS] = codes(LENGTHS);

/// The same for the lengths themselves, as the head of the block gives them.
const LENGTH_CODES: [(u16, u8); 19] = {
    let mut lengths = [0; 19];
    lengths[9] = 1;
    lengths[8] = 2;
    lengths[3] = 3;
    lengths[2] = 4;
    lengths[1] = 4;
    codes(lengths)
};
/// Order in which the head gives the lengths of [`LENGTH_CODES`] (RFC 1951, 3.2.7).
const ORDER: [usize; 18] = [16, 17, 18, 0, 8, 7, 9, 6, 10, 5, 11, 4, 12, 3, 13, 2, 14, 1];

/// Codes of given lengths (RFC 1951, 3.2.2), first bit lowest, and the lengths.
const fn codes<const N: usize>(lengths: [u8; N]) -> [(u16, u8); N] {
    let mut codes = [(0, 0); N];
    let mut next = 0u16;
    let mut length = 1;
    while length <= 15 {
        next <<= 1;
        let mut symbol = 0;
        while symbol < N {
            if lengths[symbol] == length {
                codes[symbol] = (next.reverse_bits() >> (16 - length), length);
                next += 1;
            }
            symbol += 1;
        }
        length += 1;
    }
    codes
}

/// A stream in the making.
pub(super) struct Deflater {
    out: Vec<u8>,
    /// Bits that wait for more, the first lowest, and their number.
    bits: u64,
    n_bits: u32,
    /// Both sums of Adler-32, not yet taken modulo: 19 MB of 255 leave them below 2^57.
    sums: [u64; 2],
    /// Zeros that wait for their run to end.
    n_zeros: usize,
}

impl Deflater {
    pub(super) fn new() -> Self {
        let mut stream =
            Self { out: vec![0x78, 0x01], bits: 0, n_bits: 0, sums: [1, 0], n_zeros: 0 };
        // The last block, of codes of its own; all symbols, one distance, the lengths of ORDER.
        for (value, n_bits) in [(1, 1), (2, 2), (N_SYMBOLS - 257, 5), (0, 5), (ORDER.len() - 4, 4)]
        {
            stream.put(value as u16, n_bits);
        }
        for symbol in ORDER {
            stream.put(LENGTH_CODES[symbol].1.into(), 3);
        }
        // The only distance, 1, takes one bit.
        for length in LENGTHS.into_iter().chain([1]) {
            let (code, n_bits) = LENGTH_CODES[usize::from(length)];
            stream.put(code, n_bits);
        }
        stream
    }

    /// Zeros.
    pub(super) fn zeros(&mut self, n: usize) {
        self.n_zeros += n;
    }

    /// Any bytes.
    pub(super) fn bytes(&mut self, bytes: &[u8]) {
        for &byte in bytes {
            if byte == 0 {
                self.n_zeros += 1;
                continue;
            }
            if self.n_zeros > 0 {
                self.end_run();
            }
            self.sums[0] += u64::from(byte);
            self.sums[1] += self.sums[0];
            self.symbol(byte.into());
        }
    }

    /// The finished stream.
    pub(super) fn finish(mut self) -> Vec<u8> {
        self.end_run();
        self.symbol(END);
        self.put(0, 7);
        let whole = self.n_bits as usize / 8;
        self.out.extend_from_slice(&self.bits.to_le_bytes()[..whole]);
        let [a, b] = self.sums.map(|sum| (sum % 65_521) as u32);
        self.out.extend_from_slice(&(b << 16 | a).to_be_bytes());
        self.out
    }

    /// The zeros that wait: one as a byte, the others as copies of the byte before.
    fn end_run(&mut self) {
        let n = std::mem::take(&mut self.n_zeros);
        if n == 0 {
            return;
        }
        self.sums[1] += n as u64 * self.sums[0];
        self.symbol(0);
        let copies = n - 1;
        for _ in 0..copies / LONGEST {
            self.run(WHOLE, 0, 0);
        }
        match copies % LONGEST {
            few @ 0..=2 => (0..few).for_each(|_| self.symbol(0)),
            short @ 3..=10 => self.run(254 + short, 0, 0),
            long => {
                // Four symbols for each power of two, told apart by the next two bits.
                let above = long - 3;
                let n_extra = above.ilog2() - 2;
                let symbol = 261 + 4 * n_extra as usize + (above >> n_extra & 3);
                self.run(symbol, (above & ((1 << n_extra) - 1)) as u16, n_extra as u8);
            }
        }
    }

    /// A run: symbol, rest of its length, and the distance.
    fn run(&mut self, symbol: usize, extra: u16, n_extra: u8) {
        self.symbol(symbol);
        self.put(extra, n_extra + 1);
    }

    fn symbol(&mut self, symbol: usize) {
        let (code, n_bits) = CODES[symbol];
        self.put(code, n_bits);
    }

    fn put(&mut self, bits: u16, n_bits: u8) {
        self.bits |= u64::from(bits) << self.n_bits;
        self.n_bits += u32::from(n_bits);
        if self.n_bits >= 32 {
            self.out.extend_from_slice(&(self.bits as u32).to_le_bytes());
            self.bits >>= 32;
            self.n_bits -= 32;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// What a reader of PNG makes of a stream, as one row of grey; it checks the sums.
    fn read(stream: &[u8], n: usize) -> Vec<u8> {
        let mut file = Vec::new();
        let mut encoder = png::Encoder::new(&mut file, n as u32, 1);
        encoder.set_color(png::ColorType::Grayscale);
        let mut writer = encoder.write_header().unwrap();
        writer.write_chunk(png::chunk::IDAT, stream).unwrap();
        writer.finish().unwrap();
        let mut decoder = png::Decoder::new(std::io::Cursor::new(file));
        decoder.ignore_checksums(false);
        let mut reader = decoder.read_info().unwrap();
        let mut row = vec![0; n];
        reader.next_frame(&mut row).unwrap();
        row
    }

    #[test]
    fn a_reader_gets_back_runs_of_every_length_and_every_byte() {
        let mut stream = Deflater::new();
        // A row of PNG begins with its filter: none.
        stream.zeros(1);
        let mut want = Vec::new();
        for n in (0..600).chain([2580, 9600, 70_000]) {
            let byte = (n % 255 + 1) as u8;
            stream.bytes(&[byte]);
            stream.zeros(n);
            want.push(byte);
            want.resize(want.len() + n, 0);
        }
        let mixed: Vec<u8> = (0..5000u32).map(|i| (i * i / 7 % 256 * (i % 3)) as u8).collect();
        stream.bytes(&mixed);
        want.extend(mixed);
        assert!(read(&stream.finish(), want.len()) == want);
        let mut zeros = Deflater::new();
        zeros.zeros(1001);
        assert_eq!(read(&zeros.finish(), 1000), [0; 1000]);
    }

    #[test]
    fn the_code_is_complete() {
        let taken = |lengths: &[(u16, u8)]| -> f64 {
            lengths.iter().filter(|c| c.1 > 0).map(|c| 0.5f64.powi(c.1.into())).sum()
        };
        assert_eq!((taken(&CODES), taken(&LENGTH_CODES)), (1.0, 1.0));
    }
}
