//! The take sheet: what to print and take to the room, as content and as a web page.

use super::Plan;
use crate::ingest::manifest::{Condition, SoundSource};
use crate::ingest::takes::{TAKES_FOLDER, default_name, quiet_name};
use std::fmt::Write;

/// What stands on a take sheet, plain text throughout. The page and the PDF are laid out from
/// the same content.
#[derive(Debug, Clone, PartialEq)]
pub struct TakeSheet {
    /// Title of the session.
    pub title: String,
    /// Names of what is filled in by hand.
    pub fields: Vec<String>,
    /// Cautions: what about, and what to do.
    pub cautions: Vec<[String; 2]>,
    /// What is set up once.
    pub set_up: Vec<String>,
    /// What holds for each take.
    pub each_take: Vec<String>,
    /// Order of the work.
    pub order: Vec<String>,
    /// Seats with the files of their takes.
    pub seats: Vec<SeatTakes>,
}

/// File names of the takes at a seat, that of the control take last.
#[derive(Debug, Clone, PartialEq)]
pub struct SeatTakes {
    /// Seat id.
    pub id: String,
    /// Takes without the screen.
    pub without: Vec<String>,
    /// Takes with it.
    pub with: Vec<String>,
}

/// The content of the sheet for a new session.
pub(super) fn content(plan: &Plan<'_>) -> TakeSheet {
    let sweep = &plan.options.sweep;
    let n_spots = plan.options.n_spots.clamp(1, 6);
    let record_s = sweep.lead_s + sweep.duration_s + sweep.tail_s;
    let takes = |seat: &str, condition| {
        let centre = (1..=n_spots).map(|n| default_name(seat, condition, SoundSource::Centre, n));
        centre.chain([default_name(seat, condition, SoundSource::Control, 1)]).collect()
    };
    let lent = plan.options.like.is_some();
    // The quiet take stands behind the first take of the first seat.
    let quiet_in = if lent { Condition::With } else { Condition::Without };
    let with_quiet = |i: usize, seat: &str, condition| {
        let mut names: Vec<String> = takes(seat, condition);
        if i == 0 && condition == quiet_in {
            names.insert(1, quiet_name(seat, condition, 1));
        }
        names
    };
    let seats = plan.seats.iter().enumerate().map(|(i, seat)| SeatTakes {
        id: seat.clone(),
        without: if lent { Vec::new() } else { with_quiet(i, seat, Condition::Without) },
        with: with_quiet(i, seat, Condition::With),
    });
    let second_spot = if n_spots > 1 {
        "For take 2 lift the stand off the mark and put it back: the difference between the two \
         tells how certain the result is."
    } else {
        "One take a seat: the result is less certain than with two."
    };
    let texts = |texts: &[&str]| texts.iter().map(|&t| t.to_owned()).collect::<Vec<_>>();
    let caution = |about: &str, what: &str| [about.to_owned(), what.to_owned()];
    TakeSheet {
        title: plan.title.to_owned(),
        fields: texts(&[
            "Date, from and to",
            "Measured by",
            "Room",
            "Microphone, serial no.",
            "Interface, serial no.",
            "Amplifier, serial no.",
            "Recording gain",
            "Playback level",
            "Gap to sheet, m",
            "Air without, \u{b0}C / %",
            "Air with, \u{b0}C / %",
            "Screen, batch no.",
        ]),
        cautions: vec![
            caution(
                "Hearing",
                "begin far down and raise slowly. Above 85 dB(A) wear protection (NIOSH: 85 dB(A) \
                 for 8 hours a day, half the time for every 3 dB more; European Union: at most \
                 87 dB(A) over a day). While the sweep runs nobody sits near the loudspeaker.",
            ),
            caution(
                "Loudspeaker",
                "a sweep puts full power into each driver in turn, the tweeter too. Stay well \
                 below what its maker allows; stop at any harsh sound or smell.",
            ),
            caution(
                "Height",
                "the sheet is hung by two people from ladders or platforms that stand firmly, \
                 never alone, never by leaning out; see that wall and fixings carry the frame.",
            ),
            caution(
                "Mains",
                "switch off before any cable is moved. Fixed wiring and covers are work for a \
                 licensed electrician. Local codes and the makers' instructions come first.",
            ),
        ],
        set_up: vec![
            "Centre loudspeaker alone, no upmixing, no room correction, no loudness or night \
             mode. Fans, heating and projector off where possible."
                .into(),
            format!(
                "Recorder: WAV, {} Hz, 24 bit; automatic gain, noise reduction and limiter off.",
                sweep.rate_hz
            ),
            "Peaks of the recording between \u{2212}20 and \u{2212}6 dB re full scale at the \
             loudest seat. From then on no level and no gain is touched."
                .into(),
            "Mark every microphone place on the floor and its height on the stand; a few mm \
             matter."
                .into(),
        ],
        each_take: vec![
            "Microphone at ear height where a head would be, at least 0.3 m from the seat back, \
             pointing as marked. The seat is empty."
                .into(),
            format!(
                "Start recording, wait a second, play {} ({record_s:.1} s), wait a second, stop. \
                 Silence throughout.",
                super::SWEEP_FILE
            ),
            second_spot.into(),
            format!(
                "The take named quiet: nothing is touched, and {} is played, 10 dB lower: it shows \
                 that no gain follows the level.",
                super::QUIET_SWEEP_FILE
            ),
            format!(
                "Save under the name below in the folder {TAKES_FOLDER}/. Tick. Note anything \
                 unusual beside it."
            ),
        ],
        order: texts(&[
            if lent {
                "The takes without the screen are those of the other session. Everything must \
                 stand as it stood then: loudspeaker, levels, gain, microphone places."
            } else {
                "All takes without the screen, all seats. The takes named control play through a \
                 second loudspeaker that stays uncovered: they show whether the level has changed \
                 in between. One a seat and condition; recommended."
            },
            "Hang the screen. Loudspeaker, levels, gain, microphone, doors and furniture stay as \
             they are (gain_untouched = true in session.toml says so). Measure the gap.",
            "All takes with the screen, in the same order. Then run scrimcheck check before \
             anything is taken down.",
        ]),
        seats: seats.collect(),
    }
}

/// The sheet as a self-contained page.
pub(super) fn html(sheet: &TakeSheet) -> String {
    let list = |tag: &str, items: &[String]| {
        let items: String =
            items.iter().map(|item| format!("<li>{}</li>\n", escape(item))).collect();
        format!("<{tag}>\n{items}</{tag}>")
    };
    let fields: String =
        sheet.fields.iter().map(|f| format!("<span>{}</span>\n", escape(f))).collect();
    let cautions: String = sheet
        .cautions
        .iter()
        .map(|[about, what]| format!("<li><b>{}:</b> {}</li>\n", escape(about), escape(what)))
        .collect();
    let boxes =
        |names: &[String]| names.iter().map(|name| tick(name)).collect::<Vec<_>>().join(" ");
    let mut rows = String::new();
    for seat in &sheet.seats {
        // Writing to a String cannot fail.
        let _ = writeln!(
            rows,
            "<tr><th scope=\"row\">{}</th><td>{}</td><td>{}</td></tr>",
            escape(&seat.id),
            boxes(&seat.without),
            boxes(&seat.with)
        );
    }
    format!(
        r#"<!DOCTYPE html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta http-equiv="Content-Security-Policy" content="default-src 'none'; style-src 'unsafe-inline'">
<meta name="viewport" content="width=device-width, initial-scale=1">
<title>Take sheet: {title}</title>
<style>
@page {{ margin: 11mm; }}
* {{ box-sizing: border-box; }}
body {{ font: 10pt/1.32 "Helvetica Neue", Arial, sans-serif; color: #111; background: #fff; max-width: 188mm; margin: 6mm auto; padding: 0 3mm; }}
h1 {{ font-size: 15pt; margin: 0 0 1.5mm; }}
h2 {{ font-size: 10.5pt; margin: 3mm 0 0.8mm; }}
p, ol, ul {{ margin: 0 0 1mm; }}
ol, ul {{ padding-left: 5mm; }}
.fields {{ display: grid; grid-template-columns: repeat(auto-fit, minmax(45mm, 1fr)); gap: 0.5mm 5mm; }}
.fields span {{ border-bottom: 0.3mm solid #555; height: 6.6mm; font-size: 8.5pt; color: #333; white-space: nowrap; overflow: hidden; }}
.caution {{ border: 0.6mm solid #111; padding: 1.5mm 2.5mm; margin-top: 2mm; }}
.caution h2 {{ margin-top: 0; }}
.columns {{ display: grid; grid-template-columns: repeat(auto-fit, minmax(70mm, 1fr)); gap: 0 5mm; }}
h1, li {{ overflow-wrap: anywhere; }}
.scroll {{ overflow-x: auto; }}
table {{ min-width: 120mm; border-collapse: collapse; width: 100%; margin-top: 1.5mm; }}
thead {{ display: table-header-group; }}
tr {{ break-inside: avoid; }}
th, td {{ border: 0.25mm solid #888; padding: 0.5mm 1.5mm; text-align: left; vertical-align: top; }}
td {{ width: 45%; }}
th[scope=row] {{ overflow-wrap: anywhere; }}
.take {{ display: inline-block; min-width: 46%; margin: 0.2mm 1.5mm 0.2mm 0; font: 8pt/1.3 ui-monospace, "DejaVu Sans Mono", Consolas, monospace; overflow-wrap: anywhere; }}
.take i {{ display: inline-block; width: 3.2mm; height: 3.2mm; border: 0.3mm solid #111; margin-right: 1.3mm; vertical-align: -0.5mm; }}
.notes {{ border-bottom: 0.3mm solid #555; }}
@media print {{ body {{ margin: 0; max-width: none; padding: 0; font-size: 9.2pt; }} }}
</style>
</head>
<body>
<main>
<h1>Take sheet: {title}</h1>
<div class="fields">
{fields}</div>
<div class="caution">
<h2>Before anything sounds</h2>
<ul>
{cautions}</ul>
</div>
<div class="columns">
<div>
<h2>Set up once, then do not touch</h2>
{set_up}
</div>
<div>
<h2>Each take</h2>
{each_take}
</div>
</div>
<h2>Order</h2>
{order}
<div class="scroll" role="group" tabindex="0" aria-label="Takes to tick">
<table>
<thead><tr><th scope="col">Seat</th><th scope="col">1. Without the screen</th><th scope="col">2. With the screen</th></tr></thead>
<tbody>
{rows}</tbody>
</table>
</div>
<h2>Notes</h2>
<p class="notes">&nbsp;</p>
</main>
</body>
</html>
"#,
        title = escape(&sheet.title),
        set_up = list("ul", &sheet.set_up),
        each_take = list("ul", &sheet.each_take),
        order = list("ol", &sheet.order),
    )
}

/// A box to tick and the name of a take.
fn tick(name: &str) -> String {
    format!("<span class=\"take\"><i></i>{}</span>", escape(name))
}

/// Text as HTML content or attribute value.
fn escape(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\'' => out.push_str("&#39;"),
            c => out.push(c),
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::super::StartOptions;
    use super::*;

    #[test]
    fn every_take_has_its_box_and_text_is_no_markup() {
        let seats = ["R1C".to_owned(), "a&b'c".to_owned()];
        let title = "<script>alert(1)</script>";
        let options = StartOptions::default();
        let page = html(&content(&Plan { title, seats: &seats, options: &options }));
        assert!(!page.contains("<script"));
        assert!(page.contains("&lt;script&gt;") && page.contains("a&amp;b&#39;c"));
        for name in [
            "R1C_without_1.wav",
            "R1C_without_2.wav",
            "R1C_without_control_1.wav",
            "R1C_with_1.wav",
            "R1C_with_2.wav",
            "R1C_with_control_1.wav",
        ] {
            assert_eq!(page.matches(name).count(), 1, "{name}");
        }
        assert_eq!(page.matches("<i></i>").count(), 2 * 6 + 1);
        assert_eq!(page.matches("R1C_without_quiet_1.wav").count(), 1);
        assert!(!page.contains("://"), "the page must work without a network");
    }
}
