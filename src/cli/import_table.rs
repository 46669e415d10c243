//! The table of an import: what was found, where it goes, and why.

use crate::import::{Fate, Place, Survey, Sweep};
use crate::ingest::error::{plain, shown};
use crate::ingest::manifest::{Condition, SoundSource};
use crate::judge::TakeVerdict;
use crate::report::look::{BOLD, CAUTION, Look, cut, paragraph};
use std::path::Path;
use unicode_width::UnicodeWidthStr;

/// Columns at most for the name of a recording.
const NAME_COLUMNS: usize = 28;

const HEADS: [&str; 8] =
    ["recording", "time", "peak", "channel", "seat", "condition", "spot", "judgement"];

/// The table and the words under it.
pub fn table_text(survey: &Survey, look: Look) -> String {
    let found = survey.sweeps.iter().map(|sweep| row(survey, sweep));
    let rows: Vec<[String; 8]> = found.chain(survey.missing.iter().map(missing_row)).collect();
    let widths: Vec<usize> = (0..HEADS.len())
        .map(|c| rows.iter().map(|r| r[c].width()).chain([HEADS[c].width()]).max().unwrap_or(0))
        .collect();
    let line = |cells: &[String; 8]| {
        let mut out = String::new();
        for (c, (cell, width)) in cells.iter().zip(&widths).enumerate() {
            let pad = " ".repeat(width - cell.width());
            let right = matches!(c, 1..=3 | 6);
            out += &if right { format!("{pad}{cell}") } else { format!("{cell}{pad}") };
            out += "  ";
        }
        out.trim_end().to_owned() + "\n"
    };
    let mut out = look.paint(BOLD, line(&HEADS.map(str::to_owned)).trim_end()) + "\n";
    for cells in &rows {
        out += &line(cells);
    }
    out.push('\n');
    out += &words_under(survey, look);
    out
}

fn row(survey: &Survey, sweep: &Sweep) -> [String; 8] {
    let recording = &survey.recordings[sweep.recording];
    let name = recording.path.file_name().unwrap_or(recording.path.as_os_str());
    let [seat, condition, spot] = place_cells(sweep.place.as_ref());
    let mut judgement = sweep.judgement.clone();
    match &sweep.fate {
        Fate::Take => {}
        Fate::LeftOut(why) => judgement = format!("left out: {why}"),
        Fate::TooMuch => judgement = format!("no place for it; {judgement}"),
    }
    if let Some(seat) = &sweep.rather {
        judgement += &format!("; resembles seat {}", plain(seat));
    }
    [
        cut(&shown(Path::new(name)), NAME_COLUMNS),
        clock(sweep.start_s),
        sweep.peak_dbfs.map_or("\u{2013}".into(), |p| format!("{p:.1}").replace('-', "\u{2212}")),
        recording.mic_channel.map_or("\u{2013}".into(), |c| c.to_string()),
        seat,
        condition,
        spot,
        judgement,
    ]
}

fn missing_row(place: &Place) -> [String; 8] {
    let [seat, condition, spot] = place_cells(Some(place));
    let dash = || "\u{2013}".to_owned();
    [dash(), dash(), dash(), dash(), seat, condition, spot, "missing".into()]
}

fn place_cells(place: Option<&Place>) -> [String; 3] {
    let Some(place) = place else { return std::array::from_fn(|_| "\u{2013}".into()) };
    let condition = match place.condition {
        Condition::Without => "without",
        Condition::With => "with",
        Condition::Corrected => "corrected",
    };
    let control = if place.source == SoundSource::Control { ", control" } else { "" };
    [plain(&place.seat_id), format!("{condition}{control}"), place.spot.to_string()]
}

/// A time in a recording: 1:02:03.4.
fn clock(s: f64) -> String {
    let sign = if s < -0.05 { "\u{2212}" } else { "" };
    let tenths = (s.abs() * 10.0).round() as u64;
    let (minutes, rest) = (tenths / 600, tenths % 600);
    let tail = format!("{:02}:{:02}.{}", minutes % 60, rest / 10, rest % 10);
    if minutes >= 60 { format!("{sign}{}:{tail}", minutes / 60) } else { format!("{sign}{tail}") }
}

fn words_under(survey: &Survey, look: Look) -> String {
    let mut out = String::new();
    for note in &survey.notes {
        out += &paragraph(&plain(note), "", "  ", look.width);
    }
    for sweep in survey.sweeps.iter().filter(|s| matches!(s.fate, Fate::LeftOut(_))) {
        if let Some(finding) = sweep.findings.iter().max_by_key(|f| f.verdict) {
            let said = format!("Left out at {}: {}", clock(sweep.start_s), finding.message);
            out += &paragraph(&plain(&said), "", "  ", look.width);
        }
    }
    if let Some(doubt) = &survey.order_doubt {
        let said = format!(
            "{} By their reflections {doubt}. If the seats were recorded in another order, say \
             --seats in that order.",
            look.paint(CAUTION, "Order in doubt.")
        );
        out += &paragraph(&said, "", "  ", look.width);
    }
    let count =
        |wanted: &dyn Fn(&Sweep) -> bool| survey.sweeps.iter().filter(|s| wanted(s)).count();
    let to_repeat = count(&|s| {
        s.fate == Fate::Take && s.findings.iter().any(|f| f.verdict == TakeVerdict::Repeat)
    });
    let left_out = count(&|s| matches!(s.fate, Fate::LeftOut(_)));
    let mut said = format!("{} sweeps found, {} for takes", survey.sweeps.len(), survey.n_takes());
    for (n, what) in [
        (left_out, "left out"),
        (count(&|s| s.fate == Fate::TooMuch), "without a place"),
        (survey.missing.len(), "missing"),
        (to_repeat, "to be made again"),
    ] {
        if n > 0 {
            said += &format!(", {n} {what}");
        }
    }
    out + &said + ".\n"
}
