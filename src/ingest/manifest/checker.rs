//! What can be wrong with a value of the manifest whatever its key.

use super::limits::MAX_TEXT_CHARS;
use super::text::ManifestText;
use super::values::outside;
use crate::ingest::error::IngestError;
use crate::ingest::takes::paths::relative_problem;
use std::ops::RangeInclusive;
use std::path::{Path, PathBuf};

pub(super) type Checked = Result<(), IngestError>;

/// The checks, with the text that a refusal points into.
pub(super) struct Checker<'a> {
    pub(super) text: &'a ManifestText,
}

impl Checker<'_> {
    pub(super) fn refuse(
        &self,
        place: &str,
        problem: impl Into<String>,
        advice: impl Into<String>,
    ) -> Checked {
        Err(self.text.refuse(place, problem, advice))
    }

    pub(super) fn number(
        &self,
        place: &str,
        value: f64,
        range: RangeInclusive<f64>,
        unit: &str,
    ) -> Checked {
        match outside(&key_of(place), value, &range, unit) {
            Some(problem) => self.refuse(place, problem, ""),
            None => Ok(()),
        }
    }

    /// A pair that must not fall; `strict` asks for a true rise.
    pub(super) fn rising(&self, place: &str, pair: [f64; 2], strict: bool) -> Checked {
        if pair[0] < pair[1] || (!strict && pair[0] == pair[1]) {
            return Ok(());
        }
        self.refuse(
            place,
            format!(
                "{} goes from {} to {}, expected the lower value first",
                key_of(place),
                pair[0],
                pair[1]
            ),
            "exchange the two values",
        )
    }

    pub(super) fn free_text(&self, place: &str, value: &str) -> Checked {
        let n = value.chars().count();
        if n <= MAX_TEXT_CHARS {
            return Ok(());
        }
        self.refuse(
            place,
            format!("{} has {n} characters, at most {MAX_TEXT_CHARS} are taken", key_of(place)),
            "shorten it",
        )
    }

    pub(super) fn at_most(&self, place: &str, what: &str, found: usize, limit: usize) -> Checked {
        if found <= limit {
            return Ok(());
        }
        self.refuse(
            place,
            format!("{found} {what}, at most {limit} are taken"),
            "split the session",
        )
    }

    pub(super) fn path(&self, place: &str, value: &Path) -> Checked {
        match relative_problem(value) {
            None => Ok(()),
            Some(problem) => self.refuse(
                place,
                format!("{}: {problem}", key_of(place)),
                "put the file into the session folder and name it relative to that folder, with /",
            ),
        }
    }

    pub(super) fn optional_path(&self, place: &str, value: Option<&PathBuf>) -> Checked {
        value.map_or(Ok(()), |p| self.path(place, p))
    }
}

/// The last key of a place, with a position counted from 1: `band_hz, value 2`.
fn key_of(place: &str) -> String {
    let last = place.rsplit('.').next().unwrap_or(place);
    match last.strip_suffix(']').and_then(|s| s.split_once('[')) {
        Some((key, index)) => match index.parse::<usize>() {
            Ok(i) => format!("{key}, value {},", i + 1),
            Err(_) => key.to_owned(),
        },
        None => last.to_owned(),
    }
}
