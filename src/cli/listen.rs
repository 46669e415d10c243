//! `scrimcheck listen DIR`: sounds without and with the screen.

use super::analyze::measure_keeping;
use super::args::ListenArgs;
use super::compare::described;
use super::failure::Failure;
use super::predict_args::FRONT_REFLECTION;
use super::terminal;
use crate::analysis::sheet::models::Gap;
use crate::ingest::error::shown;
use crate::job::{self, place_in};
use crate::listen::files::DITHER_SEED;
use crate::listen::job::offer;
use crate::listen::read::{LONGEST_S, read_sound};
use crate::listen::sounds::{ALL, Made, Sound};
use crate::listen::versions::{Version, Versions, make_versions};
use crate::report::look::paragraph;
use crate::report::output::OutputFolder;
use std::path::PathBuf;
use std::process::ExitCode;

const CAUTION: &str = "Begin with the volume low and raise it step by step: pink noise and clicks \
                       carry more treble than programme, and loud sound harms hearing and tweeters.";

/// Writes the sounds and prints their levels.
///
/// # Errors
/// [`Failure`] when a session or a sound is refused, or the folder cannot be written; nothing is
/// then left behind.
pub fn run(args: &ListenArgs) -> Result<ExitCode, Failure> {
    // Before the takes are read: what cannot be used is told at once.
    let sheets = described(&args.sheets)?;
    let mut folder = OutputFolder::open(&place(args)?, args.force)?;
    let own = args.sound.as_ref().map(|path| read_sound(path, LONGEST_S)).transpose()?;
    let mut jobs = Vec::new();
    for root in &args.sessions {
        let session = job::open(root)?;
        let analyzed = measure_keeping(&session)?;
        jobs.push((session, analyzed));
    }
    let stated = jobs.first().and_then(|(session, _)| session.manifest.screen.gap_m);
    let gap = args.gap_m.or(stated).map(|gap_m| Gap { gap_m, front_reflection: FRONT_REFLECTION });
    let offer = offer(&jobs, args.seat.as_deref(), &sheets, gap)?;
    let sounds = own.map_or_else(|| ALL.into_iter().map(Made::sound).collect(), |own| vec![own]);
    let mut text = offer.seat.map_or(String::new(), |seat| format!("Heard at seat {seat}.\n"));
    for sound in &sounds {
        let heard = make_versions(sound, &offer.parts)?;
        text += &write(&mut folder, sound, &heard, args.matched)?;
    }
    folder.publish()?;
    for note in offer.notes.iter().map(String::as_str).chain([CAUTION]) {
        text += &format!("\n{}", paragraph(note, "", "", terminal::look().width));
    }
    text += &format!("\nWritten to: {}\n", shown(&place(args)?));
    terminal::print(&text)?;
    Ok(ExitCode::SUCCESS)
}

/// Where the sounds go.
fn place(args: &ListenArgs) -> Result<PathBuf, Failure> {
    match (&args.out, args.sessions.first()) {
        (Some(out), _) => Ok(out.clone()),
        (None, Some(session)) => Ok(place_in(session, "listen")?),
        (None, None) => {
            Err(Failure::usage("sheets alone have no folder of their own; name one with --out DIR"))
        }
    }
}

/// Rounded as it is printed, and never minus nothing.
fn tenth(db: f64) -> f64 {
    (10.0 * db).round() / 10.0 + 0.0
}

/// Writes one sound in all its versions, and tells their levels.
fn write(
    folder: &mut OutputFolder,
    sound: &Sound,
    heard: &Versions,
    matched: bool,
) -> Result<String, Failure> {
    let mut text = format!(
        "\n{}: {} Hz, {}\n{:<30}{:>10}{:>11}{:>10}\n",
        sound.title,
        sound.rate_hz,
        if matched { "all as loud as the softest" } else { "as they are" },
        "file",
        "loudness",
        "true peak",
        "change"
    );
    text += &format!("{:<30}{:>10}{:>11}{:>10}\n", "", "LUFS", "dBTP", "dB");
    let gain_db = |v: &Version| if matched { v.matched_gain_db } else { 0.0 };
    let loudness = |v: &Version| v.level.loudness_lufs + gain_db(v);
    for version in &heard.versions {
        let name = format!("{}_{}.wav", heard.key, version.key);
        folder.write(&name, &version.wav(heard.rate_hz, matched, DITHER_SEED)?)?;
        text += &format!(
            "{:<30}{:>10.1}{:>11.1}{:>+10.1}  {}\n",
            name,
            loudness(version),
            version.level.true_peak_dbtp + gain_db(version),
            tenth(loudness(version) - loudness(&heard.versions[0])),
            version.title
        );
    }
    if heard.headroom_gain_db < -0.05 {
        text += &format!(
            "All were turned down by {:.1} dB, so that none is louder than the source.\n",
            -heard.headroom_gain_db
        );
    }
    Ok(text)
}
