//! Rows of pixels as PNG files, at the size at which they were drawn and at half of it.

use super::deflate::Deflater;

/// RGBA of some pixels side by side: looked at together, because most are as those above.
const BLOCK: usize = 64;
/// The same as RGB.
const BLOCK_RGB: usize = BLOCK / 4 * 3;
/// Filters of rows (ISO/IEC 15948, 9.2): differences to the pixel at the left and to that above.
const LEFT: u8 = 1;
const UP: u8 = 2;

/// Both pictures of a drawing while its rows come in, opaque and from top to bottom.
pub(super) struct Pictures {
    twice: Picture,
    once: Picture,
    /// A row of the smaller picture.
    row: Vec<u8>,
    /// Whether the last row was as the one before.
    still: bool,
}

impl Pictures {
    /// For a drawing of this width and height, px: multiples of 32 and of 2.
    pub(super) fn new([width, height]: [usize; 2]) -> Self {
        debug_assert!(width.is_multiple_of(BLOCK / 2) && height.is_multiple_of(2));
        let half = [width / 2, height / 2];
        Self {
            twice: Picture::new([width, height]),
            once: Picture::new(half),
            row: vec![0; 4 * half[0]],
            still: false,
        }
    }

    /// The next two rows, RGBA. They go all the way into both files before the next are looked at:
    /// how fast memory gives them is what limits this.
    pub(super) fn push(&mut self, upper: &[u8], lower: &[u8]) {
        let was_still = self.still;
        let changed = self.twice.push(upper);
        self.still = !self.twice.push(lower);
        if was_still && !changed && self.still {
            self.once.push_again();
        } else {
            halve(upper, lower, &mut self.row);
            self.once.push(&self.row);
        }
    }

    /// Both files, the smaller picture first.
    pub(super) fn finish(self) -> Result<[Vec<u8>; 2], png::EncodingError> {
        Ok([self.once.finish()?, self.twice.finish()?])
    }
}

/// A PNG file in the making, RGB.
struct Picture {
    size: [usize; 2],
    /// The row above, RGBA; before the first one zeros stand for it.
    above: Vec<u8>,
    /// A row moved to the right by one pixel.
    moved: Vec<u8>,
    /// Blocks in which a row differs from the one above, and from itself moved.
    new: [Vec<bool>; 2],
    data: Deflater,
}

impl Picture {
    fn new(size: [usize; 2]) -> Self {
        let row = vec![0; 4 * size[0]];
        let new = vec![false; row.len() / BLOCK];
        Self {
            size,
            above: row.clone(),
            moved: row,
            new: [new.clone(), new],
            data: Deflater::new(),
        }
    }

    /// The next row, RGBA; whether it differs from the one above.
    fn push(&mut self, row: &[u8]) -> bool {
        let [new, new_moved] = &mut self.new;
        let n_new = compare(row, &self.above, new);
        if n_new == 0 {
            self.push_again();
            return false;
        }
        // At the edge of a long line or area all is new against the row above, but little against
        // the pixel at the left.
        let mut left = false;
        if 4 * n_new > row.len() / BLOCK {
            self.moved[4..].copy_from_slice(&row[..row.len() - 4]);
            left = compare(row, &self.moved, new_moved) < n_new;
        }
        let (filter, other, new) =
            if left { (LEFT, &self.moved, new_moved) } else { (UP, &self.above, new) };
        self.data.bytes(&[filter]);
        for ((here, there), new) in blocks(row, other).zip(new) {
            if *new {
                self.data.bytes(&difference(here, there));
            } else {
                self.data.zeros(BLOCK_RGB);
            }
        }
        self.above.copy_from_slice(row);
        true
    }

    /// The row above once more.
    fn push_again(&mut self) {
        self.data.bytes(&[UP]);
        self.data.zeros(3 * self.size[0]);
    }

    fn finish(self) -> Result<Vec<u8>, png::EncodingError> {
        let mut file = Vec::new();
        let [width, height] = self.size.map(|px| px as u32);
        let mut encoder = png::Encoder::new(&mut file, width, height);
        encoder.set_color(png::ColorType::Rgb);
        encoder.set_depth(png::BitDepth::Eight);
        let mut png = encoder.write_header()?;
        png.write_chunk(png::chunk::IDAT, &self.data.finish())?;
        png.finish()?;
        Ok(file)
    }
}

/// Says of each block whether two rows differ there, and returns how many do.
fn compare(row: &[u8], other: &[u8], new: &mut [bool]) -> usize {
    for ((a, b), new) in blocks(row, other).zip(&mut *new) {
        *new = differ(a, b);
    }
    new.iter().filter(|new| **new).count()
}

/// Whether two blocks differ: all of them at once, since a look at one byte after another, or a
/// call for so few, takes longer.
fn differ(a: &[u8; BLOCK], b: &[u8; BLOCK]) -> bool {
    a.iter().zip(b).fold(0, |all, (a, b)| all | (a ^ b)) != 0
}

fn blocks<'a>(
    row: &'a [u8],
    other: &'a [u8],
) -> impl Iterator<Item = (&'a [u8; BLOCK], &'a [u8; BLOCK])> {
    row.as_chunks().0.iter().zip(other.as_chunks().0)
}

/// RGB of a block less that of another.
fn difference(here: &[u8; BLOCK], there: &[u8; BLOCK]) -> [u8; BLOCK_RGB] {
    let mut rgb = [0; BLOCK_RGB];
    let pixels = here.as_chunks::<4>().0.iter().zip(there.as_chunks::<4>().0);
    for ([r, g, b], (here, there)) in rgb.as_chunks_mut::<3>().0.iter_mut().zip(pixels) {
        *r = here[0].wrapping_sub(there[0]);
        *g = here[1].wrapping_sub(there[1]);
        *b = here[2].wrapping_sub(there[2]);
    }
    rgb
}

/// A row at half the size: a pixel is the mean of four.
fn halve(upper: &[u8], lower: &[u8], half: &mut [u8]) {
    const WHITE: [u8; BLOCK] = [u8::MAX; BLOCK];
    let halves = half.as_chunks_mut::<{ BLOCK / 2 }>().0.iter_mut();
    for (half, (upper, lower)) in halves.zip(blocks(upper, lower)) {
        // Most of a plot is paper.
        if !differ(upper, &WHITE) && !differ(lower, &WHITE) {
            half.fill(u8::MAX);
            continue;
        }
        let mut sums = [0u16; BLOCK];
        for (sum, (upper, lower)) in sums.iter_mut().zip(upper.iter().zip(lower)) {
            *sum = u16::from(*upper) + u16::from(*lower);
        }
        let pairs = sums.as_chunks::<8>().0.iter();
        for (to, pair) in half.as_chunks_mut::<4>().0.iter_mut().zip(pairs) {
            let (left, right) = pair.split_at(4);
            for (to, (left, right)) in to.iter_mut().zip(left.iter().zip(right)) {
                *to = ((left + right + 2) / 4) as u8;
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// RGB of a file, read by the library that other programs use; it checks the sums.
    fn read(file: &[u8]) -> ([u32; 2], Vec<u8>) {
        let mut decoder = png::Decoder::new(std::io::Cursor::new(file));
        decoder.ignore_checksums(false);
        let mut reader = decoder.read_info().unwrap();
        let mut rgb = vec![0; reader.output_buffer_size().unwrap()];
        let info = reader.next_frame(&mut rgb).unwrap();
        assert_eq!((info.color_type, info.bit_depth), (png::ColorType::Rgb, png::BitDepth::Eight));
        ([info.width, info.height], rgb)
    }

    /// Paper with an area, lines of one and two pixels in both directions, a slope of all greys,
    /// and two rows of noise.
    fn drawing(width: usize, height: usize) -> Vec<u8> {
        let mut noise = 1u32;
        let mut pixel = |x: usize, y: usize| {
            noise = noise.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            match (x, y) {
                (_, 20..=21) => noise.to_be_bytes().map(|c| c | 1),
                (_, 7 | 30) => [200, 210, 220, 255],
                (13, _) => [1, 2, 3, 255],
                (40..=41, _) => [90, 0, 255, 255],
                (x, 33..=40) if x > 50 => [(x * 2) as u8, (255 - y) as u8, x as u8, 255],
                (60.., 10..=15) => [238, 240, 242, 255],
                _ => [255; 4],
            }
        };
        let all = (0..height).flat_map(|y| (0..width).map(move |x| (x, y)));
        all.flat_map(|(x, y)| pixel(x, y)).collect()
    }

    #[test]
    fn a_reader_gets_back_the_drawing_and_its_half() {
        let (width, height) = (128, 48);
        let rgba = drawing(width, height);
        let mut pictures = Pictures::new([width, height]);
        for two in rgba.chunks_exact(8 * width) {
            let (upper, lower) = two.split_at(4 * width);
            pictures.push(upper, lower);
        }
        let [once, twice] = pictures.finish().unwrap();
        let rgb = |x: usize, y: usize, c: usize| rgba[4 * (y * width + x) + c];
        let want: Vec<u8> = rgba.chunks_exact(4).flat_map(|p| [p[0], p[1], p[2]]).collect();
        assert!(read(&twice) == ([128, 48], want));
        let mut half = Vec::new();
        for (x, y) in (0..height / 2).flat_map(|y| (0..width / 2).map(move |x| (x, y))) {
            for c in 0..3 {
                let four = [(0, 0), (1, 0), (0, 1), (1, 1)];
                let sum: f64 =
                    four.iter().map(|(i, k)| f64::from(rgb(2 * x + i, 2 * y + k, c))).sum();
                half.push((sum / 4.0).round() as u8);
            }
        }
        assert!(read(&once) == ([64, 24], half));
    }
}
