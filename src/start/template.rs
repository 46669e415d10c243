//! The manifest of a new session, every key explained.

use super::options::Plan;
use crate::ingest::sweep::SWEEP_FILE;

/// Text of `session.toml` for a new session: the file of that name beside this one, with the braces
/// filled in.
pub(super) fn manifest(plan: &Plan<'_>) -> String {
    let sweep = &plan.options.sweep;
    let like = plan.options.like.as_ref();
    format!(
        include_str!("session.toml"),
        title = quoted(plan.title),
        without_from = like.map_or_else(String::new, |like| {
            let folder = like.folder.to_string_lossy().replace('\\', "/");
            format!("without_from = {}    # its takes without a screen are used\n", quoted(&folder))
        }),
        SWEEP_FILE = SWEEP_FILE,
        start = sweep.start_hz,
        stop = sweep.stop_hz,
        duration = sweep.duration_s,
        fade_in = sweep.fade_in_s,
        fade_out = sweep.fade_out_s,
        level = sweep.level_dbfs,
        mic_channel = like.map_or(1, |like| like.channels.0),
        reference = match like.and_then(|like| like.channels.1) {
            Some(channel) => format!("reference_channel = {channel}"),
            None => "# reference_channel = 2".into(),
        },
        calibration = match like.and_then(|l| l.calibration.as_ref()?.0.file_name()?.to_str()) {
            Some(name) => format!("calibration_file = {}", quoted(name)),
            None => "# calibration_file = \"mic.csv\"".into(),
        },
        seats = seats(plan),
        first = quoted(plan.seats.first().map_or("R1C", String::as_str)),
    )
}

/// A table for each seat, with what is known of it.
fn seats(plan: &Plan<'_>) -> String {
    let seat = |(i, id): (usize, &String)| {
        let known = plan.options.like.as_ref().and_then(|like| like.seats.get(i));
        let name = match known.and_then(|seat| seat.name.as_ref()) {
            Some(name) => format!("name = {}", quoted(name)),
            None => "# name = \"for the papers\"".into(),
        };
        let position = match known.and_then(|seat| seat.position_m) {
            Some(position) => format!("position_m = {position:?}"),
            None => "# position_m = [3.0, 0.0, 1.1]".into(),
        };
        format!("\n[[seat]]\nid = {}\n{name}\n{position}\n", quoted(id))
    };
    plan.seats.iter().enumerate().map(seat).collect()
}

/// A TOML string for any text.
fn quoted(text: &str) -> String {
    toml::Value::String(text.to_owned()).to_string()
}

#[cfg(test)]
mod tests {
    use super::super::StartOptions;
    use super::*;
    use crate::ingest::manifest::{ManifestText, parse};

    fn plan_text(title: &str) -> String {
        let seats = ["A".to_owned()];
        manifest(&Plan { title, seats: &seats, options: &StartOptions::default() })
    }

    #[test]
    fn any_title_is_data() {
        for title in ["a\"b", "a\\b", "'''", "\"\"\"", "# x", "x\ny = 1", "[screen]"] {
            let text = ManifestText { path: "session.toml".into(), text: plan_text(title) };
            assert_eq!(parse(&text).unwrap().session.title, title);
        }
    }

    /// Every key that is offered behind a # is a real one: with all of them taken in,
    /// the manifest still parses.
    #[test]
    fn every_offered_key_is_known() {
        let text: String = plan_text("t")
            .lines()
            .map(|line| match line.strip_prefix("# ") {
                Some(rest) if rest.contains(" = ") || rest.starts_with('[') => format!("{rest}\n"),
                _ => format!("{line}\n"),
            })
            .collect();
        let manifest = parse(&ManifestText { path: "session.toml".into(), text }).unwrap();
        assert_eq!(manifest.claim.len(), 7);
        assert!(manifest.speaker.is_some() && manifest.picture.is_some());
        assert_eq!(manifest.screen.gap_m, Some(0.065));
        let offered = &manifest.correction;
        let default = crate::ingest::manifest::CorrectionLimits::default();
        assert_eq!(
            format!("{offered:?}"),
            format!("{default:?}"),
            "the offered values are the defaults"
        );
    }
}
