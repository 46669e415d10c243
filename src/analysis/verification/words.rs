//! The verdict in sentences, and what to do.

use super::{Finding, Found, SeatVerification, VerificationVerdict};
use crate::analysis::correction::Correction;
use crate::words::frequency_words;

pub(super) fn say(
    verdict: VerificationVerdict,
    correction: &Correction,
    trim: Option<&Found>,
    factor: Option<(f64, f64)>,
    sections: &[Found],
    seats: &[SeatVerification],
) -> (String, Option<String>) {
    use VerificationVerdict as V;
    let times = factor.map_or(String::new(), |(v, u)| {
        format!(" Found: {v:.2} times the filters asked for, ±{u:.2}.")
    });
    let level =
        trim.and_then(|t| Some((t.found_db?, t.u95_db?))).map_or(String::new(), |(v, u)| {
            // Nothing found is 0, not -0.
            let v = if v.abs() < 0.005 { 0.0 } else { v };
            format!(" Level found: {v:+.2} dB (±{u:.2}), asked: {:+.2} dB.", correction.trim_db)
        });
    let farthest = seats
        .iter()
        .filter(|s| s.left_rms_db.is_some())
        .max_by(|a, b| {
            let rms = |s: &SeatVerification| s.left_rms_db.unwrap_or(0.0);
            rms(a).total_cmp(&rms(b))
        })
        .map_or(String::new(), |s| {
            format!(
                " The shape left over is at most {:.2} dB rms (seat {}; {} dB is allowed).",
                s.left_rms_db.unwrap_or(0.0),
                s.id,
                correction.tolerance_rms_db
            )
        });
    let single = seats
        .iter()
        .filter_map(|s| Some((s, s.worst_band.as_ref()?)))
        .filter(|(_, band)| band.left_db.abs() > correction.tolerance_band_db)
        .max_by(|a, b| a.1.left_db.abs().total_cmp(&b.1.left_db.abs()))
        .map_or(String::new(), |(s, band)| {
            format!(
                " A single band is off by {:.2} dB (seat {}, {}; {} dB is allowed).",
                band.left_db.abs(),
                s.id,
                frequency_words(band.nominal_hz),
                correction.tolerance_band_db
            )
        });
    let again = "Correct it in the processor and record the corrected takes again.";
    match verdict {
        V::Achieved => {
            let doubt = if seats.iter().all(|s| s.shown) {
                ""
            } else {
                " With the uncertainty counted in, this is not shown at every seat."
            };
            (format!("The setting is active and does what was asked.{farthest}{doubt}"), None)
        }
        V::DoneButLeftOver => (
            format!(
                "The setting is active and does what was asked, but it is not enough.{farthest}{single}"
            ),
            Some(correction.advice.clone().unwrap_or_else(|| {
                "Check that nothing was moved between the recordings; then treat what is left at \
                 its cause, for it is not the same at all seats."
                    .into()
            })),
        ),
        V::NotActive => (
            format!("The recordings show no change: the setting was not active.{times}{level}"),
            Some(format!(
                "Look whether the equaliser is bypassed, or set on another channel than the \
                 centre. {again}"
            )),
        ),
        V::Inverted => (
            format!(
                "The setting works the wrong way round: it cuts where it should boost.{times}{level}"
            ),
            Some(format!("Enter the gains with the opposite sign. {again}")),
        ),
        V::Twice => (
            format!("The gain is twice what was asked.{times}{level}"),
            Some(format!(
                "Look whether the setting is active in two places, for instance in the processor \
                 and in the amplifier. {again}"
            )),
        ),
        V::Half => (
            format!("The gain is half of what was asked.{times}{level}"),
            Some(format!("Look at the gains entered, and at any limit of the processor. {again}")),
        ),
        V::FiltersNotActive => (
            format!("The level was made up, but the filters were not active.{times}{level}"),
            Some(format!("Switch the filters on, on the centre channel. {again}")),
        ),
        V::TrimNotApplied => (
            format!("The filters are active, but the level was not made up.{level}{times}"),
            Some(format!("Raise the level of the centre channel as asked. {again}")),
        ),
        V::SectionsDiffer => {
            let odd: Vec<String> = sections.iter().filter_map(say_section).collect();
            (
                format!("Not every filter is as asked: {}.", odd.join("; ")),
                Some(format!("Enter these filters again. {again}")),
            )
        }
        V::Different => (
            format!("The change is another one than asked.{times}{level}"),
            Some(format!(
                "Compare every number in the processor with the table of the setting, also the \
                 meaning of Q and bandwidth. {again}"
            )),
        ),
        V::CannotTell => (
            format!("The recordings do not tell whether the setting is active.{times}{level}"),
            Some(
                "Record the corrected takes again at more seats, with two spots each, without \
                 moving anything else."
                    .into(),
            ),
        ),
    }
}

fn say_section(s: &Found) -> Option<String> {
    let what = &s.what;
    let gain =
        s.found_db.map_or(String::new(), |v| format!(" ({v:+.1} dB for {:+.1})", s.asked_db));
    match s.finding {
        Finding::AsAsked | Finding::CannotTell => None,
        Finding::NotActive => Some(format!("the {what} was not active")),
        Finding::Inverted => Some(format!("the {what} works the wrong way round{gain}")),
        Finding::Twice => Some(format!("the {what} has twice the gain asked{gain}")),
        Finding::Half => Some(format!("the {what} has half the gain asked{gain}")),
        Finding::Different => Some(format!("the {what} has another gain{gain}")),
    }
}
