//! What the setting costs: power and headroom, against amplifier and driver.
//!
//! Trim make-up and filters are counted together. A gain of G dB takes `10^(G/10)` times
//! the power. Two costs are told apart: *headroom*, the largest boost, since peaks in
//! that band need it in full, and *long-term power*, the mean of the factor over a
//! programme's spectrum, which warms the driver. Programme power falls with frequency
//! while its peaks do not, so the mean alone would flatter the headroom.

use crate::analysis::biquad::say_hz;
use crate::analysis::correction::Correction;
use crate::ingest::manifest::SpeakerInfo;
use crate::units::{GainDb, ThirdOctave};
use crate::warning::{Topic, Warning};
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
    /// In a sentence.
    pub sentence: String,
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
    /// The cost in a plain sentence.
    pub sentence: String,
    /// Cautions.
    pub warnings: Vec<Warning>,
}

/// Cost of a correction: trim and filters together.
///
/// # Units and sign
/// Watts in and out; gains in dB, positive = more power.
/// # Valid range
/// Without `speaker`, or with its numbers absent, only factors are told; numbers that are
/// not finite and above 0 count as absent and are named in a warning.
pub fn correction_power(correction: &Correction, speaker: Option<&SpeakerInfo>) -> PowerCost {
    let top = 0.4999 * correction.rate_hz;
    gain_power(|hz| correction.trim_db + correction.filter_gain_db(hz.min(top)), speaker)
}

/// Cost of any gain over frequency, `gain_db(hz)`: for instance making up a predicted loss.
///
/// As [`correction_power`].
pub fn gain_power(gain_db: impl Fn(f64) -> f64, speaker: Option<&SpeakerInfo>) -> PowerCost {
    let mut warnings = Vec::new();
    let stated = Stated::new(speaker, &mut warnings);
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
    let amplifier = stated
        .power_w
        .zip(stated.amplifier_w)
        .map(|(w, has)| check(w * peak_factor, has, "The loudest passage", "the amplifier has"));
    let driver = stated.driver_limit_w.and_then(|limit| {
        let most = programmes
            .iter()
            .filter_map(|p| p.driver_watts)
            .fold(None, |a: Option<f64>, w| Some(a.map_or(w, |a| a.max(w))))?;
        Some(check(most, limit, "The high-frequency driver in the long run", "it stands"))
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
        sentence: String::new(),
        warnings,
    };
    cost.sentence = say(&cost);
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
    fn new(speaker: Option<&SpeakerInfo>, warnings: &mut Vec<Warning>) -> Self {
        let Some(s) = speaker else { return Self::default() };
        let mut positive = |key: &str, value: Option<f64>| {
            let value = value?;
            if value.is_finite() && value > 0.0 {
                return Some(value);
            }
            warnings.push(warning(
                format!("speaker.{key} is {value}, which is no power: it is not used."),
                format!("Write a number of watts above 0 for {key}, or leave it out."),
            ));
            None
        };
        let power_w = positive("power_w", s.power_w);
        let amplifier_w = positive("amplifier_w", s.amplifier_w);
        let driver_limit_w = positive("driver_limit_w", s.driver_limit_w);
        let driver_band_hz = s.driver_band_hz.filter(|[low, high]| {
            let fine = *low > 0.0 && high > low && high.is_finite();
            if !fine {
                warnings.push(warning(
                    format!("speaker.driver_band_hz is [{low}, {high}]: it is not used."),
                    "Write two rising frequencies in Hz, for example [2000, 20000].".into(),
                ));
            }
            fine
        });
        let sensitivity_db = s.sensitivity_db.filter(|v| v.is_finite());
        Self { power_w, amplifier_w, driver_limit_w, driver_band_hz, sensitivity_db }
    }
}

fn check(needs_w: f64, available_w: f64, who: &str, has: &str) -> LimitCheck {
    let left_db = 10.0 * (available_w / needs_w).log10();
    let within = needs_w <= available_w;
    let left = if within {
        format!("{left_db:.2} dB left")
    } else {
        format!("{:.2} dB too little", -left_db)
    };
    LimitCheck {
        needs_w,
        available_w,
        left_db,
        within,
        sentence: format!(
            "{who} needs {} W where {has} {} W; {left}.",
            watts(needs_w),
            watts(available_w)
        ),
    }
}

fn watts(w: f64) -> String {
    if w >= 100.0 { format!("{w:.0}") } else { format!("{w:.1}") }
}

fn warning(message: String, advice: String) -> Warning {
    Warning { topic: Topic::Power, seat: None, take: None, message, advice }
}

fn say(cost: &PowerCost) -> String {
    let pink = &cost.programmes[0];
    let head = format!(
        "At most {:+.1} dB ({} times the power) at {}; {:+.1} dB in the long run under pink \
         programme.",
        cost.peak_gain_db,
        (cost.peak_factor * 100.0).round() / 100.0,
        say_hz(cost.peak_hz),
        pink.gain_db
    );
    let more = [&cost.amplifier, &cost.driver]
        .into_iter()
        .flatten()
        .map(|c| format!(" {}", c.sentence))
        .collect::<String>();
    format!("{head}{more}")
}

fn caution(cost: &mut PowerCost, stated: &Stated) {
    let mut add =
        |message: String, advice: &str| cost.warnings.push(warning(message, advice.into()));
    if let Some(c) = &cost.amplifier {
        if !c.within {
            add(
                format!("The amplifier will clip. {}", c.sentence),
                "Play more quietly by what is missing, use a stronger amplifier, or give up part \
                 of the correction; a clipping amplifier also destroys high-frequency drivers.",
            );
        } else if c.left_db < LITTLE_LEFT_DB {
            add(
                format!("The amplifier has next to nothing left. {}", c.sentence),
                "Leave a margin: programme peaks and rooms differ. Listen for clipping at \
                 reference level before you hand over.",
            );
        }
    }
    if let Some(c) = &cost.driver {
        if !c.within {
            add(
                format!("The high-frequency driver is overloaded. {}", c.sentence),
                "Do not use the setting at this level: lower the boost or the level, or ask the \
                 loudspeaker's maker.",
            );
        } else if c.left_db < LITTLE_LEFT_DB {
            add(
                format!("The high-frequency driver is close to its limit. {}", c.sentence),
                "Keep test signals short and leave a margin; long loud programme warms the driver.",
            );
        }
    }
    if cost.peak_gain_db >= NOTABLE_BOOST_DB {
        let unknown = stated.power_w.is_none() || stated.amplifier_w.is_none();
        if unknown {
            add(
                format!(
                    "The setting asks for {:+.1} dB at {}, and whether amplifier and driver can \
                     give it is not known.",
                    cost.peak_gain_db,
                    say_hz(cost.peak_hz)
                ),
                "State power_w, amplifier_w, driver_limit_w and driver_band_hz under [speaker] and \
                 analyse again.",
            );
        }
        let level = stated.power_w.zip(stated.sensitivity_db).map_or(String::new(), |(w, s)| {
            format!(
                " Before the correction the loudspeaker makes about {:.0} dB at 1 m.",
                s + 10.0 * w.log10()
            )
        });
        // NIOSH 98-126: 85 dB(A) for 8 hours, half the time for every 3 dB more.
        add(
            format!(
                "The boost makes test signals and treble up to {:.1} dB louder at the \
                 loudspeaker.{level}",
                cost.peak_gain_db
            ),
            "Turn the level down before you switch the setting on and raise it slowly. Wear \
             hearing protection near the loudspeaker: 85 dB(A) is bearable for 8 hours a day, and \
             every 3 dB more halves that time.",
        );
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::biquad::{SectionKind, Setting, design};
    use crate::support::assert_close;

    fn speaker() -> SpeakerInfo {
        SpeakerInfo {
            power_w: Some(100.0),
            amplifier_w: Some(400.0),
            driver_limit_w: Some(60.0),
            driver_band_hz: Some([2000.0, 20_000.0]),
            sensitivity_db: Some(91.0),
        }
    }

    /// Ratios printed in <http://piglix.com/piglix/Decibels> (3, 6, 10, 1, -3 dB; three
    /// digits) and in an amateur-radio list,
    /// <http://www.amsat.org/amsat/archive/amsat-bb/200601/msg00446.html> (3, 6, 12 dB).
    #[test]
    fn decibels_to_power_as_published() {
        for (db, ratio, tol) in [
            (3.0, 1.995, 5e-4),
            (6.0, 3.981, 5e-4),
            (10.0, 10.0, 5e-4),
            (1.0, 1.259, 5e-4),
            (-3.0, 0.501, 5e-4),
            (3.0, 1.995262, 5e-7),
            (6.0, 3.981072, 5e-7),
            (12.0, 15.848932, 5e-7),
        ] {
            let cost = gain_power(|_| db, None);
            assert_close("peak", &[cost.peak_factor], &[ratio], tol);
            let all: Vec<f64> = cost.bands.iter().map(|b| b.factor).collect();
            assert_close("bands", &all, &vec![ratio; 31], tol);
            for p in &cost.programmes {
                assert_close("programme", &[p.factor], &[ratio], tol);
            }
        }
    }

    #[test]
    fn a_hundred_watts_become_four_hundred_and_a_thousand() {
        let six = gain_power(|_| 6.0, Some(&speaker()));
        let amplifier = six.amplifier.unwrap();
        assert_close("6 dB", &[amplifier.needs_w, amplifier.left_db], &[398.1, 0.0206], 0.01);
        assert!(amplifier.within);
        assert_eq!(
            amplifier.sentence,
            "The loudest passage needs 398 W where the amplifier has 400 W; 0.02 dB left."
        );
        let ten = gain_power(|_| 10.0, Some(&speaker()));
        assert_close("10 dB", &[ten.bands[20].watts.unwrap()], &[1000.0], 1e-6);
        assert!(ten.warnings.iter().any(|w| w.message.contains("will clip")));
        // 13 dB is a factor of 19.95 (10 + 3 dB of the table above).
        assert_close("13 dB", &[gain_power(|_| 13.0, None).peak_factor], &[19.95], 5e-3);
    }

    #[test]
    fn both_sides_of_the_amplifiers_limit() {
        let limit = 10.0 * 4f64.log10();
        let at = |db: f64| gain_power(move |_| db, Some(&speaker())).amplifier.unwrap();
        assert!(at(limit - 1e-6).within && !at(limit + 1e-6).within);
        assert!(at(limit + 1.0).sentence.contains("1.00 dB too little"));
    }

    /// Worked from the cookbook shelf +4 dB at 8 kHz, S = 1, 48 kHz, at the exact mid-bands of
    /// the eleven bands 2-20 kHz: pink 1.977 dB, falling 0.924 dB, largest 3.998 dB. Means over
    /// the bands instead of mid-band values move the first two by under 0.01 dB.
    #[test]
    fn the_shelf_example() {
        let setting = Setting {
            kind: SectionKind::HighShelf,
            frequency_hz: 8000.0,
            gain_db: 4.0,
            q: std::f64::consts::FRAC_1_SQRT_2,
        };
        let shelf = design(setting, 48_000.0).unwrap();
        let cost = gain_power(|hz| shelf.gain_db(hz.min(23_990.0), 48_000.0), Some(&speaker()));
        let driver: Vec<f64> = cost.programmes.iter().map(|p| p.driver_gain_db.unwrap()).collect();
        assert_close("driver", &driver, &[1.977, 0.924], 0.01);
        assert_close("headroom", &[cost.driver_headroom_db.unwrap()], &[3.998], 6e-4);
    }

    /// Share of pink power above fc, 20 Hz-20 kHz, ln(20000/fc)/ln(1000): 2 kHz 0.3333,
    /// 4 kHz 0.2330, moved by band edges lying half a band below the nominal frequency.
    #[test]
    fn the_driver_takes_its_share() {
        let share = |low: f64| {
            let s = SpeakerInfo { driver_band_hz: Some([low, 20_000.0]), ..speaker() };
            gain_power(|_| 0.0, Some(&s)).programmes[0].driver_share.unwrap()
        };
        assert_close("shares", &[share(2000.0), share(4000.0)], &[11.0 / 31.0, 8.0 / 31.0], 1e-12);
        assert_close("near the continuous figure", &[share(2000.0)], &[0.3333], 0.03);
        let cost = gain_power(|_| 2.0, Some(&speaker()));
        let want = 100.0 * 11.0 / 31.0 * 1.58489;
        let driver = cost.driver.unwrap();
        assert_close("driver", &[driver.needs_w], &[want], 1e-3);
        assert!(driver.within);
        let over = gain_power(|_| 3.0, Some(&speaker()));
        assert!(!over.driver.as_ref().unwrap().within);
        assert!(over.warnings.iter().any(|w| w.message.contains("overloaded")));
    }

    #[test]
    fn a_cut_in_the_middle_with_raised_trim_is_not_free() {
        // Trim +3 dB, middle cut by 3 dB: nothing at 1 kHz, 3 dB everywhere else.
        let middle = |hz: f64| if (500.0..2000.0).contains(&hz) { 0.0 } else { 3.0 };
        let cost = gain_power(middle, None);
        assert_close("1 kHz", &[cost.bands[17].gain_db], &[0.0], 1e-9);
        assert_close("peak", &[cost.peak_gain_db], &[3.0], 1e-9);
        assert!(cost.programmes[0].gain_db > 2.0);
    }

    #[test]
    fn without_numbers_only_factors_are_told() {
        let cost = gain_power(|_| 4.0, None);
        assert!(cost.amplifier.is_none() && cost.driver.is_none());
        assert!(cost.bands.iter().all(|b| b.watts.is_none()));
        assert!(cost.warnings.iter().any(|w| w.message.contains("not known")));
        assert!(gain_power(|_| 1.0, None).warnings.is_empty());
    }

    #[test]
    fn numbers_that_are_no_power_are_named_and_left_out() {
        for bad in [f64::NAN, f64::INFINITY, 0.0, -5.0] {
            let s = SpeakerInfo {
                power_w: Some(bad),
                driver_band_hz: Some([bad, 20_000.0]),
                ..speaker()
            };
            let cost = gain_power(|_| 1.0, Some(&s));
            assert!(cost.amplifier.is_none() && cost.driver_headroom_db.is_none(), "{bad}");
            assert_eq!(cost.warnings.len(), 2, "{bad}: {:?}", cost.warnings);
            assert!(cost.bands.iter().all(|b| b.factor.is_finite() && b.watts.is_none()));
        }
    }

    #[test]
    fn a_correction_counts_trim_and_filters_together() {
        use crate::analysis::made_tables::{sheet_loss_db, table};
        let t = table(3, |_, hz| 2.0 + sheet_loss_db(hz, 0.01, 30.0), |_, _| 0.0, 0.05, 0.0);
        let c = crate::analysis::correction::fit_correction(&t, &Default::default()).unwrap();
        let cost = correction_power(&c, Some(&speaker()));
        assert!(c.trim_db > 1.9 && !c.sections.is_empty());
        let low = &cost.bands[0];
        assert_close("20 Hz: the trim alone", &[low.gain_db], &[c.trim_db], 0.05);
        assert_close(
            "16 kHz",
            &[cost.bands[29].gain_db],
            &[c.trim_db + c.bands.last().unwrap().gain_db],
            0.05,
        );
    }
}
