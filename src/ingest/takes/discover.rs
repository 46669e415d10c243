//! The list of takes of a session.

use super::TAKES_FOLDER;
use super::name::{default_name, parse_name};
use super::paths::{inside, resolve};
use crate::ingest::error::{IngestError, plain, shown};
use crate::ingest::manifest::check::{MAX_SEATS, MAX_TAKES};
use crate::ingest::manifest::check_seats::id_problem;
use crate::ingest::manifest::{Condition, Manifest, ManifestText, SeatInfo, SoundSource, nearest};
use crate::ingest::session::{OpenMode, Take};
use crate::warning::{Topic, Warning};
use std::collections::{BTreeMap, BTreeSet, HashMap, HashSet};
use std::fs;
use std::path::{Path, PathBuf};

/// Seats and takes of a session folder.
#[derive(Debug, Clone)]
pub struct FoundTakes {
    /// The seats of the manifest; where it lists none, those of the takes, sorted.
    pub seats: Vec<SeatInfo>,
    /// Takes in order of seat, condition, source, spot, file.
    pub takes: Vec<Take>,
    /// What a half-finished session may lack or have too much ([`OpenMode::Lenient`]).
    pub warnings: Vec<Warning>,
}

/// A take before its seat has a number.
struct Candidate {
    seat: String,
    condition: Condition,
    source: SoundSource,
    spot: Option<u32>,
    file: PathBuf,
}

/// Lists the takes of the session folder `root`: those of the manifest, or, where it
/// names none, the files of `takes/` by their default names.
///
/// # Errors
/// [`IngestError`]: a file that is missing (strict only), leaves the folder, is no
/// regular file, stands for two takes, or whose name fits no seat (strict only); too
/// many takes; in strict mode a seat without takes in both main conditions.
pub fn discover(
    root: &Path,
    manifest: &Manifest,
    text: &ManifestText,
    mode: OpenMode,
) -> Result<FoundTakes, IngestError> {
    let mut warnings = Vec::new();
    let candidates = if manifest.take.is_empty() {
        by_name(root, manifest, mode, &mut warnings)?
    } else {
        from_list(root, manifest, text, mode, &mut warnings)?
    };
    let seats = seats_of(root, manifest, &candidates)?;
    if mode == OpenMode::Strict {
        check_complete(root, &seats, &candidates)?;
    }
    let takes = number_spots(&seats, candidates);
    Ok(FoundTakes { seats, takes, warnings })
}

fn from_list(
    root: &Path,
    manifest: &Manifest,
    text: &ManifestText,
    mode: OpenMode,
    warnings: &mut Vec<Warning>,
) -> Result<Vec<Candidate>, IngestError> {
    let mut candidates = Vec::with_capacity(manifest.take.len());
    let mut seen: HashMap<PathBuf, usize> = HashMap::new();
    for (i, take) in manifest.take.iter().enumerate() {
        let real =
            match inside(root, &take.file, "record this take, or take it out of session.toml") {
                Err(IngestError::NoFile { .. }) if mode == OpenMode::Lenient => {
                    warnings.push(Warning {
                        topic: Topic::Missing,
                        seat: Some(take.seat.clone()),
                        take: Some(shown(&take.file)),
                        message: "This take is listed in session.toml, its file is not there."
                            .into(),
                        advice: "Record it, or take it out of the list.".into(),
                    });
                    continue;
                }
                other => other?,
            };
        if let Some(first) = seen.insert(real, i) {
            let line = text.line_of(&format!("take[{first}].file"));
            return Err(text.refuse(
                &format!("take[{i}].file"),
                format!("{} is already used for the take in line {line}", shown(&take.file)),
                "each take needs its own recording",
            ));
        }
        candidates.push(Candidate {
            seat: take.seat.clone(),
            condition: take.condition,
            source: take.source,
            spot: take.spot,
            file: take.file.clone(),
        });
    }
    Ok(candidates)
}

fn by_name(
    root: &Path,
    manifest: &Manifest,
    mode: OpenMode,
    warnings: &mut Vec<Warning>,
) -> Result<Vec<Candidate>, IngestError> {
    let folder = root.join(TAKES_FOLDER);
    if folder.symlink_metadata().is_err() {
        return Ok(Vec::new());
    }
    resolve(root, &folder, "make this folder and put the recordings into it")?;
    let read = |source| IngestError::Read { path: folder.clone(), source };
    let mut names = Vec::new();
    for entry in fs::read_dir(&folder).map_err(read)? {
        let name = PathBuf::from(entry.map_err(read)?.file_name());
        let is_wav = name.extension().is_some_and(|e| e.eq_ignore_ascii_case("wav"));
        // Files that begin with a dot are the system's own notes beside recordings.
        if is_wav && !name.to_string_lossy().starts_with('.') {
            names.push(name);
        }
        if names.len() > MAX_TAKES {
            return Err(IngestError::TooMany {
                path: folder.clone(),
                what: "recordings",
                found: names.len(),
                limit: MAX_TAKES,
            });
        }
    }
    // The system lists files in any order.
    names.sort();
    let mut candidates: Vec<Candidate> = Vec::with_capacity(names.len());
    let mut files: HashMap<PathBuf, PathBuf> = HashMap::new();
    let mut numbers: HashMap<(String, Condition, SoundSource, u32), PathBuf> = HashMap::new();
    for name in names {
        let file = Path::new(TAKES_FOLDER).join(&name);
        let candidate = match candidate_of(root, &file, manifest) {
            Ok(candidate) => candidate,
            Err(error @ IngestError::TakeName { .. }) if mode == OpenMode::Lenient => {
                let (problem, advice) = match &error {
                    IngestError::TakeName { problem, advice, .. } => (problem, advice),
                    _ => continue,
                };
                warnings.push(Warning {
                    topic: Topic::FileName,
                    seat: None,
                    take: Some(shown(&file)),
                    message: format!("This file is left out: {problem}."),
                    advice: format!("{}.", upper_first(advice)),
                });
                continue;
            }
            Err(error) => return Err(error),
        };
        let real = inside(root, &file, "put the recording there again")?;
        let twice = |other: &Path, problem: String, advice| IngestError::TakeTwice {
            path: file.clone(),
            other: other.to_path_buf(),
            problem,
            advice,
        };
        if let Some(other) = files.insert(real, file.clone()) {
            return Err(twice(
                &other,
                "both are the same file".into(),
                "each take needs its own recording",
            ));
        }
        let number = candidate.spot.unwrap_or(0);
        let key = (candidate.seat.clone(), candidate.condition, candidate.source, number);
        if let Some(other) = numbers.insert(key, file.clone()) {
            return Err(twice(
                &other,
                format!("both are number {number} of seat {}", candidate.seat),
                "rename one of them, or list the takes in session.toml",
            ));
        }
        candidates.push(candidate);
    }
    Ok(candidates)
}

fn candidate_of(root: &Path, file: &Path, manifest: &Manifest) -> Result<Candidate, IngestError> {
    let refuse = |problem: String, advice: String| IngestError::TakeName {
        path: root.join(file),
        problem,
        advice,
    };
    let ids: Vec<&str> = manifest.seat.iter().map(|s| s.id.as_str()).collect();
    let example = default_name(
        ids.first().copied().unwrap_or("R1C"),
        Condition::Without,
        SoundSource::Centre,
        1,
    );
    let stem = file.file_stem().and_then(|s| s.to_str()).ok_or_else(|| {
        refuse("the name is not Unicode text".into(), format!("rename it, for example {example}"))
    })?;
    let name = parse_name(stem).map_err(|problem| {
        let near = ids.iter().find(|id| stem.starts_with(**id)).map(|id| {
            default_name(id, Condition::Without, SoundSource::Centre, 1)
        });
        refuse(
            problem,
            format!(
                "rename it as SEAT_CONDITION_NUMBER.wav, for example {}, or move it out of {TAKES_FOLDER}",
                near.unwrap_or_else(|| example.clone())
            ),
        )
    })?;
    let seat = match_seat(&name.seat, &ids).map_err(|problem| {
        let advice = match nearest(&name.seat, &ids) {
            Some(near) => {
                format!("did you mean {near}? rename the file, or add the seat to session.toml")
            }
            None => format!(
                "rename the file, or add the seat to session.toml; the seats are {}",
                ids[..ids.len().min(12)].join(", ")
            ),
        };
        refuse(problem, advice)
    })?;
    // Where seats are named in the manifest, their ids were checked there.
    if ids.is_empty()
        && let Some(problem) = id_problem(&seat)
    {
        return Err(refuse(problem, format!("rename it, for example {example}")));
    }
    Ok(Candidate {
        seat,
        condition: name.condition,
        source: name.source,
        spot: Some(name.number),
        file: file.to_path_buf(),
    })
}

/// The seat a name means: equal, or equal but for upper and lower case where only
/// one is. Any name where the manifest lists no seats.
fn match_seat(found: &str, ids: &[&str]) -> Result<String, String> {
    if ids.is_empty() || ids.contains(&found) {
        return Ok(found.to_owned());
    }
    let lower = found.to_lowercase();
    let mut alike = ids.iter().filter(|id| id.to_lowercase() == lower);
    match (alike.next(), alike.next()) {
        (Some(id), None) => Ok((*id).to_owned()),
        _ => Err(format!("no seat is called `{}`", plain(found))),
    }
}

fn seats_of(
    root: &Path,
    manifest: &Manifest,
    candidates: &[Candidate],
) -> Result<Vec<SeatInfo>, IngestError> {
    if !manifest.seat.is_empty() {
        return Ok(manifest.seat.clone());
    }
    let ids: BTreeSet<&str> = candidates.iter().map(|c| c.seat.as_str()).collect();
    if ids.len() > MAX_SEATS {
        return Err(IngestError::TooMany {
            path: root.join(TAKES_FOLDER),
            what: "seats in the names of the recordings",
            found: ids.len(),
            limit: MAX_SEATS,
        });
    }
    Ok(ids
        .into_iter()
        .map(|id| SeatInfo { id: id.to_owned(), name: None, position_m: None, weight: 1.0 })
        .collect())
}

/// Every seat must have the loudspeaker behind the screen in both main conditions.
fn check_complete(
    root: &Path,
    seats: &[SeatInfo],
    candidates: &[Candidate],
) -> Result<(), IngestError> {
    let example = |seat: &str, condition| {
        let name = default_name(seat, condition, SoundSource::Centre, 1);
        // A seat's name is data: in an example it must not look like a path.
        format!("{TAKES_FOLDER}/{}", name.replace(['/', '\\'], "-"))
    };
    if candidates.is_empty() {
        return Err(IngestError::NoTakes {
            path: root.join(TAKES_FOLDER),
            example: example(seats.first().map_or("R1C", |s| &s.id), Condition::Without),
        });
    }
    let there: HashSet<(&str, Condition)> = candidates
        .iter()
        .filter(|c| c.source == SoundSource::Centre)
        .map(|c| (c.seat.as_str(), c.condition))
        .collect();
    for seat in seats {
        for condition in [Condition::Without, Condition::With] {
            if !there.contains(&(seat.id.as_str(), condition)) {
                return Err(IngestError::MissingCondition {
                    seat: seat.id.clone(),
                    condition,
                    example: example(&seat.id, condition),
                });
            }
        }
    }
    Ok(())
}

/// Gives every take its seat's number and, in the order of the list, the lowest free
/// spot where none is named; sorts.
fn number_spots(seats: &[SeatInfo], candidates: Vec<Candidate>) -> Vec<Take> {
    let index: HashMap<&str, usize> =
        seats.iter().enumerate().map(|(i, s)| (s.id.as_str(), i)).collect();
    let mut used: BTreeMap<(usize, Condition, SoundSource), BTreeSet<u32>> = BTreeMap::new();
    // Every candidate's seat is known: checked in the manifest or taken from it.
    let seat_of = |c: &Candidate| index.get(c.seat.as_str()).copied().unwrap_or(0);
    for c in &candidates {
        if let Some(spot) = c.spot {
            used.entry((seat_of(c), c.condition, c.source)).or_default().insert(spot);
        }
    }
    let mut takes: Vec<Take> = candidates
        .into_iter()
        .map(|c| {
            let seat = seat_of(&c);
            let spot = c.spot.unwrap_or_else(|| {
                let taken = used.entry((seat, c.condition, c.source)).or_default();
                let free = (1..).find(|n| !taken.contains(n)).unwrap_or(u32::MAX);
                taken.insert(free);
                free
            });
            Take { seat, condition: c.condition, spot, source: c.source, file: c.file }
        })
        .collect();
    takes.sort_by(|a, b| {
        (a.seat, a.condition, a.source, a.spot, &a.file).cmp(&(
            b.seat,
            b.condition,
            b.source,
            b.spot,
            &b.file,
        ))
    });
    takes
}

fn upper_first(text: &str) -> String {
    let mut chars = text.chars();
    chars.next().map_or_else(String::new, |c| c.to_uppercase().chain(chars).collect())
}
