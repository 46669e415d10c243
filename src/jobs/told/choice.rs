//! The known sheets, ranked for the next room.

use super::answer::Answer;
use super::cells::{dash, rated, rooms, with_u95};
use super::figures::choice_figure;
use super::tables::{band_table, heads, rows_and_sentences, table};
use super::tidy::{Tidy, TidyRow};
use crate::analysis::power;
use crate::jobs::choose::{Candidate, Choice, ChoicePair, Evidence};
use crate::report::error::ReportError;
use crate::report::paper::{Block, Detail, Paper, Table};
use crate::report::plots::drawing::Drawing;
use crate::report::plots::render::NamedFile;
use crate::words::{list_words, signed};

/// The ranking in sentences.
pub fn choice_statement(choice: &Choice) -> Vec<String> {
    let mut out = Vec::new();
    let first: Vec<&Candidate> = choice.candidates.iter().filter(|c| c.rank == 1).collect();
    match first[..] {
        [] => out.push("No sheet is known.".into()),
        [only] if choice.candidates.len() > 1 => {
            out.push(format!("{} loses least here: {} dB.", only.name, rated(only.mean_loss_db, 2)))
        }
        [only] => out.push(format!("{} is the only sheet known.", only.name)),
        _ => {
            let names: Vec<String> = first.iter().map(|c| c.name.clone()).collect();
            out.push(format!(
                "{}: no difference shown; which of them loses least here is open.",
                list_words(&names)
            ));
        }
    }
    out.extend(
        choice
            .candidates
            .iter()
            .filter(|c| !is_enough(c))
            .map(|c| format!("{}: {}", c.name, c.power.sentence())),
    );
    for c in choice.candidates.iter().filter(|c| c.claims_too_good) {
        out.push(format!(
            "The claims for {} were too good; its measured figures count here.",
            c.name
        ));
    }
    for c in choice.candidates.iter().filter(|c| c.structure_visible == Some(true)) {
        out.push(format!("The structure of {} can be seen from the nearest seat.", c.name));
    }
    if choice.candidates.iter().any(|c| c.evidence == Evidence::Described) {
        out.push("Described sheets rest on their makers' data and thin-sheet theory alone.".into());
    }
    if choice.room.gap_m.is_none() {
        out.push("No gap is stated for this room: the ripple of the gap is left out.".into());
    }
    out.extend(choice.questions.iter().cloned());
    out
}

fn is_enough(candidate: &Candidate) -> bool {
    let within = |c: &Option<power::LimitCheck>| c.as_ref().is_none_or(|c| c.within);
    within(&candidate.power.amplifier) && within(&candidate.power.driver)
}

fn sure(candidate: &Candidate) -> String {
    match candidate.evidence {
        Evidence::Measured { n_rooms } => format!("measured in {}", rooms(n_rooms)),
        Evidence::Described => "described by the maker only".into(),
    }
}

const HEAD: [&str; 8] = [
    "Sheet",
    "Rank",
    "Loss here, dB",
    "How sure",
    "Largest gain, dB",
    "Left, dB",
    "Luminance, cd/m\u{b2}",
    "Structure",
];

fn row(c: &Candidate) -> Vec<String> {
    let left = [&c.power.amplifier, &c.power.driver];
    let left = left.into_iter().flatten().map(|l| l.left_db).reduce(f64::min);
    vec![
        c.name.clone(),
        c.rank.to_string(),
        rated(c.mean_loss_db, 2),
        sure(c),
        signed(c.power.peak_gain_db, 1),
        left.map_or_else(dash, |l| signed(l, 1)),
        c.luminance_cd_m2.map_or_else(dash, |l| rated(l, 0)),
        match c.structure_visible {
            None => dash(),
            Some(true) => "seen".into(),
            Some(false) => "not seen".into(),
        },
    ]
}

/// Table for the terminal, then the ranking in words.
pub fn choice_table(choice: &Choice) -> String {
    let sentences = choice_statement(choice).into_iter().chain(choice.pairs.iter().map(say_pair));
    rows_and_sentences(heads(&HEAD), choice.candidates.iter().map(row), sentences)
}

fn say_pair(pair: &ChoicePair) -> String {
    let [a, b] = &pair.names;
    let (size, u) = (pair.difference_db.abs(), pair.u95_db);
    if !pair.shown {
        return format!(
            "{a} and {b}: no difference shown ({} ± {u:.2} dB).",
            signed(pair.difference_db, 2)
        );
    }
    let (worse, better) = if pair.difference_db > 0.0 { (a, b) } else { (b, a) };
    format!("{worse} loses {size:.2} dB more than {better} (± {u:.2} dB).")
}

/// CSV, JSON, web page, PDF and plot.
///
/// # Errors
/// [`ReportError`] when a figure is not finite or a plot cannot be drawn.
pub fn choice_files(choice: &Choice) -> Result<Vec<NamedFile>, ReportError> {
    let statement = choice_statement(choice);
    let is_any = !choice.candidates.is_empty();
    let figure = is_any.then(|| choice_figure(choice, &statement));
    let drawings: Vec<Drawing> = figure.iter().map(Drawing::from).collect();
    Answer {
        name: "choice",
        content: choice,
        csv: choice_csv(choice)?,
        paper: paper(choice, &statement, &drawings),
        statement: &statement,
        names: choice.candidates.iter().map(|c| c.name.clone()).collect(),
        drawings,
    }
    .files()
}

fn paper(choice: &Choice, statement: &[String], drawings: &[Drawing]) -> Paper {
    let mut blocks = vec![Block::part("What is shown"), Block::List(statement.to_vec())];
    let ranked = choice.candidates.iter().map(row);
    blocks.push(Block::Table(table("Sheets for this room, by rank", heads(&HEAD), ranked)));
    blocks.push(Block::Paragraph(
        "A rank is one more than the number of sheets that are shown to lose less here; sheets \
         whose difference lies within its uncertainty share a rank. Loss: mean from 500 Hz to 16 \
         kHz over the seats, for this gap and these angles, with the 95 % interval for one room \
         more. Largest gain: what making up the loss takes in the worst band; left: what the \
         amplifier and the driver then have in hand."
            .into(),
    ));
    blocks.extend(drawings.iter().map(Block::figure));
    blocks.push(Block::part("Two by two"));
    blocks.push(Block::Table(pairs(choice)));
    let limits = limits(choice);
    if !limits.rows.is_empty() {
        blocks.push(Block::part("Picture"));
        blocks.push(Block::Table(limits));
    }
    blocks.push(Block::part("Band by band"));
    blocks.push(Block::Table(bands(choice)));
    let room = &choice.room;
    let mm = room.gap_m.map_or_else(dash, |g| format!("gap {:.0} mm", 1e3 * g));
    Paper {
        title: "Sheets for the next room".into(),
        subtitle: format!("{mm} \u{b7} {} seats", room.seats.len().max(1)),
        logo: None,
        blocks,
    }
}

fn pairs(choice: &Choice) -> Table {
    let rows = choice.pairs.iter().map(|p| {
        let [a, b] = &p.names;
        let verdict = match (p.shown, p.difference_db > 0.0) {
            (false, _) => "no difference shown".to_owned(),
            (true, true) => format!("{a} loses more"),
            (true, false) => format!("{b} loses more"),
        };
        vec![format!("{a} and {b}"), with_u95(p.difference_db, Some(p.u95_db), 2), verdict]
    });
    let head = heads(&["Pair", "Difference, dB", "Shown"]);
    table("Loss of the first less that of the second, dB", head, rows)
}

fn limits(choice: &Choice) -> Table {
    let rows = choice.candidates.iter().flat_map(|c| {
        c.luminance_limits.iter().map(|l| {
            let verdict = l.verdict.label().to_owned();
            vec![c.name.clone(), l.name.to_owned(), signed(l.measured, 1), verdict]
        })
    });
    let head = heads(&["Sheet", "Target", "Predicted, cd/m\u{b2}", "Verdict"]);
    let table = table("Luminance against published targets", head, rows);
    Table { detail: Detail::Engineer, ..table }
}

fn bands(choice: &Choice) -> Table {
    let columns = choice.candidates.iter().map(|c| {
        let cells = c.bands.iter().map(|b| (b.nominal_hz, with_u95(b.loss_db, Some(b.u95_db), 2)));
        (c.name.as_str(), cells.collect())
    });
    let caption = "Predicted loss in this room, dB, with its 95 % uncertainty";
    band_table(caption, &columns.collect::<Vec<_>>())
}

fn choice_csv(choice: &Choice) -> Result<Vec<u8>, ReportError> {
    let mut table = Tidy::new("sheet")?;
    for c in &choice.candidates {
        let n_rooms = match c.evidence {
            Evidence::Measured { n_rooms } => Some(n_rooms),
            Evidence::Described => None,
        };
        let note = sure(c);
        let base = TidyRow { subject: &c.name, n_rooms, note: &note, ..TidyRow::default() };
        for b in &c.bands {
            table.row(&TidyRow {
                quantity: "predicted_loss_db",
                nominal_hz: Some(b.nominal_hz),
                value: Some(b.loss_db),
                u95: Some(b.u95_db),
                ..base.clone()
            })?;
        }
        let visible = c.structure_visible.map(f64::from);
        let figures = [
            ("predicted_mean_loss_db", Some(c.mean_loss_db.value), c.mean_loss_db.u95),
            ("rank", Some(c.rank as f64), None),
            ("largest_gain_db", Some(c.power.peak_gain_db), None),
            ("amplifier_left_db", c.power.amplifier.as_ref().map(|l| l.left_db), None),
            ("driver_left_db", c.power.driver.as_ref().map(|l| l.left_db), None),
            (
                "luminance_cd_m2",
                c.luminance_cd_m2.map(|l| l.value),
                c.luminance_cd_m2.and_then(|l| l.u95),
            ),
            ("structure_seen_up_to_m", c.structure_distance_m, None),
            ("structure_visible", visible, None),
        ];
        for (quantity, value, u95) in figures {
            table.row(&TidyRow { quantity, value, u95, ..base.clone() })?;
        }
    }
    table.finish()
}
