//! What the setting costs: power and headroom, against amplifier and driver.
//!
//! Trim make-up and filters are counted together. A gain of G dB takes `10^(G/10)` times
//! the power. Two costs are told apart: *headroom*, the largest boost, since peaks in
//! that band need it in full, and *long-term power*, the mean of the factor over a
//! programme's spectrum, which warms the driver. Programme power falls with frequency
//! while its peaks do not, so the mean alone would flatter the headroom.

use crate::analysis::correction::Correction;
use crate::ingest::manifest::SpeakerInfo;
use crate::units::{GainDb, ThirdOctave};
use serde::Serialize;

/// Third-octave bands that programme spectra are declared over: 20 Hz to 20 kHz.
const PROGRAMME_BANDS: std::ops::RangeInclusive<i32> = -17..=13;

/// Less than this left is told as little, dB.
const LITTLE_LEFT_DB: f64 = 1.0;

/// A boost from here on is worth a caution, dB (twice the power).
const NOTABLE_BOOST_DB: f64 = 3.0;

/// Cost in one band.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct BandPower {
    /// Nominal mid-band, Hz.
    pub nominal_hz: f64,
    /// Exact mid-band, Hz.
    pub exact_hz: f64,
    /// Total gain, trim and filters, mean of power over the band, dB.
    pub gain_db: f64,
    /// Factor in power, `10^(gain/10)`.
    pub factor: f64,
    /// What the stated power becomes when the programme stands in this band, W.
    pub watts: Option<f64>,
}

/// Cost under one declared spectrum.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Programme {
    /// Name in words.
    pub name: String,
    /// Slope of the power per third-octave band, dB per octave; 0 = pink.
    pub slope_db_per_octave: f64,
    /// Mean factor in power, 20 Hz-20 kHz.
    pub factor: f64,
    /// The same in dB.
    pub gain_db: f64,
    /// Power with the setting, W.
    pub watts: Option<f64>,
    /// Share of the programme's power that falls into the driver's band, 0 to 1.
    pub driver_share: Option<f64>,
    /// Mean factor in power in the driver's band.
    pub driver_factor: Option<f64>,
    /// The same in dB.
    pub driver_gain_db: Option<f64>,
    /// Long-term power of the driver with the setting, W.
    pub driver_watts: Option<f64>,
}

/// A need held against a limit.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct LimitCheck {
    /// What is needed, W.
    pub needs_w: f64,
    /// What there is, W.
    pub available_w: f64,
    /// What is left, dB; negative = too little.
    pub left_db: f64,
    /// Whether there is enough.
    pub within: bool,
}

/// What to be careful of.
#[derive(Debug, Clone, Copy, PartialEq)]
#[non_exhaustive]
pub enum Caution {
    /// A stated power is no number above 0, and is not used.
    NoPower {
        /// Its key under `[speaker]`.
        key: &'static str,
        /// What is stated.
        value: f64,
    },
    /// The stated band of the driver is none, and is not used.
    NoBand([f64; 2]),
    /// Peaks need more than the amplifier has.
    AmplifierClips,
    /// The amplifier has less than 1 dB left.
    AmplifierClose,
    /// The driver takes more than it bears.
    DriverOverloaded,
    /// The driver has less than 1 dB left.
    DriverClose,
    /// A notable boost, and no amplifier to hold it against.
    LimitsUnknown,
    /// A notable boost makes test signals and treble louder near the loudspeaker.
    Louder {
        /// Level at 1 m before the setting, where it can be reckoned, dB.
        before_db: Option<f64>,
    },
}

/// Power and headroom of a setting.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct PowerCost {
    /// Third-octave bands from 20 Hz to 20 kHz.
    pub bands: Vec<BandPower>,
    /// Largest total gain from 20 Hz to 20 kHz, dB.
    pub peak_gain_db: f64,
    /// Where it lies, Hz.
    pub peak_hz: f64,
    /// Factor in power of the largest gain.
    pub peak_factor: f64,
    /// Largest total gain in the driver's band; absent when the band is not stated, dB.
    pub driver_headroom_db: Option<f64>,
    /// The driver's band as stated, Hz.
    pub driver_band_hz: Option<[f64; 2]>,
    /// Declared spectra.
    pub programmes: Vec<Programme>,
    /// Peak power against the amplifier.
    pub amplifier: Option<LimitCheck>,
    /// Long-term power of the driver against its limit, under the spectrum that asks most.
    pub driver: Option<LimitCheck>,
    /// What to be careful of.
    #[serde(skip)]
    pub cautions: Vec<Caution>,
}

/// Cost of a correction: trim and filters together.
///
/// # Units and sign
/// Watts in and out; gains in dB, positive = more power.
/// # Valid range
/// Without `speaker`, or with its numbers absent, only factors are told; numbers that are
/// not finite and above 0 count as absent and are named in a caution.
pub fn correction_power(correction: &Correction, speaker: Option<&SpeakerInfo>) -> PowerCost {
    let top = 0.4999 * correction.rate_hz;
    gain_power(|hz| correction.trim_db + correction.filter_gain_db(hz.min(top)), speaker)
}

/// Cost of any gain over frequency, `gain_db(hz)`: for instance making up a predicted loss.
///
/// As [`correction_power`].
pub fn gain_power(gain_db: impl Fn(f64) -> f64, speaker: Option<&SpeakerInfo>) -> PowerCost {
    let mut cautions = Vec::new();
    let stated = Stated::new(speaker, &mut cautions);
    let bands: Vec<BandPower> = PROGRAMME_BANDS
        .map(ThirdOctave::from_index)
        .map(|b| {
            let factor = band_factor(b, &gain_db);
            BandPower {
                nominal_hz: b.nominal_hz(),
                exact_hz: b.exact_hz(),
                gain_db: 10.0 * factor.log10(),
                factor,
                watts: stated.power_w.map(|w| w * factor),
            }
        })
        .collect();
    let (peak_hz, peak_gain_db) = largest(&gain_db, [20.0, 20_000.0]);
    let driver_headroom_db = stated.driver_band_hz.map(|band| largest(&gain_db, band).1);
    let programmes = vec![
        programme("pink: the same power in every third-octave band", 0.0, &bands, &stated),
        programme("falling by 3 dB per octave from pink", -3.0, &bands, &stated),
    ];
    let peak_factor = GainDb(peak_gain_db).power_factor();
    let amplifier =
        stated.power_w.zip(stated.amplifier_w).map(|(w, has)| check(w * peak_factor, has));
    let driver = stated.driver_limit_w.and_then(|limit| {
        let most = programmes
            .iter()
            .filter_map(|p| p.driver_watts)
            .fold(None, |a: Option<f64>, w| Some(a.map_or(w, |a| a.max(w))))?;
        Some(check(most, limit))
    });
    let mut cost = PowerCost {
        bands,
        peak_gain_db,
        peak_hz,
        peak_factor,
        driver_headroom_db,
        driver_band_hz: stated.driver_band_hz,
        programmes,
        amplifier,
        driver,
        cautions,
    };
    caution(&mut cost, &stated);
    cost
}

/// Mean of `10^(G/10)` over a band under a spectrum that is pink inside the band: evenly on
/// the logarithm of frequency, midpoint rule.
fn band_factor(band: ThirdOctave, gain_db: &impl Fn(f64) -> f64) -> f64 {
    let n = 16;
    let octaves = (band.upper_hz() / band.lower_hz()).log2();
    let sum: f64 = (0..n)
        .map(|i| band.lower_hz() * 2f64.powf(octaves * (f64::from(i) + 0.5) / f64::from(n)))
        .map(|hz| GainDb(gain_db(hz)).power_factor())
        .sum();
    sum / f64::from(n)
}

/// Place and size of the largest gain in a band, on a 1/48-octave walk with both ends.
fn largest(gain_db: &impl Fn(f64) -> f64, [low, high]: [f64; 2]) -> (f64, f64) {
    let n = ((high / low).log2() * 48.0).ceil().max(1.0) as usize;
    (0..=n)
        .map(|i| low * (high / low).powf(i as f64 / n as f64))
        .map(|hz| (hz, gain_db(hz)))
        .fold((low, f64::NEG_INFINITY), |best, next| if next.1 > best.1 { next } else { best })
}

fn programme(name: &str, slope: f64, bands: &[BandPower], stated: &Stated) -> Programme {
    // Power of a band relative to 1 kHz.
    let weight = |b: &BandPower| 10f64.powf(slope * (b.exact_hz / 1000.0).log2() / 10.0);
    let mean = |inside: &dyn Fn(&BandPower) -> bool| {
        let (power, weights) = bands
            .iter()
            .filter(|b| inside(b))
            .fold((0.0, 0.0), |(p, w), b| (p + weight(b) * b.factor, w + weight(b)));
        (weights > 0.0).then(|| (power / weights, weights))
    };
    let (factor, whole) = mean(&|_| true).unwrap_or((1.0, 1.0));
    let driver = stated.driver_band_hz.and_then(|[low, high]| {
        mean(&|b| b.nominal_hz >= low * 0.999 && b.nominal_hz <= high * 1.001)
    });
    let driver_share = driver.map(|(_, w)| w / whole);
    let driver_factor = driver.map(|(f, _)| f);
    Programme {
        name: name.into(),
        slope_db_per_octave: slope,
        factor,
        gain_db: 10.0 * factor.log10(),
        watts: stated.power_w.map(|w| w * factor),
        driver_share,
        driver_factor,
        driver_gain_db: driver_factor.map(|f| 10.0 * f.log10()),
        driver_watts: stated
            .power_w
            .zip(driver_share)
            .zip(driver_factor)
            .map(|((w, share), factor)| w * share * factor),
    }
}

/// The numbers of the loudspeaker that can be calculated with.
#[derive(Debug, Default)]
struct Stated {
    power_w: Option<f64>,
    amplifier_w: Option<f64>,
    driver_limit_w: Option<f64>,
    driver_band_hz: Option<[f64; 2]>,
    sensitivity_db: Option<f64>,
}

impl Stated {
    fn new(speaker: Option<&SpeakerInfo>, cautions: &mut Vec<Caution>) -> Self {
        let Some(s) = speaker else { return Self::default() };
        let mut positive = |key: &'static str, value: Option<f64>| {
            let value = value?;
            if value.is_finite() && value > 0.0 {
                return Some(value);
            }
            cautions.push(Caution::NoPower { key, value });
            None
        };
        let power_w = positive("power_w", s.power_w);
        let amplifier_w = positive("amplifier_w", s.amplifier_w);
        let driver_limit_w = positive("driver_limit_w", s.driver_limit_w);
        let driver_band_hz = s.driver_band_hz.filter(|[low, high]| {
            let fine = *low > 0.0 && high > low && high.is_finite();
            if !fine {
                cautions.push(Caution::NoBand([*low, *high]));
            }
            fine
        });
        let sensitivity_db = s.sensitivity_db.filter(|v| v.is_finite());
        Self { power_w, amplifier_w, driver_limit_w, driver_band_hz, sensitivity_db }
    }
}

fn check(needs_w: f64, available_w: f64) -> LimitCheck {
    LimitCheck {
        needs_w,
        available_w,
        left_db: 10.0 * (available_w / needs_w).log10(),
        within: needs_w <= available_w,
    }
}

fn caution(cost: &mut PowerCost, stated: &Stated) {
    let limit = |check: &Option<LimitCheck>, over: Caution, close: Caution| match check {
        Some(c) if !c.within => Some(over),
        Some(c) if c.left_db < LITTLE_LEFT_DB => Some(close),
        _ => None,
    };
    let amplifier = limit(&cost.amplifier, Caution::AmplifierClips, Caution::AmplifierClose);
    let driver = limit(&cost.driver, Caution::DriverOverloaded, Caution::DriverClose);
    cost.cautions.extend(amplifier.into_iter().chain(driver));
    if cost.peak_gain_db >= NOTABLE_BOOST_DB {
        if stated.power_w.is_none() || stated.amplifier_w.is_none() {
            cost.cautions.push(Caution::LimitsUnknown);
        }
        let before_db = stated.power_w.zip(stated.sensitivity_db);
        let before_db = before_db.map(|(w, s)| s + 10.0 * w.log10());
        cost.cautions.push(Caution::Louder { before_db });
    }
}

#[cfg(test)]
mod tests;
