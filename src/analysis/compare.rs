//! Sessions and forecasts side by side: loss, spread over the seats, claims kept, gain, power
//! cost - ranked only as far as the uncertainty allows.

use super::predict::describe::DescribedSheet;
use super::predict::{Forecast, power_cost};
use crate::units::ThirdOctave;
use serde::Serialize;
use serde_json::Value;

/// A figure with its expanded uncertainty.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Rated {
    pub value: f64,
    /// Expanded uncertainty, two-sided 95 %; absent where there is none to be had.
    pub u95: Option<f64>,
}

/// Where the figures of an entry come from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Origin {
    /// Takes.
    Measured,
    /// A description.
    Predicted,
}

/// What is compared of one session or forecast.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Summary {
    /// Name in tables.
    pub name: String,
    /// Measured or predicted.
    pub origin: Origin,
    /// Nominal frequencies of the bands, Hz.
    pub bands_hz: Vec<f64>,
    /// Mean loss, dB.
    pub loss_db: Vec<Option<f64>>,
    /// Its expanded uncertainty, dB.
    pub u95_db: Vec<Option<f64>>,
    /// Standard deviation over the seats, dB.
    pub sd_db: Vec<Option<f64>>,
    /// Number of seats.
    pub n_seats: usize,
    /// Claims shown to be kept, and claims made.
    pub claims: Option<[usize; 2]>,
    /// Gain on the axis.
    pub gain: Option<Rated>,
    /// What the setting leaves of amplifier and driver.
    pub headroom: Headroom,
}

/// What the setting of a session leaves of the stated limits.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize)]
pub struct Headroom {
    /// Of the amplifier, dB; negative = exceeded, absent = not stated.
    pub amplifier_db: Option<f64>,
    /// Of the high-frequency driver, dB; negative = exceeded, absent = not stated.
    pub driver_db: Option<f64>,
}

/// The band that loses most.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct LargestLoss {
    /// Nominal frequency, Hz.
    pub nominal_hz: f64,
    /// Mean loss over the seats there, dB.
    pub loss_db: Rated,
}

/// Why a result document cannot be compared.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum CompareError {
    /// Not a result document of this program.
    #[error("{name}: no result document (key \"{key}\" {problem})")]
    NoResult {
        /// Name of the entry.
        name: String,
        key: &'static str,
        /// What is wrong with it.
        problem: &'static str,
    },
    /// Fewer than two entries.
    #[error("{found} given; comparing needs at least two")]
    TooFew {
        /// Number of entries.
        found: usize,
    },
    /// No band from 500 Hz up that all of them have.
    #[error("no band from 500 Hz up holds a loss in all of them")]
    NoCommonBand,
}

impl Summary {
    /// Reads a result document (`result.json`, or the same made from a finished result).
    ///
    /// # Errors
    /// [`CompareError::NoResult`] naming the key that is missing or not what it should be.
    pub fn from_result(name: &str, result: &Value) -> Result<Self, CompareError> {
        let problem = |key, problem| CompareError::NoResult { name: name.into(), key, problem };
        if result["format"] != "scrimcheck-result" {
            return Err(problem("format", "is not \"scrimcheck-result\""));
        }
        let list = |value: &Value| -> Option<Vec<Option<f64>>> {
            Some(value.as_array()?.iter().map(Value::as_f64).collect())
        };
        let bands_hz: Vec<f64> = result["bands"]
            .as_array()
            .map(|bands| bands.iter().filter_map(|b| b["nominal_hz"].as_f64()).collect())
            .filter(|b: &Vec<f64>| !b.is_empty())
            .ok_or_else(|| problem("bands", "is missing or empty"))?;
        let mean = &result["mean"];
        let take = |key, value: &Value| {
            list(value)
                .filter(|l| l.len() == bands_hz.len())
                .ok_or_else(|| problem(key, "is missing or has another length than the bands"))
        };
        let loss_db = take("mean.loss_db", &mean["loss_db"])?;
        let u95_db = take("mean.u95_db", &mean["u95_db"])?;
        let sd_db = take("mean.sd_db", &mean["sd_db"])?;
        let claims = result["claims"]
            .as_array()
            .filter(|c| !c.is_empty())
            .map(|claims| [claims.iter().filter(|c| c["verdict"] == "pass").count(), claims.len()]);
        let gain = &result["picture"]["light"]["gain"]["on_axis"];
        let left_db = |limit: &str| result["power"][limit]["left_db"].as_f64();
        Ok(Self {
            name: name.into(),
            origin: Origin::Measured,
            n_seats: result["seats"].as_array().map_or(0, Vec::len),
            gain: gain["value"].as_f64().map(|value| Rated { value, u95: gain["u95"].as_f64() }),
            bands_hz,
            loss_db,
            u95_db,
            sd_db,
            claims,
            headroom: Headroom { amplifier_db: left_db("amplifier"), driver_db: left_db("driver") },
        })
    }

    /// One sheet of a forecast, straight on or at its first angle.
    pub fn from_forecast(forecast: &Forecast) -> Vec<Self> {
        forecast
            .sheets
            .iter()
            .filter_map(|s| Some((&s.sheet, s.angles.first()?)))
            .map(|(sheet, angle): (&DescribedSheet, _)| Self {
                name: sheet.name.clone(),
                origin: Origin::Predicted,
                bands_hz: forecast.bands_hz.iter().map(|b| b[0]).collect(),
                loss_db: angle.loss_db.iter().copied().map(Some).collect(),
                u95_db: angle.good_to_db.iter().copied().map(Some).collect(),
                sd_db: vec![None; angle.loss_db.len()],
                n_seats: 0,
                claims: None,
                gain: None,
                headroom: Headroom::default(),
            })
            .collect()
    }

    fn at(&self, values: &[Option<f64>], nominal_hz: f64) -> Option<f64> {
        let i = self.bands_hz.iter().position(|b| (b / nominal_hz - 1.0).abs() < 1e-6)?;
        values.get(i).copied().flatten().filter(|v| v.is_finite())
    }
}

/// One line of the comparison.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Entry {
    /// The session or forecast.
    pub summary: Summary,
    /// Mean loss over the common bands from 500 Hz to 16 kHz, dB.
    pub mean_loss_db: Rated,
    /// The largest mean loss over the seats, same bands.
    pub largest_loss: Option<LargestLoss>,
    /// Mean of the standard deviation over the seats, same bands, dB.
    pub spread_db: Option<Rated>,
    /// Power to restore the level for pink programme, as a factor, same bands.
    pub power_factor: Rated,
    /// Rank by loss: one more than the number of entries shown to lose less.
    pub loss_rank: usize,
    /// Rank by spread, among the entries that have one.
    pub spread_rank: Option<usize>,
    /// Rank by the share of claims shown to be kept, among the entries with claims.
    pub claims_rank: Option<usize>,
}

/// Two entries held against each other.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Pair {
    pub names: [String; 2],
    /// Loss of the first less that of the second, dB.
    pub difference_db: f64,
    /// Expanded uncertainty of the difference, dB.
    pub u95_db: Option<f64>,
    /// Whether the difference is beyond its uncertainty.
    pub shown: bool,
}

/// The comparison.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Comparison {
    /// Bands over which figures are averaged, nominal Hz.
    pub common_bands_hz: Vec<f64>,
    /// Entries in the order given.
    pub entries: Vec<Entry>,
    /// Every two of them, by loss.
    pub pairs: Vec<Pair>,
}

/// Compares at least two entries.
///
/// # Uncertainty
/// Errors of neighbouring bands hang together, so the mean over the bands is trusted no better
/// than the mean of the bands' U. Sessions are taken as independent of each other: U of a
/// difference is the root of the sum of squares. U of a standard deviation over `n` seats and
/// `N` bands is `2 s / sqrt(2 (n - 1) N / 3)` (a third of the bands independent; own choice).
///
/// # Errors
/// [`CompareError::TooFew`], [`CompareError::NoCommonBand`].
pub fn compare(summaries: Vec<Summary>) -> Result<Comparison, CompareError> {
    if summaries.len() < 2 {
        return Err(CompareError::TooFew { found: summaries.len() });
    }
    let common_bands_hz: Vec<f64> = summaries[0]
        .bands_hz
        .iter()
        .copied()
        .filter(|b| (499.0..=16_500.0).contains(b))
        .filter(|b| summaries.iter().all(|s| s.at(&s.loss_db, *b).is_some()))
        .collect();
    if common_bands_hz.is_empty() {
        return Err(CompareError::NoCommonBand);
    }
    let mut entries: Vec<Entry> =
        summaries.into_iter().map(|s| Entry::new(s, &common_bands_hz)).collect();
    let losses: Vec<Option<Rated>> = entries.iter().map(|e| Some(e.mean_loss_db)).collect();
    let spreads: Vec<Option<Rated>> = entries.iter().map(|e| e.spread_db).collect();
    // Ranked from small to large: share of claims not kept.
    let claims: Vec<Option<Rated>> = entries
        .iter()
        .map(|e| e.summary.claims)
        .map(|c| c.map(|[kept, n]| Rated { value: 1.0 - kept as f64 / n as f64, u95: Some(0.0) }))
        .collect();
    for (i, entry) in entries.iter_mut().enumerate() {
        entry.loss_rank = rank(&losses, i).unwrap_or(1);
        entry.spread_rank = rank(&spreads, i);
        entry.claims_rank = rank(&claims, i);
    }
    let mut pairs = Vec::new();
    for i in 0..entries.len() {
        for j in i + 1..entries.len() {
            let (a, b) = (&entries[i], &entries[j]);
            pairs.push(Pair {
                names: [a.summary.name.clone(), b.summary.name.clone()],
                difference_db: a.mean_loss_db.value - b.mean_loss_db.value,
                u95_db: difference_u95(a.mean_loss_db, b.mean_loss_db),
                shown: shown_smaller(a.mean_loss_db, b.mean_loss_db)
                    || shown_smaller(b.mean_loss_db, a.mean_loss_db),
            });
        }
    }
    Ok(Comparison { common_bands_hz, entries, pairs })
}

impl Entry {
    fn new(summary: Summary, common_hz: &[f64]) -> Self {
        let over = |values: &[Option<f64>]| -> Vec<f64> {
            common_hz.iter().filter_map(|b| summary.at(values, *b)).collect()
        };
        let mean = |v: &[f64]| v.iter().sum::<f64>() / v.len() as f64;
        let losses = over(&summary.loss_db);
        let us = over(&summary.u95_db);
        let sds = over(&summary.sd_db);
        let u95 = (us.len() == losses.len()).then(|| mean(&us));
        let bands: Vec<ThirdOctave> =
            common_hz.iter().filter_map(|hz| ThirdOctave::nearest(*hz)).collect();
        let at_db = |hz: f64| summary.at(&summary.loss_db, hz);
        let largest_loss = common_hz
            .iter()
            .filter_map(|hz| Some((*hz, at_db(*hz)?)))
            .max_by(|a, b| a.1.total_cmp(&b.1))
            .map(|(nominal_hz, value)| LargestLoss {
                nominal_hz,
                loss_db: Rated { value, u95: summary.at(&summary.u95_db, nominal_hz) },
            });
        let factor = power_cost(&bands, &losses).pink_factor;
        let n = summary.n_seats as f64;
        let spread_db = (sds.len() == losses.len() && summary.n_seats > 1).then(|| {
            let value = mean(&sds);
            let freedom = 2.0 * (n - 1.0) * sds.len() as f64 / 3.0;
            Rated { value, u95: Some(2.0 * value / freedom.sqrt()) }
        });
        Self {
            mean_loss_db: Rated { value: mean(&losses), u95 },
            largest_loss,
            spread_db,
            // d(10^(L/10)) = ln 10 / 10 x 10^(L/10) dL.
            power_factor: Rated {
                value: factor,
                u95: u95.map(|u| std::f64::consts::LN_10 / 10.0 * factor * u),
            },
            summary,
            loss_rank: 0,
            spread_rank: None,
            claims_rank: None,
        }
    }
}

fn difference_u95(a: Rated, b: Rated) -> Option<f64> {
    a.u95.zip(b.u95).map(|(a, b)| a.hypot(b)).filter(|u| u.is_finite())
}

/// Whether `a` is shown to be smaller than `b`: never without an uncertainty.
fn shown_smaller(a: Rated, b: Rated) -> bool {
    difference_u95(a, b).is_some_and(|u| b.value - a.value > u)
}

fn rank(values: &[Option<Rated>], at: usize) -> Option<usize> {
    let own = values[at]?;
    Some(1 + values.iter().flatten().filter(|v| shown_smaller(**v, own)).count())
}

#[cfg(test)]
pub(crate) mod tests;
