//! The take sheet: one page to print and take to the room.

use super::Plan;
use crate::ingest::manifest::{Condition, SoundSource};
use crate::ingest::takes::{TAKES_FOLDER, default_name};
use std::fmt::Write;

/// A self-contained page: cautions, order of work, a tick box and a file name for
/// every take, fields to fill in.
pub(super) fn html(plan: &Plan<'_>) -> String {
    let sweep = &plan.options.sweep;
    let n_spots = plan.options.n_spots.clamp(1, 6);
    let record_s = sweep.lead_s + sweep.duration_s + sweep.tail_s;
    let mut rows = String::new();
    for seat in plan.seats {
        let boxes = |condition| {
            (1..=n_spots)
                .map(|n| tick(&default_name(seat, condition, SoundSource::Centre, n)))
                .chain([format!(
                    "<span class=\"control\">{}</span>",
                    tick(&default_name(seat, condition, SoundSource::Control, 1))
                )])
                .collect::<Vec<_>>()
                .join(" ")
        };
        // Writing to a String cannot fail.
        let _ = writeln!(
            rows,
            "<tr><th scope=\"row\">{}</th><td>{}</td><td>{}</td></tr>",
            escape(seat),
            boxes(Condition::Without),
            boxes(Condition::With)
        );
    }
    let second_spot = if n_spots > 1 {
        "For take 2 lift the stand off the mark and put it back: the difference between the two tells how certain the result is."
    } else {
        "One take a seat: the result is less certain than with two."
    };
    format!(
        r#"<!DOCTYPE html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width">
<title>Take sheet: {title}</title>
<style>
@page {{ margin: 11mm; }}
* {{ box-sizing: border-box; }}
body {{ font: 10pt/1.32 "Helvetica Neue", Arial, sans-serif; color: #111; background: #fff; max-width: 188mm; margin: 6mm auto; padding: 0 3mm; }}
h1 {{ font-size: 15pt; margin: 0 0 1.5mm; }}
h2 {{ font-size: 10.5pt; margin: 3mm 0 0.8mm; }}
p, ol, ul {{ margin: 0 0 1mm; }}
ol, ul {{ padding-left: 5mm; }}
.fields {{ display: grid; grid-template-columns: 1fr 1fr 1fr; gap: 0.5mm 5mm; }}
.fields span {{ border-bottom: 0.3mm solid #555; height: 6.6mm; font-size: 8.5pt; color: #333; white-space: nowrap; overflow: hidden; }}
.caution {{ border: 0.6mm solid #111; padding: 1.5mm 2.5mm; margin-top: 2mm; }}
.caution h2 {{ margin-top: 0; }}
.columns {{ display: grid; grid-template-columns: 1fr 1fr; gap: 0 5mm; }}
table {{ border-collapse: collapse; width: 100%; margin-top: 1.5mm; }}
thead {{ display: table-header-group; }}
tr {{ break-inside: avoid; }}
th, td {{ border: 0.25mm solid #888; padding: 0.5mm 1.5mm; text-align: left; vertical-align: top; }}
td {{ width: 45%; }}
th[scope=row] {{ overflow-wrap: anywhere; }}
.take {{ display: inline-block; min-width: 46%; margin: 0.2mm 1.5mm 0.2mm 0; font: 8pt/1.3 ui-monospace, "DejaVu Sans Mono", Consolas, monospace; overflow-wrap: anywhere; }}
.take i {{ display: inline-block; width: 3.2mm; height: 3.2mm; border: 0.3mm solid #111; margin-right: 1.3mm; vertical-align: -0.5mm; }}
.control {{ color: #444; }}
@media print {{ body {{ margin: 0; max-width: none; padding: 0; font-size: 9.2pt; }} }}
</style>
</head>
<body>
<h1>Take sheet: {title}</h1>
<div class="fields">
<span>Date</span><span>Measured by</span><span>Room</span>
<span>Microphone, serial no.</span><span>Interface, gain</span><span>Amplifier level</span>
<span>Air without, &deg;C / %</span><span>Air with, &deg;C / %</span><span>Gap to sheet, m</span>
</div>
<div class="caution">
<h2>Before anything sounds</h2>
<ul>
<li><b>Hearing:</b> begin far down and raise slowly. Above 85 dB(A) wear protection; with the sweep running nobody sits near the loudspeaker.</li>
<li><b>Loudspeaker:</b> a sweep puts full power into each driver in turn, the tweeter too. Stay well below what its maker allows; stop at any harsh sound or smell.</li>
<li><b>Height:</b> the sheet is hung by two people from ladders or platforms that stand firmly, never alone, never by leaning out.</li>
<li><b>Mains:</b> switch off before any cable is moved. Fixed wiring and covers are work for a licensed electrician. Local codes and the makers' instructions come first.</li>
</ul>
</div>
<div class="columns">
<div>
<h2>Set up once, then do not touch</h2>
<ul>
<li>Centre loudspeaker alone, no upmixing, no room correction, no loudness or night mode. Fans, heating and projector off where possible.</li>
<li>Recorder: WAV, {rate} Hz, 24 bit; automatic gain, noise reduction and limiter off.</li>
<li>Peaks of the recording between &minus;20 and &minus;6 dB re full scale at the loudest seat.</li>
<li>Mark every microphone place on the floor and its height on the stand; a few mm matter.</li>
</ul>
</div>
<div>
<h2>Each take</h2>
<ul>
<li>Microphone at ear height where a head would be, at least 0.3 m from the seat back, pointing as marked. The seat is empty.</li>
<li>Start recording, wait a second, play {signal} ({record} s), wait a second, stop. Silence throughout.</li>
<li>{second_spot}</li>
<li>Save under the name below in the folder {folder}/. Tick. Note anything unusual beside it.</li>
</ul>
</div>
</div>
<h2>Order</h2>
<ol>
<li>All takes <b>without</b> the screen, all seats. <span class="control">The takes named control play through a second loudspeaker that stays uncovered: they show whether the level has changed in between. One a seat and condition; recommended.</span></li>
<li>Hang the screen. Loudspeaker, levels, gain, microphone, doors and furniture stay as they are. Measure the gap.</li>
<li>All takes <b>with</b> the screen, in the same order. Then run <code>scrimcheck check</code> before anything is taken down.</li>
</ol>
<table>
<thead><tr><th scope="col">Seat</th><th scope="col">1. Without the screen</th><th scope="col">2. With the screen</th></tr></thead>
<tbody>
{rows}</tbody>
</table>
<h2>Notes</h2>
<p>&nbsp;</p>
</body>
</html>
"#,
        title = escape(plan.title),
        rate = sweep.rate_hz,
        signal = super::SWEEP_FILE,
        record = format_args!("{record_s:.1}"),
        folder = TAKES_FOLDER,
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
        let page = html(&Plan { title, seats: &seats, options: &StartOptions::default() });
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
        assert_eq!(page.matches("<i></i>").count(), 2 * 6);
        assert!(!page.contains("http"), "the page must work without a network");
    }
}
