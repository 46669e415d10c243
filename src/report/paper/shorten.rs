//! A paper cut down to what a client reads and files: whole parts go, the least needed first,
//! and the paper says which, and where they are.

use super::{Block, Detail, Paper, TICK_BOX};

/// Steps of shortening; 0 leaves the paper as it is.
pub const STEPS: u8 = 7;

/// Where everything is that a shortened paper leaves out.
const ELSEWHERE: &str = "all of it stands in report.html and in the files beside it";

/// What a step keeps.
struct Measure {
    detail: Detail,
    /// Points of a list, rows of a table.
    n_points: usize,
    n_rows: usize,
    /// Characters of a text.
    n_chars: usize,
}

impl Measure {
    fn of(step: u8) -> Self {
        const ALL: usize = usize::MAX;
        let (detail, n_points, n_rows, n_chars) = match step {
            0 => (Detail::Extra, ALL, ALL, ALL),
            1 => (Detail::Extra, 60, 60, 4000),
            2 => (Detail::Engineer, 40, 60, 3000),
            3 => (Detail::Main, 24, 48, 2000),
            4 => (Detail::Main, 12, 30, 1000),
            5 => (Detail::Main, 8, 26, 600),
            _ => (Detail::Main, 4, 12, 240),
        };
        Self { detail, n_points, n_rows, n_chars }
    }
}

/// Plots and tables that a step leaves out, by their place in the paper: those first that are
/// missed most.
pub fn left_out(paper: &Paper, step: u8) -> Vec<usize> {
    let least_needed = Measure::of(step).detail;
    let detail = |place: usize| spare(&paper.blocks[place]).map(|(detail, ..)| detail);
    let is_left_out = |place: &usize| detail(*place) > Some(least_needed);
    let mut places: Vec<usize> = (0..paper.blocks.len()).filter(is_left_out).collect();
    places.sort_by_key(|&place| detail(place));
    places
}

/// Of a block that may be left out: how soon, its kind and its title.
fn spare(block: &Block) -> Option<(Detail, &'static str, &str)> {
    match block {
        Block::Figure { drawing, detail } => Some((*detail, "plot", &drawing.title)),
        Block::Table(table) => Some((table.detail, "table", &table.caption)),
        _ => None,
    }
}

/// The paper at a step of shortening, 0 to [`STEPS`] - 1. `back` are places of plots and tables
/// that stay though the step leaves them out.
pub fn shorten(paper: &Paper, step: u8, back: &[usize]) -> Paper {
    let measure = Measure::of(step);
    let mut gone: Vec<String> = Vec::new();
    let mut blocks = Vec::new();
    for (place, block) in paper.blocks.iter().enumerate() {
        let goes = |detail: Detail| detail > measure.detail && !back.contains(&place);
        match spare(block).filter(|(detail, ..)| goes(*detail)) {
            Some((_, kind, title)) => {
                gone.push(format!("the {kind} \u{201c}{}\u{201d}", cut(title, 90)));
            }
            // White rest of pages is the first that can be spared.
            None if step > 0 && *block == Block::PageBreak => {}
            None => blocks.push(shorter(block, &measure)),
        }
    }
    // A heading with nothing under it goes too.
    let mut kept: Vec<Block> = Vec::new();
    for block in blocks {
        if let Block::Heading { level, .. } = block {
            while matches!(kept.last(), Some(Block::Heading { level: above, .. }) if *above >= level)
            {
                kept.pop();
            }
        }
        kept.push(block);
    }
    let mut blocks = kept;
    if !gone.is_empty() {
        let place = blocks.iter().position(is_last_part).unwrap_or(blocks.len());
        let n_shown = gone.len().min(12);
        let more = if gone.len() > n_shown { " and more" } else { "" };
        let words = format!(
            "Left out to keep this paper short: {}{more}; {ELSEWHERE}.",
            gone[..n_shown].join(", ")
        );
        blocks.insert(place, Block::Paragraph(words));
    }
    Paper {
        title: cut(&paper.title, measure.n_chars.min(300)),
        subtitle: cut(&paper.subtitle, measure.n_chars.min(600)),
        logo: paper.logo.clone(),
        blocks,
    }
}

/// The words about what was left out stand before the signatures.
fn is_last_part(block: &Block) -> bool {
    matches!(block, Block::Heading { level: 1, text } if text == super::writer::SIGNATURES)
}

fn shorter(block: &Block, measure: &Measure) -> Block {
    let n = measure.n_chars;
    let mut block = block.clone();
    match &mut block {
        Block::Heading { text, .. } | Block::Paragraph(text) => *text = cut(text, n),
        Block::Caution(text) => *text = cut(text, n.max(900)),
        Block::List(points) => {
            let n_more = points.len().saturating_sub(measure.n_points);
            points.truncate(measure.n_points);
            points.iter_mut().for_each(|point| *point = cut(point, n));
            if n_more > 0 {
                points.push(format!("And {n_more} more: {ELSEWHERE}."));
            }
        }
        Block::Facts(facts) => {
            for (name, value) in facts {
                (*name, *value) = (cut(name, 60), cut(value, n.min(400)));
            }
        }
        Block::Signatures(who) => {
            who.truncate(measure.n_points);
            who.iter_mut().for_each(|name| *name = cut(name, 120));
        }
        Block::Table(table) => {
            let n_rows = table.rows.len();
            if n_rows > measure.n_rows {
                table.rows.truncate(measure.n_rows);
                table.caption +=
                    &format!(" (the first {} of {n_rows} rows; {ELSEWHERE})", measure.n_rows);
            }
            // A cell of many lines makes a row as high as a page.
            let cells = table.head.iter_mut().chain(table.rows.iter_mut().flatten());
            cells.filter(|c| !c.contains(TICK_BOX)).for_each(|cell| *cell = cut(cell, n.min(200)));
            table.caption = cut(&table.caption, n.min(300));
        }
        Block::Figure { drawing, .. } => {
            drawing.title = cut(&drawing.title, n.min(300));
            drawing.subtitle = cut(&drawing.subtitle, n.min(300));
        }
        Block::Ticks(_) | Block::Verdicts(_) | Block::Fields(_) | Block::PageBreak => {}
    }
    block
}

/// The first `n` characters, with an ellipsis where something was cut.
fn cut(text: &str, n: usize) -> String {
    match text.char_indices().nth(n) {
        Some((end, _)) => format!("{}\u{2026}", &text[..end]),
        None => text.to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::paper::Table;
    use crate::report::plots::drawing::Drawing;

    fn table(detail: Detail, n_rows: usize) -> Block {
        Block::Table(Table {
            caption: format!("{n_rows} rows"),
            head: vec!["A".into()],
            rows: vec![vec!["1".into()]; n_rows],
            detail,
        })
    }

    #[test]
    fn the_least_needed_goes_first_and_the_paper_says_so() {
        let drawing = Drawing {
            id: "noise",
            svg: "".into(),
            paper_svg: "".into(),
            title: "Clear of noise".into(),
            subtitle: String::new(),
            caption: String::new(),
            description: String::new(),
        };
        let paper = Paper {
            title: "T".into(),
            subtitle: String::new(),
            logo: None,
            blocks: vec![
                Block::Figure { drawing, detail: Detail::Extra },
                table(Detail::Engineer, 2),
                table(Detail::Main, 100),
                Block::List(vec!["point".into(); 50]),
                Block::Heading { level: 1, text: crate::report::paper::writer::SIGNATURES.into() },
            ],
        };
        assert_eq!(shorten(&paper, 0, &[]), paper);
        let once = shorten(&paper, 2, &[]);
        assert!(!once.blocks.iter().any(|b| matches!(b, Block::Figure { .. })));
        let said = &once.blocks[once.blocks.len() - 2];
        let Block::Paragraph(words) = said else { panic!("{said:?}") };
        assert!(words.contains("Clear of noise") && words.contains("report.html"), "{words}");
        let Block::List(points) = &once.blocks[2] else { panic!() };
        assert_eq!((points.len(), points[40].starts_with("And 10 more")), (41, true));
        assert_eq!(left_out(&paper, 3), [1, 0], "the engineer's table before the extra plot");
        let back = shorten(&paper, 3, &[1]);
        assert!(matches!(&back.blocks[0], Block::Table(t) if t.rows.len() == 2));
        assert!(!back.blocks.iter().any(|b| matches!(b, Block::Figure { .. })));
        let last = shorten(&paper, STEPS - 1, &[]);
        let tables: Vec<_> = last
            .blocks
            .iter()
            .filter_map(|b| match b {
                Block::Table(t) => Some(t),
                _ => None,
            })
            .collect();
        assert_eq!(tables.len(), 1);
        assert_eq!(tables[0].rows.len(), 12);
        assert!(tables[0].caption.contains("first 12 of 100 rows"));
    }

    #[test]
    fn text_is_cut_between_characters() {
        assert_eq!(cut("äöü", 2), "äö\u{2026}");
        assert_eq!(cut("äöü", 3), "äöü");
    }
}
