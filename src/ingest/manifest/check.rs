//! What the manifest means: orders, doubles, and ranges that hang on other keys.

use super::Manifest;
use super::text::ManifestText;
use super::values::outside;
use crate::ingest::error::IngestError;
use crate::ingest::takes::paths::{relative_problem, sibling_name};
use std::ops::RangeInclusive;
use std::path::Path;

/// Most seats of a session.
pub(crate) const MAX_SEATS: usize = 1000;
/// Most takes of a session.
pub(crate) const MAX_TAKES: usize = 10_000;
/// Most claims and most points of a claimed curve.
pub(super) const MAX_CLAIMS: usize = 200;
/// Longest seat id, characters.
pub(crate) const MAX_ID_CHARS: usize = 64;
/// Longest free text, characters.
const MAX_TEXT_CHARS: usize = 2000;

pub(super) type Checked = Result<(), IngestError>;

/// Checks everything in the manifest that needs no other file.
pub(super) fn check(m: &Manifest, text: &ManifestText) -> Checked {
    let c = Checker { text };
    c.session(m)?;
    c.sweep(m)?;
    c.recording(m)?;
    c.screen(m)?;
    c.at_most("claim", "claims", m.claim.len(), MAX_CLAIMS)?;
    for (i, claim) in m.claim.iter().enumerate() {
        c.claim(claim, &format!("claim[{i}]"))?;
    }
    c.seats(m)?;
    c.takes(m)?;
    let band_hz = m.speaker.as_ref().and_then(|s| s.driver_band_hz);
    band_hz.map_or(Ok(()), |band_hz| c.rising("speaker.driver_band_hz", band_hz, true))?;
    c.correction(m)?;
    let readings = m.picture.as_ref().and_then(|p| p.readings_file.as_ref());
    c.optional_path("picture.readings_file", readings)?;
    c.handover(m)
}

/// The checks, with the text that a refusal points into.
pub(super) struct Checker<'a> {
    pub(super) text: &'a ManifestText,
}

impl Checker<'_> {
    pub(super) fn number(
        &self,
        place: &str,
        value: f64,
        range: RangeInclusive<f64>,
        unit: &str,
    ) -> Checked {
        match outside(&key_of(place), value, &range, unit) {
            Some(problem) => Err(self.text.refuse(place, problem, "")),
            None => Ok(()),
        }
    }

    /// A pair that must not fall; `strict` asks for a true rise.
    pub(super) fn rising(&self, place: &str, pair: [f64; 2], strict: bool) -> Checked {
        if pair[0] < pair[1] || (!strict && pair[0] == pair[1]) {
            return Ok(());
        }
        Err(self.text.refuse(
            place,
            format!(
                "{} goes from {} to {}, expected the lower value first",
                key_of(place),
                pair[0],
                pair[1]
            ),
            "exchange the two values",
        ))
    }

    pub(super) fn free_text(&self, place: &str, value: &str) -> Checked {
        let n = value.chars().count();
        if n <= MAX_TEXT_CHARS {
            return Ok(());
        }
        Err(self.text.refuse(
            place,
            format!("{} has {n} characters, at most {MAX_TEXT_CHARS} are taken", key_of(place)),
            "shorten it",
        ))
    }

    pub(super) fn at_most(&self, place: &str, what: &str, found: usize, limit: usize) -> Checked {
        if found <= limit {
            return Ok(());
        }
        Err(self.text.refuse(
            place,
            format!("{found} {what}, at most {limit} are taken"),
            "split the session",
        ))
    }

    pub(super) fn path(&self, place: &str, value: &Path) -> Checked {
        match relative_problem(value) {
            None => Ok(()),
            Some(problem) => Err(self.text.refuse(
                place,
                format!("{}: {problem}", key_of(place)),
                "put the file into the session folder and name it relative to that folder, with /",
            )),
        }
    }

    fn optional_path(&self, place: &str, value: Option<&std::path::PathBuf>) -> Checked {
        value.map_or(Ok(()), |p| self.path(place, p))
    }

    fn session(&self, m: &Manifest) -> Checked {
        let s = &m.session;
        self.free_text("session.title", &s.title)?;
        if s.title.trim().is_empty() {
            let advice = "say which room and screen this is, in a few words";
            return Err(self.text.refuse("session.title", "the title is empty", advice));
        }
        if let Some(other) = &s.without_from
            && sibling_name(other).is_none()
        {
            return Err(self.text.refuse(
                "session.without_from",
                format!("without_from is \"{}\"", other.display()),
                "name the folder of a session that lies beside this one, as \"../first-cloth\"",
            ));
        }
        Ok(())
    }

    fn sweep(&self, m: &Manifest) -> Checked {
        let s = &m.sweep;
        self.path("sweep.file", &s.file)?;
        if s.stop_hz < 2.0 * s.start_hz {
            return Err(self.text.refuse(
                "sweep.stop_hz",
                format!("stop_hz is {} and start_hz is {}, expected at least one octave from start to stop", s.stop_hz, s.start_hz),
                "",
            ));
        }
        Ok(())
    }

    fn recording(&self, m: &Manifest) -> Checked {
        let r = &m.recording;
        if r.mic_channel == 0 {
            return Err(self.text.refuse(
                "recording.mic_channel",
                "mic_channel is 0, channels count from 1",
                "",
            ));
        }
        if r.reference_channel == Some(0) {
            return Err(self.text.refuse(
                "recording.reference_channel",
                "reference_channel is 0, channels count from 1",
                "",
            ));
        }
        if r.reference_channel == Some(r.mic_channel) {
            return Err(self.text.refuse(
                "recording.reference_channel",
                format!("reference_channel and mic_channel are both {}", r.mic_channel),
                "name the channel with the recorded electrical signal, or leave reference_channel out",
            ));
        }
        self.optional_path("recording.calibration_file", r.calibration_file.as_ref())
    }

    fn screen(&self, m: &Manifest) -> Checked {
        let s = &m.screen;
        if let Some(name) = &s.name {
            self.free_text("screen.name", name)?;
        }
        if let (Some(d), Some(p)) = (s.hole_diameter_mm, s.hole_pitch_mm)
            && d >= p
        {
            return Err(self.text.refuse(
                "screen.hole_diameter_mm",
                format!("hole_diameter_mm is {d}, not smaller than hole_pitch_mm, {p}"),
                "the pitch counts from the centre of one hole to the centre of the next",
            ));
        }
        Ok(())
    }

    fn correction(&self, m: &Manifest) -> Checked {
        let c = &m.correction;
        let top_hz = c.processor_rate_hz / 2.0;
        for (i, &hz) in c.band_hz.iter().enumerate() {
            self.number(&format!("correction.band_hz[{i}]"), hz, 10.0..=top_hz, "Hz")?;
        }
        self.rising("correction.band_hz", c.band_hz, true)?;
        for (key, step, most, unit) in [
            ("correction.gain_step_db", c.gain_step_db, 6.0, "dB (0: any gain)"),
            ("correction.q_step", c.q_step, 5.0, "(0: any Q)"),
        ] {
            if step != 0.0 {
                self.number(key, step, 0.01..=most, unit)?;
            }
        }
        self.rising("correction.q", c.q, false)
    }

    fn handover(&self, m: &Manifest) -> Checked {
        let h = &m.handover;
        for (key, value) in [
            ("client", &h.client),
            ("site", &h.site),
            ("installer", &h.installer),
            ("reference", &h.reference),
        ] {
            if let Some(value) = value {
                self.free_text(&format!("handover.{key}"), value)?;
            }
        }
        for (key, list) in [
            ("instruments", &h.instruments),
            ("not_measured", &h.not_measured),
            ("signatures", &h.signatures),
        ] {
            self.at_most(&format!("handover.{key}"), "lines", list.len(), 100)?;
            for (i, line) in list.iter().enumerate() {
                self.free_text(&format!("handover.{key}[{i}]"), line)?;
            }
        }
        self.optional_path("handover.logo", h.logo.as_ref())
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
