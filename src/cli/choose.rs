//! `scrimcheck choose`: the known sheets, ranked for the next room.

use super::choose_args::ChooseArgs;
use super::failure::Failure;
use super::jobs::{answer, collect_jobs, name_rules};
use super::predict::seat;
use super::settings::manifest_at;
use crate::jobs::choose::choose;
use crate::jobs::described::{Described, begun};
use crate::jobs::room::{Room, RoomPower};
use crate::jobs::told::{choice_files, choice_table};
use std::process::ExitCode;

/// Reads all jobs, ranks their sheets and the described ones for the room, and writes it where
/// asked.
///
/// # Errors
/// [`Failure`] for a room or sheet that cannot be used, when no sheet is known, or when the folder
/// cannot be written.
pub fn run(args: &ChooseArgs) -> Result<ExitCode, Failure> {
    let rules = name_rules(&args.naming)?;
    let room = room(args)?;
    let typed = args.sheets.iter().map(|text| Described::parse(text));
    let described: Result<Vec<Described>, _> = typed.collect();
    let mut described = described.map_err(Failure::usage)?;
    let folder = args.answer.folder()?;
    let collected = collect_jobs(&args.jobs);
    described.extend(begun(&collected));
    let choice = choose(&collected.jobs, &described, room, &rules).map_err(Failure::usage)?;
    if choice.candidates.is_empty() {
        return Err(Failure::compare(
            "no sheet is known: name a folder of finished jobs whose session.toml gives \
             screen.name, or describe a sheet with --sheet NAME:key=value,...",
        ));
    }
    let table = || choice_table(&choice);
    answer(|| choice_files(&choice), "choice", table, folder, &args.answer)
}

/// The room of the manifest, with what was typed in its place.
fn room(args: &ChooseArgs) -> Result<Room, Failure> {
    let room = match &args.room {
        None => Room::default(),
        Some(path) => Room::of_manifest(&manifest_at(path)?),
    };
    let seats_m = args.seats.iter().map(|text| seat(text)).collect::<Result<Vec<_>, _>>()?;
    let typed = Room {
        gap_m: args.gap_m,
        seats: Vec::new(),
        width_m: args.width_m,
        height_m: args.height_m,
        projector_lm: args.projector_lm,
        nearest_m: args.nearest_seat_m,
        power: RoomPower {
            power_w: args.power_w,
            amplifier_w: args.amplifier_w,
            driver_limit_w: args.driver_limit_w,
            driver_band_hz: args.driver_band_hz.first_chunk().copied(),
        },
    };
    room.with_typed(&typed, &seats_m).map_err(Failure::usage)
}
