//! A sound of the user's.

use super::ListenError;
use super::sounds::Sound;
use crate::import::formats::{Block, Source};
use crate::ingest::error::plain;
use std::path::Path;

/// No longer sound is taken, s.
pub const LONGEST_S: f64 = 120.0;
/// A sound must be this long, or its loudness cannot be told, s (one block of BS.1770).
const SHORTEST_S: f64 = 0.4;
/// Most channels: the sound goes through one loudspeaker, or a pair behind the same sheet.
const MOST_CHANNELS: usize = 2;

/// Reads a sound; of more than `at_most_s` seconds only the first.
///
/// # Errors
/// [`ListenError`] names the file, what was found and what to do.
pub fn read_sound(path: &Path, at_most_s: f64) -> Result<Sound, ListenError> {
    let mut source = Source::open(path)?;
    let refuse = |problem: String, advice: &str| ListenError::Sound {
        path: path.into(),
        problem,
        advice: advice.into(),
    };
    let n_channels = source.about.n_channels;
    if n_channels > MOST_CHANNELS {
        let problem = format!("it has {n_channels} channels, expected 1 or 2");
        return Err(refuse(problem, "export it in mono or stereo"));
    }
    let rate_hz = f64::from(source.about.rate_hz);
    let most = (at_most_s * rate_hz) as usize;
    let mut channels = vec![Vec::new(); n_channels];
    let mut block = Block::new();
    while channels[0].len() < most && source.next(&mut block)? {
        for (kept, new) in channels.iter_mut().zip(&block) {
            kept.extend_from_slice(new);
        }
    }
    let is_cut = channels[0].len() > most || source.next(&mut block)?;
    channels.iter_mut().for_each(|c| c.truncate(most));
    let length_s = channels[0].len() as f64 / rate_hz;
    if length_s < SHORTEST_S {
        let problem = format!("it lasts {length_s:.2} s, expected {SHORTEST_S} s or more");
        return Err(refuse(problem, "choose a longer sound"));
    }
    if channels.iter().flatten().all(|x| *x == 0.0) {
        return Err(refuse("it is silent".into(), "choose another sound"));
    }
    let stem = path.file_stem().unwrap_or_default().to_string_lossy();
    let name = plain(&path.file_name().unwrap_or_default().to_string_lossy());
    Ok(Sound {
        key: file_key(&stem),
        title: if is_cut { format!("{name}, its first {at_most_s:.0} s") } else { name },
        rate_hz: source.about.rate_hz,
        channels,
        goes_round: false,
    })
}

/// A name that every file system takes.
fn file_key(stem: &str) -> String {
    let plain = |c: char| if c.is_ascii_alphanumeric() { c } else { '-' };
    let key: String = stem.chars().take(40).map(plain).collect();
    let key = key.trim_matches('-');
    if key.is_empty() { "sound".into() } else { key.into() }
}
