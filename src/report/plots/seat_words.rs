//! What stands beside the seats on their map: as much as finds room.

use super::seat_map::Place;
use super::text::text_width;
use crate::ingest::manifest::DisplayUnits;
use crate::report::paper::measures::length;
use crate::report::words::{decibels, signed};

/// From the rim of a seat to its words, px.
pub(super) const WORDS_AWAY: f64 = 10.0;
/// From line to line of a seat's words, px.
pub(super) const WORDS_LEADING: f64 = 23.0;

/// What stands beside a seat under its name.
#[derive(Debug, Clone, Copy)]
pub(super) enum Words {
    /// Loss; distance and angle in one line.
    All,
    /// Loss, distance, angle, a line each.
    Lines,
    /// The loss alone.
    Loss,
}

/// The lines beside a seat, under its name.
pub(super) fn words_of(place: &Place<'_>, units: DisplayUnits, kind: Words) -> Vec<String> {
    let loss = place.most.map_or("no value".to_owned(), |m| decibels(m.1));
    let place = place_words(place, units);
    match kind {
        Words::All => vec![loss, place],
        Words::Lines => std::iter::once(loss).chain(place.split(", ").map(str::to_owned)).collect(),
        Words::Loss => vec![loss],
    }
}

/// Distance and angle from the loudspeaker.
pub(super) fn place_words(place: &Place<'_>, units: DisplayUnits) -> String {
    let g = place.geometry;
    format!("{}, {}\u{b0}", length(g.loudspeaker_m, units), signed(g.loudspeaker_deg, 0))
}

/// The most words that every seat can have without meeting another seat or its words. Seats come
/// with their middles on the page, px; `radius` is that of their dots, px.
pub(super) fn most_words(
    seats: &[(&Place<'_>, [f64; 2])],
    units: DisplayUnits,
    radius: f64,
) -> Words {
    // Left, top, right and bottom of dot and words together.
    let frame = |place: &Place<'_>, at: [f64; 2], kind: Words| {
        let words = words_of(place, units, kind);
        let name = text_width(&place.seat.id, 24.0, true).min(190.0);
        let widest = words.iter().map(|w| text_width(w, 20.0, false)).fold(name, f64::max);
        let down = 9.0 + WORDS_LEADING * (words.len() - 1) as f64;
        let [left, right] = [at[0] - radius, at[0] + radius + WORDS_AWAY + widest];
        [left, at[1] - 32.0, right, at[1] + down]
    };
    let meet =
        |a: &[f64; 4], b: &[f64; 4]| a[0] < b[2] && b[0] < a[2] && a[1] < b[3] && b[1] < a[3];
    let clear = |kind: &Words| {
        let frames: Vec<[f64; 4]> = seats.iter().map(|(p, at)| frame(p, *at, *kind)).collect();
        !frames.iter().enumerate().any(|(i, a)| frames[..i].iter().any(|b| meet(a, b)))
    };
    [Words::All, Words::Lines].into_iter().find(clear).unwrap_or(Words::Loss)
}
