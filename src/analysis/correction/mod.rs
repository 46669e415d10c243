//! One equaliser setting for all seats, or the plain word that there is none.
//!
//! | file | step |
//! |---|---|
//! | `steps` | what the processor can be set to |
//! | `notch` | narrow dips, which must not be filled |
//! | `target` | trim, and per band the gain wanted, its weight and its cap |
//! | `response` | filters as losses are told: means of power over bands |
//! | `objective` | error of a setting; Levenberg-Marquardt |
//! | `search` | which filters and how many; rounding to the steps |
//! | `predict` | what is left at each seat, with uncertainty |
//! | `cause` | why a setting does not serve all seats |

mod cause;
mod even;
mod notch;
mod objective;
mod predict;
mod response;
mod search;
mod steps;
mod target;

pub use cause::Cause;
pub use predict::{Predicted, SeatPrediction, WorstBand};
pub use response::BandNodes;
pub use search::FilterStep;
pub use steps::Steps;
pub use target::{CapReason, TRIM_RANGE_HZ};

use crate::analysis::biquad::{
    Biquad, SectionKind, Setting, bandwidth_analog_oct, bandwidth_digital_oct, design, shelf_slope,
};
use crate::analysis::loss::LossTable;
use crate::analysis::seats::{SeatDependence, in_shape_range, judge_seats};
use crate::ingest::manifest::CorrectionLimits;
use crate::units::{ThirdOctave, fine_grid_hz};
use serde::Serialize;

/// Why no setting can be worked out.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum CorrectionError {
    /// A limit in the manifest makes no sense.
    #[error("session.toml, [correction] {key}: found {found}, expected {expected}")]
    Limit {
        /// Key of the manifest.
        key: &'static str,
        /// What stands there.
        found: String,
        /// What may stand there.
        expected: &'static str,
    },
    /// A seat's weight is negative or no number.
    #[error("session.toml, seat {seat}: weight {found} must be a finite number, 0 or above")]
    Weight {
        /// Seat id.
        seat: String,
        /// What stands there.
        found: f64,
    },
    /// No loss from 500 Hz to 2 kHz at any seat that counts.
    #[error(
        "no seat that counts holds a loss between 500 Hz and 2 kHz, where the level is taken: \
         record a take without and one with the screen at one seat at least"
    )]
    NothingMeasured,
}

/// A simpler setting may ask for so much more boost at its peak than the best one, dB: 1.4 times the
/// power for one filter less to type in (own choice).
const SIMPLER_DB: f64 = 1.5;

/// More shape than before by so much makes a seat worse, dB rms.
const WORSE_DB: f64 = 0.1;

/// One filter of the setting with its coefficients.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Section {
    /// What it does, where, how much.
    #[serde(flatten)]
    pub setting: Setting,
    /// Bandwidth in octaves that goes with Q by the analog definition,
    /// `1/Q = 2 sinh(ln 2 / 2 x BW)`; for a shelf the same translation of its Q.
    pub bandwidth_oct: f64,
    /// The same by the digital definition, in which BW is stretched by `w0 / sin w0`.
    pub bandwidth_digital_oct: f64,
    /// Slope S of a shelf; absent for a peaking filter.
    pub slope: Option<f64>,
    /// Coefficients, `a0` = 1.
    #[serde(flatten)]
    pub biquad: Biquad,
}

impl Section {
    /// Makes the section at a sample rate.
    ///
    /// # Errors
    /// As [`design`].
    pub fn new(
        setting: Setting,
        rate_hz: f64,
    ) -> Result<Self, crate::analysis::biquad::BiquadError> {
        let biquad = design(setting, rate_hz)?;
        let Setting { kind, frequency_hz, gain_db, q } = setting;
        Ok(Self {
            setting,
            bandwidth_oct: bandwidth_analog_oct(q),
            bandwidth_digital_oct: bandwidth_digital_oct(q, frequency_hz, rate_hz),
            slope: (kind == SectionKind::HighShelf).then(|| shelf_slope(q, gain_db)),
            biquad,
        })
    }
}

/// One band of the correction: asked for, done, left.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct CorrectionBand {
    /// Nominal mid-band, Hz.
    pub nominal_hz: f64,
    /// Exact mid-band, Hz.
    pub exact_hz: f64,
    /// Mean loss over the seats by weight, dB.
    pub mean_loss_db: Option<f64>,
    /// Its expanded uncertainty, dB.
    pub mean_u95_db: Option<f64>,
    /// Gain the filters were asked for, dB; absent where they were not asked.
    pub target_db: Option<f64>,
    /// Why less is asked for than the mean loss.
    pub cap: Option<CapReason>,
    /// Gain of the filters (without trim), mean over the band, dB.
    pub gain_db: f64,
    /// Left over in the mean: loss less trim less gain, dB.
    pub left_db: Option<f64>,
}

/// The setting, what it does and whether it serves.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Correction {
    /// Sample rate of the processor the coefficients are for, Hz.
    pub rate_hz: f64,
    /// Mean loss over [`TRIM_RANGE_HZ`], dB; 0 where the loss lies within its uncertainty of
    /// nothing.
    pub level_loss_db: f64,
    /// Level to make up, dB: `level_loss_db` in steps of the processor. Everything told of the
    /// setting rests on it.
    pub trim_db: f64,
    /// Expanded uncertainty of the trim, dB.
    pub trim_u95_db: f64,
    /// Whether this one setting brings every seat within the tolerance.
    pub serves_all_seats: bool,
    /// Whether that is shown with the uncertainty counted in.
    pub shown: bool,
    /// Why it does not; absent where it does.
    #[serde(skip)]
    pub cause: Option<Cause>,
    /// Filters; empty where nothing is to be corrected.
    pub sections: Vec<Section>,
    /// Band by band, in the order of the loss table.
    pub bands: Vec<CorrectionBand>,
    /// Seat by seat, in the order of the loss table.
    pub seats: Vec<SeatPrediction>,
    /// Shape of the loss before (loss less trim), all seats that count, 500 Hz-16 kHz, dB rms.
    pub before_rms_db: Option<f64>,
    /// The same after the filters.
    pub after_rms_db: Option<f64>,
    /// Band and seat farthest off after the filters.
    pub worst_band: Option<WorstBand>,
    /// Tolerance the verdict was given against: shape of a seat, dB rms.
    pub tolerance_rms_db: f64,
    /// Tolerance the verdict was given against: one band, dB.
    pub tolerance_band_db: f64,
    /// How many filters were tried and what each brought.
    pub tried: Vec<FilterStep>,
    /// A setting with more filters that leaves less, where this one was taken because it is the
    /// simplest inside the tolerance.
    #[serde(skip)]
    pub finer: Option<Box<Correction>>,
}

/// Curves of the correction for a plot, in dB per band of the loss table.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct CorrectionSeries {
    /// Exact mid-bands, Hz.
    pub exact_hz: Vec<f64>,
    /// Before the filters: mean loss less trim.
    pub before_db: Vec<Option<f64>>,
    /// Gain of the filters.
    pub filter_db: Vec<f64>,
    /// What is left with trim and filters.
    pub after_db: Vec<Option<f64>>,
    /// Expanded uncertainty of before and after: a setting is exact, the loss is not.
    pub u95_db: Vec<Option<f64>>,
    /// Fine frequencies of the smooth filter curve, Hz.
    pub fine_hz: Vec<f64>,
    /// Response of the filters there, dB.
    pub fine_filter_db: Vec<f64>,
}

impl Correction {
    /// The setting that leaves least: this one, or the finer one behind it.
    pub fn best(&self) -> &Self {
        self.finer.as_deref().unwrap_or(self)
    }

    /// Seats that take part in the verdict.
    pub fn counted(&self) -> impl Iterator<Item = &SeatPrediction> {
        self.seats.iter().filter(|seat| seat.weight > 0.0)
    }

    /// The seat that counts with the largest left-over shape, and that shape, dB rms.
    pub fn farthest(&self) -> Option<(&SeatPrediction, f64)> {
        self.counted()
            .filter_map(|seat| Some((seat, seat.after_rms_db?)))
            .max_by(|a, b| a.1.total_cmp(&b.1))
    }

    /// Seats that the setting makes worse, with their shape before and after, dB rms.
    pub fn made_worse(&self) -> impl Iterator<Item = (&SeatPrediction, [f64; 2])> {
        self.counted()
            .filter_map(|seat| Some((seat, [seat.before_rms_db?, seat.after_rms_db?])))
            .filter(|(_, [before, after])| *after > before + WORSE_DB)
    }

    /// Response of the filters at a frequency below half the rate, dB; the trim not counted.
    pub fn filter_gain_db(&self, frequency_hz: f64) -> f64 {
        self.sections.iter().map(|s| s.biquad.gain_db(frequency_hz, self.rate_hz)).sum()
    }

    /// Largest gain of the filters from 100 Hz to 20 kHz, dB; 0 without filters.
    pub fn peak_filter_db(&self) -> f64 {
        self.fine_hz().iter().map(|hz| self.filter_gain_db(*hz)).fold(0.0, f64::max)
    }

    /// The fine grid as far as the processor's rate reaches, Hz.
    fn fine_hz(&self) -> Vec<f64> {
        let mut grid = fine_grid_hz(100.0, 20_000.0);
        grid.retain(|hz| *hz < 0.5 * self.rate_hz);
        grid
    }

    /// Gain of the filters as means over bands, dB; the trim not counted.
    pub fn band_gains_db(&self, bands: &[ThirdOctave]) -> Vec<f64> {
        let sections: Vec<Biquad> = self.sections.iter().map(|s| s.biquad).collect();
        BandNodes::new(bands, self.rate_hz).band_gains_db(&sections)
    }

    /// What a plot of the correction shows.
    pub fn series(&self) -> CorrectionSeries {
        let fine_hz = self.fine_hz();
        let before = |b: &CorrectionBand| b.mean_loss_db.map(|l| l - self.trim_db);
        let after = |b: &CorrectionBand| b.left_db;
        CorrectionSeries {
            exact_hz: self.bands.iter().map(|b| b.exact_hz).collect(),
            before_db: self.bands.iter().map(before).collect(),
            filter_db: self.bands.iter().map(|b| b.gain_db).collect(),
            after_db: self.bands.iter().map(after).collect(),
            u95_db: self.bands.iter().map(|b| b.mean_u95_db).collect(),
            fine_filter_db: fine_hz.iter().map(|hz| self.filter_gain_db(*hz)).collect(),
            fine_hz,
        }
    }
}

/// Works out the one setting for all seats: the simplest that is shown to bring every seat within
/// the tolerance, and behind it the best; where none does, the best.
///
/// Trim first: the mean over [`TRIM_RANGE_HZ`] of the mean loss. Then at most one high
/// shelf and `max_filters` peaking filters, fitted jointly over the seats with weights
/// `seat weight / (spread^2 + U^2)`, rounded to the processor's steps. A filter stays only
/// if it lowers the error by more than the uncertainty of the losses explains. Where the
/// loss is a narrow dip or differs between the seats, no boost is asked for beyond what
/// is broad and common.
///
/// # Units and sign
/// Losses in dB, positive = the screen takes energy away; gains in dB, positive = boost.
/// # Errors
/// [`CorrectionError`] for limits that make no sense, and when nothing was measured.
pub fn fit_correction(
    table: &LossTable,
    limits: &CorrectionLimits,
) -> Result<Correction, CorrectionError> {
    fit_with_seats(table, limits, &judge_seats(table))
}

/// [`fit_correction`] for when the seat dependence has been judged already.
///
/// # Errors
/// As [`fit_correction`].
pub fn fit_with_seats(
    table: &LossTable,
    limits: &CorrectionLimits,
    dependence: &SeatDependence,
) -> Result<Correction, CorrectionError> {
    let steps = Steps::new(limits)?;
    let target = target::Target::new(table, dependence, limits)?;
    let objective = objective::Objective::new(&target, limits);
    let spread2_db2 = mean_spread2(dependence, limits);
    let found = search::search(&target, &objective, &steps, limits.max_filters, spread2_db2);
    let rate_hz = limits.processor_rate_hz;
    let made = |settings: &[Setting]| {
        let sections =
            settings.iter().filter_map(|s| Section::new(*s, rate_hz).ok()).collect::<Vec<_>>();
        finish(table, limits, dependence, &target, sections, found.tried.clone())
    };
    let best = made(&found.settings);
    let even = even::Even::new(table, limits, &steps, &target);
    // As the search found it, else with the worst seat looked after; only where there is a better one
    // to be measured by.
    let simplest = found.simpler.iter().find_map(|settings| {
        let suits = |c: &Correction| c.serves_all_seats && c.shown;
        let simple = Some(made(settings)).filter(suits);
        let worth = best.serves_all_seats && best.shown && !settings.is_empty();
        let spares = |c: &Correction| c.peak_filter_db() <= best.peak_filter_db() + SIMPLER_DB;
        let evened = || worth.then(|| made(&even.evened(settings))).filter(suits).filter(spares);
        simple.or_else(evened)
    });
    Ok(match simplest {
        Some(simple) => Correction { finer: Some(Box::new(best)), ..simple },
        None => best,
    })
}

/// Mean over the bands of the fit of the variance over seats, dB^2.
fn mean_spread2(dependence: &SeatDependence, limits: &CorrectionLimits) -> f64 {
    let asked: Vec<f64> = dependence
        .bands
        .iter()
        .filter(|b| b.nominal_hz >= limits.band_hz[0] && b.nominal_hz <= limits.band_hz[1])
        .filter_map(|b| b.moving_db)
        .map(|m| m * m)
        .collect();
    asked.iter().sum::<f64>() / asked.len().max(1) as f64
}

fn finish(
    table: &LossTable,
    limits: &CorrectionLimits,
    dependence: &SeatDependence,
    target: &target::Target,
    sections: Vec<Section>,
    tried: Vec<FilterStep>,
) -> Correction {
    let biquads: Vec<Biquad> = sections.iter().map(|s| s.biquad).collect();
    let gains = BandNodes::new(&table.bands, limits.processor_rate_hz).band_gains_db(&biquads);
    let bands: Vec<CorrectionBand> = table
        .bands
        .iter()
        .zip(&gains)
        .zip(&target.mean_db)
        .map(|((band, &gain_db), mean)| {
            let row = target.asked().find(|r| r.band == *band);
            CorrectionBand {
                nominal_hz: band.nominal_hz(),
                exact_hz: band.exact_hz(),
                mean_loss_db: mean.map(|m| m.0),
                mean_u95_db: mean.map(|m| m.1),
                target_db: row.map(|r| r.target_db),
                cap: row.and_then(|r| r.cap.map(|c| c.1)),
                gain_db,
                left_db: mean.map(|m| m.0 - target.trim_db - gain_db),
            }
        })
        .collect();
    let seats = predict::predict(table, [target.level_db, target.trim_db], &gains, limits);
    let counted: Vec<&SeatPrediction> = seats.iter().filter(|s| s.weight > 0.0).collect();
    let pooled = |f: &dyn Fn(&SeatPrediction) -> Option<f64>| {
        let parts: Vec<(f64, f64)> = counted
            .iter()
            .filter_map(|s| Some((f(s)?.powi(2) * s.n_bands as f64, s.n_bands as f64)))
            .collect();
        let n: f64 = parts.iter().map(|p| p.1).sum();
        (n > 0.0).then(|| (parts.iter().map(|p| p.0).sum::<f64>() / n).sqrt())
    };
    let worst_band = counted
        .iter()
        .filter_map(|s| s.worst_band.clone())
        .max_by(|a, b| a.left_db.abs().total_cmp(&b.left_db.abs()));
    let mut correction = Correction {
        rate_hz: limits.processor_rate_hz,
        level_loss_db: target.level_db,
        trim_db: target.trim_db,
        trim_u95_db: target.trim_u95_db,
        serves_all_seats: !counted.is_empty() && counted.iter().all(|s| s.served),
        shown: counted.iter().all(|s| s.shown),
        cause: None,
        sections,
        before_rms_db: pooled(&|s| s.before_rms_db),
        after_rms_db: pooled(&|s| s.after_rms_db),
        bands,
        seats,
        worst_band,
        tolerance_rms_db: limits.tolerance_rms_db,
        tolerance_band_db: limits.tolerance_band_db,
        tried,
        finer: None,
    };
    if !correction.serves_all_seats {
        correction.cause = Some(cause::cause(&correction, table, limits, dependence));
    }
    correction
}

/// Bands whose left-over shape is judged, as indices into the bands of a table.
fn judged(table: &LossTable) -> Vec<usize> {
    (0..table.bands.len()).filter(|&b| in_shape_range(table.bands[b])).collect()
}

#[cfg(test)]
mod tests;
#[cfg(test)]
mod truth;
