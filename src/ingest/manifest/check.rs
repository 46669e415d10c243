//! What the manifest means: orders, doubles, and ranges that hang on other keys.

use super::checker::{Checked, Checker};
use super::keys::Manifest;
use super::limits::MAX_CLAIMS;
use super::text::ManifestText;
use crate::ingest::takes::paths::sibling_name;

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

impl Checker<'_> {
    fn session(&self, m: &Manifest) -> Checked {
        let s = &m.session;
        self.free_text("session.title", &s.title)?;
        if s.title.trim().is_empty() {
            let advice = "say which room and screen this is, in a few words";
            return self.refuse("session.title", "the title is empty", advice);
        }
        if let Some(other) = &s.without_from
            && sibling_name(other).is_none()
        {
            return self.refuse(
                "session.without_from",
                format!("without_from is \"{}\"", other.display()),
                "name the folder of a session that lies beside this one, as \"../first-cloth\"",
            );
        }
        Ok(())
    }

    fn sweep(&self, m: &Manifest) -> Checked {
        let s = &m.sweep;
        self.path("sweep.file", &s.file)?;
        if s.stop_hz < 2.0 * s.start_hz {
            return self.refuse(
                "sweep.stop_hz",
                format!("stop_hz is {} and start_hz is {}, expected at least one octave from start to stop", s.stop_hz, s.start_hz),
                "",
            );
        }
        Ok(())
    }

    fn recording(&self, m: &Manifest) -> Checked {
        let r = &m.recording;
        let channels =
            [("mic_channel", Some(r.mic_channel)), ("reference_channel", r.reference_channel)];
        if let Some((key, _)) = channels.into_iter().find(|(_, channel)| *channel == Some(0)) {
            return self.refuse(
                &format!("recording.{key}"),
                format!("{key} is 0, channels count from 1"),
                "",
            );
        }
        if r.reference_channel == Some(r.mic_channel) {
            return self.refuse(
                "recording.reference_channel",
                format!("reference_channel and mic_channel are both {}", r.mic_channel),
                "name the channel with the recorded electrical signal, or leave reference_channel out",
            );
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
            return self.refuse(
                "screen.hole_diameter_mm",
                format!("hole_diameter_mm is {d}, not smaller than hole_pitch_mm, {p}"),
                "the pitch counts from the centre of one hole to the centre of the next",
            );
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
