//! Tests of `seat_map`.

use super::*;
use crate::analysis::geometry::{Geometry, SeatGeometry};
use crate::report::example::example_result;
use crate::report::plots::render::parse;
use crate::report::result::PictureResult;
use crate::report::words::geometry::said;

fn seat(id: &str, ahead: f64, right: f64) -> SeatGeometry {
    SeatGeometry {
        id: id.to_owned(),
        distance_m: ahead - 0.1,
        offset_m: right,
        loudspeaker_m: ahead.hypot(right),
        loudspeaker_deg: right.atan2(ahead).to_degrees(),
        full: None,
        masked: None,
        structure_visible: None,
    }
}

fn mapped(seats: &[(&str, f64, f64)]) -> Option<Drawing> {
    mapped_with(seats, |_| {})
}

fn mapped_with(
    seats: &[(&str, f64, f64)],
    change: impl FnOnce(&mut SessionResult),
) -> Option<Drawing> {
    let mut result = example_result(seats.len());
    for (of_result, (id, ahead, right)) in result.seats.iter_mut().zip(seats) {
        of_result.id = (*id).to_owned();
        of_result.position_m = Some([*ahead, *right, 1.1]);
    }
    let seats = seats.iter().map(|(id, ahead, right)| seat(id, *ahead, *right)).collect();
    let geometry = Geometry {
        seats,
        structure_mm: None,
        structure_distance_m: None,
        moire: None,
        cautions: Vec::new(),
    };
    result.picture = Some(PictureResult { light: None, geometry: said(geometry) });
    change(&mut result);
    seat_map(&result, DisplayUnits::Metric)
}

/// A number in an element.
fn number(line: &str, key: &str) -> f64 {
    let from = line.find(key).unwrap() + key.len();
    line[from..].split('"').next().unwrap().parse().unwrap()
}

/// Fill colours and centres of the seats on the page, in their order: a circle for the rim,
/// then one for the colour.
fn dots(svg: &str) -> Vec<(&str, [f64; 2])> {
    svg.lines()
        .filter(|l| l.starts_with("<circle"))
        .skip(1)
        .step_by(2)
        .map(|l| {
            let fill = l.split("fill=\"").nth(1).unwrap().split('"').next().unwrap();
            (fill, [number(l, " cx=\""), number(l, " cy=\"")])
        })
        .collect()
}

fn centres(svg: &str) -> Vec<[f64; 2]> {
    dots(svg).into_iter().map(|d| d.1).collect()
}

#[test]
fn words_of_seats_close_together_do_not_meet() {
    // Words of A in one line would reach B, 0.15 m beside it.
    let close = mapped(&[("A", 3.0, 0.0), ("B", 3.0, 0.15)]).unwrap().paper_svg;
    assert!(close.contains(">3.00 m<") && !close.contains(">3.00 m, "), "a line each");
    let apart = mapped(&[("A", 3.0, -1.0), ("B", 3.0, 1.0)]).unwrap().paper_svg;
    assert!(apart.contains(">3.16 m, "), "one line");
    let names = ["A", "B", "C", "D"];
    let crowd: Vec<_> = (0..4).map(|i| (names[i], 3.0, 0.02 * i as f64)).collect();
    assert!(!mapped(&crowd).unwrap().svg.contains(">A<"), "no room for words at all");
}

#[test]
fn seats_that_lose_the_same_have_one_colour_in_the_middle_of_the_scale() {
    let map = mapped(&[("A", 3.0, -1.0), ("B", 3.0, 0.0), ("C", 3.0, 1.0)]).unwrap();
    let seats = dots(&map.svg);
    assert!(seats.iter().any(|d| d.0 != seats[0].0), "the seats of the example differ");
    let alike = same_losses(&[("A", 3.0, -1.0), ("B", 3.0, 0.0), ("C", 3.0, 1.0)]);
    let middle = crate::report::plots::svg::hex(STEPS[2]);
    assert!(dots(&alike.svg).iter().all(|d| d.0 == middle), "{:?}", dots(&alike.svg));
}

fn same_losses(seats: &[(&str, f64, f64)]) -> Drawing {
    mapped_with(seats, |result| {
        let first = result.seats[0].loss_db.clone();
        // A hundredth apart, as of repeated takes.
        for (i, seat) in result.seats.iter_mut().enumerate() {
            seat.loss_db = first.iter().map(|v| v.map(|v| v + 0.01 * i as f64)).collect();
        }
    })
    .unwrap()
}

#[test]
fn each_seat_with_a_position_is_on_the_map_and_names_stay_text() {
    assert_eq!(seat_map(&example_result(3), DisplayUnits::Metric), None);
    // 3-4-5: 3 m ahead and 4 m aside are 5 m and 53 degrees.
    let map = mapped(&[("<b>&\"", 3.0, 4.0), ("R1C", 3.0, 0.0)]).unwrap();
    assert!(map.description.contains("5.00 m, 53\u{b0}"), "{}", map.description);
    for svg in [&map.svg, &map.paper_svg] {
        assert_eq!(centres(svg).len(), 2);
        assert!(!svg.contains("<b>"));
        parse(map.id, svg).unwrap();
    }
}

#[test]
fn directions_are_those_of_the_positions() {
    // The screen is on top, and the audience face it: farther back is down the page, right
    // is right.
    let map = mapped(&[("near", 2.0, 0.0), ("far", 4.0, 0.0), ("right", 3.0, 1.0)]).unwrap();
    for svg in [&map.svg, &map.paper_svg] {
        let [near, far, right] = centres(svg)[..] else { panic!() };
        assert!(far[1] > near[1] && (far[0] - near[0]).abs() < 0.02);
        assert!(right[0] > near[0]);
        // One scale both ways: 2 m backwards are twice as long as 1 m aside.
        assert!(((far[1] - near[1]) - 2.0 * (right[0] - near[0])).abs() < 0.05);
        let screen = svg.lines().find(|l| l.contains("stroke-width=\"5\"")).unwrap();
        let height = screen.split(' ').nth(2).and_then(|y| y.split('L').next());
        assert!(height.unwrap().parse::<f64>().unwrap() < near[1], "{screen}");
    }
}
