//! Findings in sentences: the same in table, plots and papers.

pub(crate) mod claims;
pub(crate) mod compare;
pub(crate) mod correction;
pub(crate) mod distortion;
pub(crate) mod forecast;
mod frequency;
pub(crate) mod geometry;
pub(crate) mod heard;
pub(crate) mod level;
pub mod notices;
pub(crate) mod picture;
pub(crate) mod power;
pub(crate) mod said;
pub(crate) mod seats;
pub(crate) mod sheet;
pub(crate) mod stated;
pub(crate) mod verification;

use super::result::SessionResult;
use crate::judge::rattle::Rattle;
use crate::words::{decibels, frequency_words};
pub use frequency::frequency_range;

/// Where it rattles: "40 to 63 Hz".
pub fn rattle_range(rattle: &Rattle) -> String {
    format!("{:.0} to {:.0} Hz", rattle.low_hz, rattle.high_hz)
}

/// What the screen takes, in a sentence without a full stop.
pub fn loss_finding(result: &SessionResult) -> String {
    let headline = &result.headline;
    let [low, high] = headline.band_hz.map(frequency_words);
    let most = headline
        .largest_loss
        .map(|m| format!("most at {}: {}", frequency_words(m.nominal_hz), decibels(m.value_db)));
    match (headline.mean_loss_db, most) {
        (Some(mean), Some(most)) => {
            format!("The screen takes {} on average from {low} to {high}, {most}", decibels(mean))
        }
        (None, Some(most)) => format!("The screen takes {most}; not every band could be measured"),
        _ => format!("No loss could be measured between {low} and {high}"),
    }
}

/// How far the seats differ, in a sentence without a full stop; `None` for one seat.
pub fn spread_finding(result: &SessionResult) -> Option<String> {
    if result.seats.len() < 2 {
        return None;
    }
    Some(match result.headline.largest_range {
        Some(most) => format!(
            "The seats differ by {} at most, at {}",
            decibels(most.value_db),
            frequency_words(most.nominal_hz)
        ),
        None => "How far the seats differ could not be measured".into(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::example::example_result;
    use crate::report::result::BandFigure;

    #[test]
    fn the_findings_say_what_the_headline_says() {
        let mut result = example_result(2);
        result.headline.mean_loss_db = Some(1.44);
        result.headline.largest_loss = Some(BandFigure { nominal_hz: 3150.0, value_db: 5.26 });
        result.headline.largest_range = Some(BandFigure { nominal_hz: 800.0, value_db: 0.72 });
        assert_eq!(
            loss_finding(&result),
            "The screen takes 1.4 dB on average from 500 Hz to 16 kHz, most at 3.15 kHz: 5.3 dB"
        );
        let spread = spread_finding(&result).unwrap();
        assert_eq!(spread, "The seats differ by 0.7 dB at most, at 800 Hz");
        result.headline.mean_loss_db = None;
        assert!(loss_finding(&result).ends_with("not every band could be measured"));
        result.headline.largest_loss = None;
        assert!(loss_finding(&result).starts_with("No loss could be measured"));
        assert_eq!(spread_finding(&example_result(1)), None);
    }
}
