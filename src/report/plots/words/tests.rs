//! Tests of `words`.

use super::super::axes::Axis;
use super::super::figure::Figure;
use super::super::layout::{Format, Layout};
use super::super::series::Series;
use super::*;

/// A limit of 1 dB from 100 Hz to 10 kHz over a curve that zigzags through its words below
/// 1 kHz and lies far away above.
fn figure(limits: &[f64]) -> Figure {
    let curve = (0..=40).map(|k| {
        let hz = 100.0 * 10f64.powf(f64::from(k) / 20.0);
        let near = if k % 2 == 0 { 0.0 } else { 2.0 };
        (hz, Some(if hz < 1000.0 { near } else { -4.0 }))
    });
    let limit = |&value: &f64| Mark::Limit {
        value,
        from_to: [100.0, 10_000.0],
        label: "at most".into(),
        is_met: false,
    };
    let curve = Mark::Curve(Series::new("Loss", curve.collect(), Style::main()));
    Figure {
        id: "claims",
        x: Axis::frequency(100.0, 10_000.0),
        y_title: "dB",
        include_db: [-5.0, 5.0],
        marks: limits.iter().map(limit).chain([curve]).collect(),
        ..Figure::default()
    }
}

#[test]
fn the_words_of_a_limit_hide_no_curve() {
    let figure = figure(&[1.0]);
    let layout = Layout::of(&figure, Format::File);
    let page = Page::new(&figure, &layout);
    let ends = [100.0, 10_000.0].map(|hz| page.point(hz, 1.0));
    let place = page.limit_place(ends, "at most", &page.pieces(), &[]);
    let one_khz = page.point(1000.0, 0.0)[0];
    assert!(place.left >= one_khz && place.right <= ends[1][0], "{place:?}, {one_khz}");
    assert!((ends[0][1] - place.bottom).abs() < 6.0, "beside its line");
}

#[test]
fn words_of_limits_close_together_do_not_meet() {
    let svg = figure(&[1.0, 1.1, 1.2]).to_svg(Format::File);
    let number = |line: &str, key: &str| -> f64 {
        let from = line.find(key).expect("attribute") + key.len();
        line[from..].split('"').next().unwrap().parse().unwrap()
    };
    let places: Vec<[f64; 2]> = svg
        .lines()
        .filter(|l| l.starts_with("<text") && l.contains(">at most<"))
        .map(|l| [number(l, " x=\""), number(l, " y=\"")])
        .collect();
    assert_eq!(places.len(), 3);
    let width = text_width("at most", CAPTION_SIZE, true);
    for (i, a) in places.iter().enumerate() {
        for b in &places[..i] {
            let apart = (a[0] - b[0]).abs() >= width || (a[1] - b[1]).abs() >= CAPTION_SIZE;
            assert!(apart, "{a:?} {b:?}");
        }
    }
}

#[test]
fn labels_keep_order_and_distance() {
    assert_eq!(spread_labels(&[50.0, 10.0], 10.0, [0.0, 100.0]), [50.0, 10.0]);
    // Two at the same place move apart by equal amounts: least squares.
    assert_eq!(spread_labels(&[50.0, 50.0], 10.0, [0.0, 100.0]), [45.0, 55.0]);
    assert_eq!(spread_labels(&[98.0, 99.0], 10.0, [0.0, 100.0]), [90.0, 100.0]);
    let crowded = spread_labels(&[5.0; 21], 10.0, [0.0, 100.0]);
    assert_eq!((crowded[0], crowded[20]), (0.0, 100.0));
    assert!(spread_labels(&[], 10.0, [0.0, 1.0]).is_empty());
    assert_eq!(spread_labels(&[200.0], 10.0, [0.0, 100.0]), [100.0]);
}
