//! Takes and `origin.csv`: made beside, then put into place at once.

use super::cut::cut;
use super::error::ImportError;
use super::formats::Source;
use super::found::{Fate, Survey, Sweep};
use super::listen::at_rate;
use super::names::name_of;
use super::origin::{self, ORIGIN_FILE, Origin, origins};
use super::survey::reference_place;
use crate::ingest::error::IngestError;
use crate::ingest::session::Session;
use crate::ingest::takes::TAKES_FOLDER;
use crate::ingest::takes::paths::resolve;
use crate::ingest::wav::WavWriteError;
use crate::staging::{Staging, hold_interruption};
use std::fs;
use std::path::Path;

/// Decimals of the times in `origin.csv`.
const PER_S: f64 = 1e6;

/// Writes the takes of a survey that is not refused, and their origin. Takes that are there
/// are replaced where `force` says so. An interruption leaves whole takes or none.
///
/// Returns the names of the files.
///
/// # Errors
/// [`ImportError::There`] without `force`; what reading or writing ends in. Nothing is left
/// half-written then.
pub fn write(session: &Session, survey: &Survey, force: bool) -> Result<Vec<String>, ImportError> {
    let folder = session.root.join(TAKES_FOLDER);
    let takes: Vec<(&Sweep, String)> = survey
        .sweeps
        .iter()
        .filter(|sweep| sweep.fate == Fate::Take)
        .filter_map(|sweep| Some((sweep, sweep.place.as_ref()?.file_name())))
        .collect();
    let names: Vec<String> = takes.iter().map(|(_, name)| name.clone()).collect();
    check_free(session, survey, &folder, force)?;
    let mut rows = origins(&session.root)?;
    rows.retain(|row| !names.contains(&row.take));
    let staging = Staging::inside(&session.root).map_err(IngestError::write(&session.root))?;
    let mut open: Option<(usize, Source)> = None;
    for (sweep, name) in &takes {
        // Recordings come one after the other: one is open at a time.
        if open.as_ref().is_none_or(|(index, _)| *index != sweep.recording) {
            let source = Source::open(&survey.recordings[sweep.recording].path)?;
            open = Some((sweep.recording, source));
        }
        if let Some((_, source)) = &mut open {
            rows.push(write_take(session, survey, sweep, source, &staging.at(name), name)?);
        }
    }
    rows.sort_by(|a, b| a.take.cmp(&b.take));
    origin::write(&staging.at(ORIGIN_FILE), &rows)?;
    let placing = hold_interruption();
    fs::create_dir_all(&folder).map_err(IngestError::write(&folder))?;
    if !force {
        check_free(session, survey, &folder, false)?;
    }
    for name in names.iter().map(String::as_str).chain([ORIGIN_FILE]) {
        let place = folder.join(name);
        fs::rename(staging.at(name), &place).map_err(IngestError::write(&place))?;
    }
    drop(placing);
    Ok(names)
}

/// Refuses places that are taken, by this name or another.
fn check_free(
    session: &Session,
    survey: &Survey,
    folder: &Path,
    force: bool,
) -> Result<(), ImportError> {
    if folder.symlink_metadata().is_ok() {
        resolve(&session.root, folder, "make this folder a real one")?;
    }
    let mut there = Vec::new();
    for sweep in survey.sweeps.iter().filter(|s| s.fate == Fate::Take) {
        let Some(place) = &sweep.place else { continue };
        let name = place.file_name();
        let same = session.takes.iter().find(|t| {
            (t.seat, t.condition, t.source, t.spot)
                == (place.seat, place.condition, place.source, place.spot)
        });
        if let Some(other) = same.and_then(|t| t.file.file_name()).filter(|f| **f != *name) {
            return Err(ImportError::Plan {
                problem: format!(
                    "{} is there already, as {}",
                    place.words(),
                    name_of(Path::new(other))
                ),
                advice: "move that file out of takes/ first".into(),
            });
        }
        if folder.join(&name).symlink_metadata().is_ok() {
            there.push(name);
        }
    }
    match there.first() {
        Some(first) if !force => Err(ImportError::There {
            folder: folder.into(),
            n_there: there.len(),
            first: first.clone(),
        }),
        _ => Ok(()),
    }
}

/// Cuts, resamples and writes one take.
fn write_take(
    session: &Session,
    survey: &Survey,
    sweep: &Sweep,
    source: &mut Source,
    path: &Path,
    name: &str,
) -> Result<Origin, ImportError> {
    let recording = &survey.recordings[sweep.recording];
    let rate_hz = session.sweep.rate_hz;
    let mic = recording.mic_channel.unwrap_or(1);
    let asked: Vec<usize> =
        [Some(mic), recording.reference_channel].into_iter().flatten().map(|c| c - 1).collect();
    let mut sound = Vec::new();
    for samples in cut(source, &sweep.stretch, &asked)? {
        sound.push(at_rate(source, &samples, rate_hz)?);
    }
    let mut at = vec![session.manifest.recording.mic_channel];
    if recording.reference_channel.is_some() {
        at.push(reference_place(session));
    }
    let sound: Vec<&[f64]> = sound.iter().map(Vec::as_slice).collect();
    write_float(path, rate_hz, &sound, &at)?;
    let start_s = sweep.stretch.start as f64 / f64::from(recording.rate_hz);
    Ok(Origin {
        take: name.into(),
        recording: recording
            .path
            .file_name()
            .map_or_else(String::new, |n| n.to_string_lossy().into()),
        start_s: (start_s * PER_S).round() / PER_S,
        channel: mic,
        reference_channel: recording.reference_channel,
        rate_hz: recording.rate_hz,
        resampled: recording.rate_hz != rate_hz,
        device: None,
        processing: None,
        played_db: None,
    })
}

/// Channels as 32-bit floats, each at its number counted from 1; silence in those between.
pub(crate) fn write_float(
    path: &Path,
    rate_hz: u32,
    sound: &[&[f64]],
    at: &[u16],
) -> Result<(), ImportError> {
    let n_channels = at.iter().copied().max().unwrap_or(1);
    let spec = hound::WavSpec {
        channels: n_channels,
        sample_rate: rate_hz,
        bits_per_sample: 32,
        sample_format: hound::SampleFormat::Float,
    };
    let failed =
        |source| IngestError::from(WavWriteError::Write { path: path.to_path_buf(), source });
    let mut writer = hound::WavWriter::create(path, spec).map_err(failed)?;
    for frame in 0..sound.iter().map(|s| s.len()).max().unwrap_or(0) {
        for channel in 1..=n_channels {
            let of_channel = at.iter().position(|&a| a == channel).and_then(|i| sound.get(i));
            let sample = of_channel.and_then(|s| s.get(frame)).copied().unwrap_or(0.0);
            writer.write_sample(sample as f32).map_err(failed)?;
        }
    }
    writer.finalize().map_err(failed)?;
    Ok(())
}
