//! The manifest of a new session, every key explained.

use super::Plan;
use crate::ingest::sweep::SWEEP_FILE;
use std::fmt::Write;

/// Text of `session.toml` for a new session.
pub(super) fn manifest(plan: &Plan<'_>) -> String {
    let sweep = &plan.options.sweep;
    let like = plan.options.like.as_ref();
    let mut text = format!(
        r#"# What was measured, with what, and where. Lines that begin with # are explanations
# or keys that may be left out: take the # away and write the figure.
# Hz, s, m, dB, degrees Celsius; frequencies from the loudspeaker's point of view.

[session]
title = {title}
# date = 2026-01-31                # of the recordings, without quotes
placement_tolerance_mm = 10        # how well the microphone goes back to its mark
{without_from}# gain_untouched = true            # you attest that no gain and no volume was touched
                                   # between the conditions, where no control takes were made
# temperature_c = {{ without = 20.5, with = 21.0 }}    # of the air, in each condition
# humidity_percent = {{ without = 45, with = 47 }}

[sweep]                            # the signal that was played
file = "{SWEEP_FILE}"
kind = "exponential"               # or "other" for any other broadband signal
start_hz = {start:?}
stop_hz = {stop:?}
duration_s = {duration:?}
fade_in_s = {fade_in:?}
fade_out_s = {fade_out:?}
level_dbfs = {level:?}

[recording]
mic_channel = {mic_channel}                    # channel of the measurement microphone, from 1
{reference}             # recorded electrical reference, if there is one
{calibration}     # rows: frequency_hz, correction_db

[screen]
# name = "as on the order"
# construction = "woven"           # or "perforated" or "other"
# gap_m = 0.065                    # air between loudspeaker front and sheet: measure it,
                                   # the losses become more certain
# width_m = 2.9                    # of the picture
# height_m = 1.63
backing = false                    # true: a second, black cloth hangs behind the sheet
# From the maker's sheet, for the comparison with theory:
# hole_diameter_mm = 0.5
# hole_pitch_mm = 2.0
# thickness_mm = 0.3
# open_area_percent = 5.0
# areal_mass_g_m2 = 300
# flow_resistance_pa_s_m = 60
# weave_pitch_mm = 0.6

# What the maker claims, one [[claim]] for each line of the sheet. Each is judged.
# [[claim]]
# quantity = "maximum_loss"        # no band loses more than limit_db
# band_hz = [500, 16000]
# limit_db = 3.0
# source = "data sheet, page 2"
#
# [[claim]]
# quantity = "average_loss"        # mean over the bands
# band_hz = [500, 16000]
# limit_db = 1.5
#
# [[claim]]
# quantity = "loss_at"
# at_hz = 10000
# limit_db = 2.0
#
# [[claim]]
# quantity = "relative_loss"       # loss at at_hz above the loss at reference_hz
# at_hz = 8000
# reference_hz = 500
# limit_db = 6.0
#
# [[claim]]
# quantity = "loss_curve"
# points = [{{ hz = 1000, loss_db = 0.5 }}, {{ hz = 10000, loss_db = 2.0 }}]
# tolerance_db = 1.0
#
# [[claim]]
# quantity = "seat_spread"         # largest difference between seats, any band
# limit_db = 1.0
#
# [[claim]]
# quantity = "gain_on_axis"        # also gain_at_angle, gain_off_axis_ratio, uniformity
# minimum = 0.9
"#,
        title = quoted(plan.title),
        start = sweep.start_hz,
        stop = sweep.stop_hz,
        duration = sweep.duration_s,
        fade_in = sweep.fade_in_s,
        fade_out = sweep.fade_out_s,
        level = sweep.level_dbfs,
        without_from = like.map_or_else(String::new, |like| {
            let folder = like.folder.to_string_lossy().replace('\\', "/");
            format!("without_from = {}    # its takes without a screen are used\n", quoted(&folder))
        }),
        mic_channel = like.map_or(1, |like| like.channels.0),
        reference = match like.and_then(|like| like.channels.1) {
            Some(channel) => format!("reference_channel = {channel}"),
            None => "# reference_channel = 2".into(),
        },
        calibration = match like.and_then(|l| l.calibration.as_ref()?.0.file_name()?.to_str()) {
            Some(name) => format!("calibration_file = {}", quoted(name)),
            None => "# calibration_file = \"mic.csv\"".into(),
        },
    );
    text.push_str(
        "\n# Seats. Recordings are found by their names in takes/: SEAT_CONDITION_NUMBER.wav,\n\
         # condition without, with or corrected; SEAT_CONDITION_control_NUMBER.wav for a second\n\
         # loudspeaker that is not behind the screen; SEAT_CONDITION_quiet_NUMBER.wav for the sweep\n\
         # played 10 dB lower at the place of the take with the same number.\n\
         # position_m: metres ahead of the loudspeaker, to the right as the audience sees it, above the floor.\n\
         # weight: importance for the equaliser setting, 1 unless said.\n",
    );
    for (i, seat) in plan.seats.iter().enumerate() {
        let known = like.and_then(|like| like.seats.get(i));
        let name = match known.and_then(|seat| seat.name.as_ref()) {
            Some(name) => format!("name = {}", quoted(name)),
            None => "# name = \"for the papers\"".into(),
        };
        let position = match known.and_then(|seat| seat.position_m) {
            Some(position) => format!("position_m = {position:?}"),
            None => "# position_m = [3.0, 0.0, 1.1]".into(),
        };
        // Writing to a String cannot fail.
        let _ = write!(text, "\n[[seat]]\nid = {}\n{name}\n{position}\n", quoted(seat));
    }
    text.push_str(
        r#"
# For angles (height_m), power and headroom.
# [speaker]
# height_m = 1.1                   # of its acoustic centre above the floor
# power_w = 100                    # used at reference level without the screen
# amplifier_w = 400
# driver_limit_w = 60              # high-frequency driver
# driver_band_hz = [2000, 20000]
# sensitivity_db = 91

# What the equaliser can do; these are the values used when left out.
# [correction]
# band_hz = [500, 16000]
# max_boost_db = 6.0
# max_cut_db = 6.0
# q = [0.3, 4.0]
# max_filters = 3                  # peaking filters, besides one high shelf
# high_shelf = true                # false where the processor has none
# gain_step_db = 0.5
# frequency_step = "iso_1_12"      # iso_1_3, iso_1_6, iso_1_12, iso_1_24 or free
# processor_rate_hz = 48000

# For the picture side: light readings in readings.csv, with the columns point (centre,
# top_left ...), angle_deg, screen_cd_m2, and reference_cd_m2 or illuminance_lx.
# [picture]
# reference_gain = 1.0
# projector_lm = 2000
# aspect = 1.778
# masked_aspect = 2.39
# pixels_across = 3840

# For the papers.
# [handover]
# client = ""
# site = ""
# installer = ""
# reference = ""
# units = "metric"                 # or "imperial", on paper only
# instruments = ["microphone, serial number", "audio interface, serial number"]
# logo = "logo.png"                # PNG, JPEG or SVG
"#,
    );
    let first = quoted(plan.seats.first().map_or("R1C", String::as_str));
    text + &format!(
        r#"
# Takes with names of their own are listed; then takes/ is not searched.
# [[take]]
# seat = {first}
# condition = "without"            # with, corrected
# file = "recordings/0001.wav"
# spot = 1                         # takes of one spot were made without touching the microphone
# source = "centre"                # control: a loudspeaker that is not behind the screen
# quiet = false                    # true: played 10 dB lower
"#
    )
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
