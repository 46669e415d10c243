//! Default names of recordings: `SEAT_CONDITION_N.wav`, `SEAT_CONDITION_control_N.wav`,
//! `SEAT_CONDITION_quiet_N.wav`.

use crate::ingest::manifest::{Condition, SoundSource};
use unicode_normalization::UnicodeNormalization;

/// Folder of the recordings in a session folder.
pub const TAKES_FOLDER: &str = "takes";

/// How much lower than usual the sweep of a quiet take is played, dB.
pub const QUIET_BY_DB: f64 = 10.0;

/// What a default name says.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct TakeName {
    /// Seat id, as written in the name.
    pub seat: String,
    /// Screen state.
    pub condition: Condition,
    /// Loudspeaker.
    pub source: SoundSource,
    /// Whether the sweep was played 10 dB lower.
    pub quiet: bool,
    /// Running number, which is the microphone placement.
    pub number: u32,
}

/// What a name lacks, as the end of a sentence that begins with the file's name.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum NameError {
    /// A number at its end.
    #[error("the name does not end in _ and a number")]
    Number,
    /// A condition.
    #[error("the name does not say _without_, _with_ or _corrected_ before its number")]
    Condition,
    /// A seat.
    #[error("the name does not begin with a seat")]
    Seat,
}

/// The word of a condition in names.
pub(crate) fn condition_word(condition: Condition) -> &'static str {
    match condition {
        Condition::Without => "without",
        Condition::With => "with",
        Condition::Corrected => "corrected",
    }
}

/// The default file name of a take, without folder.
pub fn default_name(seat: &str, condition: Condition, source: SoundSource, number: u32) -> String {
    let control = if source == SoundSource::Control { "_control" } else { "" };
    format!("{seat}_{}{control}_{number}.wav", condition_word(condition))
}

/// The default file name of a quiet take, without folder.
pub fn quiet_name(seat: &str, condition: Condition, number: u32) -> String {
    format!("{seat}_{}_quiet_{number}.wav", condition_word(condition))
}

/// Reads a default name without its extension. Parsed from its end, so seat ids may
/// hold underscores and even the words of conditions; those words may be written in
/// any case.
///
/// # Errors
/// [`NameError`]: what is missing.
pub fn parse_name(stem: &str) -> Result<TakeName, NameError> {
    let (rest, number) = stem
        .rsplit_once('_')
        .and_then(|(rest, digits)| {
            let plain = !digits.is_empty() && digits.bytes().all(|b| b.is_ascii_digit());
            plain.then(|| digits.parse().ok().map(|n| (rest, n))).flatten()
        })
        .ok_or(NameError::Number)?;
    let (rest, source, quiet) = match rest.rsplit_once('_') {
        Some((front, last)) if last.eq_ignore_ascii_case("control") => {
            (front, SoundSource::Control, false)
        }
        Some((front, last)) if last.eq_ignore_ascii_case("quiet") => {
            (front, SoundSource::Centre, true)
        }
        _ => (rest, SoundSource::Centre, false),
    };
    let words = [Condition::Without, Condition::With, Condition::Corrected];
    let (seat, condition) = rest
        .rsplit_once('_')
        .and_then(|(seat, word)| {
            let condition =
                words.into_iter().find(|&c| condition_word(c).eq_ignore_ascii_case(word))?;
            Some((seat, condition))
        })
        .ok_or(NameError::Condition)?;
    if seat.is_empty() {
        return Err(NameError::Seat);
    }
    // Some systems take accents apart in the names of files.
    Ok(TakeName { seat: seat.nfc().collect(), condition, source, quiet, number })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_are_read_back() {
        for seat in ["R1C", "row_1_left", "a_with_1", "Süd 3", "x_control"] {
            for condition in [Condition::Without, Condition::With, Condition::Corrected] {
                for source in [SoundSource::Centre, SoundSource::Control] {
                    let name = default_name(seat, condition, source, 12);
                    let (seat, quiet) = (seat.into(), false);
                    let want = TakeName { seat, condition, source, quiet, number: 12 };
                    assert_eq!(parse_name(name.strip_suffix(".wav").unwrap()), Ok(want), "{name}");
                }
            }
        }
        assert_eq!(parse_name("R1C_WITHOUT_02").unwrap().number, 2);
        let quiet = quiet_name("R1C", Condition::With, 3);
        let read = parse_name(quiet.strip_suffix(".wav").unwrap()).unwrap();
        assert!(read.quiet && read.condition == Condition::With && read.number == 3);
        assert_eq!(parse_name("Su\u{308}d_with_1").unwrap().seat, "S\u{fc}d");
        assert_eq!(parse_name("R1C_With_Control_1").unwrap().source, SoundSource::Control);
    }

    #[test]
    fn other_names_say_what_is_missing() {
        for (stem, missing) in [
            ("R1C", NameError::Number),
            ("R1C_without", NameError::Number),
            ("R1C_without_a", NameError::Number),
            ("R1C_without_+1", NameError::Number),
            ("R1C_without_99999999999", NameError::Number),
            ("R1C_1", NameError::Condition),
            ("R1C_screen_1", NameError::Condition),
            ("_with_1", NameError::Seat),
            ("with_1", NameError::Condition),
        ] {
            assert_eq!(parse_name(stem), Err(missing), "{stem}");
        }
    }
}
