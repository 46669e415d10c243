//! The manifest of a simulated session, as an installer would write it.

use super::scenario::Scenario;
use super::take::SimulatedTake;
use crate::ingest::manifest::SoundSource;
use crate::ingest::takes::condition_word;
use crate::words::key_of;
use std::fmt::Write as _;

/// Text of `session.toml`.
pub(crate) fn manifest_text(scenario: &Scenario, takes: &[SimulatedTake]) -> String {
    let mut text = String::new();
    let s = scenario;
    // Writing to a String cannot fail; the results are dropped for that reason.
    let _ = writeln!(text, "# Made by simulation: no such room, screen or loudspeaker exists.\n");
    let _ = writeln!(text, "[session]\ntitle = {}", quoted(&s.title));
    let tolerance = (s.move_rms_m * 1e3).ceil().max(1.0);
    let _ = writeln!(text, "placement_tolerance_mm = {tolerance}");
    let [without, with] = s.temperature_c;
    let _ = writeln!(text, "temperature_c = {{ without = {without:.1}, with = {with:.1} }}");
    let _ = writeln!(text, "{}\n", s.session_lines.trim_end());
    let w = &s.sweep;
    let _ = writeln!(text, "[sweep]\nfile = \"sweep.wav\"\nkind = \"exponential\"");
    let _ = writeln!(text, "start_hz = {:?}\nstop_hz = {:?}", w.start_hz, w.stop_hz);
    let _ = writeln!(text, "duration_s = {:?}\nfade_in_s = {:?}", w.duration_s, w.fade_in_s);
    let _ = writeln!(text, "fade_out_s = {:?}\nlevel_dbfs = {:?}\n", w.fade_out_s, w.level_dbfs);
    if s.recorder.reference {
        let _ = writeln!(text, "[recording]\nmic_channel = 1\nreference_channel = 2\n");
    }
    let construction = key_of(&s.construction).unwrap_or_default();
    let _ = writeln!(text, "[screen]\nconstruction = \"{construction}\"");
    if let Some(gap_m) = s.stated_gap_m {
        let _ = writeln!(text, "gap_m = {gap_m:.3}");
    }
    let _ = writeln!(text, "{}", s.screen_lines.trim_end());
    for seat in &s.seats {
        let [a, r, h] = seat.position_m;
        let _ = writeln!(
            text,
            "\n[[seat]]\nid = {}\nname = {}\nposition_m = [{a:.3}, {r:.3}, {h:.3}]\nweight = {:?}",
            quoted(&seat.id),
            quoted(&seat.name),
            seat.weight
        );
    }
    for take in takes {
        let _ = writeln!(
            text,
            "\n[[take]]\nseat = {}\ncondition = \"{}\"\nfile = {}\nspot = {}",
            quoted(&s.seats[take.seat].id),
            condition_word(take.condition),
            quoted(&take.file),
            take.spot
        );
        if take.source == SoundSource::Control {
            let _ = writeln!(text, "source = \"control\"");
        }
    }
    if !s.more_manifest.is_empty() {
        let _ = writeln!(text, "\n{}", s.more_manifest.trim());
    }
    text
}

/// A TOML string.
fn quoted(plain: &str) -> String {
    toml::Value::from(plain).to_string()
}

#[cfg(test)]
mod tests {
    use super::super::{Kind, Scenario, simulate};
    use crate::ingest::manifest::Manifest;

    #[test]
    fn the_manifest_reads_back_with_what_was_simulated() {
        let mut scenario = Scenario::random(Kind::Control, 3).shortened(0.3, 0.03);
        scenario.seats.truncate(2);
        scenario.seats[0].name = "a \"quoted\" \\ seat".into();
        let session = simulate(&scenario);
        let manifest: Manifest = toml::from_str(&session.manifest).expect("valid manifest");
        assert_eq!(manifest.seat.len(), 2);
        assert_eq!(manifest.seat[0].name.as_deref(), Some("a \"quoted\" \\ seat"));
        assert_eq!(manifest.take.len(), session.takes.len());
        assert!(manifest.take.iter().any(|t| t.file.to_string_lossy().contains("control")));
        assert_eq!(manifest.sweep.duration_s, Some(0.3));
    }
}
