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
    let measure = Measure::of(step);
    let detail = |block: &Block| match block {
        Block::Figure(figure) => figure.detail,
        Block::Table(table) => table.detail,
        _ => Detail::Main,
    };
    let mut places: Vec<usize> =
        (0..paper.blocks.len()).filter(|&i| detail(&paper.blocks[i]) > measure.detail).collect();
    places.sort_by_key(|&i| detail(&paper.blocks[i]));
    places
}

/// The paper at a step of shortening, 0 to [`STEPS`] - 1. `back` are places of plots and tables
/// that stay though the step leaves them out.
pub fn shorten(paper: &Paper, step: u8, back: &[usize]) -> Paper {
    let measure = Measure::of(step);
    let mut gone: Vec<String> = Vec::new();
    let mut blocks = Vec::new();
    for (place, block) in paper.blocks.iter().enumerate() {
        match block {
            block if back.contains(&place) => blocks.push(shorter(block, &measure)),
            Block::Figure(figure) if figure.detail > measure.detail => {
                gone.push(format!("the plot \u{201c}{}\u{201d}", cut(&figure.title, 90)));
            }
            Block::Table(table) if table.detail > measure.detail => {
                gone.push(format!("the table \u{201c}{}\u{201d}", cut(&table.caption, 90)));
            }
            // White rest of pages is the first that can be spared.
            Block::PageBreak if step > 0 => {}
            other => blocks.push(shorter(other, &measure)),
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
    matches!(block, Block::Heading { level: 1, text } if text == super::content::SIGNATURES)
}

fn shorter(block: &Block, measure: &Measure) -> Block {
    let n = measure.n_chars;
    match block {
        Block::Heading { level, text } => Block::Heading { level: *level, text: cut(text, n) },
        Block::Paragraph(text) => Block::Paragraph(cut(text, n)),
        Block::Caution(text) => Block::Caution(cut(text, n.max(900))),
        Block::List(points) => {
            let mut kept: Vec<String> =
                points.iter().take(measure.n_points).map(|p| cut(p, n)).collect();
            if points.len() > kept.len() {
                kept.push(format!("And {} more: {ELSEWHERE}.", points.len() - kept.len()));
            }
            Block::List(kept)
        }
        Block::Facts(facts) => {
            Block::Facts(facts.iter().map(|(a, b)| (cut(a, 60), cut(b, n.min(400)))).collect())
        }
        Block::Signatures(who) => {
            Block::Signatures(who.iter().take(measure.n_points).map(|w| cut(w, 120)).collect())
        }
        Block::Table(table) => {
            let mut table = table.clone();
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
            Block::Table(table)
        }
        Block::Figure(figure) => {
            let mut figure = figure.clone();
            figure.title = cut(&figure.title, n.min(300));
            figure.subtitle = cut(&figure.subtitle, n.min(300));
            Block::Figure(figure)
        }
        Block::Ticks(points) => Block::Ticks(points.clone()),
        Block::Verdicts(verdicts) => Block::Verdicts(verdicts.clone()),
        Block::Fields(names) => Block::Fields(names.clone()),
        Block::PageBreak => Block::PageBreak,
    }
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
    use crate::report::paper::{PaperFigure, Table};

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
        let figure = PaperFigure {
            name: "noise".into(),
            svg: String::new(),
            title: "Clear of noise".into(),
            subtitle: String::new(),
            caption: String::new(),
            detail: Detail::Extra,
            alternative: String::new(),
        };
        let paper = Paper {
            title: "T".into(),
            subtitle: String::new(),
            logo: None,
            blocks: vec![
                Block::Figure(figure),
                table(Detail::Engineer, 2),
                table(Detail::Main, 100),
                Block::List(vec!["point".into(); 50]),
                Block::Heading { level: 1, text: crate::report::paper::content::SIGNATURES.into() },
            ],
        };
        assert_eq!(shorten(&paper, 0, &[]), paper);
        let once = shorten(&paper, 2, &[]);
        assert!(!once.blocks.iter().any(|b| matches!(b, Block::Figure(_))));
        let said = &once.blocks[once.blocks.len() - 2];
        let Block::Paragraph(words) = said else { panic!("{said:?}") };
        assert!(words.contains("Clear of noise") && words.contains("report.html"), "{words}");
        let Block::List(points) = &once.blocks[2] else { panic!() };
        assert_eq!((points.len(), points[40].starts_with("And 10 more")), (41, true));
        assert_eq!(left_out(&paper, 3), [1, 0], "the engineer's table before the extra plot");
        let back = shorten(&paper, 3, &[1]);
        assert!(matches!(&back.blocks[0], Block::Table(t) if t.rows.len() == 2));
        assert!(!back.blocks.iter().any(|b| matches!(b, Block::Figure(_))));
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
