//! Light readings in sentences.

use super::said::{Said, Statement};
use crate::analysis::picture::figure::MeterDoubt;
use crate::analysis::picture::gain::Gain;
use crate::analysis::picture::{Caution, Light, Luminance};
use crate::ingest::manifest::DisplayUnits;
use crate::warning::{Topic, Warning};
use crate::words::{luminance, plus_minus};

/// The readings with what is said of them, in metric units.
pub fn said(light: Light) -> Said<Light, Statement> {
    Said::stated(light, |light| statement(light, DisplayUnits::Metric))
}

/// Gain, luminance, evenness, holes, and how far a reading is trusted.
pub fn statement(light: &Light, units: DisplayUnits) -> Vec<String> {
    let mut out = Vec::new();
    if let Some(gain) = &light.gain {
        say_gain(gain, &mut out);
    }
    if let Some(l) = &light.luminance {
        out.push(format!("The centre of the picture has {}.", centre(l, units)));
        if let Some(expected) = l.expected_cd_m2 {
            out.push(format!(
                "The projector's lumens would give {} with this gain and size.",
                whole(expected, units)
            ));
        }
    }
    if let Some(u) = &light.uniformity {
        out.push(format!(
            "The darkest of {} points has {:.0} ± {:.0} % of the centre's luminance.",
            u.points.len(),
            100.0 * u.minimum_over_centre.value,
            (100.0 * u.minimum_over_centre.u95).max(1.0)
        ));
    }
    if let Some(h) = light.holes {
        let mut sentence =
            format!("{:.1} % of the light goes through the holes.", 100.0 * h.lost_share);
        if let Some(g) = h.gain_without_holes {
            sentence.push_str(&format!(" Without holes the same coating would have gain {g:.2}."));
        }
        out.push(sentence);
    }
    out.push(meter_sentence(light.meter));
    out
}

fn say_gain(gain: &Gain, out: &mut Vec<String>) {
    if let Some(g) = gain.on_axis {
        out.push(format!("Gain on the axis: {:.2} ± {:.2}.", g.value, g.u95));
    }
    match gain.half_gain_deg {
        Some(h) => out.push(format!(
            "Half of that is left at {:.0} ± {:.0} degrees.",
            h.value,
            h.u95.max(1.0)
        )),
        None if gain.largest_deg > 2.0 => out.push(format!(
            "The gain stays above half of that up to {:.0} degrees, the widest angle read.",
            gain.largest_deg
        )),
        None => {}
    }
}

/// Where candelas stand, foot-lamberts follow: the trade names its targets in these.
fn centre(l: &Luminance, units: DisplayUnits) -> String {
    let [value, u95] = [l.centre_cd_m2.value, l.centre_cd_m2.u95].map(|cd| luminance(cd, units));
    match units {
        DisplayUnits::Metric => format!("{} ({:.1} fL)", plus_minus(&value, &u95), l.centre_fl),
        DisplayUnits::Imperial => plus_minus(&value, &u95),
    }
}

/// A luminance to the candela.
fn whole(cd_m2: f64, units: DisplayUnits) -> String {
    match units {
        DisplayUnits::Metric => format!("{cd_m2:.0} cd/m²"),
        DisplayUnits::Imperial => luminance(cd_m2.round(), units),
    }
}

fn meter_sentence(meter: MeterDoubt) -> String {
    format!(
        "One light reading has a standard uncertainty of {} % ({}). Half of its variance \
         is taken as the meter's calibration, which cancels in ratios of readings by the same \
         meter; luminance and illuminance meters are taken as independent.",
        meter.percent,
        if meter.stated { "stated" } else { "not stated, assumed" }
    )
}

/// The cautions that go with the readings.
pub fn warnings(light: &Light, units: DisplayUnits) -> Vec<Warning> {
    light.cautions.iter().map(|caution| caution_words(light, *caution, units)).collect()
}

fn caution_words(light: &Light, caution: Caution, units: DisplayUnits) -> Warning {
    match caution {
        Caution::MeterNotStated => Warning::of_session(
            Topic::Picture,
            format!(
                "The light meter's uncertainty is not stated; {} % of reading is assumed.",
                light.meter.percent
            ),
            "Write meter_uncertainty_percent under [picture], from the meter's certificate.",
        ),
        Caution::FarFromExpected { got_cd_m2, expected_cd_m2 } => Warning::of_session(
            Topic::Picture,
            format!(
                "The centre of the picture has {} where {} follow from the projector's lumens, the \
                 size of the picture and the measured gain.",
                whole(got_cd_m2, units),
                whole(expected_cd_m2, units)
            ),
            "Check lamp mode and age, iris, zoom and the size of the picture that was entered; makers' lumens are \
             seldom those of the calibrated picture.",
        ),
    }
}

/// Said where light was asked for and nothing was read.
pub fn readings_missing() -> Warning {
    Warning::of_session(
        Topic::Picture,
        "There are no light readings: gain, evenness and luminance of the picture are not told."
            .into(),
        "Write them to readings.csv in the session folder: a line for each reading, with point \
         (centre, left, ...), angle_deg, screen_cd_m2, and reference_cd_m2 of a white reference \
         at the same place or illuminance_lx.",
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::picture::assess_light;
    use crate::ingest::readings::parse_readings;
    use DisplayUnits::{Imperial, Metric};
    use std::path::Path;

    const READINGS: &str = "point,angle_deg,screen_cd_m2,reference_cd_m2\n\
        centre,0,48.0,50.0\ncentre,20,45.6,50.0\ncentre,40,38.4,50.0\n";

    fn light(picture: &str) -> Light {
        let readings = parse_readings(READINGS.as_bytes(), Path::new("readings.csv")).unwrap();
        let screen = toml::from_str("width_m = 2.5\nheight_m = 1.40625").unwrap();
        assess_light(&readings, Some(&toml::from_str(picture).unwrap()), &screen)
    }

    #[test]
    fn readings_are_told_in_the_units_of_their_reader() {
        let light = light("meter_uncertainty_percent = 1.0\nprojector_lm = 560.0");
        let text = statement(&light, Metric).join(" ");
        // U95 of 1 %: 0.94 cd/m2 (calibration and reading together), 0.27 fL.
        assert!(text.contains("has 48.0 ± 0.9 cd/m² (14.0 fL)."), "{text}");
        assert!(text.contains("would give 49 cd/m² with"), "{text}");
        assert!(text.contains("above half of that up to 40"), "{text}");
        assert!(text.contains("1 % (stated)"), "{text}");
        let text = statement(&light, Imperial).join(" ");
        // 49 / 3.4263 = 14.30.
        assert!(text.contains("has 14.0 ± 0.3 fL.") && text.contains("give 14.3 fL"), "{text}");
        assert!(!text.contains("cd/m²"), "{text}");
    }

    #[test]
    fn doubts_are_told() {
        let light = light("projector_lm = 2000.0");
        assert!(statement(&light, Metric).join(" ").contains("3 % (not stated, assumed)"));
        let told =
            |units| warnings(&light, units).into_iter().map(|w| w.message).collect::<Vec<_>>();
        assert!(told(Metric)[0].contains("not stated; 3 % of reading"), "{:?}", told(Metric));
        // 2000 lm / 3.5156 m2 / pi x 0.96 = 173.8 cd/m2; 174 are 50.8 fL.
        assert!(told(Metric)[1].contains("48 cd/m² where 174 cd/m² follow"), "{:?}", told(Metric));
        assert!(told(Imperial)[1].contains("14.0 fL where 50.8 fL follow"), "{:?}", told(Imperial));
        assert!(warnings(&light, Metric).iter().all(|w| w.topic == Topic::Picture));
    }
}
