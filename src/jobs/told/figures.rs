//! Plots: loss of every sheet over frequency, measured against claimed, one room twice.

use crate::jobs::again::Again;
use crate::jobs::choose::Choice;
use crate::jobs::sheets::SheetsOverJobs;
use crate::report::plots::axes::Axis;
use crate::report::plots::figure::{Figure, Mark};
use crate::report::plots::series::{Series, Style};

/// Up to this many shaded bands can be told apart.
const BANDS_TOLD_APART: usize = 3;

/// A curve: name, exact frequency with value, and half width of its interval.
type Curve<'a> = (&'a str, Vec<(f64, f64, Option<f64>)>);

fn curves(curves: &[Curve]) -> Vec<Mark> {
    let is_shaded = curves.len() <= BANDS_TOLD_APART;
    let curve = |(i, (name, points)): (usize, &Curve)| {
        let values = points.iter().map(|(hz, v, _)| (*hz, Some(*v))).collect();
        let band = if is_shaded { points.iter().map(|(_, _, u)| *u).collect() } else { Vec::new() };
        Mark::Curve(Series::new(name, values, Style::nth(i)).with_dots().with_band(band))
    };
    curves.iter().enumerate().map(curve).collect()
}

fn plot(
    id: &'static str,
    title: String,
    subtitle: &str,
    marks: &[Curve],
    statement: &[String],
) -> Figure {
    let all_hz = || marks.iter().flat_map(|(_, p)| p.iter().map(|(hz, ..)| *hz));
    let [low, high] = [all_hz().fold(100.0, f64::min), all_hz().fold(16_000.0, f64::max)];
    let shaded = if marks.len() <= BANDS_TOLD_APART { " Shaded: 95 % uncertainty." } else { "" };
    Figure {
        id,
        title,
        subtitle: subtitle.to_owned(),
        description: statement.join(" "),
        caption: format!("Up = the screen takes energy away.{shaded}"),
        x: Axis::around(low, high),
        y_title: "Loss, dB",
        include_db: [-1.0, 3.0],
        marks: curves(marks),
        ..Figure::default()
    }
}

/// Mean loss of every sheet over its rooms.
pub fn sheets_figure(over: &SheetsOverJobs, statement: &[String]) -> Figure {
    let curves: Vec<Curve> = over
        .sheets
        .iter()
        .map(|s| {
            let points = s.bands.iter().map(|b| (b.exact_hz, b.loss_db.mean, b.loss_db.u95));
            (s.name.as_str(), points.collect())
        })
        .collect();
    let n: usize = over.sheets.iter().map(|s| s.rooms.len()).sum();
    let title = match over.sheets.len() {
        1 => format!("{} over {n} rooms", over.sheets[0].name),
        k => format!("{k} sheets in {n} rooms"),
    };
    plot(
        "sheets",
        title,
        "Random-effects mean of the loss over rooms, third-octave bands",
        &curves,
        statement,
    )
}

/// Predicted loss of every candidate in the room.
pub fn choice_figure(choice: &Choice, statement: &[String]) -> Figure {
    let curves: Vec<Curve> = choice
        .candidates
        .iter()
        .map(|c| {
            let points = c.bands.iter().map(|b| (b.exact_hz, b.loss_db, Some(b.u95_db)));
            (c.name.as_str(), points.collect())
        })
        .collect();
    let title = match choice.candidates.iter().filter(|c| c.rank == 1).collect::<Vec<_>>()[..] {
        [only] => format!("{} loses least in this room", only.name),
        _ => "Which sheet loses least in this room is not shown".to_owned(),
    };
    plot("choice", title, "Predicted loss in this room, mean over the seats", &curves, statement)
}

/// Mean loss then and now.
pub fn again_figure(again: &Again, statement: &[String]) -> Figure {
    let of = |f: &dyn Fn(&crate::jobs::again::FigureAgain) -> f64| {
        again.mean.iter().map(|b| (b.exact_hz, f(&b.loss_db), None)).collect::<Vec<_>>()
    };
    let difference: Vec<(f64, f64, Option<f64>)> =
        again.mean.iter().map(|b| (b.exact_hz, b.loss_db.change, Some(b.loss_db.u95))).collect();
    let curves: Vec<Curve> =
        vec![("Old", of(&|f| f.old)), ("New", of(&|f| f.new)), ("Change", difference)];
    let n = again.mean.iter().filter(|b| b.loss_db.shown).count();
    let title = match n {
        0 => "No change of the mean loss is shown".to_owned(),
        1 => "The mean loss changed in one band".to_owned(),
        n => format!("The mean loss changed in {n} bands"),
    };
    plot("again", title, "Loss then and now, mean over the seats", &curves, statement)
}
