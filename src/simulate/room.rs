//! A shoebox room by image sources (Allen and Berkley, JASA 65, 943, 1979).
//!
//! Axes: x from the front wall into the room, y from the left wall to the
//! right (as the audience sees it), z up from the floor.

use super::sheet::shelf;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use realfft::num_complex::Complex64;

/// A wall that reflects more or less with frequency: `R = (low + high j f/fc)/(1 + j f/fc)`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Wall {
    /// Pressure reflection at low frequencies, 0-1.
    pub low: f64,
    /// Pressure reflection at high frequencies, 0-1.
    pub high: f64,
    /// Frequency of the change, Hz.
    pub corner_hz: f64,
}

impl Wall {
    /// From absorption coefficients `alpha = 1 - R^2`, each 0-1.
    pub fn absorbing(low: f64, high: f64, corner_hz: f64) -> Self {
        Self { low: (1.0 - low).max(0.0).sqrt(), high: (1.0 - high).max(0.0).sqrt(), corner_hz }
    }

    /// Pressure reflection at `f_hz`.
    pub fn reflection(&self, f_hz: f64) -> Complex64 {
        shelf(f_hz / self.corner_hz, self.low, self.high)
    }
}

/// The room.
#[derive(Debug, Clone, PartialEq)]
pub struct Room {
    /// Length, width, height, m.
    pub size_m: [f64; 3],
    /// Front, back, left, right, floor, ceiling.
    pub walls: [Wall; 6],
    /// How long after the direct sound images are followed, s.
    pub tail_s: f64,
    /// Random displacement of images of second and higher order, m rms per axis: walls are not flat.
    pub unevenness_m: f64,
}

/// A mirrored loudspeaker.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Image {
    /// Place, m.
    pub position_m: [f64; 3],
    /// Whether the image faces the front wall.
    pub turned: bool,
    /// Reflections at front, back, left, right, floor, ceiling.
    pub bounces: [u8; 6],
}

impl Image {
    /// Sum of all reflections on the way.
    pub fn order(&self) -> u32 {
        self.bounces.iter().map(|&n| u32::from(n)).sum()
    }

    /// Length of the path to `point_m`, m, and the cosine of the angle between
    /// the loudspeaker's axis and the direction in which the path leaves it.
    pub fn path(&self, point_m: [f64; 3]) -> (f64, f64) {
        let (length, dx) = distance(self.position_m, point_m);
        (length, if self.turned { -dx } else { dx } / length)
    }
}

/// Distance between two points and the part of it along x (signed), m.
pub(crate) fn distance(from: [f64; 3], to: [f64; 3]) -> (f64, f64) {
    let d = [to[0] - from[0], to[1] - from[1], to[2] - from[2]];
    ((d[0] * d[0] + d[1] * d[1] + d[2] * d[2]).sqrt(), d[0])
}

impl Room {
    /// All images of a source within `reach_m` of the room's centre, the source
    /// itself first, then by distance from the centre.
    pub fn images(&self, source_m: [f64; 3], reach_m: f64, seed: u64) -> Vec<Image> {
        let centre = self.size_m.map(|l| l / 2.0);
        let axis = |a: usize| -> Vec<(f64, bool, u8, u8)> {
            let length = self.size_m[a];
            let most = (reach_m / (2.0 * length)).ceil() as i32 + 1;
            let mut list = Vec::new();
            for m in -most..=most {
                for mirrored in [false, true] {
                    let own = if mirrored { -source_m[a] } else { source_m[a] };
                    let x = own + 2.0 * f64::from(m) * length;
                    let near = (m - i32::from(mirrored)).unsigned_abs().min(255) as u8;
                    let far = m.unsigned_abs().min(255) as u8;
                    if (x - centre[a]).abs() <= reach_m {
                        list.push((x, mirrored, near, far));
                    }
                }
            }
            list
        };
        let (xs, ys, zs) = (axis(0), axis(1), axis(2));
        let mut images = Vec::new();
        for &(x, turned, front, back) in &xs {
            for &(y, _, left, right) in &ys {
                for &(z, _, floor, ceiling) in &zs {
                    let position_m = [x, y, z];
                    if distance(position_m, centre).0 <= reach_m {
                        let bounces = [front, back, left, right, floor, ceiling];
                        images.push(Image { position_m, turned, bounces });
                    }
                }
            }
        }
        images.sort_by(|a, b| {
            let key = |i: &Image| (i.order() > 0, distance(i.position_m, centre).0);
            let ((a_late, a_m), (b_late, b_m)) = (key(a), key(b));
            a_late.cmp(&b_late).then(a_m.total_cmp(&b_m))
        });
        if self.unevenness_m > 0.0 {
            let mut random = ChaCha8Rng::seed_from_u64(seed);
            let half = self.unevenness_m * 3f64.sqrt();
            for image in images.iter_mut().filter(|i| i.order() > 1) {
                for x in &mut image.position_m {
                    *x += random.random_range(-half..half);
                }
            }
        }
        images
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn room() -> Room {
        Room {
            size_m: [6.0, 4.5, 2.5],
            walls: [Wall { low: 0.8, high: 0.8, corner_hz: 500.0 }; 6],
            tail_s: 0.1,
            unevenness_m: 0.0,
        }
    }

    fn by_bounces(images: &[Image], bounces: [u8; 6]) -> Image {
        *images.iter().find(|i| i.bounces == bounces).expect("image is there")
    }

    /// Distances worked out by hand for a source at (0.5, 2, 1) and a microphone at (3.5, 2, 1.2).
    #[test]
    fn first_images_lie_where_a_ruler_puts_them() {
        let images = room().images([0.5, 2.0, 1.0], 20.0, 1);
        let mic = [3.5, 2.0, 1.2];
        for (bounces, place, squared, cosine_sign) in [
            ([0, 0, 0, 0, 0, 0], [0.5, 2.0, 1.0], 9.0 + 0.04, 1.0),
            ([1, 0, 0, 0, 0, 0], [-0.5, 2.0, 1.0], 16.0 + 0.04, -1.0),
            ([0, 1, 0, 0, 0, 0], [11.5, 2.0, 1.0], 64.0 + 0.04, 1.0),
            ([0, 0, 1, 0, 0, 0], [0.5, -2.0, 1.0], 9.0 + 16.0 + 0.04, 1.0),
            ([0, 0, 0, 1, 0, 0], [0.5, 7.0, 1.0], 9.0 + 25.0 + 0.04, 1.0),
            ([0, 0, 0, 0, 1, 0], [0.5, 2.0, -1.0], 9.0 + 4.84, 1.0),
            ([0, 0, 0, 0, 0, 1], [0.5, 2.0, 4.0], 9.0 + 7.84, 1.0),
            ([1, 1, 0, 0, 0, 0], [12.5, 2.0, 1.0], 81.0 + 0.04, -1.0),
        ] {
            // Front then back and back then front have equal counts; take the wanted one by place.
            let image = *images
                .iter()
                .find(|i| i.bounces == bounces && distance(i.position_m, place).0 < 1e-9)
                .unwrap_or_else(|| panic!("no image {bounces:?} at {place:?}"));
            let (length, cosine) = image.path(mic);
            assert!((length * length - squared).abs() < 1e-9, "{bounces:?}: {length} m");
            assert!(cosine * cosine_sign > 0.0, "{bounces:?} leaves the wrong way: {cosine}");
        }
    }

    #[test]
    fn images_fill_space_evenly() {
        // One image per room volume: 4/3 pi r^3 / V.
        let count = room().images([0.5, 2.0, 1.0], 30.0, 1).len() as f64;
        let want = 4.0 / 3.0 * std::f64::consts::PI * 27_000.0 / (6.0 * 4.5 * 2.5);
        assert!((count / want - 1.0).abs() < 0.02, "{count} images, {want} expected");
    }

    #[test]
    fn uneven_walls_move_only_later_images() {
        let flat = room().images([0.5, 2.0, 1.0], 15.0, 1);
        let uneven = Room { unevenness_m: 0.02, ..room() }.images([0.5, 2.0, 1.0], 15.0, 1);
        let floor = [0, 0, 0, 0, 1, 0];
        assert_eq!(by_bounces(&flat, floor), by_bounces(&uneven, floor));
        assert_ne!(flat, uneven);
    }

    #[test]
    fn absorption_becomes_reflection() {
        let wall = Wall::absorbing(0.19, 0.64, 1000.0);
        assert!((wall.reflection(1.0).norm() - 0.9).abs() < 1e-3);
        assert!((wall.reflection(1e6).norm() - 0.6).abs() < 1e-3);
    }
}
