//! A setting, section by section and band by band.

use super::predict::{SeatPrediction, WorstBand};
use super::response::BandNodes;
use super::target::CapReason;
use crate::analysis::biquad::{
    Biquad, SectionKind, Setting, bandwidth_analog_oct, bandwidth_digital_oct, design, shelf_slope,
};
use crate::units::{ThirdOctave, fine_grid_hz};
use serde::Serialize;

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

/// The best setting with a number of filters, and whether it earned its place.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct FilterStep {
    /// Filters, the shelf counted.
    pub n_filters: usize,
    /// Whether the best setting with that many has a shelf.
    pub with_shelf: bool,
    /// Error as the fit counts it: weighted, with the cost of gain, dB.
    pub error_db: f64,
    /// Left-over shape over all seats and bands of the fit, dB rms.
    pub rms_db: f64,
    /// Probability that the uncertainty alone explains the improvement on the last
    /// accepted setting; `None` for the start.
    pub p_value: Option<f64>,
    /// Whether it was accepted.
    pub earned: bool,
}

/// Why a setting does not serve, in the order in which causes are looked for.
#[derive(Debug, Clone, Copy, PartialEq)]
#[non_exhaustive]
pub enum Cause {
    /// A seat has no loss to judge by, or no seat counts.
    Unmeasured,
    /// The uncertainty of the losses is larger than the tolerance.
    Uncertain,
    /// The seats lose different amounts over the whole range.
    LevelDiffers,
    /// What is left moves from seat to seat.
    SeatsDiffer {
        /// Movement beyond the uncertainty, dB rms.
        moving_rms_db: Option<f64>,
    },
    /// Part of the loss sits in narrow dips.
    NarrowDips,
    /// The loss asks for more than the largest boost allowed.
    BoostLimit {
        /// Largest boost allowed, dB.
        max_boost_db: f64,
    },
    /// Part of what is left lies outside the range in which filters may act.
    OutsideRange,
    /// The loss has a finer shape than the filters allowed can follow.
    FilterLimit,
}

/// The setting, what it does and whether it serves.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Correction {
    /// Sample rate of the processor the coefficients are for, Hz.
    pub rate_hz: f64,
    /// Mean loss over [`super::TRIM_RANGE_HZ`], dB; 0 where the loss lies within its uncertainty of
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
