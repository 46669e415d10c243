//! Areas painted with smooth edges, a strip of rows at a time.
//!
//! A pixel takes as much of a colour as the area covers of it. Each edge adds to every cell that it
//! passes how much more of that cell, and of all cells right of it, is covered; the sum along a row
//! is the cover (the signed area accumulated, as font rasterisers do it).

use super::paint::Area;

/// Pixels side by side that are summed up together where an edge passes one of them.
const BLOCK: usize = 16;
/// Some rows of a picture: a strip stays in memory close to the processor until it is done with.
pub(super) struct Canvas {
    width: usize,
    height: usize,
    /// Pixels, RGBA, opaque.
    rgba: Vec<u8>,
    /// What each cell adds to the cover from there on, with a block beyond the right end; all
    /// zeros between two areas.
    steps: Vec<f32>,
    /// Blocks of each row that hold steps, a bit each.
    passed: Vec<u64>,
    words: usize,
}

impl Canvas {
    /// A white canvas; the width is a multiple of [`BLOCK`].
    pub(super) fn new(width: usize, height: usize) -> Self {
        debug_assert!(width.is_multiple_of(BLOCK));
        let words = (width / BLOCK + 1).div_ceil(64);
        Self {
            width,
            height,
            rgba: vec![u8::MAX; 4 * width * height],
            steps: vec![0.0; (width + BLOCK) * height],
            passed: vec![0; words * height],
            words,
        }
    }

    /// Rows of pixels, RGBA, from top to bottom.
    pub(super) fn rows(&self) -> impl Iterator<Item = &[u8]> {
        self.rgba.chunks_exact(4 * self.width)
    }

    /// Paints the rows of a picture from `top` on, over what the canvas holds.
    pub(super) fn paint(&mut self, areas: &[Area], top: usize) {
        let (top, height) = (top as f32, self.height as f32);
        for area in areas {
            let rows = area.rows.map(|y| (y - top).clamp(0.0, height));
            if rows[0] < rows[1] {
                for &[x0, y0, x1, y1] in &area.edges {
                    self.edge([x0, y0 - top], [x1, y1 - top]);
                }
                for y in rows[0] as usize..rows[1].ceil() as usize {
                    self.sum_up(y, area);
                }
            }
        }
    }

    /// Adds the steps of an edge, row by row.
    fn edge(&mut self, from: [f32; 2], to: [f32; 2]) {
        let (sign, [x_top, top], [x_bottom, bottom]) =
            if from[1] < to[1] { (1.0, from, to) } else { (-1.0, to, from) };
        if bottom <= 0.0 || top >= self.height as f32 {
            return;
        }
        let slope = (x_bottom - x_top) / (bottom - top);
        let most = self.width as f32;
        // Cut where it leaves the picture; what lies beyond a side counts as on it.
        for side in [0.0, most] {
            if (x_top < side && side < x_bottom) || (x_bottom < side && side < x_top) {
                let cut = [side, top + (side - x_top) / slope];
                self.edge(from, cut);
                self.edge(cut, to);
                return;
            }
        }
        let mut y = top.max(0.0);
        let mut x = x_top + (y - top) * slope;
        for row in y as usize..(bottom.ceil() as usize).min(self.height) {
            let next_y = bottom.min((row + 1) as f32);
            let next_x = x + (next_y - y) * slope;
            let (a, b) = (x.clamp(0.0, most), next_x.clamp(0.0, most));
            self.add(row, sign * (next_y - y), [a.min(b), a.max(b)]);
            (x, y) = (next_x, next_y);
        }
    }

    /// Adds an edge of `height` rows in one row, between two places.
    fn add(&mut self, row: usize, height: f32, [left, right]: [f32; 2]) {
        let first = left as usize;
        let last = right as usize;
        let cells = &mut self.steps[row * (self.width + BLOCK)..][..self.width + BLOCK];
        if first == last {
            // Cover of the cell itself: what lies right of the middle of the edge.
            let beyond = height * (0.5 * (left + right) - first as f32);
            cells[first] += height - beyond;
            cells[first + 1] += beyond;
        } else {
            // The edge passes several cells: cover rises as a parabola in the first and the last
            // one and evenly between.
            let per_cell = height / (right - left);
            let in_first = (first + 1) as f32 - left;
            let mut before = 0.5 * per_cell * in_first * in_first;
            cells[first] += before;
            for (n, cell) in cells[first + 1..last].iter_mut().enumerate() {
                let cover = per_cell * (in_first + n as f32 + 0.5);
                *cell += cover - before;
                before = cover;
            }
            let in_last = right - last as f32;
            let cover = height - 0.5 * per_cell * in_last * in_last;
            cells[last] += cover - before;
            cells[last + 1] += height - cover;
        }
        for block in first / BLOCK..=(last + 1) / BLOCK {
            self.passed[row * self.words + block / 64] |= 1 << (block % 64);
        }
    }

    /// Sums up the steps of a row, which are zero afterwards, and paints it.
    fn sum_up(&mut self, row: usize, area: &Area) {
        let [r, g, b] = area.color;
        let color = [r, g, b, u8::MAX];
        let alpha = |cover: f32| (255.0 * area.opacity * cover.abs().min(1.0) + 0.5) as u8;
        let passed = &mut self.passed[row * self.words..][..self.words];
        let steps = &mut self.steps[row * (self.width + BLOCK)..][..self.width + BLOCK];
        let steps = steps.as_chunks_mut::<BLOCK>().0;
        let pixels = &mut self.rgba[4 * row * self.width..][..4 * self.width];
        let pixels = pixels.as_chunks_mut::<4>().0.as_chunks_mut::<BLOCK>().0;
        let mut cover = 0.0f32;
        let mut next = 0;
        for (word, passed) in passed.iter_mut().enumerate() {
            let mut left = std::mem::take(passed);
            while left != 0 {
                let block = 64 * word + left.trailing_zeros() as usize;
                left &= left - 1;
                // Between two edges the cover does not change.
                let between = alpha(cover);
                if between > 0 {
                    pixels[next..block].iter_mut().for_each(|p| blend(p, color, &[between; BLOCK]));
                }
                let mut covers = [0.0; BLOCK];
                for (step, to) in steps[block].iter_mut().zip(&mut covers) {
                    cover += std::mem::take(step);
                    *to = cover;
                }
                let alphas = covers.map(alpha);
                // The last one lies beyond the right end.
                if let Some(pixels) = pixels.get_mut(block) {
                    blend(pixels, color, &alphas);
                }
                next = block + 1;
            }
        }
    }
}

/// Mixes a colour into some pixels, `alphas` parts of 255 of it.
fn blend(pixels: &mut [[u8; 4]; BLOCK], color: [u8; 4], alphas: &[u8; BLOCK]) {
    if *alphas == [u8::MAX; BLOCK] {
        pixels.fill(color);
        return;
    }
    // Plain rows of numbers, which a processor takes many at a time.
    let (mut parts, mut colors) = ([[0u16; 4]; BLOCK], [[0u16; 4]; BLOCK]);
    for ((part, to), alpha) in parts.iter_mut().zip(&mut colors).zip(alphas) {
        *part = [u16::from(*alpha); 4];
        *to = color.map(u16::from);
    }
    let new = parts.as_flattened().iter().zip(colors.as_flattened());
    for (old, (part, new)) in pixels.as_flattened_mut().iter_mut().zip(new) {
        // The sum over 255, rounded.
        let sum = u16::from(*old) * (255 - part) + new * part + 128;
        *old = ((sum + (sum >> 8)) >> 8) as u8;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn area(outline: &[[f32; 2]], opacity: f32) -> Area {
        let ends = (0..outline.len()).map(|i| (outline[i], outline[(i + 1) % outline.len()]));
        let y = outline.iter().map(|p| p[1]);
        Area {
            edges: ends.map(|(a, b)| [a[0], a[1], b[0], b[1]]).filter(|e| e[1] != e[3]).collect(),
            rows: [y.clone().fold(f32::INFINITY, f32::min), y.fold(f32::NEG_INFINITY, f32::max)],
            color: [0, 100, 200],
            opacity,
        }
    }

    /// Part of a pixel inside convex sides that turn right (y points down), by counting points.
    fn counted(outline: &[[f32; 2]], x: usize, y: usize) -> f64 {
        const N: usize = 64;
        let inside = |px: f64, py: f64| {
            (0..outline.len()).all(|i| {
                let [a, b] =
                    [outline[i], outline[(i + 1) % outline.len()]].map(|p| p.map(f64::from));
                (b[0] - a[0]) * (py - a[1]) - (b[1] - a[1]) * (px - a[0]) >= 0.0
            })
        };
        let at = |i: usize| (i as f64 + 0.5) / N as f64;
        let all = (0..N * N).map(|i| inside(x as f64 + at(i % N), y as f64 + at(i / N)));
        all.filter(|inside| *inside).count() as f64 / (N * N) as f64
    }

    #[test]
    fn a_pixel_takes_as_much_as_is_covered_of_it() {
        let shapes: [&[[f32; 2]]; 5] = [
            &[[3.3, 2.2], [20.7, 5.1], [11.4, 17.9]],
            &[[0.0, 0.0], [32.0, 0.0], [32.0, 20.0], [0.0, 20.0]],
            &[[5.25, 1.5], [6.5, 1.5], [6.5, 18.25], [5.25, 18.25]],
            // Out of the picture on all sides.
            &[[-9.0, 10.0], [16.0, -7.0], [41.0, 10.0], [16.0, 27.0]],
            // A thin line.
            &[[1.0, 3.0], [31.0, 16.0], [30.8, 16.6], [0.8, 3.6]],
        ];
        for (n, outline) in shapes.into_iter().enumerate() {
            let mut canvas = Canvas::new(32, 10);
            for top in [0, 10] {
                canvas.rgba.fill(u8::MAX);
                canvas.paint(&[area(outline, 1.0)], top);
                for (y, row) in canvas.rows().enumerate() {
                    for (x, pixel) in row.chunks_exact(4).enumerate() {
                        let cover = counted(outline, x, top + y);
                        for (got, color) in pixel.iter().zip([0.0, 100.0, 200.0]) {
                            let want = 255.0 - cover * (255.0 - color);
                            let off = (f64::from(*got) - want).abs();
                            assert!(off < 6.0, "shape {n}, {x} {}: {got}, not {want}", top + y);
                        }
                    }
                }
                assert!(canvas.steps.iter().all(|s| *s == 0.0));
            }
        }
    }

    #[test]
    fn what_lies_over_itself_is_painted_once_and_opposite_turns_leave_a_hole() {
        let square = [[2.0, 2.0], [12.0, 2.0], [12.0, 8.0], [2.0, 8.0]];
        let mut twice = area(&square, 0.5);
        twice.edges.extend(twice.edges.clone());
        let hole: Vec<[f32; 2]> = [[4.0, 8.0], [10.0, 8.0], [10.0, 2.0], [4.0, 2.0]].into();
        let mut with_hole = area(&square, 1.0);
        with_hole.edges.extend(area(&hole, 1.0).edges);
        let mut canvas = Canvas::new(16, 10);
        canvas.paint(&[twice], 0);
        let pixel = |canvas: &Canvas, x: usize| canvas.rgba[4 * (5 * 16 + x)..][..3].to_vec();
        // Half of each, a half rounded up to 128 parts of 255.
        assert_eq!(pixel(&canvas, 5), [127, 177, 227]);
        assert_eq!(pixel(&canvas, 1), [255; 3]);
        canvas.rgba.fill(u8::MAX);
        canvas.paint(&[with_hole], 0);
        assert_eq!(pixel(&canvas, 3), [0, 100, 200]);
        assert_eq!(pixel(&canvas, 7), [255; 3]);
    }
}
