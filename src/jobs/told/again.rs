//! One room measured twice.

use super::answer::Answer;
use super::cells::{change, dash};
use super::figures::again_figure;
use super::tables::{heads, rows_and_sentences, table};
use super::tidy::{Tidy, TidyRow};
use crate::jobs::again::{Again, BandAgain, Cause, FigureAgain, SeatAgain};
use crate::report::error::ReportError;
use crate::report::paper::{Block, Paper, Table};
use crate::report::plots::drawing::Drawing;
use crate::report::plots::render::NamedFile;
use crate::words::{
    capital, frequency_label, frequency_words, key_of, list_words, seats_words, signed,
};

/// The finding in sentences.
pub fn again_statement(again: &Again) -> Vec<String> {
    let mut out = Vec::new();
    for seat in &again.seats {
        let shown: Vec<&BandAgain> = seat.bands.iter().filter(|b| b.loss_db.shown).collect();
        if let Some(most) =
            shown.iter().max_by(|a, b| a.loss_db.change.abs().total_cmp(&b.loss_db.change.abs()))
        {
            out.push(format!(
                "Seat {}: the loss changed in {}, most at {} by {} dB.",
                seat.id,
                bands_words(&shown),
                frequency_words(most.nominal_hz),
                change(&most.loss_db, 2)
            ));
        }
    }
    if out.is_empty() {
        out.push(format!(
            "No change of the loss is shown at any of {}.",
            seats_words(again.seats.len())
        ));
    }
    for (what, unit, decimals, figure) in [
        ("The gap", "mm", 1, again.gap_mm),
        ("The trim that is needed", "dB", 2, again.trim_db),
        ("The gain on the axis", "", 3, again.gain_on_axis),
    ] {
        if let Some(f) = figure.filter(|f| f.shown) {
            let text = format!("{what} changed by {} {unit}", change(&f, decimals));
            out.push(format!("{}.", text.trim_end()));
        }
    }
    if again.filters[0] != again.filters[1] && again.likely.iter().any(|c| *c != Cause::Surface) {
        out.push("The setting that is needed is another one: see the tables.".into());
    }
    out.extend(again.likely.iter().map(|c| cause(*c).to_owned()));
    if !again.seats_of_one.is_empty() {
        out.push(format!(
            "Only one of the two measurements has {}: nothing is said of it.",
            list_words(&again.seats_of_one)
        ));
    }
    out
}

fn bands_words(shown: &[&BandAgain]) -> String {
    let label = |b: &&BandAgain| frequency_label(b.nominal_hz);
    match shown {
        [one] => format!("the band {}", frequency_words(one.nominal_hz)),
        [first, .., last] => {
            format!("{} bands between {} and {}", shown.len(), label(first), label(last))
        }
        [] => String::new(),
    }
}

/// What a change may come from, and how to find out.
fn cause(cause: Cause) -> &'static str {
    match cause {
        Cause::Clogged => {
            "More treble is lost at the seats: dust or paint in the sheet, or a second cloth \
             behind it. Look at the sheet from behind with a lamp; vacuum it with a soft brush."
        }
        Cause::GapMoved => {
            "The gap is another one: the sheet sags, or the loudspeaker was moved. Measure it \
             with a rule at the loudspeaker's front."
        }
        Cause::SingleSeats => {
            "Only single seats changed: the seat or the microphone stood elsewhere, or the \
             loudspeaker was turned."
        }
        Cause::Level => {
            "All bands changed alike: a gain was touched between the takes without and with the \
             screen in one of the measurements. Control takes would tell."
        }
        Cause::Rattle => "Something rattles that did not: see the fixings of sheet and frame.",
        Cause::Surface => "The gain of the surface changed: dirt, age, or another sheet.",
        Cause::Setting => "The level that must be made up changed: set the trim anew.",
    }
}

/// Table for the terminal, then the finding in words.
pub fn again_table(again: &Again) -> String {
    let head = by_seat("Hz", again.seats.iter().map(|s| s.id.clone()), "mean");
    let rows = changes(again, frequency_label, ["*", " "]);
    String::from("Loss now less loss then, dB; * = shown with all of them looked at together.\n\n")
        + &rows_and_sentences(head, rows, again_statement(again))
}

/// A row with a cell for each seat and one for their mean.
fn by_seat(first: &str, seats: impl Iterator<Item = String>, mean: &str) -> Vec<String> {
    std::iter::once(first.to_owned()).chain(seats).chain([mean.to_owned()]).collect()
}

/// The change in every band; `marks` follow what is shown and what is not.
fn changes(
    again: &Again,
    label: fn(f64) -> String,
    [shown, not_shown]: [&'static str; 2],
) -> impl Iterator<Item = Vec<String>> {
    again.mean.iter().map(move |mean| {
        let cell = |b: &BandAgain| {
            let mark = if b.loss_db.shown { shown } else { not_shown };
            change(&b.loss_db, 2) + mark
        };
        let of_seat = |s: &SeatAgain| {
            let band = s.bands.iter().find(|b| b.nominal_hz == mean.nominal_hz);
            band.map_or_else(dash, cell)
        };
        by_seat(&label(mean.nominal_hz), again.seats.iter().map(of_seat), &cell(mean))
    })
}

/// CSV, JSON, web page, PDF and plot.
///
/// # Errors
/// [`ReportError`] when a figure is not finite or a plot cannot be drawn.
pub fn again_files(again: &Again) -> Result<Vec<NamedFile>, ReportError> {
    let statement = again_statement(again);
    let drawings = vec![Drawing::from(&again_figure(again, &statement))];
    Answer {
        name: "again",
        content: again,
        csv: again_csv(again)?,
        paper: paper(again, &statement, &drawings),
        statement: &statement,
        names: again.seats.iter().map(|s| s.id.clone()).collect(),
        drawings,
    }
    .files()
}

fn paper(again: &Again, statement: &[String], drawings: &[Drawing]) -> Paper {
    let mut blocks = vec![Block::part("What changed"), Block::List(statement.to_vec())];
    blocks.extend(drawings.iter().map(Block::figure));
    blocks.push(Block::Paragraph(
        "A change is shown where it lies beyond both uncertainties with all bands and seats \
         looked at together (Bonferroni, 5 %); the intervals are those of a single figure, 95 %."
            .into(),
    ));
    blocks.push(Block::Table(figures(again)));
    blocks.push(Block::part("Seat by seat"));
    blocks.push(Block::Table(seats(again)));
    let dates: Vec<String> = again.dates.iter().flatten().cloned().collect();
    let subtitle = match &again.titles {
        Some([old, new]) => format!("{old} \u{b7} {new}"),
        None => dates.join(" \u{b7} "),
    };
    Paper { title: "One room, measured twice".into(), subtitle, logo: None, blocks }
}

fn figures(again: &Again) -> Table {
    let single = [
        ("Gap, mm", again.gap_mm),
        ("Trim, dB", again.trim_db),
        ("Gain on the axis", again.gain_on_axis),
    ];
    let single = single.into_iter().filter_map(|(n, f)| Some((n.to_owned(), f?)));
    let sheet = again.sheet.iter().map(|(quantity, f)| {
        let (what, unit) = quantity.words();
        (format!("{}, {unit}", capital(what)), *f)
    });
    let figure = |(name, f): (String, FigureAgain)| {
        let shown = if f.shown { "shown" } else { "not shown" };
        vec![name, signed(f.old, 2), signed(f.new, 2), change(&f, 2), shown.to_owned()]
    };
    let [old, new] = &again.filters;
    let n = old.len().max(new.len());
    let filter = |i: usize| {
        let of = |list: &[String]| list.get(i).cloned().unwrap_or_else(dash);
        vec![format!("Filter {}", i + 1), of(old), of(new), dash(), dash()]
    };
    table(
        "Figures of the whole job",
        heads(&["Figure", "Then", "Now", "Change", "Shown"]),
        single.chain(sheet).map(figure).chain((0..n).map(filter)),
    )
}

fn seats(again: &Again) -> Table {
    let head = by_seat("Band", again.seats.iter().map(|s| s.id.clone()), "Mean");
    let rows = changes(again, frequency_words, [" *", ""]);
    table("Loss now less loss then, dB; * = shown", head, rows)
}

fn again_csv(again: &Again) -> Result<Vec<u8>, ReportError> {
    let mut table = Tidy::new("seat")?;
    let mut put = |seat: &str, quantity: &str, nominal_hz: Option<f64>, f: &FigureAgain| {
        let note = if f.shown { "shown" } else { "not shown" };
        let row = TidyRow { subject: seat, nominal_hz, ..TidyRow::default() };
        for (when, value) in [("old", f.old), ("new", f.new)] {
            let quantity = format!("{when}_{quantity}");
            table.row(&TidyRow { quantity: &quantity, value: Some(value), ..row.clone() })?;
        }
        let quantity = format!("change_of_{quantity}");
        table.row(&TidyRow {
            quantity: &quantity,
            value: Some(f.change),
            u95: Some(f.u95),
            note,
            ..row
        })
    };
    for seat in &again.seats {
        for b in &seat.bands {
            put(&seat.id, "loss_db", Some(b.nominal_hz), &b.loss_db)?;
        }
    }
    for b in &again.mean {
        put("mean", "loss_db", Some(b.nominal_hz), &b.loss_db)?;
    }
    for (quantity, figure) in
        [("gap_mm", again.gap_mm), ("trim_db", again.trim_db), ("gain_on_axis", again.gain_on_axis)]
    {
        if let Some(f) = figure {
            put("", quantity, None, &f)?;
        }
    }
    for (quantity, f) in &again.sheet {
        put("", &key_of(quantity).unwrap_or_default(), None, f)?;
    }
    table.finish()
}
