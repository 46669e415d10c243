//! The take sheet: what to print and take to the room. One paper, laid out as a page and as a PDF.

use super::options::Plan;
use crate::ingest::manifest::{Condition, SoundSource};
use crate::ingest::sweep::{QUIET_SWEEP_FILE, SWEEP_FILE};
use crate::ingest::takes::{TAKES_FOLDER, default_name, quiet_name};
use crate::report::error::ReportError;
use crate::report::html::page;
use crate::report::paper::{Block, Detail, Paper, TICK_BOX, Table};
use crate::report::pdf::blocks::Measures;
use crate::report::pdf::drawing::Sheet;
use crate::report::pdf::pdf_with;
use time::UtcDateTime;

/// The sheet as a page that needs nothing beside it.
pub(super) fn html(sheet: &Paper) -> String {
    page(sheet, "", &[])
}

/// The sheet as a tagged PDF with embedded fonts, in metric A4: one page for a usual number of
/// seats.
///
/// # Errors
/// [`ReportError::Encode`] when the library refuses the document: a mistake of this program.
pub(super) fn pdf(sheet: &Paper, date: UtcDateTime) -> Result<Vec<u8>, ReportError> {
    let page = Sheet { top: 36.0, bottom: 46.0, side: 46.0, ..Sheet::A4 };
    let measures = Measures { width: page.column(), body: 8.2, small: 7.4 };
    pdf_with(sheet, Some(date), &page, measures)
}

/// The sheet for a new session.
pub(super) fn paper(plan: &Plan<'_>) -> Paper {
    let lent = plan.options.like.is_some();
    let part = |text: &str| Block::Heading { level: 2, text: text.to_owned() };
    let mut blocks = vec![fields(), part("Cautions, before anything sounds")];
    blocks.extend(CAUTIONS.map(|text| Block::Caution(text.to_owned())));
    blocks.push(part("Set up once, then do not touch"));
    blocks.push(Block::Ticks(set_up(plan)));
    blocks.push(part("Each take"));
    blocks.push(Block::List(each_take(plan)));
    blocks.push(part("Order"));
    let order = order(lent).into_iter().enumerate();
    blocks.push(Block::Ticks(order.map(|(i, step)| format!("{}. {step}", i + 1)).collect()));
    blocks.push(Block::Table(takes(plan)));
    blocks.push(Block::Fields(vec!["Notes".into(), String::new(), String::new()]));
    Paper {
        title: format!("Take sheet: {}", plan.title),
        subtitle: "What to record, in which order; to print and to take to the room".into(),
        logo: None,
        blocks,
    }
}

fn fields() -> Block {
    let names = [
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
    ];
    Block::Fields(names.map(String::from).to_vec())
}

const CAUTIONS: [&str; 4] = [
    "Hearing: begin far down and raise slowly. Above 85 dB(A) wear protection (NIOSH: 85 dB(A) for 8 \
     hours a day, half the time for every 3 dB more; European Union: at most 87 dB(A) over a day). \
     While the sweep runs nobody sits near the loudspeaker.",
    "Loudspeaker: a sweep puts full power into each driver in turn, the tweeter too. Stay well below \
     what its maker allows; stop at any harsh sound or smell.",
    "Height: the sheet is hung by two people from ladders or platforms that stand firmly, never \
     alone, never by leaning out; see that wall and fixings carry the frame.",
    "Mains: switch off before any cable is moved. Fixed wiring and covers are work for a licensed \
     electrician. Local codes and the makers' instructions come first.",
];

fn set_up(plan: &Plan<'_>) -> Vec<String> {
    vec![
        "Centre loudspeaker alone, no upmixing, no room correction, no loudness or night mode. Fans, \
         heating and projector off where possible."
            .into(),
        format!(
            "Recorder: WAV, {} Hz, 24 bit; automatic gain, noise reduction and limiter off.",
            plan.options.sweep.rate_hz
        ),
        "Peaks of the recording between \u{2212}20 and \u{2212}6 dB re full scale at the loudest \
         seat. From then on no level and no gain is touched."
            .into(),
        "Mark every microphone place on the floor and its height on the stand; a few mm matter."
            .into(),
    ]
}

fn each_take(plan: &Plan<'_>) -> Vec<String> {
    let sweep = &plan.options.sweep;
    let record_s = sweep.lead_s + sweep.duration_s + sweep.tail_s;
    let second_spot = if n_spots(plan) > 1 {
        "For take 2 lift the stand off the mark and put it back: the difference between the two \
         tells how certain the result is."
    } else {
        "One take a seat: the result is less certain than with two."
    };
    vec![
        "Microphone at ear height where a head would be, at least 0.3 m from the seat back, pointing \
         as marked. The seat is empty."
            .into(),
        format!(
            "Start recording, wait a second, play {SWEEP_FILE} ({record_s:.1} s), wait a second, \
             stop. Silence throughout."
        ),
        second_spot.into(),
        format!(
            "The take named quiet: nothing is touched, and {QUIET_SWEEP_FILE} is played, 10 dB \
             lower: it shows that no gain follows the level."
        ),
        format!(
            "Save under the name below in the folder {TAKES_FOLDER}/. Tick. Note anything unusual \
             beside it."
        ),
    ]
}

fn order(lent: bool) -> [&'static str; 3] {
    [
        if lent {
            "The takes without the screen are those of the other session. Everything must stand as \
             it stood then: loudspeaker, levels, gain, microphone places."
        } else {
            "All takes without the screen, all seats. The takes named control play through a second \
             loudspeaker that stays uncovered: they show whether the level has changed in between. \
             One a seat and condition; recommended."
        },
        "Hang the screen. Loudspeaker, levels, gain, microphone, doors and furniture stay as they \
         are (gain_untouched = true in session.toml says so). Measure the gap.",
        "All takes with the screen, in the same order. Then run scrimcheck check before anything is \
         taken down.",
    ]
}

fn n_spots(plan: &Plan<'_>) -> u32 {
    plan.options.n_spots.clamp(1, 6)
}

/// Seats with the files of their takes, that of the control take last.
fn takes(plan: &Plan<'_>) -> Table {
    let lent = plan.options.like.is_some();
    // The quiet take stands behind the first take of the first seat.
    let quiet_in = if lent { Condition::With } else { Condition::Without };
    let boxes = |first: bool, seat: &str, condition| {
        let centre =
            (1..=n_spots(plan)).map(|n| default_name(seat, condition, SoundSource::Centre, n));
        let control = default_name(seat, condition, SoundSource::Control, 1);
        let mut names: Vec<String> = centre.chain([control]).collect();
        if first && condition == quiet_in {
            names.insert(1, quiet_name(seat, condition, 1));
        }
        names.iter().map(|name| format!("{TICK_BOX} {name} ")).collect::<String>()
    };
    let row = |(i, seat): (usize, &String)| {
        let without = if lent { String::new() } else { boxes(i == 0, seat, Condition::Without) };
        vec![seat.clone(), without, boxes(i == 0, seat, Condition::With)]
    };
    Table {
        caption: "Takes".into(),
        head: ["Seat", "1. Without the screen", "2. With the screen"].map(String::from).to_vec(),
        rows: plan.seats.iter().enumerate().map(row).collect(),
        detail: Detail::Main,
    }
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
        let page = html(&paper(&Plan { title, seats: &seats, options: &options }));
        assert!(!page.contains("<script"));
        assert!(page.contains("&lt;script&gt;") && page.contains("a&amp;b'c"));
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
        assert_eq!(page.matches(TICK_BOX).count(), 2 * 6 + 1);
        assert_eq!(page.matches("R1C_without_quiet_1.wav").count(), 1);
        assert!(!page.contains("://"), "the page must work without a network");
    }
}
