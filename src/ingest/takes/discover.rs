//! The list of takes of a session.

use super::name::{TAKES_FOLDER, default_name, parse_name};
use super::paths::{inside, resolve};
use super::take::{self, Take};
use crate::ingest::error::IngestError;
use crate::ingest::manifest::limits::{MAX_SEATS, MAX_TAKES};
use crate::ingest::manifest::seat_id::check_id;
use crate::ingest::manifest::{
    Condition, Manifest, ManifestText, SeatInfo, SoundSource, TakeInfo, nearest,
};
use crate::ingest::notice::{NoTake, Notice, Noticed};
use crate::ingest::printable::shown;
use std::collections::{BTreeMap, BTreeSet, HashMap};
use std::fs;
use std::path::{Path, PathBuf};

/// Seats and takes of a session folder.
#[derive(Debug, Clone)]
pub struct FoundTakes {
    /// The seats of the manifest; where it lists none, those of the takes, sorted.
    pub seats: Vec<SeatInfo>,
    /// Takes in order of seat, condition, source, quiet, spot, file.
    pub takes: Vec<Take>,
    /// What is left out because it is no take, and takes that are listed and not there.
    pub notices: Vec<Notice>,
}

/// What the name of a take says: two files of one key cannot be told apart.
fn key(take: &TakeInfo) -> (&str, Condition, SoundSource, bool, Option<u32>) {
    (&take.seat, take.condition, take.source, take.quiet, take.spot)
}

/// What lies in `takes/` beside recordings: where imported takes came from, and takes that were
/// put aside.
const OWN_ENTRIES: [&str; 2] = ["origin.csv", "aside"];

/// More files that are no recordings become one notice.
const MANY_OTHERS: usize = 8;

/// Lists the takes of the session folder `root`: those of the manifest, or, where it
/// names none, the files of `takes/` by their default names. What cannot be a take is left out and
/// named in a notice; whether a take can be read is found when it is read.
///
/// # Errors
/// [`IngestError`]: too many takes or seats, a folder `takes` that leads out of the session or
/// cannot be listed, a listed file that stands for two takes.
pub fn discover(
    root: &Path,
    manifest: &Manifest,
    text: &ManifestText,
) -> Result<FoundTakes, IngestError> {
    let mut notices = Vec::new();
    let candidates = if manifest.take.is_empty() {
        by_name(root, manifest, &mut notices)?
    } else {
        from_list(root, manifest, text, &mut notices)?
    };
    let seats = seats_of(root, manifest, &candidates)?;
    let takes = number_spots(&seats, candidates);
    Ok(FoundTakes { seats, takes, notices })
}

fn from_list(
    root: &Path,
    manifest: &Manifest,
    text: &ManifestText,
    notices: &mut Vec<Notice>,
) -> Result<Vec<TakeInfo>, IngestError> {
    let mut candidates = Vec::with_capacity(manifest.take.len());
    let mut seen: HashMap<PathBuf, usize> = HashMap::new();
    for (i, take) in manifest.take.iter().enumerate() {
        match inside(root, &take.file, "") {
            Err(IngestError::NoFile { .. }) => {
                notices.push(Notice {
                    seat: Some(take.seat.clone()),
                    file: Some(take.file.clone()),
                    found: Noticed::NoFile,
                });
                continue;
            }
            // Told when it is read.
            Err(_) => {}
            Ok(real) => {
                if let Some(first) = seen.insert(real, i) {
                    let line = text.line_of(&format!("take[{first}].file"));
                    return Err(text.refuse(
                        &format!("take[{i}].file"),
                        format!(
                            "{} is already used for the take in line {line}",
                            shown(&take.file)
                        ),
                        "each take needs its own recording",
                    ));
                }
            }
        }
        candidates.push(take.clone());
    }
    Ok(candidates)
}

fn by_name(
    root: &Path,
    manifest: &Manifest,
    notices: &mut Vec<Notice>,
) -> Result<Vec<TakeInfo>, IngestError> {
    let mut candidates: Vec<TakeInfo> = Vec::new();
    for name in recordings(root, notices)? {
        let file = Path::new(TAKES_FOLDER).join(&name);
        match candidate_of(&file, manifest) {
            Ok(candidate) => candidates.push(candidate),
            Err(why) => notices.push(left_out(file, why)),
        }
    }
    // Nobody knows which of two files with one number is meant.
    let mut numbers: BTreeMap<_, Vec<&PathBuf>> = BTreeMap::new();
    for candidate in &candidates {
        numbers.entry(key(candidate)).or_default().push(&candidate.file);
    }
    let mut twice: BTreeSet<PathBuf> = BTreeSet::new();
    for ((seat, .., number), files) in numbers.iter().filter(|(_, files)| files.len() > 1) {
        for file in files {
            let other =
                files.iter().find(|f| f != &file).map_or_else(PathBuf::new, |f| (*f).clone());
            let (number, seat) = (number.unwrap_or(0), (*seat).to_owned());
            notices.push(left_out((*file).clone(), NoTake::SameNumber { number, seat, other }));
            twice.insert((*file).clone());
        }
    }
    candidates.retain(|c| !twice.contains(&c.file));
    Ok(candidates)
}

/// Names of the WAV files in `takes/`, sorted; what else lies there becomes a notice.
fn recordings(root: &Path, notices: &mut Vec<Notice>) -> Result<Vec<PathBuf>, IngestError> {
    let folder = root.join(TAKES_FOLDER);
    if folder.symlink_metadata().is_err() {
        return Ok(Vec::new());
    }
    resolve(root, &folder, "make this folder and put the recordings into it")?;
    let read = |source| IngestError::Read { path: folder.clone(), source };
    let (mut names, mut others) = (Vec::new(), BTreeSet::new());
    for (n, entry) in fs::read_dir(&folder).map_err(read)?.enumerate() {
        if n > 4 * MAX_TAKES || names.len() > MAX_TAKES {
            return Err(too_many(folder, format!("{n} recordings"), MAX_TAKES));
        }
        let entry = entry.map_err(read)?;
        let name = PathBuf::from(entry.file_name());
        let is_folder = entry.file_type().is_ok_and(|kind| kind.is_dir());
        let is_wav = name.extension().is_some_and(|e| e.eq_ignore_ascii_case("wav"));
        let text = name.to_string_lossy();
        // Files that begin with a dot are the system's own notes beside recordings.
        if text.starts_with('.') || OWN_ENTRIES.contains(&&*text) {
            continue;
        }
        if is_wav && !is_folder {
            names.push(name);
        } else {
            others.insert((name, is_folder));
        }
    }
    let n_files = others.iter().filter(|(_, is_folder)| !is_folder).count();
    let mut told = false;
    for (name, is_folder) in others {
        let file = Path::new(TAKES_FOLDER).join(name);
        let why = if is_folder {
            NoTake::Folder
        } else if n_files <= MANY_OTHERS {
            NoTake::NotWav { more: 0 }
        } else if told {
            continue;
        } else {
            told = true;
            NoTake::NotWav { more: n_files - 1 }
        };
        notices.push(left_out(file, why));
    }
    // The system lists files in any order.
    names.sort();
    Ok(names)
}

fn left_out(file: PathBuf, why: NoTake) -> Notice {
    Notice { seat: None, file: Some(file), found: Noticed::NoTake(why) }
}

fn candidate_of(file: &Path, manifest: &Manifest) -> Result<TakeInfo, NoTake> {
    let ids: Vec<&str> = manifest.seat.iter().map(|s| s.id.as_str()).collect();
    let example = default_name(
        ids.first().copied().unwrap_or("R1C"),
        Condition::Without,
        SoundSource::Centre,
        1,
    );
    let Some(stem) = file.file_stem().and_then(|s| s.to_str()) else {
        return Err(NoTake::NotUnicode { example });
    };
    let name = parse_name(stem).map_err(|problem| {
        let near = ids.iter().find(|id| stem.starts_with(**id));
        let near = near.map(|id| default_name(id, Condition::Without, SoundSource::Centre, 1));
        NoTake::Name { problem, example: near.unwrap_or_else(|| example.clone()) }
    })?;
    let seat = match_seat(&name.seat, &ids).ok_or_else(|| NoTake::Seat {
        found: name.seat.clone(),
        near: nearest(&name.seat, &ids).map(str::to_owned),
        ids: ids.iter().map(|id| (*id).to_owned()).collect(),
    })?;
    // Where seats are named in the manifest, their ids were checked there.
    if ids.is_empty() {
        check_id(&seat).map_err(|problem| NoTake::SeatId { problem, example })?;
    }
    Ok(TakeInfo {
        seat,
        condition: name.condition,
        source: name.source,
        quiet: name.quiet,
        spot: Some(name.number),
        file: file.to_path_buf(),
    })
}

/// The seat a name means: equal, or equal but for upper and lower case where only
/// one is. Any name where the manifest lists no seats.
fn match_seat(found: &str, ids: &[&str]) -> Option<String> {
    if ids.is_empty() || ids.contains(&found) {
        return Some(found.to_owned());
    }
    let lower = found.to_lowercase();
    let mut alike = ids.iter().filter(|id| id.to_lowercase() == lower);
    match (alike.next(), alike.next()) {
        (Some(id), None) => Some((*id).to_owned()),
        _ => None,
    }
}

fn seats_of(
    root: &Path,
    manifest: &Manifest,
    candidates: &[TakeInfo],
) -> Result<Vec<SeatInfo>, IngestError> {
    if !manifest.seat.is_empty() {
        return Ok(manifest.seat.clone());
    }
    let ids: BTreeSet<&str> = candidates.iter().map(|c| c.seat.as_str()).collect();
    if ids.len() > MAX_SEATS {
        let found = format!("{} seats in the names of the recordings", ids.len());
        return Err(too_many(root.join(TAKES_FOLDER), found, MAX_SEATS));
    }
    Ok(ids
        .into_iter()
        .map(|id| SeatInfo { id: id.to_owned(), name: None, position_m: None, weight: 1.0 })
        .collect())
}

fn too_many(path: PathBuf, found: String, limit: usize) -> IngestError {
    let problem = format!("{found}, at most {limit} can be analysed");
    IngestError::Unfit { path, problem, advice: "split the session" }
}

/// Gives every take its seat's number and, in the order of the list, the lowest free
/// spot where none is named; sorts.
fn number_spots(seats: &[SeatInfo], candidates: Vec<TakeInfo>) -> Vec<Take> {
    let index: HashMap<&str, usize> =
        seats.iter().enumerate().map(|(i, s)| (s.id.as_str(), i)).collect();
    let mut used: BTreeMap<(usize, Condition, SoundSource, bool), BTreeSet<u32>> = BTreeMap::new();
    // Every candidate's seat is known: checked in the manifest or taken from it.
    let seat_of = |c: &TakeInfo| index.get(c.seat.as_str()).copied().unwrap_or(0);
    for c in &candidates {
        if let Some(spot) = c.spot {
            used.entry((seat_of(c), c.condition, c.source, c.quiet)).or_default().insert(spot);
        }
    }
    let mut takes: Vec<Take> = candidates
        .into_iter()
        .map(|c| {
            let seat = seat_of(&c);
            let spot = c.spot.unwrap_or_else(|| {
                let taken = used.entry((seat, c.condition, c.source, c.quiet)).or_default();
                let free = (1..).find(|n| !taken.contains(n)).unwrap_or(u32::MAX);
                taken.insert(free);
                free
            });
            let TakeInfo { condition, source, quiet, file, .. } = c;
            Take { seat, condition, spot, source, quiet, file }
        })
        .collect();
    take::sort(&mut takes);
    takes
}
