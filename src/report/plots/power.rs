//! What the setting costs, band by band, against what amplifier and driver have left.

use super::axes::Axis;
use super::claims::{mean_dot, middle_hz};
use super::colors::PALETTE;
use super::figure::{Figure, Mark, StripRow};
use crate::analysis::power::{BandPower, PowerCost};
use crate::report::result::SessionResult;
use crate::words::{decibels, frequency_words, signed};

/// Gain of trim and filters in every third octave, with the limits of amplifier and driver as
/// gains; `None` without a setting.
pub fn power_figure(result: &SessionResult) -> Option<Figure> {
    let power = result.power.as_ref()?;
    let bars = power.bands.iter().map(|b| (b.exact_hz, [b.gain_db.min(0.0), b.gain_db.max(0.0)]));
    let mut marks = vec![Mark::Bars {
        label: "Gain".into(),
        bars: bars.collect(),
        width: 22.0,
        color: PALETTE[0],
    }];
    let ends = [power.bands.first()?.exact_hz, power.bands.last()?.exact_hz];
    marks.extend(amplifier_limit(power, ends));
    marks.extend(driver_limit(power).into_iter().flatten());
    let watts = |b: &BandPower| b.watts.map(|w| (b.exact_hz, signed(w, usize::from(w < 9.95))));
    let cells: Vec<(f64, String)> = power.bands.iter().filter_map(watts).collect();
    let strip = (!cells.is_empty()).then(|| StripRow { label: "W".into(), cells });
    let of_strip = match strip {
        Some(_) => " W: power where the programme stands in that band alone.",
        None => "",
    };
    let figure = Figure {
        id: "power",
        title: finding(power),
        subtitle: "Level and filters together, by third-octave band".into(),
        description: power.sentence().to_owned(),
        caption: format!("3 dB more take twice the power, 10 dB more ten times.{of_strip}"),
        x: Axis::around(ends[0], ends[1]),
        y_title: "Gain asked of amplifier and driver, dB",
        include_db: [-1.0, 3.0],
        marks,
        strip: strip.into_iter().collect(),
        ..Figure::default()
    };
    Some(figure.numbered())
}

/// The gain at which the loudest passage needs all that the amplifier has.
fn amplifier_limit(power: &PowerCost, from_to: [f64; 2]) -> Option<Mark> {
    let check = power.amplifier.as_ref()?;
    let value = power.peak_gain_db + check.left_db;
    let label =
        format!("amplifier, {} W: at most {}", signed(check.available_w, 0), decibels(value));
    Some(Mark::Limit { value, from_to, label, is_met: check.left_db >= 0.0 })
}

/// The mean gain in the driver's band at which its long-term limit is reached, and that asked for:
/// both hold for no single band, and stand in the middle of them.
fn driver_limit(power: &PowerCost) -> Option<[Mark; 2]> {
    let check = power.driver.as_ref()?;
    let programmes = power.programmes.iter().filter_map(|p| Some((p, p.driver_watts?)));
    let (most, _) = programmes.max_by(|a, b| a.1.total_cmp(&b.1))?;
    let asked_db = most.driver_gain_db?;
    let value = asked_db + check.left_db;
    let [watts, most] = [signed(check.available_w, 0), decibels(value)];
    let label = format!("driver, {watts} W in the long run: mean at most {most}");
    let hz = middle_hz(power.driver_band_hz?);
    let from_to = [hz / 1.25, hz * 1.25];
    let limit = Mark::Limit { value, from_to, label, is_met: check.left_db >= 0.0 };
    Some([limit, mean_dot("Mean, driver", hz, asked_db)])
}

fn finding(power: &PowerCost) -> String {
    if power.peak_gain_db <= 0.0 {
        return "The setting asks for no more power anywhere".into();
    }
    let cost = format!(
        "The setting asks for {} at most, {:.2} times the power, at {}",
        decibels(power.peak_gain_db),
        power.peak_factor,
        frequency_words(power.peak_hz.round())
    );
    let left = |what: &str, left_db: f64| match left_db {
        l if l < 0.0 => format!("; the {what} lacks {}", decibels(-l)),
        l => format!("; the {what} has {} left", decibels(l)),
    };
    let checks = [("amplifier", &power.amplifier), ("driver", &power.driver)];
    let left_db = checks.iter().filter_map(|(what, c)| Some((*what, c.as_ref()?.left_db)));
    let least = left_db.min_by(|a, b| a.1.total_cmp(&b.1));
    cost + &least.map(|(what, db)| left(what, db)).unwrap_or_default()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::power::gain_power;
    use crate::ingest::manifest::SpeakerInfo;
    use crate::report::example::example_result;
    use crate::report::words::power::said;

    #[test]
    fn limits_stand_at_the_gain_that_uses_them_up() {
        let mut result = example_result(3);
        assert!(power_figure(&result).is_none());
        let speaker = SpeakerInfo {
            height_m: None,
            power_w: Some(100.0),
            amplifier_w: Some(400.0),
            driver_limit_w: None,
            driver_band_hz: None,
            sensitivity_db: None,
        };
        let cost = gain_power(|hz| if hz > 4000.0 { 3.0 } else { -1.0 }, Some(&speaker));
        result.power = Some(said(cost));
        let figure = power_figure(&result).unwrap();
        let limits: Vec<_> = figure
            .marks
            .iter()
            .filter_map(|m| match m {
                Mark::Limit { value, label, .. } => Some((*value, label.clone())),
                _ => None,
            })
            .collect();
        assert_eq!(limits.len(), 1);
        // 400 W for 100 W: four times the power, 10 lg 4 = 6.02 dB.
        assert!((limits[0].0 - 10.0 * 4f64.log10()).abs() < 1e-6, "{limits:?}");
        assert_eq!(limits[0].1, "amplifier, 400 W: at most 6.0 dB");
        assert!(figure.title.contains("3.0 dB left"), "{}", figure.title);
        let Mark::Bars { bars, .. } = &figure.marks[0] else { panic!() };
        let at = |hz: f64| bars.iter().find(|b| (b.0 / hz - 1.0).abs() < 0.05).unwrap().1;
        assert!((at(8000.0)[1] - 3.0).abs() < 1e-6 && (at(500.0)[0] + 1.0).abs() < 1e-6);
        // 100 W and 3 dB: 199.5 W.
        let strip = &figure.strip[0].cells;
        assert!(strip.iter().any(|(hz, text)| *hz > 7500.0 && *hz < 8500.0 && text == "200"));
    }
}
