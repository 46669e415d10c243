//! Seat by seat: where each sits, what it loses, band by band.

use super::writer::{Writer, dash, figure, with_u};
use super::{Block, Detail};
use crate::ingest::manifest::DisplayUnits;
use crate::report::result::{SeatResult, SessionResult};
use crate::words::{frequency_words, length, list_words, signed};

/// Seats whose losses stand side by side in one table, with their uncertainties.
const SEATS_A_TABLE: usize = 6;

/// Seats up to which each has its column; beyond it the papers would be long,
/// and the same figures stand in `bands.csv`.
const SEATS_IN_FULL: usize = 18;

pub(super) fn seats(result: &SessionResult, units: DisplayUnits, writer: &mut Writer) {
    writer.blocks.push(Block::PageBreak);
    writer.part("Seat by seat");
    overview(result, units, writer);
    writer.say(result.seat_dependence.as_ref().map_or("", |s| s.sentence()));
    writer.figure("seat-map");
    writer.figure("seat-dependence");
    writer.figure("spread");
    by_band(result, writer);
}

fn overview(result: &SessionResult, units: DisplayUnits, writer: &mut Writer) {
    let geometry = result.picture.as_ref().map(|p| &p.geometry);
    let rows = result.seats.iter().enumerate().map(|(s, seat)| {
        let place = geometry.and_then(|g| g.seats.iter().find(|g| g.id == seat.id));
        let level = result.seat_dependence.as_ref().and_then(|d| *d.level_db.get(s)?);
        let most = result.largest_loss(seat);
        let left =
            result.correction.as_ref().and_then(|c| c.seats.iter().find(|p| p.id == seat.id));
        vec![
            seat.id.clone(),
            if seat.name == seat.id { String::new() } else { seat.name.clone() },
            seat.weight.to_string(),
            place.map_or_else(dash, |p| length(p.distance_m, units)),
            place.map_or_else(dash, |p| format!("{}\u{b0}", signed(p.loudspeaker_deg, 0))),
            place.and_then(|p| p.full).map_or_else(dash, |p| format!("{:.0}\u{b0}", p.angle_deg)),
            most.map_or_else(dash, |(hz, db)| {
                format!("{} dB at {}", signed(db, 1), frequency_words(hz))
            }),
            figure(level, 2),
            figure(left.and_then(|l| l.after_rms_db), 2),
        ]
    });
    writer.table(
        "The seats",
        &[
            "Seat",
            "Name",
            "Weight",
            "To screen",
            "Off axis",
            "Picture",
            "Largest loss",
            "Level, dB",
            "Left, dB rms",
        ],
        rows,
    );
    writer.say(
        "Weight: how much the seat counts for the setting. To screen: straight to its plane. Off axis: angle from the loudspeaker's axis, positive to the \
         right as the audience sees it. Picture: the angle under which it is seen. Largest \
         loss: from 500 Hz up. Level: against the mean of the seats, above 0 dB this seat loses \
         more throughout. Left: unevenness after the equaliser setting, as predicted, level apart.",
    );
}

fn by_band(result: &SessionResult, writer: &mut Writer) {
    writer.section("Loss by band");
    writer.say(
        "Loss in dB \u{b1} expanded uncertainty (95 %), in third-octave bands. From 500 Hz up it \
         is that of the direct sound, below that of all that reaches the seat.",
    );
    if (2..=SEATS_A_TABLE).contains(&result.seats.len()) {
        one_table(result, writer);
    } else {
        tables(result, writer);
    }
    writer.list(absences(result));
    if result.seats.iter().any(|seat| seat.doubtful.contains(&true)) {
        writer.say("?: the level stands only 4 to 10 dB above the noise.");
    }
}

/// The mean, how far the seats differ, and every seat.
fn one_table(result: &SessionResult, writer: &mut Writer) {
    let mean = &result.mean;
    let mut head = vec!["Band, Hz", "Mean"];
    head.extend(result.seats.iter().map(|seat| seat.id.as_str()));
    head.extend(["s", "Range"]);
    let rows = (0..result.bands.len()).map(|b| {
        let mut row = vec![result.bands[b].label(), with_u(mean.loss_db[b], mean.u95_db[b], 2)];
        row.extend(result.seats.iter().map(|seat| seat_cell(seat, b)));
        row.extend([figure(mean.sd_db[b], 2), figure(mean.range_db[b], 2)]);
        row
    });
    let caption = "Loss, dB; s: standard deviation over the seats, range: largest minus smallest";
    writer.table(caption, &head, rows);
}

fn seat_cell(seat: &SeatResult, b: usize) -> String {
    let mark = if seat.doubtful[b] { " ?" } else { "" };
    with_u(seat.loss_db[b], seat.u95_db[b], 2) + mark
}

/// The mean by itself, then the seats, a few side by side.
fn tables(result: &SessionResult, writer: &mut Writer) {
    let mean = &result.mean;
    if result.seats.len() > 1 {
        let rows = (0..result.bands.len()).map(|b| {
            vec![
                result.bands[b].label(),
                with_u(mean.loss_db[b], mean.u95_db[b], 2),
                figure(mean.dof[b], 0),
                figure(mean.sd_db[b], 2),
                figure(mean.range_db[b], 2),
                mean.seats[b].to_string(),
            ]
        });
        writer.table(
            "Mean over the seats",
            &["Band, Hz", "Mean loss, dB", "Degrees of freedom", "s, dB", "Range, dB", "Seats"],
            rows,
        );
    }
    if result.seats.len() > SEATS_IN_FULL {
        writer.say("The figures of each seat are in bands.csv.");
        return;
    }
    for group in result.seats.chunks(SEATS_A_TABLE) {
        let mut head = vec!["Band, Hz"];
        head.extend(group.iter().map(|seat| seat.id.as_str()));
        let rows = (0..result.bands.len()).map(|b| {
            let cells = group.iter().map(|seat| seat_cell(seat, b));
            std::iter::once(result.bands[b].label()).chain(cells).collect()
        });
        let ids: Vec<String> = group.iter().map(|seat| seat.id.clone()).collect();
        writer.table(&format!("Loss, dB, at {}", list_words(&ids)), &head, rows);
        if result.seats.len() > 2 * SEATS_A_TABLE {
            writer.may_go(Detail::Engineer);
        }
    }
}

/// Why values are missing, one sentence a seat and reason.
fn absences(result: &SessionResult) -> Vec<String> {
    let name = |b: &usize| frequency_words(result.bands[*b].nominal_hz);
    let of_seat = |seat: &SeatResult| -> Vec<String> {
        let sentence = |(reason, bands): (&str, Vec<usize>)| {
            let bands: Vec<String> = bands.iter().map(name).collect();
            format!("No value at {}, {}: {reason}.", seat.id, list_words(&bands))
        };
        seat.absent_by_reason().into_iter().map(sentence).collect()
    };
    result.seats.iter().flat_map(of_seat).collect()
}
