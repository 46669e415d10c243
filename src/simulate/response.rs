//! From loudspeaker, sheet and room to the impulse response at one microphone place.
//!
//! Paths that arrive in the first 20 ms after the direct sound are computed
//! each for itself: its own angle through the sheet, its own walls, exact delay. Later
//! ones, thousands of them, are sorted by the angle at which they leave the
//! loudspeaker and share filters between neighbouring angles; walls act on
//! them with their mean number of reflections per stretch of time. More than 350 lines: one path is
//! followed through all of it.

use super::loudspeaker::Loudspeaker;
use super::room::{Image, Room, distance};
use super::scenario::{Scenario, SeatBack};
use super::sheet::{HungSheet, shelf};
use super::sinc::SincTable;
use super::transform::Transform;
use realfft::RealFftPlanner;
use realfft::num_complex::Complex64;
use std::f64::consts::PI;

/// Samples before time zero of an impulse response: what rings ahead of a
/// sharp upper limit of the recorder.
pub(crate) const PRE_ROLL: usize = 128;
/// Paths later than this after the direct sound are treated in groups, s.
const EXACT_S: f64 = 0.020;
/// Length of a stretch of grouped paths, s; the grid holds as much again for their own decay.
const STRETCH_S: f64 = 0.040;
/// Angles (cosines -1 ... 1) between which grouped paths are interpolated.
const NODES: usize = 9;
/// Wall reflections are split into a level at this frequency and a shape, Hz.
const LEVEL_HZ: f64 = 1000.0;

/// Everything that the takes of one session share.
pub(crate) struct Acoustics {
    pub(super) rate_hz: f64,
    grid: Vec<f64>,
    /// Of the grid.
    pub(super) transform: Transform,
    room: Room,
    speaker: Loudspeaker,
    /// Loudspeaker on its axis and recorder's upper limit, on the grid.
    common: Vec<Complex64>,
    /// Reflection of each wall on the grid.
    walls: Vec<Vec<Complex64>>,
    pub(super) sheet: HungSheet,
    /// Transmission times directivity at the node angles, without and with the screen.
    nodes: [Vec<Vec<Complex64>>; 2],
    taps: SincTable,
}

/// The ways from one loudspeaker to one seat.
pub(crate) struct SeatPaths {
    pub(super) exact: Vec<ExactPath>,
    pub(super) stretches: Vec<Stretch>,
    pub(super) n_frames: usize,
    /// Whether the sheet stands in these ways.
    pub(super) behind_screen: bool,
}

pub(super) struct ExactPath {
    pub(super) geometry: Geometry,
    /// Walls, directivity and (second) sheet, without distance and delay.
    pub(super) spectrum: [Vec<Complex64>; 2],
}

/// How the length of a path depends on the microphone's place.
#[derive(Clone, Copy)]
pub(super) enum Geometry {
    /// From a (mirrored) source straight to the microphone.
    Source([f64; 3]),
    /// By way of an upright surface at this x behind the microphone.
    Behind { source_m: [f64; 3], plane_x_m: f64 },
}

pub(super) struct Stretch {
    start_s: f64,
    images: Vec<(Image, f64)>,
    shape: Vec<Complex64>,
}

impl Geometry {
    fn length_m(self, mic_m: [f64; 3]) -> f64 {
        match self {
            Self::Source(place) => distance(place, mic_m).0,
            Self::Behind { source_m, plane_x_m } => {
                distance(source_m, [2.0 * plane_x_m - mic_m[0], mic_m[1], mic_m[2]]).0
            }
        }
    }
}

impl Acoustics {
    pub(crate) fn new(scenario: &Scenario, planner: &mut RealFftPlanner<f64>) -> Self {
        let rate_hz = f64::from(scenario.rate_hz);
        let longest = scenario.measured.iter().map(Vec::len).max().unwrap_or(0);
        let n_fft =
            ((2.0 * STRETCH_S * rate_hz) as usize).max(longest + 4 * PRE_ROLL).next_power_of_two();
        let grid: Vec<f64> = (0..=n_fft / 2).map(|k| k as f64 * rate_hz / n_fft as f64).collect();
        let speaker = scenario.speaker.clone();
        // In a measured response loudspeaker and recorder are there already.
        let common = if longest > 0 {
            vec![Complex64::ONE; grid.len()]
        } else {
            grid.iter().map(|&f| speaker.on_axis(f) * recorder_limit(f / rate_hz)).collect()
        };
        let walls = scenario
            .room
            .walls
            .iter()
            .map(|w| grid.iter().map(|&f| w.reflection(f)).collect())
            .collect();
        let c_with = scenario.speed_of_sound_m_s()[1];
        let sheet = HungSheet::new(&scenario.sheet, scenario.front, scenario.gap_m, c_with, &grid);
        let nodes = [false, true].map(|hung| {
            (0..NODES)
                .map(|j| {
                    let cosine = node_cosine(j);
                    let through = |k: usize| {
                        if hung { sheet.total(k, cosine) } else { Complex64::ONE }
                    };
                    grid.iter()
                        .enumerate()
                        .map(|(k, &f)| speaker.directivity(f, cosine) * through(k))
                        .collect()
                })
                .collect()
        });
        Self {
            rate_hz,
            transform: Transform::new(n_fft, planner),
            room: scenario.room.clone(),
            speaker,
            common,
            walls,
            sheet,
            nodes,
            taps: SincTable::new(),
            grid,
        }
    }

    /// Images of a loudspeaker that matter for any seat of the room.
    pub(crate) fn images(&self, source_m: [f64; 3], seed: u64) -> Vec<Image> {
        let diagonal = self.room.size_m.iter().map(|l| l * l).sum::<f64>().sqrt();
        // The farthest seat hears the direct sound after one diagonal at most.
        let reach = diagonal * 1.5 + self.room.tail_s * 345.0;
        self.room.images(source_m, reach, seed)
    }

    /// Collects the ways from a loudspeaker to a seat's nominal place.
    pub(crate) fn paths(
        &self,
        scenario: &Scenario,
        seat: usize,
        images: &[Image],
        behind_screen: bool,
    ) -> SeatPaths {
        if let Some(response) = scenario.measured.get(seat).filter(|_| behind_screen) {
            return self.measured_paths(scenario, seat, response);
        }
        let mic = scenario.seat_in_room_m(seat);
        let c = scenario.speed_of_sound_m_s()[0];
        let direct_m = images[0].path(mic).0;
        // What the sheet scatters towards the seat comes with the direct sound.
        let scatter: Vec<Complex64> =
            self.grid.iter().map(|&f| scenario.scattered(seat, f)).collect();
        let none = vec![Complex64::ZERO; self.grid.len()];
        let mut exact = Vec::new();
        let n_stretches = ((self.room.tail_s - EXACT_S).max(0.0) / STRETCH_S).ceil() as usize;
        let mut late: Vec<Vec<(Image, f64)>> = vec![Vec::new(); n_stretches];
        let level: Vec<f64> =
            self.room.walls.iter().map(|w| w.reflection(LEVEL_HZ).norm()).collect();
        for (i, image) in images.iter().enumerate() {
            let beside = if i == 0 { &scatter } else { &none };
            let (length, cosine) = image.path(mic);
            let after_s = (length - direct_m) / c;
            if after_s < EXACT_S {
                exact.push(ExactPath {
                    geometry: Geometry::Source(image.position_m),
                    spectrum: self.exact_spectra(cosine, behind_screen, beside, |k| {
                        let hit = self.walls.iter().zip(&image.bounces).filter(|(_, n)| **n > 0);
                        hit.fold(Complex64::ONE, |product, (wall, &n)| {
                            product * wall[k].powu(u32::from(n))
                        })
                    }),
                });
            } else if after_s < self.room.tail_s {
                let gain: f64 =
                    level.iter().zip(&image.bounces).map(|(r, &n)| r.powi(i32::from(n))).product();
                let stretch = ((after_s - EXACT_S) / STRETCH_S) as usize;
                late[stretch.min(n_stretches - 1)].push((*image, gain));
            }
        }
        let direct = (images[0], &scatter[..]);
        self.add_near_reflections(scenario, mic, direct, behind_screen, &mut exact);
        let direct_s = direct_m / c;
        let stretches = self.stretches(late, direct_s, &level);
        let end_s = stretches.last().map_or(direct_s, |s| s.start_s);
        let n_frames = PRE_ROLL + (end_s * self.rate_hz) as usize + self.transform.n;
        SeatPaths { exact, stretches, n_frames, behind_screen }
    }

    /// Late images, stretch by stretch after the direct sound, with the shape of their walls;
    /// `level` is that of each wall.
    fn stretches(
        &self,
        late: Vec<Vec<(Image, f64)>>,
        direct_s: f64,
        level: &[f64],
    ) -> Vec<Stretch> {
        let log_shape: Vec<Vec<Complex64>> = self
            .walls
            .iter()
            .zip(level)
            // A wall that swallows everything has no shape; its images have no level either.
            .map(|(wall, &l)| {
                let of = |r: &Complex64| if l > 1e-6 { (r / l).ln() } else { Complex64::ZERO };
                wall.iter().map(of).collect()
            })
            .collect();
        late.into_iter()
            .enumerate()
            .filter(|(_, images)| !images.is_empty())
            .map(|(b, images)| Stretch {
                start_s: direct_s + EXACT_S + b as f64 * STRETCH_S,
                shape: self.mean_wall_shape(&images, &log_shape),
                images,
            })
            .collect()
    }

    /// Seat back and early reflections of their own; they belong to the loudspeaker behind the screen.
    fn add_near_reflections(
        &self,
        scenario: &Scenario,
        mic: [f64; 3],
        (source, scatter): (Image, &[Complex64]),
        behind_screen: bool,
        exact: &mut Vec<ExactPath>,
    ) {
        let source_m = source.position_m;
        let (direct_m, cosine) = source.path(mic);
        if let Some(SeatBack { behind_m, gain, corner_hz }) = scenario.seat_back {
            exact.push(ExactPath {
                geometry: Geometry::Behind { source_m, plane_x_m: mic[0] + behind_m },
                spectrum: self.exact_spectra(cosine, behind_screen, scatter, |k| {
                    shelf(self.grid[k] / corner_hz, gain[0], gain[1])
                }),
            });
        }
        if !behind_screen {
            return;
        }
        let c = scenario.speed_of_sound_m_s()[0];
        for e in &scenario.early {
            let length = direct_m + c * e.delay_s;
            let (sin, cos) = e.turn_deg.to_radians().sin_cos();
            let back: [f64; 3] = std::array::from_fn(|a| (source_m[a] - mic[a]) / direct_m);
            let turned = [back[0] * cos - back[1] * sin, back[0] * sin + back[1] * cos, back[2]];
            // The gain is against the direct sound, whose level falls with its own distance.
            let scale = length / direct_m;
            exact.push(ExactPath {
                geometry: Geometry::Source(std::array::from_fn(|a| mic[a] + length * turned[a])),
                spectrum: self.exact_spectra(-turned[0], behind_screen, scatter, |k| {
                    shelf(self.grid[k] / e.corner_hz, e.gain[0], e.gain[1]) * scale
                }),
            });
        }
    }

    fn exact_spectra(
        &self,
        cosine: f64,
        behind_screen: bool,
        scatter: &[Complex64],
        walls: impl Fn(usize) -> Complex64,
    ) -> [Vec<Complex64>; 2] {
        let without: Vec<Complex64> = self
            .grid
            .iter()
            .enumerate()
            .map(|(k, &f)| walls(k) * self.speaker.directivity(f, cosine))
            .collect();
        let with = if behind_screen {
            let total = |k: usize| self.sheet.total_with(k, cosine, scatter[k]);
            without.iter().enumerate().map(|(k, h)| h * total(k)).collect()
        } else {
            Vec::new()
        };
        [without, with]
    }

    fn mean_wall_shape(
        &self,
        images: &[(Image, f64)],
        log_shape: &[Vec<Complex64>],
    ) -> Vec<Complex64> {
        let mut mean = [0.0; 6];
        let weight: f64 = images.iter().map(|(_, g)| g * g).sum::<f64>().max(f64::MIN_POSITIVE);
        for (image, gain) in images {
            for (m, &n) in mean.iter_mut().zip(&image.bounces) {
                *m += f64::from(n) * gain * gain / weight;
            }
        }
        (0..self.grid.len())
            .map(|k| mean.iter().zip(log_shape).map(|(&n, l)| l[k] * n).sum::<Complex64>().exp())
            .collect()
    }

    /// Impulse response at a microphone place, [`PRE_ROLL`] samples before time zero first,
    /// without the loudspeaker's lower limit.
    ///
    /// `late_s` is added to every delay (a start between two samples), `clock` = recorded
    /// seconds per second.
    pub(crate) fn impulse_response(
        &self,
        paths: &SeatPaths,
        mic_m: [f64; 3],
        hung: bool,
        c_m_s: f64,
        late_s: f64,
        clock: f64,
    ) -> Vec<f64> {
        let hung = usize::from(hung && paths.behind_screen);
        let mut response = vec![0.0; paths.n_frames + 8];
        let mut spectrum = vec![Complex64::ZERO; self.grid.len()];
        let delay_frames = |length_m: f64| (length_m / c_m_s + late_s) * clock * self.rate_hz;

        let direct = paths.exact.first().map_or(0.0, |p| p.geometry.length_m(mic_m));
        let first = (delay_frames(direct) - 2.0).max(0.0) as usize;
        for path in &paths.exact {
            let length = path.geometry.length_m(mic_m);
            let local = delay_frames(length) - first as f64 + PRE_ROLL as f64;
            let step = Complex64::cis(-2.0 * PI * local / self.transform.n as f64);
            let mut turn = Complex64::new(1.0 / length, 0.0);
            for (sum, h) in spectrum.iter_mut().zip(&path.spectrum[hung]) {
                *sum += h * turn;
                turn *= step;
            }
        }
        self.add(&mut spectrum, None, first, &mut response);

        let mut lines = vec![vec![0.0; self.transform.n]; NODES];
        let mut part = self.transform.bins();
        for stretch in &paths.stretches {
            let first = (stretch.start_s * self.rate_hz) as usize;
            for line in &mut lines {
                line.fill(0.0);
            }
            for (image, gain) in &stretch.images {
                let (length, cosine) = image.path(mic_m);
                let local = delay_frames(length) - first as f64 + PRE_ROLL as f64;
                let position = (cosine + 1.0) / 2.0 * (NODES - 1) as f64;
                let node = (position as usize).min(NODES - 2);
                let upper = position - node as f64;
                let level = gain / length;
                self.taps.add(&mut lines[node], local, level * (1.0 - upper));
                self.taps.add(&mut lines[node + 1], local, level * upper);
            }
            spectrum.fill(Complex64::ZERO);
            for (line, filter) in lines.iter_mut().zip(&self.nodes[hung]) {
                self.transform.forward_into(line, &mut part);
                for ((sum, x), h) in spectrum.iter_mut().zip(&part).zip(filter) {
                    *sum += x * h;
                }
            }
            self.add(&mut spectrum, Some(&stretch.shape), first, &mut response);
        }
        response
    }

    fn add(
        &self,
        spectrum: &mut [Complex64],
        shape: Option<&Vec<Complex64>>,
        first: usize,
        response: &mut [f64],
    ) {
        let scale = 1.0 / self.transform.n as f64;
        for (k, s) in spectrum.iter_mut().enumerate() {
            *s *= self.common[k] * shape.map_or(Complex64::ONE, |h| h[k]) * scale;
        }
        for (r, b) in response[first..].iter_mut().zip(self.transform.back(spectrum)) {
            *r += b;
        }
    }
}

fn node_cosine(node: usize) -> f64 {
    2.0 * node as f64 / (NODES - 1) as f64 - 1.0
}

/// Linear-phase upper limit of a recorder: flat to 43 % of the rate, nothing at half of it.
fn recorder_limit(share_of_rate: f64) -> f64 {
    let x = ((share_of_rate - 0.43) / 0.07).clamp(0.0, 1.0);
    (PI / 2.0 * x).cos().powi(2)
}
