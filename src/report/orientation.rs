//! The picture beside published targets, as one table: no claim is judged by them.

use super::look::aligned;
use crate::analysis::claims::Verdict;
use crate::analysis::picture::Light;
use crate::analysis::picture::uniformity::LimitCheck;
use crate::ingest::manifest::DisplayUnits;
use crate::words::luminance;

/// What the table shows.
pub const ORIENTATION: &str = "The picture beside published targets, for orientation";

/// Its columns.
pub const ORIENTATION_HEAD: [&str; 4] = ["Target", "Range", "Measured", "Kept"];

/// A row for each target, the luminance of the centre first.
pub fn orientation_rows(light: &Light, units: DisplayUnits) -> Vec<Vec<String>> {
    let bright = |cd_m2: f64| luminance(cd_m2, units);
    let share = |ratio: f64| format!("{:.0} %", 100.0 * ratio);
    let of_centre = light.luminance.iter().flat_map(|l| &l.limits);
    let of_centre = of_centre.map(|l| row(l, bright, "brighter than that"));
    let of_points = light.uniformity.iter().flat_map(|u| &u.limits);
    let of_points = of_points.map(|l| row(l, share, "more even than that"));
    of_centre.chain(of_points).collect()
}

fn row(limit: &LimitCheck, show: impl Fn(f64) -> String, above: &str) -> Vec<String> {
    // One unit at the end of a range and of a figure with its uncertainty is enough.
    let bare = |value: f64| {
        let text = show(value);
        text.split_once(' ').map_or(text.clone(), |(figure, _)| figure.to_owned())
    };
    vec![
        limit.name.to_owned(),
        format!("{} to {}", bare(limit.minimum), show(limit.maximum)),
        format!("{} \u{b1} {}", bare(limit.measured), show(limit.u95)),
        kept(limit, above),
    ]
}

/// More even or brighter than a cinema is no fault at home: the word says which way it is.
fn kept(limit: &LimitCheck, above: &str) -> String {
    let side = if limit.measured > limit.maximum { above } else { "below that" };
    match limit.verdict {
        Verdict::Pass => "yes".into(),
        Verdict::ConditionalPass => "probably".into(),
        Verdict::ConditionalFail => format!("probably {side}"),
        Verdict::Fail => side.into(),
        Verdict::NotShown => "not shown".into(),
    }
}

/// Where the targets stand, each source once; empty without a target.
pub fn orientation_sources(light: &Light) -> String {
    let limits = light.luminance.iter().flat_map(|l| &l.limits);
    let mut once: Vec<&str> = Vec::new();
    for limit in limits.chain(light.uniformity.iter().flat_map(|u| &u.limits)) {
        if !once.contains(&limit.source) {
            once.push(limit.source);
        }
    }
    if once.is_empty() { String::new() } else { format!("Targets from {}.", once.join("; ")) }
}

/// The table as lines of a terminal; empty without a target.
pub fn orientation_lines(light: &Light) -> Vec<String> {
    let rows = orientation_rows(light, DisplayUnits::Metric);
    if rows.is_empty() {
        return Vec::new();
    }
    let head = ORIENTATION_HEAD.map(str::to_owned).to_vec();
    let rows: Vec<Vec<String>> = std::iter::once(head).chain(rows).collect();
    let lines = aligned(&rows, ORIENTATION_HEAD.len());
    std::iter::once(format!("{ORIENTATION}:")).chain(lines.lines().map(str::to_owned)).collect()
}
