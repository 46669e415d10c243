//! Sessions and forecasts side by side as one paper, for the web page and for PDF.

use super::paper::Paper;
use super::paper::writer::{Writer, dash};
use super::plots::drawing::Drawing;
use super::words::compare::with_u;
use super::words::frequency_range;
use super::words::said::{Said, Statement};
use crate::analysis::compare::{Comparison, Entry, Origin, Rated};
use crate::words::{frequency_words, signed};

/// The paper: what the figures show, the ranking, every pair, and the plots.
pub fn compare_paper(comparison: &Said<Comparison, Statement>, drawings: &[Drawing]) -> Paper {
    let names: Vec<&str> = comparison.entries.iter().map(|e| e.summary.name.as_str()).collect();
    let title = format!("{} screens side by side", names.len());
    let mut writer = Writer::new(drawings, &title);
    writer.part("What is shown");
    writer.list(&comparison.words.statement);
    writer.other_figures();
    writer.part("Side by side");
    ranking(comparison, &mut writer);
    writer.say(
        "A rank is one more than the number of entries that are shown to be better; entries whose \
         difference lies within its uncertainty share a rank. The power is that of making the whole loss \
         up, for pink programme; a setting may make up less.",
    );
    limits(comparison, &mut writer);
    writer.part("Two by two");
    pairs(comparison, &mut writer);
    writer.part("Band by band");
    bands(comparison, &mut writer);
    writer.paper(names.join(" \u{b7} "), None)
}

fn rated(figure: Rated) -> String {
    with_u(figure, "")
}

/// What the settings leave of the limits, where any is stated.
fn limits(comparison: &Comparison, writer: &mut Writer) {
    let left = |left_db: Option<f64>| left_db.map_or_else(dash, |db| signed(db, 1));
    let stated = comparison.entries.iter().map(|e| (&e.summary.name, e.summary.headroom));
    let stated = stated.filter(|(_, h)| h.amplifier_db.or(h.driver_db).is_some());
    writer.table(
        "Headroom of the stated limits with the setting of each session, dB; below zero the limit \
         is exceeded",
        &["Screen", "Amplifier", "High-frequency driver"],
        stated.map(|(name, h)| vec![name.clone(), left(h.amplifier_db), left(h.driver_db)]),
    );
}

fn ranking(comparison: &Comparison, writer: &mut Writer) {
    let rank = |r: Option<usize>| r.map_or_else(dash, |r| r.to_string());
    let row = |e: &Entry| {
        vec![
            e.summary.name.clone(),
            match e.summary.origin {
                Origin::Measured => "takes",
                Origin::Predicted => "description",
            }
            .to_owned(),
            rated(e.mean_loss_db),
            e.loss_rank.to_string(),
            e.largest_loss.map_or_else(dash, |l| {
                format!("{} at {}", signed(l.loss_db.value, 1), frequency_words(l.nominal_hz))
            }),
            e.spread_db.map_or_else(dash, rated),
            rank(e.spread_rank),
            e.summary.claims.map_or_else(dash, |[kept, n]| format!("{kept} of {n}")),
            rank(e.claims_rank),
            e.summary.gain.map_or_else(dash, rated),
            rated(e.power_factor),
        ]
    };
    let bands_hz = &comparison.common_bands_hz;
    let ends = bands_hz.first().zip(bands_hz.last()).map(|(low, high)| [*low, *high]);
    let range = ends.map_or_else(String::new, |ends| format!(", {}", frequency_range(ends)));
    writer.table(
        &format!("Figures over the bands known for all{range}, with their 95 % uncertainty"),
        &[
            "Screen",
            "From",
            "Mean loss, dB",
            "Rank",
            "Largest loss, dB",
            "Spread, dB",
            "Rank",
            "Claims kept",
            "Rank",
            "Gain on axis",
            "Power to make it up, factor",
        ],
        comparison.entries.iter().map(row),
    );
}

fn pairs(comparison: &Comparison, writer: &mut Writer) {
    let rows = comparison.pairs.iter().map(|pair| {
        let [a, b] = &pair.names;
        let difference = Rated { value: pair.difference_db, u95: pair.u95_db };
        let verdict = match (pair.shown, pair.difference_db > 0.0) {
            (false, _) => "no difference shown".to_owned(),
            (true, true) => format!("{a} loses more"),
            (true, false) => format!("{b} loses more"),
        };
        vec![format!("{a} and {b}"), rated(difference), verdict]
    });
    let caption = "Mean loss of the first less that of the second, dB";
    writer.table(caption, &["Pair", "Difference, dB", "Shown"], rows);
}

fn bands(comparison: &Comparison, writer: &mut Writer) {
    let mut all_hz: Vec<f64> =
        comparison.entries.iter().flat_map(|e| e.summary.bands_hz.iter().copied()).collect();
    all_hz.sort_by(f64::total_cmp);
    all_hz.dedup();
    let rows = all_hz.iter().map(|hz| {
        let cells = comparison.entries.iter().map(|e| {
            let s = &e.summary;
            let at = s.bands_hz.iter().position(|b| b == hz);
            let of = |values: &[Option<f64>]| at.and_then(|b| values.get(b).copied().flatten());
            of(&s.loss_db).map_or_else(dash, |value| rated(Rated { value, u95: of(&s.u95_db) }))
        });
        std::iter::once(frequency_words(*hz)).chain(cells).collect()
    });
    let names = comparison.entries.iter().map(|e| e.summary.name.as_str());
    let head: Vec<&str> = std::iter::once("Band").chain(names).collect();
    writer.table("Mean loss over the seats, dB, with its 95 % uncertainty", &head, rows);
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::compare::{Summary, compare};
    use crate::report::example::example_result;
    use crate::report::html::page;
    use crate::report::plots::compare::compare_figure;
    use crate::report::words::compare::said;

    #[test]
    fn what_is_not_shown_is_not_ranked() {
        let summary = |name: &str, more_db: f64| {
            let mut result = example_result(3);
            result.mean.loss_db.iter_mut().flatten().for_each(|l| *l += more_db);
            Summary::from_result(name, &serde_json::to_value(&result).unwrap()).unwrap()
        };
        // U of a mean is 0.105 dB here, that of a difference 0.15 dB.
        let summaries = vec![summary("<i>a", 0.0), summary("b", 0.1), summary("c", 2.0)];
        let comparison = said(compare(summaries).unwrap());
        let drawing = Drawing::from(&compare_figure(&comparison));
        let names = ["<i>a", "b", "c"].map(String::from);
        let page = page(&compare_paper(&comparison, &[drawing]), "Shown", &names);
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
