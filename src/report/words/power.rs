//! What the setting costs, in sentences.

use super::said::Said;
use crate::analysis::power::{Caution, LimitCheck, PowerCost};
use crate::ingest::manifest::DisplayUnits;
use crate::warning::{Topic, Warning};
use crate::words::{Digits, frequency_words, metres};

/// The cost with its sentence.
pub fn said(cost: PowerCost) -> Said<PowerCost> {
    Said::new(cost, sentence)
}

fn sentence(cost: &PowerCost) -> String {
    let pink = &cost.programmes[0];
    let head = format!(
        "At most {:+.1} dB ({:.2} times the power) at {}; {:+.1} dB in the long run under pink \
         programme.",
        cost.peak_gain_db,
        cost.peak_factor,
        frequency_words(cost.peak_hz),
        pink.gain_db
    );
    [vec![head], limit_sentences(cost)].concat().join(" ")
}

/// Amplifier and driver against their limits, as far as these are stated.
pub fn limit_sentences(cost: &PowerCost) -> Vec<String> {
    let amplifier = cost.amplifier.as_ref().map(amplifier_sentence);
    amplifier.into_iter().chain(cost.driver.as_ref().map(driver_sentence)).collect()
}

/// Peaks against the amplifier.
fn amplifier_sentence(check: &LimitCheck) -> String {
    limit_sentence("Peaks need", check)
}

/// Long-term power against the driver's limit.
fn driver_sentence(check: &LimitCheck) -> String {
    limit_sentence("In the long run the high-frequency driver takes", check)
}

fn limit_sentence(who: &str, check: &LimitCheck) -> String {
    let left = if check.within {
        format!("{:.1} dB of headroom", check.left_db)
    } else {
        format!("{:.1} dB too little", -check.left_db)
    };
    format!("{who} {} W of {} W: {left}.", watts(check.needs_w), watts(check.available_w))
}

fn watts(w: f64) -> String {
    if w >= 10.0 { format!("{w:.0}") } else { format!("{w:.1}") }
}

/// The cautions that go with the cost.
pub fn warnings(cost: &PowerCost, units: DisplayUnits) -> Vec<Warning> {
    let warning = |caution: &Caution| {
        let (message, advice) = caution_words(cost, *caution, units);
        Warning::of_session(Topic::Power, message, advice)
    };
    cost.cautions.iter().map(warning).collect()
}

fn caution_words(cost: &PowerCost, caution: Caution, units: DisplayUnits) -> (String, String) {
    let amplifier = cost.amplifier.as_ref().map_or(String::new(), amplifier_sentence);
    let driver = cost.driver.as_ref().map_or(String::new(), driver_sentence);
    let (message, advice) = match caution {
        Caution::NoPower { key, value } => {
            return (
                format!("speaker.{key} is {value}, which is no power: it is not used."),
                format!("Write a number of watts above 0 for {key}, or leave it out."),
            );
        }
        Caution::NoBand([low, high]) => (
            format!("speaker.driver_band_hz is [{low}, {high}]: it is not used."),
            "Write two rising frequencies in Hz, for example [2000, 20000].",
        ),
        Caution::AmplifierClips => (
            format!("The amplifier will clip. {amplifier}"),
            "Play more quietly by what is missing, use a stronger amplifier, or give up part of the \
             correction; a clipping amplifier also destroys high-frequency drivers.",
        ),
        Caution::AmplifierClose => (
            format!("The amplifier has next to nothing left. {amplifier}"),
            "Leave a margin: programme peaks and rooms differ. Listen for clipping at reference level \
             before you hand over.",
        ),
        Caution::DriverOverloaded => (
            format!("The high-frequency driver is overloaded. {driver}"),
            "Do not use the setting at this level: lower the boost or the level, or ask the \
             loudspeaker's maker.",
        ),
        Caution::DriverClose => (
            format!("The high-frequency driver is close to its limit. {driver}"),
            "Keep test signals short and leave a margin; long loud programme warms the driver.",
        ),
        Caution::LimitsUnknown => (
            format!(
                "The setting asks for {:+.1} dB at {}, and whether amplifier and driver can give it \
                 is not known.",
                cost.peak_gain_db,
                frequency_words(cost.peak_hz)
            ),
            "State power_w, amplifier_w, driver_limit_w and driver_band_hz under [speaker] and \
             analyse again.",
        ),
        // NIOSH 98-126: 85 dB(A) for 8 hours, half the time for every 3 dB more.
        Caution::Louder { before_db } => (
            louder_sentence(cost, before_db, units),
            "Turn the level down before you switch the setting on and raise it slowly. Wear \
             hearing protection near the loudspeaker: the recommended limit is 85 dB(A) for 8 \
             hours a day, and half the time for every 3 dB more.",
        ),
    };
    (message, advice.into())
}

fn louder_sentence(cost: &PowerCost, before_db: Option<f64>, units: DisplayUnits) -> String {
    let level = before_db.map_or(String::new(), |db| {
        let away = metres(1.0, Digits::All, units);
        format!(" Before the correction the loudspeaker makes about {db:.0} dB at {away}.")
    });
    format!(
        "The boost makes test signals and treble up to {:.1} dB louder at the loudspeaker.{level}",
        cost.peak_gain_db
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::power::gain_power;
    use crate::ingest::manifest::SpeakerInfo;

    fn speaker() -> SpeakerInfo {
        let text = "power_w = 100\namplifier_w = 400\ndriver_limit_w = 60\n\
                    driver_band_hz = [2000, 20000]\nsensitivity_db = 91";
        toml::from_str(text).unwrap()
    }

    fn told(gain_db: f64, speaker: Option<&SpeakerInfo>) -> String {
        let cost = gain_power(|_| gain_db, speaker);
        warnings(&cost, DisplayUnits::Metric)
            .into_iter()
            .map(|w| format!("{} {}\n", w.message, w.advice))
            .collect()
    }

    #[test]
    fn limits_are_said_in_watts_and_decibels() {
        let six = gain_power(|_| 6.0, Some(&speaker())).amplifier.unwrap();
        assert_eq!(amplifier_sentence(&six), "Peaks need 398 W of 400 W: 0.0 dB of headroom.");
        let over = gain_power(|_| 10.0 * 4f64.log10() + 1.0, Some(&speaker())).amplifier.unwrap();
        assert!(amplifier_sentence(&over).contains("1.0 dB too little"));
    }

    #[test]
    fn cautions_say_what_to_do() {
        let over = told(10.0, Some(&speaker()));
        assert!(over.contains("will clip. Peaks need 1000 W of 400 W"), "{over}");
        assert!(over.contains("overloaded. In the long run"), "{over}");
        // 91 dB at 1 W and 1 m, 100 W: 20 dB more.
        assert!(over.contains("makes about 111 dB at 1 m"), "{over}");
        assert!(told(4.0, None).contains("is not known. State power_w"));
        let bad =
            SpeakerInfo { power_w: Some(-5.0), driver_band_hz: Some([-1.0, 2.0]), ..speaker() };
        let text = told(1.0, Some(&bad));
        assert!(text.contains("speaker.power_w is -5, which is no power"), "{text}");
        assert!(text.contains("speaker.driver_band_hz is [-1, 2]: it is not used."), "{text}");
    }
}
