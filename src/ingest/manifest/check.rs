//! What the manifest means: ranges, orders, doubles, and which keys a claim needs.

use super::text::ManifestText;
use super::{Manifest, PerCondition, suggest};
use crate::ingest::error::IngestError;
use crate::ingest::takes::paths::relative_problem;
use std::path::{Component, Path};

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
/// The words of `correction.frequency_step`.
const FREQUENCY_STEPS: [&str; 5] = ["iso_1_3", "iso_1_6", "iso_1_12", "iso_1_24", "free"];

/// The folder's name in a path of the form `../NAME`; `None` for any other path.
pub(crate) fn sibling_name(path: &Path) -> Option<&std::ffi::OsStr> {
    if path.to_string_lossy().contains('\\') {
        return None;
    }
    match path.components().collect::<Vec<_>>()[..] {
        [Component::ParentDir, Component::Normal(name)] => Some(name),
        _ => None,
    }
}

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
    c.speaker(m)?;
    c.correction(m)?;
    c.picture(m)?;
    c.handover(m)
}

/// Ends of a range, and whether the lower one belongs to it.
#[derive(Clone, Copy)]
pub(super) enum Range {
    From(f64, f64),
    Above(f64, f64),
}

use Range::{Above, From};

/// The checks, with the text that a refusal points into.
pub(super) struct Checker<'a> {
    pub(super) text: &'a ManifestText,
}

impl Checker<'_> {
    pub(super) fn number(&self, place: &str, value: f64, range: Range, unit: &str) -> Checked {
        let (inside, low, high, words) = match range {
            From(low, high) => (value >= low && value <= high, low, high, ""),
            Above(low, high) => (value > low && value <= high, low, high, "above "),
        };
        if inside {
            return Ok(());
        }
        let unit = if unit.is_empty() { String::new() } else { format!(" {unit}") };
        Err(self.text.refuse(
            place,
            format!("{} is {value}, expected {words}{low} to {high}{unit}", key_of(place)),
            "",
        ))
    }

    pub(super) fn optional(
        &self,
        place: &str,
        value: Option<f64>,
        range: Range,
        unit: &str,
    ) -> Checked {
        value.map_or(Ok(()), |v| self.number(place, v, range, unit))
    }

    /// A pair that must not fall; `strict` asks for a true rise.
    pub(super) fn pair(
        &self,
        place: &str,
        pair: [f64; 2],
        range: Range,
        unit: &str,
        strict: bool,
    ) -> Checked {
        for (i, &value) in pair.iter().enumerate() {
            self.number(&format!("{place}[{i}]"), value, range, unit)?;
        }
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
        self.number(
            "session.placement_tolerance_mm",
            s.placement_tolerance_mm,
            From(0.0, 500.0),
            "mm",
        )?;
        self.per_condition(
            "session.temperature_c",
            s.temperature_c,
            From(-40.0, 60.0),
            "degrees Celsius",
        )?;
        self.per_condition(
            "session.humidity_percent",
            s.humidity_percent,
            From(0.0, 100.0),
            "percent",
        )
    }

    fn per_condition(
        &self,
        place: &str,
        value: Option<PerCondition>,
        range: Range,
        unit: &str,
    ) -> Checked {
        match value {
            None => Ok(()),
            Some(PerCondition::One(x)) => self.number(place, x, range, unit),
            Some(PerCondition::Each(each)) => {
                self.number(&format!("{place}.without"), each.without, range, unit)?;
                self.number(&format!("{place}.with"), each.with, range, unit)?;
                self.optional(&format!("{place}.corrected"), each.corrected, range, unit)
            }
        }
    }

    fn sweep(&self, m: &Manifest) -> Checked {
        let s = &m.sweep;
        self.path("sweep.file", &s.file)?;
        self.number("sweep.start_hz", s.start_hz, From(1.0, 96_000.0), "Hz")?;
        self.number("sweep.stop_hz", s.stop_hz, From(1.0, 96_000.0), "Hz")?;
        if s.stop_hz < 2.0 * s.start_hz {
            return Err(self.text.refuse(
                "sweep.stop_hz",
                format!("stop_hz is {} and start_hz is {}, expected at least one octave from start to stop", s.stop_hz, s.start_hz),
                "",
            ));
        }
        self.optional("sweep.duration_s", s.duration_s, From(0.2, 60.0), "s")?;
        self.optional("sweep.fade_in_s", s.fade_in_s, From(0.0, 60.0), "s")?;
        self.optional("sweep.fade_out_s", s.fade_out_s, From(0.0, 60.0), "s")?;
        self.optional("sweep.level_dbfs", s.level_dbfs, From(-120.0, 0.0), "dB re full scale")
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
        self.optional("screen.width_m", s.width_m, Above(0.0, 100.0), "m")?;
        self.optional("screen.height_m", s.height_m, Above(0.0, 100.0), "m")?;
        // Thinner air is none: the sheet lies on the loudspeaker.
        self.optional("screen.gap_m", s.gap_m, From(0.001, 5.0), "m")?;
        self.optional("screen.hole_diameter_mm", s.hole_diameter_mm, Above(0.0, 50.0), "mm")?;
        self.optional("screen.hole_pitch_mm", s.hole_pitch_mm, Above(0.0, 500.0), "mm")?;
        self.optional("screen.thickness_mm", s.thickness_mm, Above(0.0, 50.0), "mm")?;
        self.optional(
            "screen.open_area_percent",
            s.open_area_percent,
            Above(0.0, 100.0),
            "percent",
        )?;
        self.optional("screen.areal_mass_g_m2", s.areal_mass_g_m2, Above(0.0, 20_000.0), "g/m²")?;
        self.optional(
            "screen.flow_resistance_pa_s_m",
            s.flow_resistance_pa_s_m,
            From(0.0, 1e6),
            "Pa s/m",
        )?;
        self.optional("screen.weave_pitch_mm", s.weave_pitch_mm, Above(0.0, 100.0), "mm")?;
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

    fn speaker(&self, m: &Manifest) -> Checked {
        let Some(s) = &m.speaker else { return Ok(()) };
        self.optional("speaker.height_m", s.height_m, From(0.0, 20.0), "m")?;
        self.optional("speaker.power_w", s.power_w, Above(0.0, 1e5), "W")?;
        self.optional("speaker.amplifier_w", s.amplifier_w, Above(0.0, 1e5), "W")?;
        self.optional("speaker.driver_limit_w", s.driver_limit_w, Above(0.0, 1e5), "W")?;
        self.optional(
            "speaker.sensitivity_db",
            s.sensitivity_db,
            From(40.0, 130.0),
            "dB at 1 W, 1 m",
        )?;
        s.driver_band_hz.map_or(Ok(()), |band_hz| {
            self.pair("speaker.driver_band_hz", band_hz, From(1.0, 96_000.0), "Hz", true)
        })
    }

    fn correction(&self, m: &Manifest) -> Checked {
        let c = &m.correction;
        self.number(
            "correction.processor_rate_hz",
            c.processor_rate_hz,
            From(8_000.0, 768_000.0),
            "Hz",
        )?;
        let top_hz = c.processor_rate_hz / 2.0;
        self.pair("correction.band_hz", c.band_hz, From(10.0, top_hz), "Hz", true)?;
        self.number("correction.max_boost_db", c.max_boost_db, From(0.0, 30.0), "dB")?;
        self.number("correction.max_cut_db", c.max_cut_db, From(0.0, 60.0), "dB")?;
        self.pair("correction.q", c.q, From(0.05, 50.0), "", false)?;
        self.number("correction.max_filters", c.max_filters as f64, From(0.0, 20.0), "")?;
        self.number("correction.gain_step_db", c.gain_step_db, From(0.0, 6.0), "dB")?;
        self.number("correction.q_step", c.q_step, From(0.0, 5.0), "")?;
        self.number("correction.tolerance_rms_db", c.tolerance_rms_db, Above(0.0, 20.0), "dB")?;
        self.number("correction.tolerance_band_db", c.tolerance_band_db, Above(0.0, 20.0), "dB")?;
        if FREQUENCY_STEPS.contains(&c.frequency_step.as_str()) {
            return Ok(());
        }
        Err(self.text.refuse(
            "correction.frequency_step",
            format!("`{}` is no word for frequency_step", c.frequency_step),
            suggest(&c.frequency_step, &FREQUENCY_STEPS),
        ))
    }

    fn picture(&self, m: &Manifest) -> Checked {
        let Some(p) = &m.picture else { return Ok(()) };
        self.optional_path("picture.readings_file", p.readings_file.as_ref())?;
        self.optional("picture.reference_gain", p.reference_gain, Above(0.0, 20.0), "")?;
        self.optional(
            "picture.meter_uncertainty_percent",
            p.meter_uncertainty_percent,
            From(0.0, 100.0),
            "percent",
        )?;
        self.optional("picture.projector_lm", p.projector_lm, Above(0.0, 1e6), "lm")?;
        self.optional("picture.aspect", p.aspect, From(0.2, 10.0), "(width over height)")?;
        self.optional(
            "picture.masked_aspect",
            p.masked_aspect,
            From(0.2, 10.0),
            "(width over height)",
        )?;
        self.optional("picture.pixels_across", p.pixels_across.map(f64::from), From(1.0, 1e5), "")
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
