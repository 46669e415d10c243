//! Where the seats are and what each loses: the room from above, the screen on top, left and right
//! as the audience sees them who face it.

use super::axes::Axis;
use super::backend::{pair, stroke, units};
use super::chart::Frame;
use super::clip::Rect;
use super::colors::{GRID, INK, MUTED_INK, QUIET, STEPS};
use super::drawing::Drawing;
use super::layout::{CAPTION_SIZE, EDGE, Format, HEIGHT, Lines, PAPER_WIDTH, WIDTH};
use super::seat_words::{
    Place, WORDS_AWAY, WORDS_LEADING, WORDS_SIZE, WORDS_WIDTH, most_words, place_words,
};
use super::svg::{Svg, Text};
use super::words::headings;
use crate::ingest::manifest::DisplayUnits;
use crate::report::result::SessionResult;
use crate::units::FOOT_M;
use crate::words::{decibels, frequency_words, list_words};
use plotters::element::{Circle, PathElement, Rectangle};
use plotters::style::{Color, WHITE};

/// Greatest height in a paper, px.
const PAPER_HEIGHT: f64 = 600.0;
/// Losses between the ends of the colours at least, dB: seats that differ by less look alike.
const LEAST_SPAN_DB: f64 = 1.0;
/// From the screen to the first row at most, as drawn, m.
const FIRST_ROW_M: f64 = 0.4;
/// Room at both sides for the rule and for the key to the colours, px.
const SIDE: f64 = 150.0;
/// Depth of the loudspeaker behind its front, as drawn, and half its width, m.
const CABINET_M: [f64; 2] = [0.14, 0.1];

/// The plan view; `None` where no seat has a position in front of the screen.
pub fn seat_map(result: &SessionResult, units: DisplayUnits) -> Option<Drawing> {
    let geometry = &result.picture.as_ref()?.geometry;
    let places = geometry.seats.iter().filter_map(|geometry| {
        let seat = result.seats.iter().find(|s| s.id == geometry.id)?;
        let [ahead, right, _] = seat.position_m?;
        Some(Place { seat, geometry, at_m: [ahead, right], most: result.largest_loss(seat) })
    });
    let places: Vec<Place<'_>> = places.collect();
    let nearest = places.iter().map(|p| p.at_m[0]).reduce(f64::min)?;
    let first = places.first()?;
    let gap_m = first.at_m[0] - first.geometry.distance_m;
    let map = Map {
        gap_m,
        half_screen_m: first.geometry.full.map_or(0.4, |picture| picture.width_m / 2.0),
        cut_m: (nearest - gap_m - FIRST_ROW_M).max(0.0),
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
    let subtitle = "Seats from above with their largest loss from 500 Hz up, distance and angle \
                    from the loudspeaker";
    let cut = if map.cut_m > 0.0 { " The way to the first row is cut short." } else { "" };
    let caption = format!(
        "Darker = more loss. Left and right are the audience's, who face the screen; angles to the \
         right are positive.{cut}"
    );
    let of_session = format!("{subtitle}, {}", result.title);
    let words = [&title, &description, &of_session, &caption].map(String::as_str);
    Some(Drawing {
        id: "seat-map",
        svg: map.draw(Format::File, words).into(),
        paper_svg: map.draw(Format::Paper, words).into(),
        caption,
        title,
        subtitle: subtitle.to_owned(),
        description,
    })
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
    half_screen_m: f64,
    /// What is left out of the way from the screen to the first row, m.
    cut_m: f64,
    places: &'a [Place<'a>],
    units: DisplayUnits,
}

impl Map<'_> {
    fn draw(&self, format: Format, [title, description, subtitle, caption]: [&str; 4]) -> String {
        let in_paper = format == Format::Paper;
        let [width, highest] = if in_paper { [PAPER_WIDTH, PAPER_HEIGHT] } else { [WIDTH, HEIGHT] };
        let lines = Lines::of([title, subtitle, caption], format);
        let top = if in_paper { 16.0 } else { 46.0 + lines.heading_px() };
        let foot = 66.0 + 44.0 * lines.caption.len() as f64;
        let room = self.room([width, highest - top - foot]);
        let plot = Rect { top, bottom: top + room.height, ..room.across };
        let size = [width, (plot.bottom + foot).ceil()];
        let svg = Svg::page(size, in_paper, ["seat-map", title, description], &[]);
        headings(&svg, &lines);
        let scales =
            [room.right_m, room.back_m].map(|ends| Axis { ends, ..Axis::default() }.scale());
        let frame = Frame::new(&svg, plot, scales);
        self.front(&svg, &frame);
        self.seats(&svg, &frame);
        self.key(&svg, plot, room.px_per_m);
        svg.finish()
    }

    /// The scale at which screen, loudspeaker, and all seats with their words find room.
    fn room(&self, [width, highest]: [f64; 2]) -> Room {
        let half = width / 2.0 - EDGE - SIDE;
        let aside = self.places.iter().map(|p| p.at_m[1].abs()).fold(0.1, f64::max);
        let last = self.places.iter().map(|p| p.at_m[0]).fold(0.0, f64::max) - self.cut_m;
        let front = -CABINET_M[0];
        let px_per_m = (half / self.half_screen_m)
            .min((half + SIDE - WORDS_WIDTH - 40.0) / aside)
            .min(highest / (last - front));
        let height = (px_per_m * (last - front)).max(200.0);
        let half_m = half / px_per_m;
        Room {
            across: Rect { left: EDGE + SIDE, right: width - EDGE - SIDE, top: 0.0, bottom: 0.0 },
            height,
            right_m: [-half_m, half_m],
            back_m: [-front - height / px_per_m, -front],
            px_per_m,
        }
    }

    /// Loudspeaker and screen, and the way to the seats, broken where it is cut short.
    fn front(&self, svg: &Svg, frame: &Frame) {
        let [depth, half] = CABINET_M;
        let label = Text::new(22.0, MUTED_INK);
        let corners = [(-half, 0.0), (half, depth)];
        frame.put(Rectangle::new(corners, QUIET.filled()));
        frame.put(PathElement::new([(-half, 0.0), (half, 0.0)], stroke(INK, 3.0)));
        let [x, y] = frame.point((half, depth / 2.0));
        svg.text([x + 14.0, y + 4.0], label, "Loudspeaker");
        let screen = [-self.half_screen_m, self.half_screen_m].map(|right| (right, -self.gap_m));
        frame.put(PathElement::new(screen, stroke(INK, 5.0)));
        let [x, y] = frame.point(screen[0]);
        svg.text([x, y - 14.0], label, "Screen");
        for (end, anchored, side) in [(0, label, "Left"), (1, label.end(), "Right")] {
            let [x, y] = frame.point(screen[end]);
            svg.text([x, y + 34.0], anchored, side);
        }
        let [from, to] = [self.gap_m + 0.05, self.gap_m + FIRST_ROW_M - 0.2];
        frame.put(PathElement::new([(0.0, -from), (0.0, -to)], stroke(GRID[0], 1.4)));
        if self.cut_m > 0.0 {
            for ahead in [0.45, 0.55].map(|share| from + share * (to - from)) {
                let break_line = [(-0.05, -ahead - 0.012), (0.05, -ahead + 0.012)];
                frame.put(PathElement::new(break_line, stroke(QUIET, 1.6)));
            }
        }
    }

    /// Losses at the ends of the colours, dB.
    fn range_db(&self) -> Option<[f64; 2]> {
        let losses = self.places.iter().filter_map(|p| p.most.map(|m| [m.1, m.1]));
        let [low, high] = losses.reduce(|a, b| [a[0].min(b[0]), a[1].max(b[1])])?;
        let widened = (LEAST_SPAN_DB - (high - low)).max(0.0) / 2.0;
        Some([low - widened, high + widened])
    }

    fn seats(&self, svg: &Svg, frame: &Frame) {
        let place = |p: &Place<'_>| (p.at_m[1], self.cut_m - p.at_m[0]);
        let at: Vec<_> = self.places.iter().map(|p| (p, frame.point(place(p)))).collect();
        let pairs =
            at.iter().enumerate().flat_map(|(i, a)| at[..i].iter().map(move |b| (a.1, b.1)));
        let nearest = pairs.map(|(a, b)| (a[0] - b[0]).hypot(a[1] - b[1]));
        let radius = (nearest.fold(f64::INFINITY, f64::min) * 0.4).clamp(4.0, 21.0);
        let [low, high] = self.range_db().unwrap_or_default();
        let color = |db: f64| {
            let step = (db - low) / (high - low) * STEPS.len() as f64;
            STEPS[(step as usize).min(STEPS.len() - 1)]
        };
        for ((p, [x, y]), words) in at.iter().zip(most_words(&at, self.units, radius)) {
            svg.open("g", &[("class", "series"), ("data-series", &p.seat.id)]);
            let fill = p.most.map_or(WHITE, |m| color(m.1));
            for (radius, color) in [(radius, INK), ((radius - 2.2).max(1.0), fill)] {
                frame.put(Circle::new(place(p), units(radius), color.filled()));
            }
            for (line, word) in words.iter().enumerate() {
                let y = y - 14.0 + WORDS_LEADING * line as f64;
                let text = Text::new(WORDS_SIZE[line.min(1)], INK);
                let text = Text { bold: line == 0, rimmed: true, ..text };
                svg.text([x + radius + WORDS_AWAY, y], text, word);
            }
            svg.close("g");
        }
    }

    /// A length, at the left, and what the colours mean, at the right.
    fn key(&self, svg: &Svg, plot: Rect, px_per_m: f64) {
        let label = Text::new(CAPTION_SIZE, MUTED_INK);
        let rules = match self.units {
            DisplayUnits::Metric => [(1.0, "1 m"), (0.5, "0.5 m"), (0.2, "0.2 m")],
            DisplayUnits::Imperial => {
                [(3.0 * FOOT_M, "3 ft"), (2.0 * FOOT_M, "2 ft"), (FOOT_M, "1 ft")]
            }
        };
        let find =
            |(length_m, _): &&(f64, &str)| length_m * px_per_m < 0.8 * (plot.bottom - plot.top);
        let (length_m, words) = rules.iter().find(find).unwrap_or(&rules[2]);
        let (x, y) = (EDGE + 6.0, plot.bottom - length_m * px_per_m);
        let ends = [[x, y], [x, plot.bottom]].map(pair);
        svg.put(PathElement::new(ends, stroke(INK, 3.0)));
        svg.text([x + 12.0, (y + plot.bottom) / 2.0 + 7.0], label, words);
        let Some([low, high]) = self.range_db() else {
            return;
        };
        let (right, top) = (svg.size[0] - EDGE, plot.bottom - 30.0 - 24.0 * STEPS.len() as f64);
        for (i, color) in STEPS.iter().rev().enumerate() {
            let y = top + 24.0 * i as f64;
            let corners = [[right - 40.0, y], [right, y + 24.0]].map(pair);
            svg.put(Rectangle::new(corners, color.filled()));
        }
        svg.text([right, top - 9.0], label.end(), &decibels(high));
        svg.text([right, plot.bottom - 7.0], label.end(), &decibels(low));
    }
}

/// Where the map goes.
struct Room {
    /// Left and right edge, px.
    across: Rect,
    /// Height, px.
    height: f64,
    /// What its edges stand for: to the right, and backwards as numbers below 0, m.
    right_m: [f64; 2],
    back_m: [f64; 2],
    px_per_m: f64,
}

#[cfg(test)]
mod tests;
