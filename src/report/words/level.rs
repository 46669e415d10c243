//! The level between the conditions in sentences, and what is doubtful about it.

use super::said::{Said, Statement};
use crate::analysis::level::{LevelDoubt, LevelFinding, LevelKnowledge};
use crate::analysis::open_level::OpenLevel;
use crate::warning::{Topic, Warning};

/// The finding with what it means, in a few sentences.
pub fn said(found: LevelFinding) -> Said<LevelFinding, Statement<String>> {
    Said::stated(found, statement)
}

fn statement(found: &LevelFinding) -> String {
    let low = found.low_band_loss_db.map_or_else(
        || "The loss from 100 to 315 Hz is not known.".to_owned(),
        |low| format!("From 100 to 315 Hz the loss is {low:.2} dB."),
    );
    let Some((step_db, u_db)) = found.step_db.zip(found.step_u_db) else {
        return format!(
            "{low} No control takes were made, so nothing was subtracted: a gain that was changed \
             between the conditions would look like this, and so would the flow resistance of a \
             cloth. The shape of the loss does not depend on it; every absolute loss does, decibel \
             for decibel."
        );
    };
    let way = if step_db > 0.0 { "softer" } else { "louder" };
    format!(
        "The control loudspeaker, which is not behind the screen, came out {:.2} dB {way} with the \
         screen hung. That is a change of gain, not of the screen; it was subtracted from every \
         loss, and \u{b1} {:.2} dB (95 %) stay in their uncertainty. {low}",
        step_db.abs(),
        1.96 * u_db
    )
}

/// The warnings that go with the finding.
pub fn warnings(found: &LevelFinding) -> Vec<Warning> {
    found.doubts.iter().map(|doubt| warning(doubt, found.source)).collect()
}

fn warning(doubt: &LevelDoubt, source: LevelKnowledge) -> Warning {
    let controlled = source == LevelKnowledge::Control;
    let (topic, seat, message, advice) = match doubt {
        LevelDoubt::Louder { by_db } => (
            Topic::LevelAmbiguity,
            None,
            format!(
                "From 100 to 315 Hz it was {by_db:.2} dB louder with the screen than without. A \
                 screen adds no energy there{}.",
                if controlled {
                    ", and the control loudspeaker shows no such step: something else changed in \
                     the room or at the loudspeaker"
                } else {
                    ": most likely playback or recording gain was turned up between the conditions, \
                     and every loss is shown too small by about as much"
                }
            ),
            "Check the gains against your notes. Record control takes of a loudspeaker that is not \
             behind the screen, in both conditions, or repeat one condition.",
        ),
        LevelDoubt::Softer { loss_db } => (
            Topic::LevelAmbiguity,
            None,
            format!(
                "From 100 to 315 Hz {loss_db:.2} dB are lost. {}",
                if controlled {
                    "The control loudspeaker shows that this is no change of gain: the sheet is \
                     uncommonly dense, or something else stands in the way."
                } else {
                    "Cloth loses 0.0 to 0.6 dB there by its flow resistance; more is either a very \
                     dense sheet or a gain that was turned down between the conditions. These \
                     recordings cannot tell which."
                }
            ),
            "Check the gains against your notes, or record control takes of a loudspeaker that is \
             not behind the screen, in both conditions.",
        ),
        LevelDoubt::SeatStep { seat, step_db, mean_db } => (
            Topic::GainStep,
            Some(seat.clone()),
            format!(
                "At this seat the control loudspeaker shows a step of {step_db:.2} dB, the mean over \
                 the seats is {mean_db:.2} dB: a gain was changed during one of the conditions."
            ),
            "Repeat the takes of this seat, centre and control, without touching any gain.",
        ),
    };
    Warning { topic, seat, take: None, message, advice: advice.into() }
}

/// What is known of a gain step means this for an absolute figure; a sentence, but for the reason why
/// nothing is shown, which ends one. Empty where control takes measured the step.
pub fn open_words(open: OpenLevel) -> String {
    match open {
        OpenLevel::Controlled => String::new(),
        OpenLevel::Attested => {
            "The installer attests that no gain was touched between the conditions.".into()
        }
        OpenLevel::Bounded { higher_db, lower_db } => format!(
            "That is if no gain was touched between the conditions, which no control takes show: \
             the loss from 100 to 315 Hz leaves open that the true loss is up to {higher_db:.2} dB \
             higher or {lower_db:.2} dB lower, and the guard band counts it."
        ),
        OpenLevel::GainChanged { least_db, most_db } => format!(
            "from 100 to 315 Hz it was {least_db:.1} dB louder with the screen than without, which \
             no sheet can do, so a gain was changed; a control loudspeaker, which is not behind the \
             screen, would have shown by how much: {least_db:.1} to {most_db:.1} dB louder"
        ),
        OpenLevel::Unknown => "no control takes were made, and the loss from 100 to 315 Hz, which \
                               would bound a gain step between the conditions, was not measured"
            .into(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::control_step::{ControlLoss, ControlStep, measure_step};
    use crate::analysis::level::find_level;
    use crate::units::ThirdOctave;

    fn bands() -> Vec<ThirdOctave> {
        ThirdOctave::report_bands(20_000.0)
    }

    fn step(seats_db: &[f64]) -> ControlStep {
        let seat = |(name, db): (char, &f64)| ControlLoss {
            seat: name.to_string(),
            loss_db: vec![Some(*db); bands().len()],
        };
        let control: Vec<ControlLoss> = ('A'..).zip(seats_db).map(seat).collect();
        measure_step(&bands(), &control).expect("measured")
    }

    fn told(low_db: f64, step: Option<&ControlStep>) -> (String, Vec<Warning>) {
        let found = find_level(&bands(), &vec![Some(low_db); bands().len()], step);
        (statement(&found), warnings(&found))
    }

    #[test]
    fn without_control_takes_both_causes_are_named() {
        for low_db in [-0.16, -0.14, 0.3, 0.79, 0.81] {
            assert!(told(low_db, None).0.contains("nothing was subtracted"));
        }
        let (_, louder) = told(-0.16, None);
        assert_eq!(louder[0].topic, Topic::LevelAmbiguity);
        assert!(louder[0].message.contains("it was 0.16 dB louder"), "{louder:?}");
        assert!(louder[0].message.contains("gain was turned up"), "{louder:?}");
        let (_, softer) = told(0.81, None);
        assert!(softer[0].message.contains("cannot tell which"), "{softer:?}");
        assert!(told(f64::NAN, None).0.starts_with("The loss from 100 to 315 Hz is not known."));
    }

    #[test]
    fn with_control_takes_the_words_change() {
        let (statement, warnings) = told(0.9, Some(&step(&[-0.6, -0.6])));
        assert!(statement.contains("0.60 dB louder"), "{statement}");
        // 1.96 x 0.015 dB.
        assert!(statement.contains("\u{b1} 0.03 dB (95 %)"), "{statement}");
        assert!(warnings[0].message.contains("no change of gain"), "{warnings:?}");
        let (statement, warnings) = told(0.2, Some(&step(&[0.0, 0.0, 0.4])));
        assert!(statement.contains("0.13 dB softer"), "{statement}");
        let seats: Vec<Option<&str>> = warnings.iter().map(|w| w.seat.as_deref()).collect();
        assert_eq!(seats, [Some("C")]);
        assert_eq!(warnings[0].topic, Topic::GainStep);
        assert!(warnings[0].message.contains("a step of 0.40 dB, the mean over the seats is 0.13"));
    }

    #[test]
    fn what_is_open_is_said_in_decibels() {
        let bounded = open_words(OpenLevel::Bounded { higher_db: 0.35, lower_db: 0.25 });
        assert!(bounded.contains("up to 0.35 dB higher or 0.25 dB lower"), "{bounded}");
        let changed = open_words(OpenLevel::GainChanged { least_db: 2.0, most_db: 2.6 });
        assert!(changed.ends_with("by how much: 2.0 to 2.6 dB louder"), "{changed}");
        assert_eq!(open_words(OpenLevel::Controlled), "");
    }
}
