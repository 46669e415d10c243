//! What the facts of one take mean for the installer: good, doubtful, or once more. More than 400
//! lines: one short judgement after another, side by side so that their limits can be compared.

use super::bursts::Burst;
use super::facts::TakeFacts;
use super::finding::Finding;
use super::finding::TakeVerdict::{Doubt, Good, Repeat};
use super::track::{Course, SweepInTake};
use crate::transfer::median::median;
use crate::units::ThirdOctave;
use crate::warning::Topic;
use crate::words::frequency_words;

/// Fewer of the expected frames than this: another signal, or a drowned one.
pub(super) const SHARE_AT_LEAST: f64 = 0.5;
/// A sweep that runs this much more slowly or faster is another one.
const SLOWNESS: f64 = 0.03;
/// A second sweep is one that is heard in this part of its frames ...
const SECOND_SHARE: f64 = 0.3;
/// ... and for at least so many frames (10 ms each).
const SECOND_FRAMES: usize = 60;
/// So much may be missing at either end, s: the sweep's start is found to milliseconds.
const CUT_S: f64 = 0.06;
/// Recording should go on after the sweep for this long, s: the window of the room's part.
const TAIL_S: f64 = 0.25;
/// A room decays within this, s.
const DECAY_S: f64 = 1.0;
/// The bands of a report, Hz: lower edge of 100 Hz, upper edge of 16 kHz.
const REPORT_HZ: [f64; 2] = [89.1, 17_783.0];
/// Peaks below this are too low, dB re full scale.
const LOW_PEAK_DBFS: f64 = -43.0;
/// Distance to noise below which a band is corrected and doubtful, dB (ISO 2969:2015).
const NOISE_DB: f64 = 10.0;
/// Below this distance hum is worth a doubt, dB.
const HUM_NEAR_DB: f64 = 20.0;
/// Fewest steps of the sweep's frequency from which the noise beside it is judged.
const BREATHING_STEPS: usize = 12;
/// Change of the noise while the sweep plays below which a gain follows the level, dB.
const BREATHING_DB: f64 = -1.5;
/// Room to leave above what is missing, dB.
const HEADROOM_DB: f64 = 3.0;
/// Offset worth a word, re full scale.
const OFFSET: f64 = 0.014;
/// A burst this near to the sweep's level spoils the take, dB.
const BURST_NEAR_DB: f64 = 20.0;

/// Judges one take by its own facts. `sweep_rate_hz` is the rate of the played signal.
///
/// A take that must be repeated anyway is not searched for smaller faults that follow from
/// the large one.
pub fn judge_take(facts: &TakeFacts, sweep_rate_hz: u32) -> Vec<Finding> {
    let mut found = Vec::new();
    if let Some(finding) = unusable(facts, sweep_rate_hz) {
        return vec![finding];
    }
    found.extend(other_channel(facts));
    found.extend(open_header(facts));
    found.extend(clipping(facts));
    found.extend(offset(facts));
    let (Some(course), Some(sweep)) = (facts.course, facts.sweep) else {
        found.extend(low_level(facts));
        return found;
    };
    found.extend(cut_start(facts, &course, &sweep));
    found.extend(cut_end(facts, &course, &sweep));
    found.extend(gap(facts, &course, &sweep));
    found.extend(second(facts, &course, &sweep));
    found.extend(low_level(facts));
    found.extend(breathing(facts));
    found.extend(noise(facts));
    found.extend(hum(facts));
    if facts.amplitudes.clipping.is_none() {
        found.extend(bursts(&facts.bursts));
    }
    found
}

fn wrong(message: impl Into<String>, advice: impl Into<String>) -> Option<Finding> {
    Some(Finding::new(Repeat, Topic::WrongSignal, message, advice))
}

/// A take of which nothing else can be judged.
fn unusable(facts: &TakeFacts, sweep_rate_hz: u32) -> Option<Finding> {
    if facts.rate_hz != sweep_rate_hz {
        return wrong(
            format!(
                "The take was recorded with {} Hz, the sweep has {sweep_rate_hz} Hz.",
                facts.rate_hz
            ),
            "Set the recorder to the sampling rate of the sweep and record again.",
        );
    }
    if !facts.amplitudes.finite {
        return wrong(
            "The take holds samples that are no numbers.",
            "Record again, or export the file again from the recorder.",
        );
    }
    if facts.amplitudes.sound_s.is_none() {
        return Some(Finding::new(
            Repeat,
            Topic::LowLevel,
            "The take is digital silence.",
            "Check the microphone, its cable and the recorded channel, then record again.",
        ));
    }
    facts.course?;
    not_this_sweep(facts)
}

/// A take whose sound is not the sweep of the session, or not at its pace.
fn not_this_sweep(facts: &TakeFacts) -> Option<Finding> {
    let (share, slowness, error) =
        facts.sweep.map_or((0.0, 0.0, 0.0), |s| (s.share, s.slowness, s.slowness_error));
    let heard = share >= SHARE_AT_LEAST;
    if let Some(channel) = facts.heard_in.filter(|_| !heard) {
        return wrong(
            format!("The sweep is not in the microphone's channel; channel {channel} holds it."),
            format!("Write mic_channel = {channel} under [recording] in session.toml."),
        );
    }
    if let Some(pace) = facts.pace {
        return wrong(wrong_pace(pace), WRONG_PACE_ADVICE);
    }
    if !heard {
        return wrong(
            format!(
                "The sweep is not in this take: only {:.0} % of it can be recognised.",
                100.0 * share
            ),
            "Either another signal was recorded or noise covers it. Play the sweep of this \
             session, loud enough, and record again.",
        );
    }
    if slowness.abs() <= SLOWNESS.max(error) {
        return None;
    }
    wrong(
        format!(
            "The sweep in this take runs {:.0} % {} than that of the session.",
            100.0 * slowness.abs(),
            if slowness > 0.0 { "slower" } else { "faster" }
        ),
        "Another sweep was played, or player and recorder had different sampling rates. Play the \
         sweep of this session and record again.",
    )
}

const WRONG_PACE_ADVICE: &str = "Set the player to the sampling rate of the sweep's file, or make a \
    sweep with the player's rate, and record again.";

/// What is said of a sweep that was played at `pace` times its speed.
fn wrong_pace(pace: f64) -> String {
    let (percent, way) = if pace < 1.0 {
        (100.0 * (1.0 / pace - 1.0), "slowly")
    } else {
        (100.0 * (pace - 1.0), "fast")
    };
    let rates = match pace {
        p if (p - 44.1 / 48.0).abs() < 1e-6 => ", as when a file of 48 kHz is played at 44.1 kHz",
        p if (p - 48.0 / 44.1).abs() < 1e-6 => ", as when a file of 44.1 kHz is played at 48 kHz",
        p if (p - 0.5).abs() < 1e-6 => ", as when a file of 96 kHz is played at 48 kHz",
        p if (p - 2.0).abs() < 1e-6 => ", as when a file of 48 kHz is played at 96 kHz",
        _ => ": player and file had different sampling rates",
    };
    format!("The sweep in this take was played {percent:.1} % too {way}{rates}.")
}

fn clipping(facts: &TakeFacts) -> Option<Finding> {
    let clipping = facts.amplitudes.clipping?;
    // Room above what is missing, and a step that a knob has.
    let less_db = (clipping.missing_db + HEADROOM_DB).ceil();
    let (what, advice) = if clipping.full_scale {
        (
            "is clipped: it reaches the converter's limit".to_string(),
            format!(
                "Turn the recording gain down by {less_db:.0} dB. Then all takes of both \
                 conditions must be made with that gain."
            ),
        )
    } else {
        (
            format!("is clipped: it has flat tops at {:.1} dB re full scale", clipping.level_dbfs),
            format!(
                "Something in front of the recorder limits: microphone, preamplifier, or the \
                 amplifier of the loudspeaker. Play {less_db:.0} dB softer and record again, in \
                 both conditions alike."
            ),
        )
    };
    let message = format!(
        "The take {what}, first {:.1} s after its start; about {:.1} dB are missing.",
        clipping.first_s, clipping.missing_db
    );
    Some(Finding::new(Repeat, Topic::Clipping, message, advice))
}

/// Another channel holds the sweep far louder than the microphone's, which holds it too.
fn other_channel(facts: &TakeFacts) -> Option<Finding> {
    facts.heard_in.map(|channel| {
        Finding::new(
            Doubt,
            Topic::WrongSignal,
            format!("Channel {channel} holds the sweep far louder than the microphone's channel."),
            format!(
                "If the microphone is on it, write mic_channel = {channel} under [recording] in \
                 session.toml; if it is an electrical reference, reference_channel = {channel}."
            ),
        )
    })
}

fn open_header(facts: &TakeFacts) -> Option<Finding> {
    (!facts.closed).then(|| {
        Finding::new(
            Good,
            Topic::Truncation,
            format!(
                "The file does not say how long it is, as when a recorder was cut off; the {:.1} s \
                 of sound in it were read.",
                facts.file_s
            ),
            "Nothing needs to be done if the take is whole.",
        )
    })
}

fn offset(facts: &TakeFacts) -> Option<Finding> {
    let offset = facts.amplitudes.offset;
    (offset.abs() > OFFSET).then(|| {
        Finding::new(
            Good,
            Topic::DcOffset,
            format!("The take has a constant offset of {:.1} % of full scale.", 100.0 * offset),
            "It does not touch the result, but takes headroom: have the interface looked at.",
        )
    })
}

fn cut_start(facts: &TakeFacts, course: &Course, sweep: &SweepInTake) -> Option<Finding> {
    let file_start_s = facts.amplitudes.sound_s.map_or(0.0, |sound| sound.0);
    let missing_s = file_start_s - sweep.start_s;
    if missing_s <= CUT_S {
        return None;
    }
    let lost_hz = course.hz_at(missing_s);
    let message = format!(
        "The first {missing_s:.2} s of the sweep are missing: nothing below {lost_hz:.0} Hz."
    );
    let advice = "Start the recording first, wait a second, then play the sweep.";
    let verdict = if lost_hz > REPORT_HZ[0] { Repeat } else { Doubt };
    Some(Finding::new(verdict, Topic::Truncation, message, advice))
}

fn cut_end(facts: &TakeFacts, course: &Course, sweep: &SweepInTake) -> Option<Finding> {
    let file_end_s = facts.amplitudes.sound_s.map_or(facts.file_s, |sound| sound.1);
    let end_s = sweep.start_s + course.duration_s();
    let missing_s = end_s - file_end_s;
    let advice = "Let the recording run for a second after the sweep has ended.";
    if missing_s > CUT_S {
        let lost_hz = course.hz_at(course.duration_s() - missing_s);
        let message = format!(
            "The last {missing_s:.2} s of the sweep are missing: nothing above {lost_hz:.0} Hz."
        );
        let verdict = if lost_hz < REPORT_HZ[1].min(course.high_hz) { Repeat } else { Doubt };
        return Some(Finding::new(verdict, Topic::Truncation, message, advice));
    }
    (facts.file_s - end_s < TAIL_S).then(|| {
        let tail_s = (facts.file_s - end_s).max(0.0);
        let message =
            format!("The recording ends {tail_s:.2} s after the sweep: the room had not decayed.");
        Finding::new(Doubt, Topic::Truncation, message, advice)
    })
}

fn gap(facts: &TakeFacts, course: &Course, sweep: &SweepInTake) -> Option<Finding> {
    let (at_s, length_s) = facts.amplitudes.gap_s?;
    let hz = course.hz_at(at_s - sweep.start_s);
    if hz < course.low_hz || hz > course.high_hz {
        return None;
    }
    let message = format!(
        "The recording drops out for {:.0} ms, {at_s:.2} s after its start, near {hz:.0} Hz.",
        1000.0 * length_s
    );
    let advice = "Close other programs or use a larger audio buffer, then record again.";
    Some(Finding::new(Repeat, Topic::Truncation, message, advice))
}

fn second(facts: &TakeFacts, course: &Course, sweep: &SweepInTake) -> Option<Finding> {
    let (found, expected) = facts.second?;
    if found.share < SECOND_SHARE || expected < SECOND_FRAMES {
        return None;
    }
    let message = format!(
        "The take holds a second sweep, which starts {:.2} s after the start of the file.",
        found.start_s
    );
    let apart_s = (found.start_s - sweep.start_s).abs() - course.duration_s();
    let advice = if apart_s > DECAY_S {
        "A take holds one sweep. `scrimcheck import` cuts a recording of several sweeps into takes."
    } else {
        "Record one sweep a take: the second one lies over the decay of the first."
    };
    Some(Finding::new(Repeat, Topic::DoubleSweep, message, advice))
}

fn low_level(facts: &TakeFacts) -> Option<Finding> {
    let peak_dbfs = 20.0 * facts.amplitudes.peak.log10();
    (peak_dbfs < LOW_PEAK_DBFS).then(|| {
        let message =
            format!("The take is very soft: its peak is {peak_dbfs:.0} dB re full scale.");
        let advice = "Raise the recording gain for all takes of both conditions alike, so that \
                      peaks come to about -12 dB.";
        Finding::new(Doubt, Topic::LowLevel, message, advice)
    })
}

/// The noise of the room above the sweep, which sinks while the sweep plays: no room does that, a
/// gain that follows the level does.
fn breathing(facts: &TakeFacts) -> Option<Finding> {
    let excess: Vec<f64> = facts.rattle.as_ref()?.excess_db.iter().flatten().copied().collect();
    if excess.len() < BREATHING_STEPS {
        return None;
    }
    let change_db = median(excess)?;
    (change_db < BREATHING_DB).then(|| {
        Finding::new(
            Repeat,
            Topic::Linearity,
            format!(
                "The noise of the room is {:.1} dB softer while the sweep plays than before it: an \
                 automatic gain, a limiter or a noise filter follows the level, and no loss can \
                 be read from that.",
                -change_db
            ),
            "Switch automatic gain, limiter, compressor and noise reduction off, in the recorder \
             and in its app, and make all takes again.",
        )
    })
}

/// Bands of the report that stand less than 10 dB above the noise.
fn noise(facts: &TakeFacts) -> Option<Finding> {
    if facts.levels.silent.is_none() {
        return Some(Finding::new(
            Doubt,
            Topic::Noise,
            "The take holds no silence in which the noise of the room could be measured.",
            "Wait half a second between starting the recording and playing the sweep.",
        ));
    }
    let near: Vec<ThirdOctave> = facts
        .bands
        .iter()
        .zip(&facts.levels.snr_db)
        .filter(|(band, snr)| band.index() <= 12 && snr.is_some_and(|snr| snr < NOISE_DB))
        .map(|(band, _)| *band)
        .collect();
    let measured = facts.levels.snr_db.iter().flatten().count();
    if near.is_empty() {
        return None;
    }
    let verdict = if 2 * near.len() > measured { Repeat } else { Doubt };
    let message = format!(
        "The sweep stands less than 10 dB above the noise of the room at {}.",
        name_bands(&near)
    );
    let advice = "Switch off ventilation, projector and refrigerator, or play the sweep louder \
                  (with ear protection, and within what the loudspeaker stands).";
    Some(Finding::new(verdict, Topic::Noise, message, advice))
}

/// "100 Hz to 160 Hz, 16 kHz": neighbours joined.
pub(super) fn name_bands(bands: &[ThirdOctave]) -> String {
    let name = |band: ThirdOctave| frequency_words(band.nominal_hz());
    let mut runs: Vec<(ThirdOctave, ThirdOctave)> = Vec::new();
    for band in bands {
        match runs.last_mut().filter(|(_, last)| last.index() + 1 == band.index()) {
            Some((_, last)) => *last = *band,
            None => runs.push((*band, *band)),
        }
    }
    let said = runs.iter().map(|(first, last)| {
        if first == last { name(*first) } else { format!("{} to {}", name(*first), name(*last)) }
    });
    said.collect::<Vec<_>>().join(", ")
}

fn hum(facts: &TakeFacts) -> Option<Finding> {
    let hum = facts.hum.as_ref()?;
    let touched = |(hz, _): &(f64, f64)| {
        let position = facts.bands.iter().position(|b| (b.lower_hz()..b.upper_hz()).contains(hz));
        position.and_then(|b| facts.levels.snr_db[b]).is_some_and(|snr| snr < HUM_NEAR_DB)
    };
    let verdict = if hum.lines.iter().any(touched) { Doubt } else { Good };
    let lines: Vec<String> = hum.lines.iter().map(|(hz, _)| format!("{hz:.0}")).collect();
    let message = format!(
        "Mains hum at {} Hz; the strongest line has {:.0} dB re full scale.",
        lines.join(", "),
        hum.level_dbfs
    );
    let advice = "Take another power socket for laptop and interface together, or run the laptop \
                  on its battery; keep the microphone cable away from mains leads. Never lift a \
                  protective earth.";
    Some(Finding::new(verdict, Topic::Hum, message, advice))
}

fn bursts(bursts: &[Burst]) -> Option<Finding> {
    // What lies outside the sweep touches nothing.
    let during: Vec<&Burst> = bursts.iter().filter(|b| b.sweep_hz.is_some()).collect();
    let heard = if during.is_empty() { bursts.iter().collect() } else { during };
    let worst = *heard.iter().max_by(|a, b| a.excess_db.total_cmp(&b.excess_db))?;
    let spoils = |b: &Burst| b.sweep_hz.is_some() && b.below_sweep_db < BURST_NEAR_DB;
    let when = match worst.sweep_hz {
        Some(hz) => format!(", while the sweep passed {hz:.0} Hz"),
        None if worst.before_sweep => ", before the sweep".into(),
        None => ", after the sweep".into(),
    };
    let more = match heard.len() {
        1 => String::new(),
        n => format!(" In all there were {n}; this was the loudest."),
    };
    let message = format!(
        "A noise that is not the sweep, {:.0} dB above the noise of the room, from {:.2} s to \
         {:.2} s after the start of the file{when}: a door, a cough, a step, or something that \
         rattles.{more}",
        worst.excess_db, worst.from_s, worst.to_s
    );
    if worst.sweep_hz.is_none() {
        let advice = "It touches no figure. Keep still all the same: the silence tells the noise.";
        return Some(Finding::new(Good, Topic::Disturbance, message, advice));
    }
    let verdict = if bursts.iter().any(spoils) { Repeat } else { Doubt };
    let advice = "Keep still and record again. If it comes back at the same frequency, look for \
                  what rattles.";
    Some(Finding::new(verdict, Topic::Disturbance, message, advice))
}

#[cfg(test)]
mod tests;
