//! Least squares behind [`super::fit`]: the measured curve with its weights, the residuals of a
//! model, the solver, and what the solution is worth. More than 350 lines: the solver and the model ask
//! each other.

use super::air::Air;
use super::kinds::{FitInput, ModelKind};
use super::models::band_frequencies_hz;
use crate::analysis::estimate::Estimate;
use crate::units::ThirdOctave;
use levenberg_marquardt::{LeastSquaresProblem, LevenbergMarquardt};
use nalgebra::storage::Owned;
use nalgebra::{DMatrix, DVector, Dyn};
use realfft::num_complex::Complex;
use std::f64::consts::{FRAC_1_SQRT_2, TAU};

/// Error of a model that is not in the data's U, dB, without and with a gap: thin-sheet theory,
/// plane waves; a front that is no mirror (own choice; simulated sheets are met to 0.05-0.1 dB).
const MODEL_DB: [f64; 2] = [0.05, 0.08];
/// Front reflection before looking, mean and standard deviation: cabinets reflect much, drivers
/// and foam less (own choice).
const FRONT_PRIOR: [f64; 2] = [0.6, 0.3];
/// Below this frequency a front is small against the wave and throws back less, Hz, with its
/// uncertainty as natural logarithm (own choice: cabinets 0.15-0.4 m wide).
const FRONT_CORNER: [f64; 2] = [800.0, 1.2];
/// What is left of the front's reflection far below that, as a share.
const FRONT_LOW: f64 = 0.3;
/// Fewest bands that make a fit worth it.
const FEWEST_BANDS: usize = 8;

/// Everything that does not change while a model is fitted.
pub(super) struct Setup {
    pub(super) bands: Vec<ThirdOctave>,
    pub(super) measured_db: Vec<f64>,
    sd_db: Vec<f64>,
    pub(super) offset_sd_db: f64,
    pub(super) cos_theta: Vec<f64>,
    /// Gap and its standard uncertainty, m.
    gap_m: Option<[f64; 2]>,
    pub(super) air: Air,
    /// Frequencies of each band, Hz.
    grid_hz: Vec<Vec<f64>>,
}

/// What is fitted along and is not the sheet's: level offset, and where the gap is known the
/// front's reflection, its corner, and the gap itself.
struct Nuisances {
    offset_db: f64,
    echo: Option<Echo>,
}

struct Echo {
    front: f64,
    corner_hz: f64,
    gap_m: f64,
}

/// Delay of the echo at each angle at the first of a band's frequencies, which lie evenly, and
/// what turns it on from one to the next.
struct Lags {
    first: Vec<Complex<f64>>,
    steps: Vec<Complex<f64>>,
}

/// A model at some parameters, with what its neighbours have in common with it.
struct Point {
    /// `z/2` of the sheet at every frequency, band by band.
    halves: Vec<Complex<f64>>,
    /// Delays of each band.
    lags: Vec<Lags>,
    /// Weighted differences, then the pull of the nuisances towards their priors.
    residuals: DVector<f64>,
}

impl Setup {
    pub(super) fn new(input: &FitInput) -> Option<Self> {
        let used: Vec<(ThirdOctave, Estimate)> = input
            .bands
            .iter()
            .zip(&input.loss)
            .filter_map(|(&band, loss)| loss.map(|l| (band, l)))
            .filter(|(band, l)| {
                band.exact_hz() >= input.from_hz && l.value_db.is_finite() && l.u_db.is_finite()
            })
            .collect();
        if used.len() < FEWEST_BANDS {
            return None;
        }
        let mut common: Vec<f64> = used.iter().map(|(_, l)| l.u_common_db).collect();
        common.sort_by(f64::total_cmp);
        let offset_sd_db = common[common.len() / 2].max(1e-3) * FRAC_1_SQRT_2;
        let mut cos_theta: Vec<f64> =
            input.cos_theta.iter().copied().filter(|c| *c > 0.0 && *c <= 1.0).collect();
        if cos_theta.is_empty() {
            cos_theta.push(1.0);
        }
        thin_out(&mut cos_theta, if input.gap_m.is_some() { 6 } else { 1 });
        let model_db = MODEL_DB[usize::from(input.gap_m.is_some())];
        let longest_gap_m = input.gap_m.map_or(0.0, |g| g + 2.0 * input.gap_u_m);
        Some(Self {
            grid_hz: used
                .iter()
                // A mean over ripples needs fewer points than a curve.
                .map(|(band, _)| band_frequencies_hz(*band, 0.7 * longest_gap_m, &input.air))
                .collect(),
            bands: used.iter().map(|u| u.0).collect(),
            measured_db: used.iter().map(|u| u.1.value_db).collect(),
            sd_db: used
                .iter()
                .map(|(_, l)| {
                    (l.u_db.powi(2) - 0.5 * l.u_common_db.powi(2)).max(0.0).sqrt().hypot(model_db)
                })
                .collect(),
            offset_sd_db,
            cos_theta,
            gap_m: input.gap_m.map(|g| [g, input.gap_u_m.clamp(1e-4, 0.2 * g)]),
            air: input.air,
        })
    }

    /// Number of parameters that are not the sheet's.
    pub(super) fn n_nuisance(&self) -> usize {
        if self.gap_m.is_some() { 4 } else { 1 }
    }

    /// Reads the nuisances: each is a standard normal number before looking.
    fn nuisances(&self, p: &[f64]) -> Nuisances {
        Nuisances {
            offset_db: p[0] * self.offset_sd_db,
            echo: self.gap_m.map(|[gap_m, u_m]| Echo {
                front: (FRONT_PRIOR[0] + FRONT_PRIOR[1] * p[1]).clamp(0.0, 1.0),
                corner_hz: FRONT_CORNER[0] * (FRONT_CORNER[1] * p[2]).clamp(-3.0, 3.0).exp(),
                gap_m: (gap_m + u_m * p[3]).max(0.001),
            }),
        }
    }

    /// The front's reflection and the gap, where there is one.
    pub(super) fn front_and_gap(&self, p: &DVector<f64>, n_sheet: usize) -> Option<[f64; 2]> {
        self.nuisances(&p.as_slice()[n_sheet..]).echo.map(|e| [e.front, e.gap_m])
    }

    /// Loss per band as the takes would show it, offset included, dB.
    pub(super) fn model_db(&self, kind: ModelKind, p: &DVector<f64>) -> Vec<f64> {
        let nuisances = &p.as_slice()[kind.parameters().len()..];
        self.loss_db(&self.halves(kind, p), &self.lags(nuisances), nuisances)
    }

    fn halves(&self, kind: ModelKind, p: &DVector<f64>) -> Vec<Complex<f64>> {
        let sheet = kind.sheet_at(p.as_slice());
        let per_unit = 0.5 / self.air.impedance_pa_s_m();
        let all_hz = self.grid_hz.iter().flatten();
        all_hz.map(|f| sheet.impedance_pa_s_m(TAU * f, &self.air) * per_unit).collect()
    }

    fn lags(&self, nuisances: &[f64]) -> Vec<Lags> {
        let gap_m = self.nuisances(nuisances).echo.map_or(0.0, |e| e.gap_m);
        let turned = |hz: f64| -> Vec<Complex<f64>> {
            let phase = TAU * hz * 2.0 * gap_m / self.air.speed_m_s;
            self.cos_theta.iter().map(|cos| Complex::cis(-phase * cos)).collect()
        };
        let of_band = |hz: &Vec<f64>| {
            let step_hz = if hz.len() > 1 { hz[1] - hz[0] } else { 0.0 };
            Lags { first: turned(hz[0]), steps: turned(step_hz) }
        };
        self.grid_hz.iter().map(of_band).collect()
    }

    /// Loss per band, dB, of a sheet whose `z/2` is known, with these nuisances and delays.
    fn loss_db(&self, halves: &[Complex<f64>], lags: &[Lags], nuisances: &[f64]) -> Vec<f64> {
        let Nuisances { offset_db, echo } = self.nuisances(nuisances);
        let mut halves = halves.iter();
        self.grid_hz
            .iter()
            .zip(lags)
            .map(|(band, Lags { first, steps })| {
                let mut power = vec![0.0; self.cos_theta.len()];
                let mut lags = first.clone();
                for (&f, half) in band.iter().zip(&mut halves) {
                    let front = echo.as_ref().map_or(Complex::default(), |e| {
                        let x = f / e.corner_hz;
                        e.front * Complex::new(FRONT_LOW, x) / Complex::new(1.0, x)
                    });
                    let angles = self.cos_theta.iter().zip(lags.iter_mut().zip(steps));
                    for (sum, (cos, (lag, step))) in power.iter_mut().zip(angles) {
                        let half = half * cos;
                        // T / (1 - q R e) with T = 1 / (1 + z/2), R = z/2 / (1 + z/2).
                        *sum += 1.0 / (1.0 + half - half * (front * *lag)).norm_sqr();
                        *lag *= step;
                    }
                }
                let n = band.len() as f64;
                let loss: f64 = power.iter().map(|p| -10.0 * (p / n).log10()).sum();
                loss / power.len() as f64 + offset_db
            })
            .collect()
    }

    fn point(&self, kind: ModelKind, p: &DVector<f64>) -> Point {
        let nuisances = &p.as_slice()[kind.parameters().len()..];
        let (halves, lags) = (self.halves(kind, p), self.lags(nuisances));
        let residuals = self.residuals(&halves, &lags, nuisances);
        Point { halves, lags, residuals }
    }

    fn residuals(&self, halves: &[Complex<f64>], lags: &[Lags], nuisances: &[f64]) -> DVector<f64> {
        let fitted = self.loss_db(halves, lags, nuisances);
        let data =
            fitted.iter().zip(&self.measured_db).zip(&self.sd_db).map(|((f, m), sd)| (f - m) / sd);
        let pull = nuisances.iter().copied();
        DVector::from_iterator(fitted.len() + self.n_nuisance(), data.chain(pull))
    }

    /// Slopes of the residuals by differences; each parameter moves only what depends on it.
    fn jacobian(
        &self,
        kind: ModelKind,
        p: &DVector<f64>,
        here: &Point,
        free: &[usize],
    ) -> DMatrix<f64> {
        const STEP: f64 = 1e-5;
        let n_sheet = kind.parameters().len();
        let (n_data, n_rows) = (self.sd_db.len(), here.residuals.len());
        let mut jacobian = DMatrix::zeros(n_rows, free.len());
        for (mut column, &i) in jacobian.column_iter_mut().zip(free) {
            if i == n_sheet {
                // The offset shifts all bands alike.
                column.iter_mut().zip(&self.sd_db).for_each(|(x, sd)| *x = self.offset_sd_db / sd);
                column[n_data] = 1.0;
                continue;
            }
            let mut up = p.clone();
            up[i] += STEP;
            let nuisances = &up.as_slice()[n_sheet..];
            let moved = if i < n_sheet {
                self.residuals(&self.halves(kind, &up), &here.lags, nuisances)
            } else if i == p.len() - 1 {
                // The gap is the last one.
                self.residuals(&here.halves, &self.lags(nuisances), nuisances)
            } else {
                self.residuals(&here.halves, &here.lags, nuisances)
            };
            column.copy_from(&((moved - &here.residuals) / STEP));
        }
        jacobian
    }

    /// Best parameters and their sum of squares; parameters not in `free` stay.
    pub(super) fn minimise(
        &self,
        kind: ModelKind,
        start: DVector<f64>,
        free: &[usize],
    ) -> (DVector<f64>, f64) {
        let here = self.point(kind, &start);
        let problem = Problem { setup: self, kind, p: start, free, here };
        let solver = LevenbergMarquardt::new().with_tol(1e-4).with_patience(10);
        let (solved, _) = solver.minimize(problem);
        let cost = solved.here.residuals.norm_squared();
        (solved.p, if cost.is_finite() { cost } else { f64::INFINITY })
    }

    /// Covariance of the parameters in logarithms; `None` when the data do not fix them.
    pub(super) fn covariance(
        &self,
        kind: ModelKind,
        p: &DVector<f64>,
        scale: f64,
    ) -> Option<DMatrix<f64>> {
        let all: Vec<usize> = (0..p.len()).collect();
        let j = self.jacobian(kind, p, &self.point(kind, p), &all);
        let mut normal = j.transpose() * &j;
        // A direction without any effect gets a huge, not an infinite, variance.
        for i in 0..p.len() {
            normal[(i, i)] += 1e-6;
        }
        normal.try_inverse().map(|c| c * scale)
    }

    /// Value of parameter `i` in one direction at which chi-squared, with all others fitted
    /// anew, has risen by the two-sided 95 % point; `None` when it never does in range.
    pub(super) fn limit(
        &self,
        kind: ModelKind,
        p: &DVector<f64>,
        cost: f64,
        scale: f64,
        i: usize,
        direction: f64,
    ) -> Option<f64> {
        let quantity = kind.parameters()[i];
        let [low, high] = quantity.bounds();
        let edge = if direction < 0.0 { low.ln() } else { high.ln() };
        let free: Vec<usize> = (0..p.len()).filter(|&k| k != i).collect();
        let rise = |log: f64| {
            let mut start = p.clone();
            start[i] = log;
            self.minimise(kind, start, &free).1 - cost
        };
        let enough = 3.84 * scale;
        if rise(edge) < enough {
            return None;
        }
        let (mut inside, mut outside) = (p[i].clamp(low.ln(), high.ln()), edge);
        for _ in 0..7 {
            let middle = 0.5 * (inside + outside);
            if rise(middle) < enough { inside = middle } else { outside = middle }
        }
        Some(quantity.value_at(0.5 * (inside + outside)))
    }
}

/// At most `most` values, evenly over the sorted list: angles matter little, time does.
fn thin_out(values: &mut Vec<f64>, most: usize) {
    values.sort_by(f64::total_cmp);
    if values.len() > most {
        let n = values.len();
        *values = (0..most).map(|i| values[(2 * i + 1) * n / (2 * most)]).collect();
    }
}

struct Problem<'a> {
    setup: &'a Setup,
    kind: ModelKind,
    p: DVector<f64>,
    free: &'a [usize],
    /// The model at `p`.
    here: Point,
}

impl LeastSquaresProblem<f64, Dyn, Dyn> for Problem<'_> {
    type ResidualStorage = Owned<f64, Dyn>;
    type JacobianStorage = Owned<f64, Dyn, Dyn>;
    type ParameterStorage = Owned<f64, Dyn>;

    fn set_params(&mut self, x: &DVector<f64>) {
        for (&i, &value) in self.free.iter().zip(x.iter()) {
            // Far outside every range: keeps the exponential finite.
            self.p[i] = value.clamp(-20.0, 20.0);
        }
        self.here = self.setup.point(self.kind, &self.p);
    }

    fn params(&self) -> DVector<f64> {
        DVector::from_iterator(self.free.len(), self.free.iter().map(|&i| self.p[i]))
    }

    fn residuals(&self) -> Option<DVector<f64>> {
        Some(self.here.residuals.clone())
    }

    fn jacobian(&self) -> Option<DMatrix<f64>> {
        Some(self.setup.jacobian(self.kind, &self.p, &self.here, self.free))
    }
}
