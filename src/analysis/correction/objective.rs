//! The error of a setting, and its least-squares form for the optimiser.

use super::response::{BandNodes, PER_BAND, band_mean};
use super::target::Target;
use crate::analysis::biquad::{SectionKind, Setting, design};
use crate::ingest::manifest::CorrectionLimits;
use crate::units::ThirdOctave;
use levenberg_marquardt::{LeastSquaresProblem, LevenbergMarquardt};
use nalgebra::{DMatrix, DVector, Dyn, Owned};

/// How much heavier a boost above a cap counts than one below the target.
const CAP_FACTOR: f64 = 3.0;

/// What gain costs, dB^2 of error per dB^2: a filter of 6 dB counts like 0.17 dB rms. Of
/// settings that fit alike this prefers the one whose filters do not work against each
/// other, which forgives a wrong loss and a wrongly typed filter more. Over simulated sheets
/// the shape left over is the same to 0.003 dB rms on average with 1e-4 and with 8e-4.
const GAIN_COST: f64 = 8e-4;

/// `10 / ln 10`: dB of a natural logarithm of power.
const DB: f64 = 10.0 / std::f64::consts::LN_10;

/// A row of the fit, in the order of the nodes.
#[derive(Debug, Clone, Copy)]
struct Goal {
    target_db: f64,
    capped: bool,
    /// Root of the weight, 1/dB.
    root: f64,
}

/// The error of a setting against the targets of all bands.
#[derive(Debug, Clone)]
pub(super) struct Objective {
    nodes: BandNodes,
    goals: Vec<Goal>,
    /// Sum of the weights of rows that hold a loss: the error is told as dB rms over them.
    total_weight: f64,
    /// Largest and smallest total power response allowed.
    total_limits: [f64; 2],
}

impl Objective {
    pub fn new(target: &Target, limits: &CorrectionLimits) -> Self {
        let mut bands: Vec<ThirdOctave> = target.rows.iter().map(|r| r.band).collect();
        let goals = target
            .rows
            .iter()
            .map(|r| Goal {
                target_db: r.target_db,
                capped: r.cap.is_some(),
                root: r.weight.sqrt(),
            })
            .collect();
        // Without a goal, but no filter may exceed the limits there either.
        bands.push(ThirdOctave::from_index(13));
        let ratio = |db: f64| 10f64.powf(db / 10.0);
        Self {
            nodes: BandNodes::new(&bands, limits.processor_rate_hz),
            goals,
            total_weight: target.asked().map(|r| r.weight).sum(),
            // A hair of room: two sections of +3 dB make 6.000000001 dB by rounding.
            total_limits: [ratio(-limits.max_cut_db - 1e-6), ratio(limits.max_boost_db + 1e-6)],
        }
    }

    /// Power response of a setting at the nodes; `None` if it cannot be made.
    pub fn powers(&self, setting: Setting) -> Option<Vec<f64>> {
        Some(self.nodes.powers(&design(setting, self.nodes.rate_hz()).ok()?))
    }

    /// Error of a chain: root of the weighted mean square of what is left and of
    /// [`GAIN_COST`] times the sum of `gain_db^2`, dB; infinite where the limits of the total
    /// gain are exceeded. `parts` are power responses at the nodes.
    pub fn error_db<P: AsRef<[f64]>>(&self, parts: &[P], gains2_db2: f64) -> f64 {
        let last = parts.len().saturating_sub(1);
        let others = self.product_without(parts, last);
        let last = parts.get(last).map_or(&others[..], AsRef::as_ref);
        self.error_below([&others, last], gains2_db2, f64::INFINITY)
    }

    /// [`Objective::error_db`] of two parts of a chain, or infinity as soon as it is sure to
    /// exceed `limit_db`: most steps of a search make things worse, and that shows after a few
    /// bands.
    pub fn error_below(&self, parts: [&[f64]; 2], gains2_db2: f64, limit_db: f64) -> f64 {
        let [low, high] = self.total_limits;
        let limit = limit_db * limit_db * self.total_weight;
        let mut sum = GAIN_COST * gains2_db2 * self.total_weight;
        let [one, other] = parts.map(|part| part.as_chunks::<PER_BAND>().0);
        // A section that cannot be made has no nodes and is never chosen.
        if one.len() <= self.goals.len() || other.len() <= self.goals.len() {
            return f64::INFINITY;
        }
        for (band, (one, other)) in one.iter().zip(other).enumerate() {
            let product: [f64; PER_BAND] = std::array::from_fn(|node| one[node] * other[node]);
            // Without a branch for each node. A NaN is neither; it comes out in the mean.
            let (mut least, mut most) = (product[0], product[0]);
            for p in product {
                least = least.min(p);
                most = most.max(p);
            }
            if least < low || most > high {
                return f64::INFINITY;
            }
            let mean = band_mean(&product);
            // The last band has no goal.
            sum += self.goals.get(band).map_or(0.0 * mean, |g| weighted_residual(g, mean).powi(2));
            if sum.is_nan() || sum > limit {
                return f64::INFINITY;
            }
        }
        (sum / self.total_weight).sqrt()
    }

    /// [`Objective::error_db`] without looking at the limits of the total gain.
    pub fn unlimited_error_db<P: AsRef<[f64]>>(&self, parts: &[P], gains2_db2: f64) -> f64 {
        let product = self.product(parts);
        let means = product.chunks(PER_BAND).map(band_mean);
        let sum: f64 =
            self.goals.iter().zip(means).map(|(g, m)| weighted_residual(g, m).powi(2)).sum();
        (sum / self.total_weight + GAIN_COST * gains2_db2).sqrt()
    }

    /// Residual `target - gain` of every row that has a goal, dB.
    pub fn residuals_db<P: AsRef<[f64]>>(&self, parts: &[P]) -> Vec<f64> {
        let product = self.product(parts);
        let gains = product.chunks(PER_BAND).map(|nodes| 10.0 * band_mean(nodes).log10());
        self.goals.iter().zip(gains).map(|(g, gain_db)| g.target_db - gain_db).collect()
    }

    /// Root of the weight of a squared gain in the sum of squares.
    fn gain_root(&self) -> f64 {
        (GAIN_COST * self.total_weight).sqrt()
    }

    /// Power response of a chain at all nodes.
    fn product<P: AsRef<[f64]>>(&self, parts: &[P]) -> Vec<f64> {
        self.product_of(parts)
    }

    /// The same without one of its sections; no nodes where another one cannot be made.
    pub fn product_without<P: AsRef<[f64]>>(&self, parts: &[P], left_out: usize) -> Vec<f64> {
        let others = || parts.iter().enumerate().filter(|(i, _)| *i != left_out).map(|(_, p)| p);
        if others().any(|part| part.as_ref().is_empty()) {
            return Vec::new();
        }
        self.product_of(others())
    }

    fn product_of<'a, P: AsRef<[f64]> + 'a>(
        &self,
        parts: impl IntoIterator<Item = &'a P>,
    ) -> Vec<f64> {
        let mut product = vec![1.0; (self.goals.len() + 1) * PER_BAND];
        for part in parts {
            product.iter_mut().zip(part.as_ref()).for_each(|(p, h)| *p *= h);
        }
        product
    }
}

/// Residual of a row in units of its weight, from the mean power over the band.
fn weighted_residual(goal: &Goal, mean: f64) -> f64 {
    let off_db = goal.target_db - DB * mean.ln();
    goal.root * heavier(goal, off_db) * off_db
}

/// A boost above a cap counts more than one below the target.
fn heavier(goal: &Goal, off_db: f64) -> f64 {
    if goal.capped && off_db < 0.0 { CAP_FACTOR } else { 1.0 }
}

/// Ranges of the continuous fit: gain in dB, natural logarithms of frequency and Q.
#[derive(Debug, Clone)]
pub(super) struct Ranges {
    pub gain_db: [f64; 2],
    pub ln_frequency: [f64; 2],
    pub ln_peak_q: [f64; 2],
    pub ln_shelf_q: [f64; 2],
}

impl Ranges {
    fn of(&self, kind: SectionKind) -> [[f64; 2]; 3] {
        let q = match kind {
            SectionKind::Peaking => self.ln_peak_q,
            SectionKind::HighShelf => self.ln_shelf_q,
        };
        [self.gain_db, self.ln_frequency, q]
    }
}

/// Finds the least error near `start` with gains, frequencies and Qs free inside their
/// ranges, by Levenberg-Marquardt.
///
/// Each number is `low + (high - low) / (1 + exp(-x))` of a free `x`, so the ranges hold
/// by construction and the error is smooth in `x`.
pub(super) fn minimise(objective: &Objective, ranges: &Ranges, start: &[Setting]) -> Vec<Setting> {
    let kinds: Vec<SectionKind> = start.iter().map(|s| s.kind).collect();
    let x: Vec<f64> = start
        .iter()
        .flat_map(|s| {
            let values = [s.gain_db, s.frequency_hz.ln(), s.q.ln()];
            let ranges = ranges.of(s.kind);
            (0..3).map(move |i| free(values[i], ranges[i]))
        })
        .collect();
    let mut problem = Problem { objective, ranges, kinds, x: DVector::from_vec(x), parts: vec![] };
    problem.refresh();
    // The result is rounded to coarse steps and polished there: finer ends (1e-4) gave the same
    // errors over simulated sheets, in more time; with coarser ones (3e-3) some were missed.
    let solver = LevenbergMarquardt::new().with_ftol(1e-3).with_xtol(1e-3).with_patience(12);
    let (done, _) = solver.minimize(problem);
    // Whether it converged or ran out of patience, it is the best point it found, and the
    // search judges it by its error.
    done.settings(&done.x)
}

/// Inverse of the bounded form, kept off the ends where its slope vanishes.
fn free(value: f64, [low, high]: [f64; 2]) -> f64 {
    if high <= low {
        return 0.0;
    }
    let share = ((value - low) / (high - low)).clamp(0.03, 0.97);
    (share / (1.0 - share)).ln()
}

fn bounded(x: f64, [low, high]: [f64; 2]) -> f64 {
    low + (high - low) / (1.0 + (-x).exp())
}

struct Problem<'a> {
    objective: &'a Objective,
    ranges: &'a Ranges,
    kinds: Vec<SectionKind>,
    x: DVector<f64>,
    /// Power response of each section at the nodes, for the present `x`.
    parts: Vec<Vec<f64>>,
}

impl Problem<'_> {
    fn setting(&self, i: usize, values: [f64; 3]) -> Setting {
        Setting {
            kind: self.kinds[i],
            gain_db: values[0],
            frequency_hz: values[1].exp(),
            q: values[2].exp(),
        }
    }

    fn values(&self, i: usize, x: &DVector<f64>) -> [f64; 3] {
        let ranges = self.ranges.of(self.kinds[i]);
        [0, 1, 2].map(|j| bounded(x[3 * i + j], ranges[j]))
    }

    fn settings(&self, x: &DVector<f64>) -> Vec<Setting> {
        (0..self.kinds.len()).map(|i| self.setting(i, self.values(i, x))).collect()
    }

    fn refresh(&mut self) {
        self.parts = self
            .settings(&self.x)
            .into_iter()
            .map(|s| self.objective.powers(s).unwrap_or_default())
            .collect();
    }

    fn whole(&self) -> bool {
        self.parts.iter().all(|p| !p.is_empty())
    }
}

impl LeastSquaresProblem<f64, Dyn, Dyn> for Problem<'_> {
    type ParameterStorage = Owned<f64, Dyn>;
    type ResidualStorage = Owned<f64, Dyn>;
    type JacobianStorage = Owned<f64, Dyn, Dyn>;

    fn set_params(&mut self, x: &DVector<f64>) {
        self.x.copy_from(x);
        self.refresh();
    }

    fn params(&self) -> DVector<f64> {
        self.x.clone()
    }

    fn residuals(&self) -> Option<DVector<f64>> {
        if !self.whole() {
            return None;
        }
        let product = self.objective.product(&self.parts);
        let goals = &self.objective.goals;
        let means = product.chunks(PER_BAND).map(band_mean);
        let rows = goals.iter().zip(means).map(|(g, mean)| weighted_residual(g, mean));
        let root = self.objective.gain_root();
        let costs = (0..self.kinds.len()).map(|i| root * self.values(i, &self.x)[0]);
        Some(DVector::from_iterator(goals.len() + self.kinds.len(), rows.chain(costs)))
    }

    /// `d gain / d v = DB x mean(P dlnH/dv) / mean(P)`, the derivative of each section's own
    /// response by differences, the chain rule for the rest.
    fn jacobian(&self) -> Option<DMatrix<f64>> {
        if !self.whole() {
            return None;
        }
        let goals = &self.objective.goals;
        let product = self.objective.product(&self.parts);
        let n_rows = goals.len() + self.kinds.len();
        // Slope of each goal's residual for a rise of its band mean.
        let per_mean: Vec<f64> = goals
            .iter()
            .zip(product.chunks(PER_BAND).map(band_mean))
            .map(|(goal, mean)| {
                let off_db = goal.target_db - DB * mean.ln();
                -goal.root * heavier(goal, off_db) * DB / mean
            })
            .collect();
        let mut jacobian = DMatrix::zeros(n_rows, self.x.len());
        for i in 0..self.kinds.len() {
            let values = self.values(i, &self.x);
            let ranges = self.ranges.of(self.kinds[i]);
            let others: Vec<f64> =
                product.iter().zip(&self.parts[i]).map(|(all, own)| all / own).collect();
            for j in 0..3 {
                let step = if j == 0 { 1e-4 } else { 1e-5 };
                let mut moved = values;
                moved[j] += step;
                let up = self.objective.powers(self.setting(i, moved))?;
                let share = 1.0 / (1.0 + (-self.x[3 * i + j]).exp());
                let slope = (ranges[j][1] - ranges[j][0]) * share * (1.0 - share);
                if j == 0 {
                    jacobian[(goals.len() + i, 3 * i)] = self.objective.gain_root() * slope;
                }
                let mut column = jacobian.column_mut(3 * i + j);
                for (r, per_mean) in per_mean.iter().enumerate() {
                    let span = r * PER_BAND..(r + 1) * PER_BAND;
                    let mut rise = [0.0; PER_BAND];
                    for (k, n) in span.enumerate() {
                        rise[k] = others[n] * (up[n] - self.parts[i][n]);
                    }
                    column[r] = per_mean * band_mean(&rise) / step * slope;
                }
            }
        }
        Some(jacobian)
    }
}

#[cfg(test)]
mod tests;
