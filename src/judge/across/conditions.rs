//! What differs between the conditions as a whole: recorder clock, air, number of spots.

use super::super::finding::{Finding, TakeVerdict};
use super::levels::BANDS;
use crate::air::{MoistAir, loss_error_db, speed_of_sound_m_s};
use crate::transfer::drift::{DriftDifference, TakeDrift, delay_as_drift_ppm, drift_difference};
use crate::transfer::median::median;
use crate::units::ThirdOctave;
use crate::warning::Topic;
use crate::words::{Digits, metres};

/// Group delay between 1 and 12 kHz that a loudspeaker may have of its own, s: it looks like
/// drift common to both conditions. A second-order all-pass, left by a crossover of fourth
/// order at 1 kHz, has `2 sqrt 2 / (2 pi 1000 Hz)` = 0.45 ms below its corner, one of eighth
/// order at 2 kHz up to 0.6 ms. Over a sweep of 5 s this is 400 ppm, over one of 1 s 2000.
const OWN_DELAY_S: f64 = 0.72e-3;
/// No pair of clocks is apart by more than this, ppm (crystals: 100 each, as a rule of the trade; three
/// times that to be safe): beyond it is the loudspeaker or the room.
const MOST_OF_A_CLOCK_PPM: f64 = 300.0;
/// A difference between the conditions is told from here, ppm: from 20 and what an estimate may be
/// off by; smaller ones are removed in silence.
const TOLD_PPM: f64 = 23.0;
/// A change of temperature that counts, kelvin.
const TEMPERATURE_K: f64 = 3.0;
/// An error of a band's loss by changed air that counts, dB.
const AIR_DB: f64 = 0.1;
/// Gap above which one placement is not enough, m.
pub const LARGE_GAP_M: f64 = 0.12;

/// Air and distances, as far as the session states them.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Weather {
    /// Temperature without and with the screen, degrees Celsius.
    pub temperature_c: Option<[f64; 2]>,
    /// Relative humidity without and with the screen, percent.
    pub humidity_percent: Option<[f64; 2]>,
    /// Mean distance from the loudspeaker to the seats, m.
    pub distance_m: Option<f64>,
}

/// Clock drift of the takes, as far as it is known.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Drifts<'a> {
    /// Of takes without the screen.
    pub without: &'a [TakeDrift],
    /// Of takes with it.
    pub with: &'a [TakeDrift],
    /// Rate constant of the sweep, s: the shorter, the less certain. `None` = no
    /// exponential sweep, which shows no drift.
    pub rate_constant_s: Option<f64>,
}

/// Findings that belong to the session, not to a take.
///
/// `spots` is the smallest number of placements at any seat.
pub fn judge_conditions(
    weather: &Weather,
    drifts: Drifts,
    gap_m: Option<f64>,
    spots: Option<usize>,
) -> Vec<Finding> {
    let mut found = Vec::new();
    found.extend(drift(drifts));
    found.extend(temperature(weather));
    found.extend(absorption(weather));
    found.extend(single_spot(gap_m, spots));
    found
}

fn drift(drifts: Drifts) -> Option<Finding> {
    let rate_constant_s = drifts.rate_constant_s?;
    let ppm = |takes: &[TakeDrift]| median(takes.iter().map(|t| t.ppm).collect());
    let (without, with) = (ppm(drifts.without)?, ppm(drifts.with)?);
    let DriftDifference { ppm: difference, stands_out } =
        drift_difference(drifts.without, drifts.with, rate_constant_s)?;
    if stands_out && difference.abs() > TOLD_PPM {
        let message = format!(
            "The recorder's clock ran {:.0} ppm {} against the player's with the screen than \
             without it (median over the seats).",
            difference.abs(),
            if difference > 0.0 { "faster" } else { "slower" }
        );
        let advice = "The difference is taken out of the takes by calculation. Use the same \
                      player and recorder on both days, or one interface for both.";
        return Some(Finding::new(TakeVerdict::Doubt, Topic::ClockDrift, message, advice));
    }
    let common = 0.5 * (without + with);
    let told = delay_as_drift_ppm(OWN_DELAY_S, rate_constant_s)..MOST_OF_A_CLOCK_PPM;
    told.contains(&common.abs()).then(|| {
        let message = format!(
            "In both conditions alike the recorder's clock ran {common:+.0} ppm against the \
             player's, or the loudspeaker's treble comes {} than its bass, as behind a horn or \
             a crossover: one sweep cannot tell (medians over the takes).",
            if common > 0.0 { "later" } else { "earlier" }
        );
        let advice = "Nothing to do: what is equal in both conditions cancels in every loss.";
        Finding::new(TakeVerdict::Good, Topic::ClockDrift, message, advice)
    })
}

fn temperature(weather: &Weather) -> Option<Finding> {
    let [without, with] = weather.temperature_c?;
    let change = with - without;
    // NaN is no change that could be stated.
    if change.is_nan() || change.abs() < TEMPERATURE_K {
        return None;
    }
    let speed = 100.0 * (speed_of_sound_m_s(with) / speed_of_sound_m_s(without) - 1.0);
    let message = format!(
        "It was {without:.1} \u{b0}C without and {with:.1} \u{b0}C with the screen: the speed of \
         sound changed by {speed:+.1} %, so reflections arrive at other times and losses below \
         500 Hz, taken from the whole room, are less certain."
    );
    let advice = "Bring the room to the same temperature in both conditions, within 3 K.";
    Some(Finding::new(TakeVerdict::Doubt, Topic::Temperature, message, advice))
}

/// Air absorption by ISO 9613-1, where temperature, humidity and distance are stated.
fn absorption(weather: &Weather) -> Option<Finding> {
    let (temperature, humidity) = (weather.temperature_c?, weather.humidity_percent?);
    let distance_m = weather.distance_m?;
    let bands: Vec<ThirdOctave> = BANDS.map(ThirdOctave::from_index).collect();
    let air = |i: usize| MoistAir::at_sea_level(temperature[i], humidity[i]);
    let errors = loss_error_db(&bands, air(0), air(1), distance_m);
    let (band, error) = bands.iter().zip(&errors).max_by(|a, b| a.1.abs().total_cmp(&b.1.abs()))?;
    if error.is_nan() || error.abs() < AIR_DB {
        return None;
    }
    let message = |units| {
        format!(
            "The air itself took {:.2} dB {} at {} kHz with the screen than without ({:.0} and \
             {:.0} % humidity, {}; ISO 9613-1).",
            error.abs(),
            if *error > 0.0 { "more" } else { "less" },
            band.nominal_hz() / 1000.0,
            humidity[0],
            humidity[1],
            metres(distance_m, Digits::Decimals(1), units)
        )
    };
    let advice = "Losses at high frequencies contain this error. Measure both conditions on the \
                  same day, or hold the humidity.";
    let say = |units| [message(units), advice.into()];
    Some(Finding::said(TakeVerdict::Doubt, Topic::Temperature, say))
}

fn single_spot(gap_m: Option<f64>, spots: Option<usize>) -> Option<Finding> {
    let gap_m = gap_m.filter(|gap| *gap > LARGE_GAP_M)?;
    (spots? == 1).then(|| {
        let say = |units| {
            let [gap, large] = [gap_m, LARGE_GAP_M].map(|m| metres(m, Digits::Decimals(2), units));
            let message = format!(
                "Between loudspeaker and screen there are {gap}, and at least one seat has one \
                 placement of the microphone only."
            );
            let advice = format!(
                "Above {large} the echo between screen and loudspeaker is told from the room's \
                 only by two placements: record each seat twice in each condition, moving the \
                 microphone away and back."
            );
            [message, advice]
        };
        Finding::said(TakeVerdict::Doubt, Topic::SingleSpot, say)
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::ingest::manifest::DisplayUnits;

    fn topics(found: &[Finding]) -> Vec<(Topic, TakeVerdict)> {
        found.iter().map(|f| (f.topic, f.verdict)).collect()
    }

    fn weather(temperature: [f64; 2], humidity: [f64; 2]) -> Vec<(Topic, TakeVerdict)> {
        let weather = Weather {
            temperature_c: Some(temperature),
            humidity_percent: Some(humidity),
            distance_m: Some(5.0),
        };
        topics(&judge_conditions(&weather, Drifts::default(), None, None))
    }

    #[test]
    fn temperature_and_humidity_on_both_sides_of_their_limits() {
        let doubt = (Topic::Temperature, TakeVerdict::Doubt);
        assert_eq!(weather([20.0, 24.0], [50.0, 50.0])[0], doubt);
        assert!(!weather([20.0, 22.0], [50.0, 50.0]).is_empty(), "air: 0.1 dB at 16 kHz");
        assert_eq!(weather([20.0, 20.5], [50.0, 50.0]), []);
        // 20 points of humidity cost 0.4 dB over 5 m at 10 kHz (ISO 9613-1).
        assert_eq!(weather([20.0, 20.0], [50.0, 30.0]), [doubt]);
        assert_eq!(weather([20.0, 20.0], [50.0, 47.0]), []);
        assert_eq!(weather([20.0, f64::NAN], [50.0, 47.0]), []);
        let none = judge_conditions(&Weather::default(), Drifts::default(), None, None);
        assert_eq!(none, vec![]);
    }

    fn of_drifts(duration_s: f64, without: &[f64], with: &[f64]) -> Vec<Finding> {
        let takes = |ppm: &[f64]| -> Vec<TakeDrift> {
            ppm.iter().enumerate().map(|(seat, ppm)| TakeDrift { seat, ppm: *ppm }).collect()
        };
        let (without, with) = (takes(without), takes(with));
        let rate_constant_s = Some(duration_s / 1000f64.ln());
        let drifts = Drifts { without: &without, with: &with, rate_constant_s };
        judge_conditions(&Weather::default(), drifts, None, None)
    }

    #[test]
    fn equal_drift_cancels_and_a_difference_does_not() {
        let over = |duration_s: f64, without: &[f64], with: &[f64]| {
            topics(&of_drifts(duration_s, without, with))
        };
        let judge = |without: &[f64], with: &[f64]| over(5.0, without, with);
        assert_eq!(judge(&[150.0, 152.0, 151.0], &[151.0, 150.0, 149.0]), [], "a crossover");
        let doubt = [(Topic::ClockDrift, TakeVerdict::Doubt)];
        assert_eq!(judge(&[0.0, 1.0, 2.0], &[25.0, 24.0, 26.0]), doubt);
        assert_eq!(judge(&[0.0, 1.0, 2.0], &[13.0, 12.0, 14.0]), []);
        assert_eq!(judge(&[], &[25.0]), [], "one condition only");
        assert_eq!(over(1.0, &[0.0, 15.0], &[31.0, 30.0]), [], "within what 1 s can tell");
        assert_eq!(over(1.0, &[0.0, 2.0], &[91.0, 90.0]), doubt);
    }

    /// Seen at real loudspeakers: a crossover at 2 to 3 kHz whose group delay steps by 0.7 ms, and a
    /// room whose treble arrives 1.8 ms after its bass.
    #[test]
    fn no_clock_is_off_by_hundreds_of_ppm() {
        assert_eq!(of_drifts(5.0, &[-520.0; 6], &[-521.0; 6]), []);
        assert_eq!(of_drifts(5.0, &[1170.0; 6], &[1168.0; 6]), []);
        assert_eq!(of_drifts(1.0, &[-825.0, -830.0, -820.0], &[-825.0, -822.0, -828.0]), []);
    }

    /// Over a long sweep a loudspeaker's own delay looks like little drift, so that more must be
    /// a clock; which of the two it is stays open all the same.
    #[test]
    fn what_may_be_a_clock_is_told_as_what_it_may_be() {
        let found = of_drifts(20.0, &[180.0; 6], &[181.0; 6]);
        assert_eq!(topics(&found), [(Topic::ClockDrift, TakeVerdict::Good)]);
        assert!(found[0].message.contains("one sweep cannot tell"), "{}", found[0].message);
    }

    #[test]
    fn one_spot_is_enough_for_small_gaps_only() {
        let judge = |gap, spots| {
            topics(&judge_conditions(&Weather::default(), Drifts::default(), gap, spots))
        };
        assert_eq!(judge(Some(0.13), Some(1)), [(Topic::SingleSpot, TakeVerdict::Doubt)]);
        assert_eq!(judge(Some(0.12), Some(1)), []);
        assert_eq!(judge(Some(0.3), Some(2)), []);
        assert_eq!(judge(None, Some(1)), []);
    }

    #[test]
    fn lengths_are_told_in_the_units_of_the_reader() {
        let found = judge_conditions(&Weather::default(), Drifts::default(), Some(0.2), Some(1));
        let told = |units| {
            let warning = found[0].in_units(units).warning(None, None);
            format!("{} {}", warning.message, warning.advice)
        };
        let metric = told(DisplayUnits::Metric);
        assert!(metric.contains("there are 0.20 m, and") && metric.contains("Above 0.12 m the"));
        // 0.20 m = 7.9 in, 0.12 m = 4.7 in.
        let imperial = told(DisplayUnits::Imperial);
        assert!(imperial.contains("there are 8 in, and") && imperial.contains("Above 5 in the"));
    }
}
