//! Sessions and forecasts side by side as one web page, in the look of the report.

use super::html::page;
use super::paper::{Block, Detail, Paper, PaperFigure, Table};
use super::plots::drawing::Drawing;
use super::words::{frequency_words, signed};
use crate::analysis::compare::{Comparison, Entry, Origin, Rated};

/// The page: what the figures show, the ranking, every pair, and the plots.
pub fn compare_page(comparison: &Comparison, drawings: &[Drawing]) -> String {
    let mut blocks = vec![heading("What is shown")];
    blocks.push(Block::List(comparison.statement.iter().map(|s| tidy(s)).collect()));
    blocks.extend(drawings.iter().map(|drawing| {
        Block::Figure(PaperFigure {
            name: drawing.id.to_owned(),
            svg: drawing.paper_svg.clone(),
            title: drawing.title.clone(),
            subtitle: drawing.subtitle.clone(),
            caption: drawing.caption.clone(),
            detail: Detail::Main,
            alternative: tidy(&drawing.description),
        })
    }));
    blocks.push(heading("Side by side"));
    blocks.push(Block::Table(ranking(comparison)));
    blocks.push(Block::Paragraph(
        "A rank is one more than the number of entries that are shown to be better; entries whose \
         difference lies within its uncertainty share a rank. Power: what makes the loss up costs, \
         as a factor, for pink programme."
            .into(),
    ));
    blocks.push(heading("Two by two"));
    blocks.push(Block::Table(pairs(comparison)));
    blocks.push(heading("Band by band"));
    blocks.push(Block::Table(bands(comparison)));
    let names: Vec<String> = comparison.entries.iter().map(|e| e.summary.name.clone()).collect();
    let n = names.len();
    let paper = Paper {
        title: format!("{n} screens side by side"),
        subtitle: names.join(" \u{b7} "),
        logo: None,
        blocks,
    };
    page(&paper, "Shown in plots and tables", &names)
}

fn heading(text: &str) -> Block {
    Block::Heading { level: 1, text: text.to_owned() }
}

fn tidy(text: &str) -> String {
    text.replace("+-", "\u{b1}")
}

fn dash() -> String {
    "\u{2013}".to_owned()
}

fn rated(figure: Rated, decimals: usize) -> String {
    let value = signed(figure.value, decimals);
    figure.u95.map_or_else(|| value.clone(), |u| format!("{value} \u{b1} {u:.decimals$}"))
}

fn ranking(comparison: &Comparison) -> Table {
    let rank = |r: Option<usize>| r.map_or_else(dash, |r| r.to_string());
    let row = |e: &Entry| {
        vec![
            e.summary.name.clone(),
            match e.summary.origin {
                Origin::Measured => "takes",
                Origin::Predicted => "description",
            }
            .to_owned(),
            rated(e.mean_loss_db, 2),
            e.loss_rank.to_string(),
            e.spread_db.map_or_else(dash, |s| rated(s, 2)),
            rank(e.spread_rank),
            e.summary.claims.map_or_else(dash, |[kept, n]| format!("{kept} of {n}")),
            rank(e.claims_rank),
            e.summary.gain.map_or_else(dash, |g| rated(g, 2)),
            rated(e.power_factor, 2),
        ]
    };
    let ends = comparison.common_bands_hz.first().zip(comparison.common_bands_hz.last());
    let range = ends.map_or_else(String::new, |(low, high)| {
        format!(", {} to {}", frequency_words(*low), frequency_words(*high))
    });
    Table {
        caption: format!(
            "Figures over the bands known for all{range}, with their 95 % uncertainty"
        ),
        head: [
            "Screen",
            "From",
            "Mean loss, dB",
            "Rank",
            "Spread, dB",
            "Rank",
            "Claims kept",
            "Rank",
            "Gain on axis",
            "Power factor",
        ]
        .map(String::from)
        .to_vec(),
        rows: comparison.entries.iter().map(row).collect(),
        detail: Detail::Main,
    }
}

fn pairs(comparison: &Comparison) -> Table {
    let rows = comparison.pairs.iter().map(|pair| {
        let [a, b] = &pair.names;
        let difference = Rated { value: pair.difference_db, u95: pair.u95_db };
        let verdict = match (pair.shown, pair.difference_db > 0.0) {
            (false, _) => "no difference shown".to_owned(),
            (true, true) => format!("{a} loses more"),
            (true, false) => format!("{b} loses more"),
        };
        vec![format!("{a} and {b}"), rated(difference, 2), verdict]
    });
    Table {
        caption: "Mean loss of the first less that of the second, dB".into(),
        head: ["Pair", "Difference, dB", "Shown"].map(String::from).to_vec(),
        rows: rows.collect(),
        detail: Detail::Main,
    }
}

fn bands(comparison: &Comparison) -> Table {
    let mut all_hz: Vec<f64> =
        comparison.entries.iter().flat_map(|e| e.summary.bands_hz.iter().copied()).collect();
    all_hz.sort_by(f64::total_cmp);
    all_hz.dedup();
    let rows = all_hz.iter().map(|hz| {
        let cells = comparison.entries.iter().map(|e| {
            let s = &e.summary;
            let at = s.bands_hz.iter().position(|b| b == hz);
            let of = |values: &[Option<f64>]| at.and_then(|b| values.get(b).copied().flatten());
            of(&s.loss_db).map_or_else(dash, |value| rated(Rated { value, u95: of(&s.u95_db) }, 2))
        });
        std::iter::once(frequency_words(*hz)).chain(cells).collect()
    });
    let mut head = vec!["Band".to_owned()];
    head.extend(comparison.entries.iter().map(|e| e.summary.name.clone()));
    Table {
        caption: "Mean loss over the seats, dB, with its 95 % uncertainty".into(),
        head,
        rows: rows.collect(),
        detail: Detail::Main,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::compare::{Summary, compare};
    use crate::report::example::example_result;
    use crate::report::plots::compare::compare_figure;

    #[test]
    fn what_is_not_shown_is_not_ranked() {
        let summary = |name: &str, more_db: f64| {
            let mut result = example_result(3);
            result.mean.loss_db.iter_mut().flatten().for_each(|l| *l += more_db);
            Summary::from_result(name, &serde_json::to_value(&result).unwrap()).unwrap()
        };
        // U of a mean is 0.105 dB here, that of a difference 0.15 dB.
        let summaries = vec![summary("<i>a", 0.0), summary("b", 0.1), summary("c", 2.0)];
        let comparison = compare(summaries).unwrap();
        let drawing = Drawing::from(&compare_figure(&comparison));
        let page = compare_page(&comparison, &[drawing]);
        assert!(!page.contains("<i>") && page.contains("&lt;i&gt;a"));
        assert_eq!(page.matches("<td class=\"word\">no difference shown</td>").count(), 1);
        assert_eq!(page.matches("<td class=\"word\">c loses more</td>").count(), 2);
        let ranks: Vec<usize> = comparison.entries.iter().map(|e| e.loss_rank).collect();
        assert_eq!(ranks, [1, 1, 3]);
        for part in ["<h1>3 screens side by side</h1>", "id=\"compare\"", "type=\"checkbox\""] {
            assert!(page.contains(part), "{part}");
        }
    }
}
