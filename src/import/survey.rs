//! All recordings looked at: which sweep is where, what it is, and where it belongs.

use super::assign::assign;
use super::doubt::Known;
use super::error::ImportError;
use super::found::{Fate, Recording, Survey, Sweep};
use super::judge::Judge;
use super::listen::{Heard, listen};
use super::names::{Told, name_of, tell};
use super::places::PlanOptions;
use crate::ingest::manifest::SoundSource;
use crate::ingest::printable::shown;
use crate::ingest::session::Session;
use rayon::prelude::*;
use std::path::{Path, PathBuf};

/// What the user says besides the recordings.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct ImportOptions {
    /// Places of sweeps whose file names do not tell them.
    pub plan: PlanOptions,
    /// Channel of the microphone, counted from 1.
    pub channel: Option<usize>,
}

/// Looks for the session's sweeps in all recordings and finds their places. Writes nothing.
/// `tick` is told how many frames were read, again and again.
///
/// # Errors
/// [`ImportError`] where a recording cannot be used, none holds a sweep, or options and session
/// do not say enough.
pub fn survey(
    session: &Session,
    recordings: &[PathBuf],
    options: &ImportOptions,
    tick: &dyn Fn(u64),
) -> Result<Survey, ImportError> {
    check_session(session)?;
    let channel = options.channel.map(|c| c.saturating_sub(1));
    let heard = recordings
        .iter()
        .map(|path| listen(&session.sweep, path, channel, tick))
        .collect::<Result<Vec<Heard>, _>>()?;
    let told: Vec<Told> = recordings
        .iter()
        .map(|path| {
            let stem = path.file_stem().map(|s| s.to_string_lossy().into_owned());
            tell(&stem.unwrap_or_default(), &session.manifest.seat)
        })
        .collect();
    if heard.iter().all(|h| h.sweeps.is_empty()) {
        return Err(no_sweep(recordings));
    }
    let mut survey = Survey {
        notes: notes(session, &heard, &told)?,
        recordings: heard.iter().zip(&told).map(about).collect(),
        sweeps: heard.iter().enumerate().flat_map(sweeps).collect(),
        missing: Vec::new(),
        refusal: None,
        order_doubt: None,
    };
    assign(session, &heard, &told, &options.plan, &known_takes(session), &mut survey)?;
    Ok(survey)
}

/// Takes listed one by one leave no room for others.
fn check_session(session: &Session) -> Result<(), ImportError> {
    if session.manifest.take.is_empty() {
        return Ok(());
    }
    Err(ImportError::Plan {
        problem: format!(
            "{}: session.toml lists its takes one by one, so takes that are brought in would not be \
             seen",
            shown(&session.root)
        ),
        advice: "take the [[take]] list out, so that takes/ is read by its file names".into(),
    })
}

fn no_sweep(recordings: &[PathBuf]) -> ImportError {
    let (path, which) = match recordings {
        [one] => (one.as_path(), "it"),
        [first, ..] => (first.as_path(), "this or the other recordings"),
        [] => (Path::new("."), "no recording"),
    };
    ImportError::recording(
        path,
        format!("the sweep of this session is not in {which}"),
        "name the recording of the session's sweep.wav, loud enough to be heard over the noise of \
         the room",
    )
}

fn about((heard, told): (&Heard, &Told)) -> Recording {
    let channels = heard.channels.as_ref();
    Recording {
        path: heard.path.clone(),
        format: heard.about.format.clone(),
        rate_hz: heard.about.rate_hz,
        n_channels: heard.about.n_channels,
        duration_s: heard.n_frames as f64 / f64::from(heard.about.rate_hz),
        mic_channel: channels.map(|c| c.mic + 1),
        other_channels: channels.map_or(Vec::new(), |c| c.others.iter().map(|o| o + 1).collect()),
        reference_channel: channels.and_then(|c| c.reference).map(|r| r + 1),
        told: told.clone(),
    }
}

/// The sweeps of a recording, which have no place yet.
fn sweeps((recording, heard): (usize, &Heard)) -> Vec<Sweep> {
    let sweeps = heard.sweeps.iter().map(|sweep| Sweep {
        recording,
        start_s: sweep.start_s,
        peak_dbfs: sweep.judged.peak_dbfs,
        judgement: sweep.judged.words(),
        findings: sweep.judged.findings.clone(),
        place: None,
        fate: Fate::TooMuch,
        rather: None,
        stretch: sweep.stretch.clone(),
    });
    sweeps.collect()
}

/// Prints of the takes that are there already, those of the main loudspeaker.
fn known_takes(session: &Session) -> Vec<Known> {
    let takes: Vec<_> = session.takes.iter().filter(|t| t.source == SoundSource::Centre).collect();
    let n_points = session.sweep.samples.len() + session.sweep.rate_hz as usize;
    let judge = Judge::new(&session.sweep, n_points);
    takes
        .into_par_iter()
        .filter_map(|take| {
            // One that cannot be read tells nothing; `check` has the words.
            let recording = session.read_take(take).ok()?;
            let print = judge.judge(recording.mic).print?;
            Some(Known { seat: take.seat, condition: take.condition, print })
        })
        .collect()
}

/// What is worth saying of channels and rates.
fn notes(session: &Session, heard: &[Heard], told: &[Told]) -> Result<Vec<String>, ImportError> {
    let mut notes = Vec::new();
    for (heard, told) in heard.iter().zip(told) {
        let name = name_of(&heard.path);
        if !told.words.is_empty() {
            notes.push(format!("Read from the name {name}: {}.", told.words.join(", ")));
        }
        let Some(channels) = &heard.channels else {
            notes.push(format!("{name}: the sweep was not found in it; nothing of it is used."));
            continue;
        };
        if !channels.others.is_empty() {
            let others: Vec<String> = channels.others.iter().map(|o| (o + 1).to_string()).collect();
            notes.push(format!(
                "{name}: channels {} and {} hold the sweep; {} is the stronger and is taken \
                 (--channel overrules).",
                channels.mic + 1,
                others.join(", "),
                channels.mic + 1
            ));
        }
        let rate_hz = heard.about.rate_hz;
        if rate_hz != session.sweep.rate_hz {
            let lower = f64::from(rate_hz.min(session.sweep.rate_hz));
            let carried_hz = 0.45 * lower;
            let lost = if carried_hz < 0.85 * session.sweep.band_hz[1] {
                format!(" It carries nothing to measure above {:.0} Hz.", carried_hz)
            } else {
                String::new()
            };
            notes.push(format!(
                "{name} has {rate_hz} Hz and is brought to the {} Hz of the session.{lost}",
                session.sweep.rate_hz
            ));
        }
        reference_note(session, heard, channels.reference, &mut notes)?;
    }
    let mics: Vec<usize> =
        heard.iter().filter_map(|h| h.channels.as_ref()).map(|c| c.mic).collect();
    if mics.windows(2).any(|w| w[0] != w[1]) {
        notes.push(
            "The microphone is not on the same channel in all recordings: make sure that it is the \
             same microphone at the same gain."
                .into(),
        );
    }
    Ok(notes)
}

/// The electrical reference that the session asks for, or that is there unasked.
fn reference_note(
    session: &Session,
    heard: &Heard,
    reference: Option<usize>,
    notes: &mut Vec<String>,
) -> Result<(), ImportError> {
    let asked = session.manifest.recording.reference_channel;
    let Some(found) = reference else {
        return match asked {
            None => Ok(()),
            Some(_) => Err(ImportError::recording(
                &heard.path,
                "session.toml names a channel for the electrical reference, and no channel of this \
                 recording holds one",
                "record the reference, or take that channel out of [recording]",
            )),
        };
    };
    let kept = reference_place(session);
    let use_it = match asked {
        Some(_) => ".".to_owned(),
        None => format!(
            "; write reference_channel = {kept} under [recording] in session.toml to use it."
        ),
    };
    notes.push(format!(
        "{}: channel {} is the electrical reference, kept as channel {kept} of the takes{use_it}",
        name_of(&heard.path),
        found + 1
    ));
    Ok(())
}

/// Channel of the takes that keeps the reference, counted from 1: the one of the session, or the
/// first that the microphone leaves free.
pub(super) fn reference_place(session: &Session) -> u16 {
    let recording = &session.manifest.recording;
    recording.reference_channel.unwrap_or(if recording.mic_channel == 1 { 2 } else { 1 })
}
