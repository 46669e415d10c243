//! What stands beside the seats on their map: as much as finds room.

use super::clip::Rect;
use super::text::{fit, text_width};
use crate::analysis::geometry::SeatGeometry;
use crate::ingest::manifest::DisplayUnits;
use crate::report::result::SeatResult;
use crate::words::{decibels, length, signed};

/// From the rim of a seat to its words, px.
pub(super) const WORDS_AWAY: f64 = 10.0;
/// From line to line of a seat's words, px.
pub(super) const WORDS_LEADING: f64 = 23.0;
/// Height of a seat's name and of its other words, px.
pub(super) const WORDS_SIZE: [f64; 2] = [24.0, 20.0];
/// Widest words of a seat, px.
pub(super) const WORDS_WIDTH: f64 = 150.0;

/// A seat on the map.
pub(super) struct Place<'a> {
    pub(super) seat: &'a SeatResult,
    pub(super) geometry: &'a SeatGeometry,
    /// Ahead of the loudspeaker, and to the right of it as the audience sees it, m.
    pub(super) at_m: [f64; 2],
    /// Largest loss from 500 Hz up: nominal band and dB.
    pub(super) most: Option<(f64, f64)>,
}

/// Distance and angle from the loudspeaker.
pub(super) fn place_words(place: &Place<'_>, units: DisplayUnits) -> String {
    let g = place.geometry;
    format!("{}, {}\u{b0}", length(g.loudspeaker_m, units), signed(g.loudspeaker_deg, 0))
}

/// The most lines beside every seat, the name first, that meet neither another seat nor its lines.
/// Seats come with their middles on the page, px; `radius` is that of their dots, px.
pub(super) fn most_words(
    seats: &[(&Place<'_>, [f64; 2])],
    units: DisplayUnits,
    radius: f64,
) -> Vec<Vec<String>> {
    let lines = |place: &Place<'_>, kind: usize| -> Vec<String> {
        let name = fit(&place.seat.id, WORDS_SIZE[0], true, WORDS_WIDTH);
        let loss = place.most.map_or("no value".to_owned(), |m| decibels(m.1));
        let from = place_words(place, units);
        match kind {
            0 => vec![name, loss, from],
            1 => [name, loss].into_iter().chain(from.split(", ").map(str::to_owned)).collect(),
            2 => vec![name, loss],
            3 => vec![name],
            _ => Vec::new(),
        }
    };
    // Dot and words together.
    let frame = |lines: &[String], at: [f64; 2]| {
        let width = |(i, line): (usize, &String)| text_width(line, WORDS_SIZE[i.min(1)], i == 0);
        let widest = lines.iter().enumerate().map(width).fold(-WORDS_AWAY, f64::max);
        let down = WORDS_LEADING * (lines.len().saturating_sub(1)) as f64 - 8.0;
        Rect {
            left: at[0] - radius,
            top: at[1] - radius.max(36.0 * f64::from(u8::from(!lines.is_empty()))),
            right: at[0] + radius + WORDS_AWAY + widest,
            bottom: at[1] + down.max(radius),
        }
    };
    let of_kind =
        |kind| -> Vec<Vec<String>> { seats.iter().map(|(p, _)| lines(p, kind)).collect() };
    let clear = |words: &Vec<Vec<String>>| {
        let frames: Vec<Rect> = words.iter().zip(seats).map(|(w, (_, at))| frame(w, *at)).collect();
        !frames.iter().enumerate().any(|(i, a)| frames[..i].iter().any(|b| a.meets(*b)))
    };
    (0..4).map(of_kind).find(clear).unwrap_or_else(|| of_kind(4))
}
