//! Where the seats are and what each loses: the room from above.
//!
//! The loudspeaker stands at the left and plays to the right, so that seats of a row lie one
//! below the other and their words do not meet. Down the page is to the right seen from the
//! loudspeaker, as in the session's positions; nothing is mirrored.

use super::draw::open_page;
use super::drawing::Drawing;
use super::layout::{
    CAPTION_SIZE, EDGE, Format, HEIGHT, PAPER_WIDTH, SUBTITLE_SIZE, TITLE_SIZE, WIDTH,
};
use super::seat_words::{WORDS_AWAY, WORDS_LEADING, most_words, place_words, words_of};
use super::series::{INK, MUTED_INK, QUIET};
use super::svg::{Anchor, Svg, TextStyle};
use super::text::{fit, text_width, wrap};
use crate::analysis::geometry::SeatGeometry;
use crate::ingest::manifest::DisplayUnits;
use crate::report::paper::measures::FOOT_M;
use crate::report::result::{SeatResult, SessionResult};
use crate::report::words::{decibels, frequency_words, list_words};

/// Steps of one hue from light to dark, so that they keep their order in grey. The darkest has
/// white room around it by the rim of the seat.
const STEPS: [&str; 5] = ["#E4EDF5", "#B4CFE6", "#7FADD4", "#4781B8", "#174F86"];

/// Height in a paper, px.
const PAPER_HEIGHT: f64 = 490.0;

/// A seat on the map.
pub(super) struct Place<'a> {
    pub(super) seat: &'a SeatResult,
    pub(super) geometry: &'a SeatGeometry,
    /// Ahead of the loudspeaker, and to the right seen from it, m.
    at_m: [f64; 2],
    /// Largest loss from 500 Hz up: nominal band and dB.
    pub(super) most: Option<(f64, f64)>,
}

/// The plan view; `None` where no seat has a position in front of the screen.
pub fn seat_map(result: &SessionResult, units: DisplayUnits) -> Option<Drawing> {
    let geometry = &result.picture.as_ref()?.geometry;
    let places: Vec<Place<'_>> = geometry
        .seats
        .iter()
        .filter_map(|geometry| {
            let seat = result.seats.iter().find(|s| s.id == geometry.id)?;
            let [ahead, right, _] = seat.position_m?;
            let most = most(result, seat);
            Some(Place { seat, geometry, at_m: [ahead, right], most })
        })
        .collect();
    let first = places.first()?;
    let map = Map {
        gap_m: first.at_m[0] - first.geometry.distance_m,
        screen_m: first.geometry.full.map(|picture| picture.width_m),
        places: &places,
        units,
    };
    let title = finding(&places);
    let sentence = |p: &Place<'_>| {
        let loss = p.most.map_or("no value".to_owned(), |(hz, db)| {
            format!("{} at {}", decibels(db), frequency_words(hz))
        });
        format!("{}: {loss}; {}.", p.seat.id, place_words(p, units))
    };
    let description = places.iter().map(sentence).collect::<Vec<_>>().join(" ");
    let subtitle = format!(
        "Seats from above with their largest loss from 500 Hz up, distance and angle from the \
         loudspeaker, {}",
        result.title
    );
    let caption =
        "Darker = more loss. Angles to the right, seen from the loudspeaker, are positive.";
    let words = [&title, &description, &subtitle, caption];
    Some(Drawing {
        id: "seat-map",
        svg: map.draw(Format::File, words),
        paper_svg: map.draw(Format::Paper, words),
        caption: caption.to_owned(),
        title,
        subtitle,
        description,
    })
}

/// The band from 500 Hz up in which a seat loses most.
fn most(result: &SessionResult, seat: &SeatResult) -> Option<(f64, f64)> {
    let [low, high] = result.headline.band_hz;
    result
        .bands
        .iter()
        .zip(&seat.loss_db)
        .filter(|(band, _)| (low..=high).contains(&band.nominal_hz))
        .filter_map(|(band, loss)| Some((band.nominal_hz, (*loss)?)))
        .max_by(|a, b| a.1.total_cmp(&b.1))
}

fn finding(places: &[Place<'_>]) -> String {
    let named = |p: &Place<'_>| p.most.map(|(hz, db)| (p.seat.id.clone(), hz, db));
    let most = places.iter().filter_map(named).max_by(|a, b| a.2.total_cmp(&b.2));
    match most {
        Some((_, hz, db)) if places.len() > 1 => {
            // Seats whose figures read the same lose the same.
            let same =
                |p: &&Place<'_>| p.most.is_some_and(|m| m.0 == hz && decibels(m.1) == decibels(db));
            let ids: Vec<String> = places.iter().filter(same).map(|p| p.seat.id.clone()).collect();
            let verb = if ids.len() > 1 { "lose" } else { "loses" };
            let id = if ids.len() > 3 { format!("{} seats", ids.len()) } else { list_words(&ids) };
            format!("{id} {verb} most: {} at {}", decibels(db), frequency_words(hz))
        }
        Some((id, hz, db)) => {
            format!("{id} loses at most {}, at {}", decibels(db), frequency_words(hz))
        }
        None => "Where the seats are".to_owned(),
    }
}

struct Map<'a> {
    gap_m: f64,
    screen_m: Option<f64>,
    places: &'a [Place<'a>],
    units: DisplayUnits,
}

/// From metres to px.
struct Frame {
    left: f64,
    middle: f64,
    scale: f64,
}

impl Frame {
    fn point(&self, [ahead, right]: [f64; 2]) -> [f64; 2] {
        [self.left + ahead * self.scale, self.middle + right * self.scale]
    }
}

fn text(size: f64, bold: bool, color: &'static str, anchor: Anchor) -> TextStyle {
    TextStyle { size, bold, color, anchor }
}

impl Map<'_> {
    fn draw(&self, format: Format, [title, description, subtitle, caption]: [&str; 4]) -> String {
        let mut svg = Svg::new();
        let is_file = format == Format::File;
        let [width, height] = if is_file { [WIDTH, HEIGHT] } else { [PAPER_WIDTH, PAPER_HEIGHT] };
        open_page(&mut svg, format, [width, height], ["seat-map", title, description], &[]);
        let mut top = 20.0;
        if is_file {
            let room = width - 2.0 * EDGE;
            for (words, size, bold, leading) in
                [(title, TITLE_SIZE, true, 1.25), (subtitle, SUBTITLE_SIZE, false, 1.4)]
            {
                let color = if bold { INK } else { MUTED_INK };
                for line in wrap(words, size, bold, room, 2) {
                    top += size * leading;
                    svg.text([EDGE, top], text(size, bold, color, Anchor::Start), &line);
                }
            }
            let at = [EDGE, height - 24.0];
            svg.text(at, text(CAPTION_SIZE, false, MUTED_INK, Anchor::Start), caption);
            top += 30.0;
        }
        let bottom = height - if is_file { 120.0 } else { 62.0 };
        let frame = self.frame([170.0, top, width - 200.0, bottom]);
        self.room(&mut svg, &frame, [top, bottom]);
        for place in self.places {
            self.seat(&mut svg, &frame, place);
        }
        self.key(&mut svg, &frame, [width, bottom + 40.0]);
        svg.close("svg");
        svg.finish()
    }

    /// The scale at which all seats, the loudspeaker and the screen find room.
    fn frame(&self, [left, top, right, bottom]: [f64; 4]) -> Frame {
        let half_screen = self.screen_m.map_or(0.4, |w| w / 2.0);
        let aside = self.places.iter().map(|p| p.at_m[1].abs()).fold(half_screen, f64::max) + 0.25;
        let depth = self.places.iter().map(|p| p.at_m[0]).fold(1.0, f64::max);
        let scale = ((bottom - top) / (2.0 * aside)).min((right - left) / depth);
        Frame { left, middle: (top + bottom) / 2.0, scale }
    }

    /// Loudspeaker, screen, the axis, and which side is which.
    fn room(&self, svg: &mut Svg, frame: &Frame, [top, bottom]: [f64; 2]) {
        let label = text(22.0, false, MUTED_INK, Anchor::Start);
        let half = self.screen_m.map_or(0.4, |w| w / 2.0);
        let depth = self.places.iter().map(|p| p.at_m[0]).fold(1.0, f64::max);
        let [x, y] = frame.point([0.0, 0.0]);
        svg.line([x, y], frame.point([depth, 0.0]), "#D3D8DD", 1.4, "axis");
        // The cabinet stands behind its reference point.
        svg.rect([x - 40.0, y - 30.0], [40.0, 60.0], QUIET, "loudspeaker");
        svg.line([x, y - 30.0], [x, y + 30.0], INK, 3.0, "front");
        let ends = [frame.point([self.gap_m, -half]), frame.point([self.gap_m, half])];
        svg.line(ends[0], ends[1], INK, 5.0, "screen");
        svg.text([ends[0][0] + 14.0, (ends[0][1] + 20.0).max(top + 20.0)], label, "Screen");
        // Before the screen's line, which would run through the word.
        let before = TextStyle { anchor: Anchor::End, ..label };
        svg.text([x - 6.0, y + 58.0], before, "Loudspeaker");
        let side = text(CAPTION_SIZE, false, MUTED_INK, Anchor::Start);
        let middle = frame.left + 190.0;
        svg.text([middle, top + 18.0], side, "left, seen from the loudspeaker");
        svg.text([middle, bottom - 4.0], side, "right, seen from the loudspeaker");
    }

    /// Least and greatest of the seats' largest losses, dB.
    fn range_db(&self) -> Option<[f64; 2]> {
        let losses = self.places.iter().filter_map(|p| p.most.map(|m| [m.1, m.1]));
        losses.reduce(|a, b| [a[0].min(b[0]), a[1].max(b[1])])
    }

    fn color(&self, db: f64) -> &'static str {
        let [low, high] = self.range_db().unwrap_or([db, db]);
        let share = if high > low { (db - low) / (high - low) } else { 0.5 };
        STEPS[((share * STEPS.len() as f64) as usize).min(STEPS.len() - 1)]
    }

    /// Least distance between two seats on the page, px.
    fn nearest(&self, frame: &Frame) -> f64 {
        let at: Vec<[f64; 2]> = self.places.iter().map(|p| frame.point(p.at_m)).collect();
        let pairs = at.iter().enumerate().flat_map(|(i, a)| at[..i].iter().map(move |b| (a, b)));
        pairs.map(|(a, b)| (a[0] - b[0]).hypot(a[1] - b[1])).fold(f64::INFINITY, f64::min)
    }

    fn seat(&self, svg: &mut Svg, frame: &Frame, place: &Place<'_>) {
        let at = frame.point(place.at_m);
        let nearest = self.nearest(frame);
        let radius = (nearest * 0.4).clamp(4.0, 21.0);
        svg.open("g", &[("class", "series"), ("data-series", &place.seat.id)]);
        svg.dot(at, radius, INK, "edge");
        let color = place.most.map_or("#FFFFFF", |m| self.color(m.1));
        svg.dot(at, (radius - 2.2).max(1.0), color, "seat");
        let x = at[0] + radius + WORDS_AWAY;
        // Fewer words where seats stand close together.
        if nearest >= 70.0 {
            let name = fit(&place.seat.id, 24.0, true, 190.0);
            svg.rimmed_text([x, at[1] - 14.0], text(24.0, true, INK, Anchor::Start), &name);
            let small = text(20.0, false, INK, Anchor::Start);
            let seats: Vec<_> = self.places.iter().map(|p| (p, frame.point(p.at_m))).collect();
            let kind = most_words(&seats, self.units, radius);
            let words = words_of(place, self.units, kind);
            for (line, word) in words.iter().enumerate() {
                svg.rimmed_text([x, at[1] + 9.0 + WORDS_LEADING * line as f64], small, word);
            }
        } else if nearest >= 26.0 {
            let name = fit(&place.seat.id, 18.0, true, 90.0);
            svg.rimmed_text([x, at[1] + 6.0], text(18.0, true, INK, Anchor::Start), &name);
        }
        svg.close("g");
    }

    /// A metre, and what the colours mean.
    fn key(&self, svg: &mut Svg, frame: &Frame, [width, y]: [f64; 2]) {
        let label = text(CAPTION_SIZE, false, MUTED_INK, Anchor::Start);
        let start = EDGE;
        let (rule_m, rule) = match self.units {
            DisplayUnits::Metric => (1.0, "1 m"),
            DisplayUnits::Imperial => (3.0 * FOOT_M, "3 ft"),
        };
        let end = start + rule_m * frame.scale;
        svg.line([start, y], [end, y], INK, 3.0, "rule");
        svg.text([end + 10.0, y + 7.0], label, rule);
        let Some([low, high]) = self.range_db() else { return };
        let words = |db| decibels(db);
        let room = text_width(&words(high), CAPTION_SIZE, false) + 12.0;
        let x = width - EDGE - room - 34.0 * STEPS.len() as f64;
        svg.text([x - 12.0, y + 7.0], TextStyle { anchor: Anchor::End, ..label }, &words(low));
        for (i, color) in STEPS.iter().enumerate() {
            svg.rect([x + 34.0 * i as f64, y - 11.0], [34.0, 22.0], color, "key");
        }
        svg.text([x + 34.0 * STEPS.len() as f64 + 12.0, y + 7.0], label, &words(high));
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::geometry::Geometry;
    use crate::report::example::example_result;
    use crate::report::plots::render::parse;
    use crate::report::result::PictureResult;

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
            statement: Vec::new(),
        };
        result.picture = Some(PictureResult { light: None, geometry });
        seat_map(&result, DisplayUnits::Metric)
    }

    /// Centres of the seats on the page, in their order.
    fn centres(svg: &str) -> Vec<[f64; 2]> {
        let number = |line: &str, key: &str| -> f64 {
            let from = line.find(key).unwrap() + key.len();
            line[from..].split('"').next().unwrap().parse().unwrap()
        };
        svg.lines()
            .filter(|l| l.contains("class=\"seat\""))
            .map(|l| [number(l, " cx=\""), number(l, " cy=\"")])
            .collect()
    }

    #[test]
    fn words_of_seats_close_together_do_not_meet() {
        // Words of A in one line would reach B, 0.4 m behind it.
        let close = mapped(&[("A", 3.0, 0.0), ("B", 3.4, 0.0)]).unwrap().paper_svg;
        assert!(close.contains(">3.00 m<") && !close.contains(">3.00 m, "), "a line each");
        let apart = mapped(&[("A", 3.0, -1.0), ("B", 3.0, 1.0)]).unwrap().paper_svg;
        assert!(apart.contains(">3.16 m, "), "one line");
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
        // Ahead is to the right of the page; right seen from the loudspeaker is down, for who
        // looks along the page to the right has the bottom at the right hand.
        let map = mapped(&[("near", 2.0, 0.0), ("far", 4.0, 0.0), ("right", 3.0, 1.0)]).unwrap();
        for svg in [&map.svg, &map.paper_svg] {
            let [near, far, right] = centres(svg)[..] else { panic!() };
            assert!(far[0] > near[0] && (far[1] - near[1]).abs() < 0.02);
            assert!(right[1] > near[1]);
            // One scale both ways: 2 m ahead are twice as long as 1 m aside.
            assert!(((far[0] - near[0]) - 2.0 * (right[1] - near[1])).abs() < 0.05);
        }
    }
}
