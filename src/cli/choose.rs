//! `scrimcheck choose`: the known sheets, ranked for the next room.

use super::choose_args::ChooseArgs;
use super::failure::Failure;
use super::jobs::{answer, collect_jobs, name_rules, usage};
use super::predict::seat;
use crate::analysis::predict::describe::{DescribedSheet, Description};
use crate::analysis::sheet::stated::stated_sheet;
use crate::ingest::manifest::{self, MANIFEST_FILE};
use crate::jobs::choose::{Described, choose};
use crate::jobs::collect::Collected;
use crate::jobs::names::name_key;
use crate::jobs::room::Room;
use crate::report::jobs::{choice_files, choice_table};
use crate::report::output::OutputFolder;
use std::path::Path;
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
    let mut described = typed(&args.sheets)?;
    let folder = args.out.as_ref().map(|out| OutputFolder::open(out, args.force)).transpose()?;
    let collected = collect_jobs(&args.jobs);
    described.extend(only_described(&collected));
    let choice = choose(&collected.jobs, &described, room, &rules).map_err(usage)?;
    if choice.candidates.is_empty() {
        return Err(Failure::Compare {
            message: "no sheet is known: name a folder of finished jobs whose session.toml gives \
                      screen.name, or describe a sheet with --sheet NAME:key=value,..."
                .into(),
        });
    }
    let table = || choice_table(&choice);
    answer(
        choice_files(&choice)?,
        "choice",
        table,
        folder,
        args.json,
        args.csv,
        args.out.as_deref(),
    )
}

/// The room of the manifest, with what was typed in its place.
fn room(args: &ChooseArgs) -> Result<Room, Failure> {
    let mut room = match &args.room {
        None => Room::default(),
        Some(path) => {
            let is_manifest = path.file_name().is_some_and(|name| name == MANIFEST_FILE);
            let folder = if is_manifest { path.parent().unwrap_or(path) } else { path };
            let here = if folder.as_os_str().is_empty() { Path::new(".") } else { folder };
            Room::of_manifest(&manifest::load(here)?.0)
        }
    };
    room.gap_m = args.gap_m.or(room.gap_m);
    room.width_m = args.width_m.or(room.width_m);
    room.height_m = args.height_m.or(room.height_m);
    room.projector_lm = args.projector_lm.or(room.projector_lm);
    room.nearest_m = args.nearest_seat_m;
    let power = &mut room.power;
    power.power_w = args.power_w.or(power.power_w);
    power.amplifier_w = args.amplifier_w.or(power.amplifier_w);
    power.driver_limit_w = args.driver_limit_w.or(power.driver_limit_w);
    if let [low, high] = args.driver_band_hz[..] {
        power.driver_band_hz = Some([low, high]);
    }
    if !args.seats.is_empty() {
        room.seats.clear();
        for text in &args.seats {
            let [distance_m, beside_m] = seat(text)?;
            room.add_seat(distance_m, beside_m);
        }
    }
    room.check().map_err(|e| Failure::Usage { message: e.to_string() })?;
    Ok(room)
}

/// Sheets of `--sheet`.
fn typed(texts: &[String]) -> Result<Vec<Described>, Failure> {
    let one = |text: &String| {
        let description = Description::parse(text)?;
        let structure_mm = description.pitch_mm;
        Ok(Described { sheet: description.build()?, structure_mm })
    };
    texts.iter().map(one).collect::<Result<_, _>>().map_err(
        |e: crate::analysis::predict::describe::DescribeError| Failure::Usage {
            message: e.to_string(),
        },
    )
}

/// Sheets that no finished job has, and whose data stand in the manifest of one that is begun.
pub fn only_described(collected: &Collected) -> Vec<Described> {
    let mut known: Vec<String> = collected
        .jobs
        .iter()
        .filter_map(|j| Some(name_key(j.result.screen.name.as_ref()?)))
        .collect();
    let mut out = Vec::new();
    for (folder, _) in &collected.refused {
        let Ok((manifest, _)) = manifest::load(folder) else { continue };
        let screen = &manifest.screen;
        let (Some(name), Some(stated)) = (&screen.name, stated_sheet(screen)) else { continue };
        let key = name_key(name);
        if known.contains(&key) {
            continue;
        }
        known.push(key);
        out.push(Described {
            structure_mm: screen.weave_pitch_mm.or(screen.hole_pitch_mm),
            sheet: DescribedSheet {
                name: name.trim().to_owned(),
                front: stated.sheet,
                backing: None,
                words: stated.words,
            },
        });
    }
    out
}
