//! Whether the chain is linear: a quiet take against the loud one beside it.
//!
//! The same sweep played 10 dB lower must come back 10 dB lower in every band. An automatic gain, a
//! compressor or a limiter lifts the quiet take, more where the loud one is loudest.

use super::across::{Entry, TakeFindings};
use super::facts::BandPowers;
use super::finding::{Finding, TakeVerdict};
use crate::ingest::takes::QUIET_BY_DB;
use crate::transfer::median::median;
use crate::units::ThirdOctave;
use crate::warning::Topic;
use serde::Serialize;

/// How far the step between both takes may be off: the coarsest step of a volume control, dB.
const STEP_OFF_DB: f64 = 0.5;
/// Largest difference between bands, dB.
const BAND_OFF_DB: f64 = 0.1;
/// Bands in which noise alone makes more than this are not compared, dB (standard deviation).
const NOISE_AT_MOST_DB: f64 = 0.1;
/// A band differs where it is off by so many standard deviations of the noise besides.
const SIGMAS: f64 = 3.0;
/// Fewest bands for a statement.
const FEWEST_BANDS: usize = 8;

/// What is known of the chain's linearity.
#[derive(Debug, Clone, PartialEq, Default, Serialize)]
#[serde(rename_all = "snake_case", tag = "state")]
pub enum Linearity {
    /// A quiet take shows it.
    Shown {
        /// The quiet take.
        take: String,
        /// The loud one beside it.
        beside: String,
        /// How much softer it is, dB.
        step_db: f64,
        /// Largest difference of a band from that, dB.
        largest_db: f64,
        /// Bands compared.
        n_bands: usize,
    },
    /// The quiet take contradicts it.
    Contradicted {
        /// The quiet take.
        take: String,
    },
    /// No quiet take that can be compared.
    #[default]
    NotShown,
}

impl Linearity {
    /// In a sentence.
    pub fn in_words(&self) -> String {
        match self {
            Self::Shown { take, beside, step_db, largest_db, n_bands } => format!(
                "{take} is {step_db:.2} dB softer than {beside}, alike within {largest_db:.2} dB in \
                 {n_bands} bands: the chain is linear."
            ),
            Self::Contradicted { take } => {
                format!("{take} contradicts that the chain is linear.")
            }
            Self::NotShown => "That the chain is linear (no automatic gain, no limiter) was not \
                               shown: there is no quiet take to compare."
                .into(),
        }
    }
}

/// Compares quiet takes with the loud ones of the same spot.
pub(super) fn judge(entries: &[Entry], findings: &[Vec<Finding>]) -> (Linearity, TakeFindings) {
    let mut state = Linearity::NotShown;
    let mut found = TakeFindings::new();
    for (index, quiet) in entries.iter().enumerate().filter(|(_, e)| e.take.quiet) {
        let usable = |at: usize| super::finding::worst(&findings[at]) != TakeVerdict::Repeat;
        let place = |e: &Entry| (e.take.seat, e.take.condition, e.take.source, e.take.spot);
        let beside = entries
            .iter()
            .enumerate()
            .find(|(at, e)| !e.take.quiet && place(e) == place(quiet) && usable(*at));
        let powers = |e: &Entry| e.facts?.powers.clone();
        let compared = beside
            .filter(|_| usable(index))
            .and_then(|(_, loud)| Some((loud, compare(&powers(loud)?, &powers(quiet)?)?)));
        let Some((loud, compared)) = compared else {
            found.push((index, not_compared(quiet, beside.is_some())));
            continue;
        };
        if let Some(finding) = contradiction(&compared, quiet, loud) {
            state = Linearity::Contradicted { take: quiet.name() };
            found.push((index, finding));
        } else if state == Linearity::NotShown {
            state = Linearity::Shown {
                take: quiet.name(),
                beside: loud.name(),
                step_db: compared.step_db,
                largest_db: compared.largest.1,
                n_bands: compared.n_bands,
            };
        }
    }
    (state, found)
}

/// Two takes against each other.
struct Compared {
    /// Median of the level differences, dB.
    step_db: f64,
    /// Band that is farthest from it, and by how much, dB.
    largest: (ThirdOctave, f64),
    /// Whether any band is off by more than noise explains.
    differs: bool,
    n_bands: usize,
}

fn compare(loud: &BandPowers, quiet: &BandPowers) -> Option<Compared> {
    let level = |p: &BandPowers, b: usize| {
        let signal = p.power[b] - p.noise[b];
        (signal > 0.0).then(|| (10.0 * signal.log10(), p.noise[b] / signal))
    };
    // Within a window of about 0.2 s a band holds so many independent cells; the cross term of
    // signal and noise has twice their ratio over that as its relative variance.
    let cells = |band: ThirdOctave| 0.2 * (band.upper_hz() - band.lower_hz());
    let bands: Vec<(ThirdOctave, f64, f64)> = loud
        .bands
        .iter()
        .enumerate()
        .filter_map(|(b, band)| {
            let ((up, n_up), (down, n_down)) = (level(loud, b)?, level(quiet, b)?);
            let sigma_db = 4.34 * (2.0 * (n_up + n_down) / cells(*band)).sqrt();
            (sigma_db < NOISE_AT_MOST_DB).then_some((*band, up - down, sigma_db))
        })
        .collect();
    if bands.len() < FEWEST_BANDS {
        return None;
    }
    let step_db = median(bands.iter().map(|(_, db, _)| *db).collect())?;
    let off = |db: f64| (db - step_db).abs();
    let largest = bands.iter().max_by(|a, b| off(a.1).total_cmp(&off(b.1)))?;
    let differs = bands.iter().any(|(_, db, sigma)| off(*db) > BAND_OFF_DB.hypot(SIGMAS * sigma));
    Some(Compared { step_db, largest: (largest.0, off(largest.1)), differs, n_bands: bands.len() })
}

fn contradiction(compared: &Compared, quiet: &Entry, loud: &Entry) -> Option<Finding> {
    let Compared { step_db, largest: (band, off_db), .. } = compared;
    let what = if (step_db - QUIET_BY_DB).abs() > STEP_OFF_DB {
        format!("it is {step_db:.1} dB softer than {}, not {QUIET_BY_DB:.0} dB", loud.name())
    } else if compared.differs {
        format!(
            "at {} Hz it differs by {off_db:.1} dB more than at the other frequencies from {}",
            band.nominal_hz(),
            loud.name()
        )
    } else {
        return None;
    };
    Some(Finding::new(
        TakeVerdict::Repeat,
        Topic::Linearity,
        format!(
            "The chain is not linear by the quiet take {}: {what}. A gain follows the level, and \
             no loss can be read from any take.",
            quiet.name()
        ),
        "Switch automatic gain, limiter, compressor, loudness and noise reduction off, in player, \
         processor, recorder and app, and make all takes again. If the quiet take was not played \
         10 dB lower, or the microphone was moved, make it again.",
    ))
}

fn not_compared(quiet: &Entry, has_beside: bool) -> Finding {
    let (message, advice) = if has_beside {
        (
            "This quiet take cannot be compared: too few bands stand above the noise, or one of \
             the two takes cannot be used."
                .to_owned(),
            "Make it again in a quieter room, or play both takes louder.",
        )
    } else {
        (
            format!(
                "There is no usable take at normal level with the same number as this quiet take \
                 of seat {}.",
                quiet.seat_id
            ),
            "Play the sweep at its usual level and 10 dB lower without touching the microphone, \
             and give both takes the same number.",
        )
    };
    Finding::new(TakeVerdict::Doubt, Topic::Linearity, message, advice)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn powers(level_db: impl Fn(usize) -> f64, noise_db: f64) -> BandPowers {
        let bands: Vec<ThirdOctave> = (-10..=12).map(ThirdOctave::from_index).collect();
        let noise = 10f64.powf(noise_db / 10.0);
        let power =
            (0..bands.len()).map(|b| 10f64.powf(level_db(b) / 10.0) + noise).collect::<Vec<_>>();
        BandPowers { noise: vec![noise; bands.len()], power, bands }
    }

    #[test]
    fn equal_steps_are_linear_and_half_steps_are_not() {
        let shape = |b: usize| (b as f64 * 0.7).sin() * 6.0;
        let loud = powers(shape, -60.0);
        let linear = compare(&loud, &powers(|b| shape(b) - 10.0, -60.0)).unwrap();
        assert!((linear.step_db - 10.0).abs() < 1e-6 && !linear.differs, "{}", linear.step_db);
        assert_eq!(linear.n_bands, 23);
        // 2:1 in decibels above -20 dB: half the step; above 0 dB: a step that depends on level.
        let press = |db: f64, over: f64| if db > over { over + 0.5 * (db - over) } else { db };
        let half = compare(
            &powers(|b| press(shape(b), -20.0), -60.0),
            &powers(|b| press(shape(b) - 10.0, -20.0), -60.0),
        );
        assert!((half.unwrap().step_db - 5.0).abs() < 1e-6);
        let some = compare(
            &powers(|b| press(shape(b), 0.0), -60.0),
            &powers(|b| press(shape(b) - 10.0, 0.0), -60.0),
        );
        assert!(some.unwrap().differs);
    }

    #[test]
    fn bands_in_noise_are_not_compared() {
        let loud = powers(|_| 0.0, -60.0);
        let drowned = |b: usize| if b < 10 { -40.0 } else { -10.0 };
        let compared = compare(&loud, &powers(drowned, -45.0)).unwrap();
        assert!(compared.n_bands <= 13 && !compared.differs, "{}", compared.n_bands);
        assert!(compare(&loud, &powers(|_| -40.0, -42.0)).is_none());
    }
}
