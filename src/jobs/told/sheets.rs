//! What each sheet did over all jobs.

use super::answer::Answer;
use super::cells::{dash, over, rooms, with_u95};
use super::figures::sheets_figure;
use super::tables::{band_table, heads, rows_and_sentences, table};
use super::tidy::{Tidy, TidyRow};
use crate::analysis::sheet::kinds::Quantity;
use crate::jobs::bias::{Bias, LEAST_CLAIMS};
use crate::jobs::mean::OverRooms;
use crate::jobs::sheets::{SheetOverRooms, SheetsOverJobs};
use crate::report::error::ReportError;
use crate::report::paper::{Block, Detail, Paper, Table};
use crate::report::plots::drawing::Drawing;
use crate::report::plots::render::NamedFile;
use crate::words::{key_of, signed};

/// The finding in sentences.
pub fn sheets_statement(over: &SheetsOverJobs) -> Vec<String> {
    let mut out: Vec<String> = over.sheets.iter().map(of_sheet).collect();
    let judged: Vec<(&SheetOverRooms, &Bias)> =
        over.sheets.iter().filter_map(|s| Some((s, s.bias.as_ref()?))).collect();
    for (sheet, bias) in judged.iter().filter(|(_, b)| b.too_good) {
        out.push(format!(
            "The claims for {} are too good: it loses {} dB more than claimed ({} claims in {}).",
            sheet.name,
            plain(&bias.difference_db),
            bias.n_claims,
            rooms(bias.difference_db.n_rooms)
        ));
    }
    if !judged.is_empty() && !judged.iter().any(|(_, b)| b.too_good) {
        out.push("No maker's claims are shown to be too good.".into());
    }
    if let Some(bias) = &over.bias {
        out.push(format!(
            "Over the claims for all sheets, measured less claimed is {} dB ({} claims, {}).",
            plain(&bias.difference_db),
            bias.n_claims,
            match bias.difference_db.n_rooms {
                1 => "one sheet".into(),
                n => format!("{n} sheets"),
            }
        ));
    }
    out.extend(over.sheets.iter().filter_map(|s| {
        let bias = s.light_bias.as_ref()?;
        Some(format!(
            "Light claims for {}: measured less claimed is {} % of the claimed figure ({} claims in \
             {}).",
            s.name,
            with_u95(bias.difference_percent.mean, bias.difference_percent.u95, 0),
            bias.n_claims,
            rooms(bias.difference_percent.n_rooms)
        ))
    }));
    if over.n_unnamed > 0 {
        out.push(format!(
            "{} of {} jobs name no sheet and are not counted: write screen.name into their \
             session.toml.",
            over.n_unnamed, over.n_jobs
        ));
    }
    if over.n_copies > 0 {
        out.push(format!(
            "{} of {} jobs are copies of others to the last figure and counted once.",
            over.n_copies, over.n_jobs
        ));
    }
    out.extend(over.questions.iter().cloned());
    out
}

fn of_sheet(sheet: &SheetOverRooms) -> String {
    let n = rooms(sheet.rooms.len());
    match &sheet.mean_loss_db {
        None => format!("{}: no loss over all bands from 500 Hz to 16 kHz in {n}.", sheet.name),
        Some(mean) if mean.u95.is_none() => format!(
            "{} loses {} dB in {n}; how rooms differ is not known.",
            sheet.name,
            signed(mean.mean, 2)
        ),
        Some(mean) => {
            let borrowed = if mean.borrowed {
                "; how rooms differ is taken from the other sheets"
            } else {
                ""
            };
            format!("{} loses {} dB, mean over {n}{borrowed}.", sheet.name, plain(mean))
        }
    }
}

/// "1.42 ± 0.21".
fn plain(figure: &OverRooms) -> String {
    with_u95(figure.mean, figure.u95, 2)
}

const HEAD: [&str; 9] = [
    "Sheet",
    "Rooms",
    "Mean loss, dB",
    "Between rooms, dB",
    "Largest, dB",
    "Over seats, dB",
    "Claims kept",
    "Broken",
    "Measured less claimed, dB",
];

fn row(sheet: &SheetOverRooms) -> Vec<String> {
    let between = sheet.mean_loss_db.and_then(|m| m.between_sd);
    let n_claims = sheet.claims.kept + sheet.claims.broken + sheet.claims.open;
    vec![
        sheet.name.clone(),
        sheet.rooms.len().to_string(),
        over(sheet.mean_loss_db.as_ref(), 2),
        between.map_or_else(dash, |sd| signed(sd, 2)),
        over(sheet.largest_loss_db.as_ref(), 2),
        over(sheet.seat_sd_db.as_ref(), 2),
        if n_claims == 0 { dash() } else { format!("{} of {n_claims}", sheet.claims.kept) },
        if n_claims == 0 { dash() } else { sheet.claims.broken.to_string() },
        sheet.bias.as_ref().map_or_else(dash, |b| {
            let text = with_u95(b.difference_db.mean, b.difference_db.u95, 2);
            if b.too_good { format!("{text} too good") } else { text }
        }),
    ]
}

/// Table for the terminal, then the finding in words.
pub fn sheets_table(over: &SheetsOverJobs) -> String {
    rows_and_sentences(heads(&HEAD), over.sheets.iter().map(row), sheets_statement(over))
}

/// CSV, JSON, web page, PDF and plot.
///
/// # Errors
/// [`ReportError`] when a figure is not finite or a plot cannot be drawn.
pub fn sheets_files(over: &SheetsOverJobs) -> Result<Vec<NamedFile>, ReportError> {
    let statement = sheets_statement(over);
    let figure = (!over.sheets.is_empty()).then(|| sheets_figure(over, &statement));
    let drawings: Vec<Drawing> = figure.iter().map(Drawing::from).collect();
    Answer {
        name: "sheets",
        content: over,
        csv: sheets_csv(over)?,
        paper: paper(over, &statement, &drawings),
        statement: &statement,
        names: over.sheets.iter().map(|s| s.name.clone()).collect(),
        drawings,
    }
    .files()
}

fn paper(over: &SheetsOverJobs, statement: &[String], drawings: &[Drawing]) -> Paper {
    let mut blocks = vec![Block::part("What is shown"), Block::List(statement.to_vec())];
    blocks.extend(drawings.iter().map(Block::figure));
    blocks.push(Block::part("Sheet by sheet"));
    blocks.push(Block::Table(table(
        "Loss from 500 Hz to 16 kHz over the rooms, with its 95 % uncertainty",
        heads(&HEAD),
        over.sheets.iter().map(row),
    )));
    blocks.push(Block::Paragraph(method()));
    blocks.push(Block::Table(more(over)));
    blocks.push(Block::part("Band by band"));
    blocks.push(Block::Table(bands(over)));
    blocks.push(Block::part("Rooms"));
    blocks.push(Block::Table(rooms_table(over)));
    Paper {
        title: "What each sheet did".into(),
        subtitle: format!("{} sheets in {} jobs", over.sheets.len(), over.n_jobs),
        logo: None,
        blocks,
    }
}

fn method() -> String {
    format!(
        "Means over rooms are random-effects means: scatter between rooms after Paule and Mandel \
         (1982), interval after Hartung, Knapp, Sidik and Jonkman (2001, 2002). What the method \
         may do alike in every room (window and model terms of the uncertainty) is added in full \
         and does not shrink with the number of rooms. Taken for granted: the rooms are like \
         those to come, and each was measured with care of its own. A maker's bias is measured \
         less claimed loss, told from {LEAST_CLAIMS} claims on, and apart from it that of gain and \
         uniformity; \"too good\" is said only where all \
         sheets looked at together leave at most 2.5 % for any false word (Holm 1979)."
    )
}

/// What the sheets are made of, and what they asked for.
fn more(over_jobs: &SheetsOverJobs) -> Table {
    let head = heads(&[
        "Sheet",
        "Flow resistance, Pa s/m",
        "Mass, g/m\u{b2}",
        "Gaps, mm",
        "Trim, dB",
        "One setting served",
        "Gain on axis",
        "Gain off axis",
        "Seen up to, m",
        "Rattled",
    ]);
    let row = |s: &SheetOverRooms| {
        let parameter = |q: Quantity| {
            let model = s.resistance_and_mass.as_ref();
            let found = model.and_then(|m| m.parameters.iter().find(|(n, _)| *n == q));
            over(found.map(|(_, f)| f), 1)
        };
        let mm = |m: f64| format!("{:.0}", 1e3 * m);
        // The largest angle that was read.
        let off = s.off_axis.last().map_or_else(dash, |o| {
            format!("{} at {:.0}\u{b0}", over(Some(&o.ratio), 2), o.angle_deg)
        });
        vec![
            s.name.clone(),
            parameter(Quantity::FlowResistance),
            parameter(Quantity::ArealMass),
            s.gap_m.map_or_else(dash, |[low, high]| {
                if low == high { mm(low) } else { format!("{} to {}", mm(low), mm(high)) }
            }),
            s.setting.as_ref().map_or_else(dash, |t| over(t.trim_db.as_ref(), 2)),
            s.setting
                .as_ref()
                .map_or_else(dash, |t| format!("{} of {}", t.n_serves_all, t.n_rooms)),
            over(s.gain_on_axis.as_ref(), 2),
            off,
            s.structure_distance_m.map_or_else(dash, |m| signed(m, 1)),
            format!("{} of {}", s.n_rattles, s.rooms.len()),
        ]
    };
    let rows = over_jobs.sheets.iter().map(row);
    table("What the sheets are like, and what they needed", head, rows)
}

fn bands(over_jobs: &SheetsOverJobs) -> Table {
    let columns = over_jobs.sheets.iter().map(|s| {
        let cells = s.bands.iter().map(|b| (b.nominal_hz, over(Some(&b.loss_db), 2)));
        (s.name.as_str(), cells.collect())
    });
    let caption = "Mean loss over the rooms, dB, with its 95 % uncertainty";
    band_table(caption, &columns.collect::<Vec<_>>())
}

fn rooms_table(over_jobs: &SheetsOverJobs) -> Table {
    let rows = over_jobs.sheets.iter().flat_map(|s| {
        s.rooms.iter().map(|r| {
            let name =
                r.title.as_ref().map_or_else(|| r.label.clone(), |t| format!("{}: {t}", r.label));
            vec![
                name,
                s.name.clone(),
                r.date.clone().unwrap_or_else(dash),
                r.gap_m.map_or_else(dash, |g| format!("{:.0}", 1e3 * g)),
                r.mean_loss_db.map_or_else(dash, |l| with_u95(l, r.u95_db, 2)),
            ]
        })
    });
    let head = heads(&["Room", "Sheet", "Date", "Gap, mm", "Mean loss, dB"]);
    let caption = "The rooms; names of jobs are left out unless they are asked for";
    Table { detail: Detail::Extra, ..table(caption, head, rows) }
}

/// One figure a row.
fn sheets_csv(over_jobs: &SheetsOverJobs) -> Result<Vec<u8>, ReportError> {
    let mut table = Tidy::new("sheet")?;
    for sheet in &over_jobs.sheets {
        means(&mut table, sheet)?;
        single_figures(&mut table, sheet)?;
    }
    table.finish()
}

/// Figures over rooms, with their uncertainty.
fn means(table: &mut Tidy, s: &SheetOverRooms) -> Result<(), ReportError> {
    let mut put = |quantity: &str, nominal_hz: Option<f64>, f: Option<&OverRooms>, note: &str| {
        let Some(f) = f else { return Ok(()) };
        table.row(&TidyRow {
            subject: &s.name,
            quantity,
            nominal_hz,
            value: Some(f.mean),
            u95: f.u95,
            n_rooms: Some(f.n_rooms),
            between_sd: f.between_sd,
            note,
        })
    };
    for b in &s.bands {
        put("loss_db", Some(b.nominal_hz), Some(&b.loss_db), "")?;
    }
    put("mean_loss_db", None, s.mean_loss_db.as_ref(), "500 Hz to 16 kHz")?;
    put("largest_loss_db", None, s.largest_loss_db.as_ref(), "500 Hz to 16 kHz")?;
    put("seat_sd_db", None, s.seat_sd_db.as_ref(), "500 Hz to 16 kHz")?;
    // One model may be both.
    let second = s.resistance_and_mass.as_ref().filter(|_| s.model != s.resistance_and_mass);
    for model in s.model.iter().chain(second) {
        let kind = key_of(&model.kind).unwrap_or_default();
        for (quantity, f) in &model.parameters {
            put(&key_of(quantity).unwrap_or_default(), None, Some(f), &kind)?;
        }
    }
    put("trim_db", None, s.setting.as_ref().and_then(|t| t.trim_db.as_ref()), "")?;
    put("gain_on_axis", None, s.gain_on_axis.as_ref(), "")?;
    for o in &s.off_axis {
        put("gain_off_axis_ratio", None, Some(&o.ratio), &format!("{} degrees", o.angle_deg))?;
    }
    let too_good = s.bias.as_ref().is_some_and(|b| b.too_good);
    let note = if too_good { "claims too good" } else { "" };
    put("measured_less_claimed_db", None, s.bias.as_ref().map(|b| &b.difference_db), note)?;
    let light = s.light_bias.as_ref().map(|b| &b.difference_percent);
    put("light_measured_less_claimed_percent", None, light, "")
}

/// Counts, lengths and the gains of filters.
fn single_figures(table: &mut Tidy, s: &SheetOverRooms) -> Result<(), ReportError> {
    let row = |quantity, value| TidyRow { subject: &s.name, quantity, value, ..TidyRow::default() };
    for (quantity, value) in [
        ("claims_kept", Some(s.claims.kept as f64)),
        ("claims_broken", Some(s.claims.broken as f64)),
        ("claims_open", Some(s.claims.open as f64)),
        ("rooms_that_rattled", Some(s.n_rattles as f64)),
        ("smallest_gap_m", s.gap_m.map(|g| g[0])),
        ("largest_gap_m", s.gap_m.map(|g| g[1])),
        ("structure_seen_up_to_m", s.structure_distance_m),
    ] {
        table.row(&row(quantity, value))?;
    }
    for (hz, gain) in s.setting.iter().flat_map(|t| &t.filter_gain_db) {
        table.row(&TidyRow { nominal_hz: Some(*hz), ..row("filter_gain_db", Some(*gain)) })?;
    }
    Ok(())
}
