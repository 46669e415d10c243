//! The list of takes of a session.

use super::TAKES_FOLDER;
use super::name::{default_name, parse_name};
use super::paths::{inside, resolve};
use crate::ingest::error::{IngestError, plain, shown};
use crate::ingest::manifest::check::{MAX_SEATS, MAX_TAKES};
use crate::ingest::manifest::check_seats::id_problem;
use crate::ingest::manifest::{Condition, Manifest, ManifestText, SeatInfo, SoundSource, nearest};
use crate::ingest::session::Take;
use crate::warning::{Topic, Warning};
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
    pub warnings: Vec<Warning>,
}

/// A take before its seat has a number.
struct Candidate {
    seat: String,
    condition: Condition,
    source: SoundSource,
    quiet: bool,
    spot: Option<u32>,
    file: PathBuf,
}

impl Candidate {
    fn key(&self) -> (&str, Condition, SoundSource, bool, Option<u32>) {
        (&self.seat, self.condition, self.source, self.quiet, self.spot)
    }
}

/// What lies in `takes/` beside recordings: where imported takes came from, and takes that were
/// put aside.
const OWN_ENTRIES: [&str; 2] = ["origin.csv", "aside"];

/// More files that are no recordings become one warning.
const MANY_OTHERS: usize = 8;

/// Lists the takes of the session folder `root`: those of the manifest, or, where it
/// names none, the files of `takes/` by their default names. What cannot be a take is left out and
/// named in a warning; whether a take can be read is found when it is read.
///
/// # Errors
/// [`IngestError`]: too many takes or seats, a folder `takes` that leads out of the session or
/// cannot be listed, a listed file that stands for two takes.
pub fn discover(
    root: &Path,
    manifest: &Manifest,
    text: &ManifestText,
) -> Result<FoundTakes, IngestError> {
    let mut warnings = Vec::new();
    let candidates = if manifest.take.is_empty() {
        by_name(root, manifest, &mut warnings)?
    } else {
        from_list(root, manifest, text, &mut warnings)?
    };
    let seats = seats_of(root, manifest, &candidates)?;
    let takes = number_spots(&seats, candidates);
    Ok(FoundTakes { seats, takes, warnings })
}

fn from_list(
    root: &Path,
    manifest: &Manifest,
    text: &ManifestText,
    warnings: &mut Vec<Warning>,
) -> Result<Vec<Candidate>, IngestError> {
    let mut candidates = Vec::with_capacity(manifest.take.len());
    let mut seen: HashMap<PathBuf, usize> = HashMap::new();
    for (i, take) in manifest.take.iter().enumerate() {
        match inside(root, &take.file, "") {
            Err(IngestError::NoFile { .. }) => {
                warnings.push(Warning {
                    topic: Topic::Missing,
                    seat: Some(take.seat.clone()),
                    take: Some(shown(&take.file)),
                    message: "This take is listed in session.toml, its file is not there.".into(),
                    advice: "Record it, or take it out of the list.".into(),
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
        candidates.push(Candidate {
            seat: take.seat.clone(),
            condition: take.condition,
            source: take.source,
            quiet: take.quiet,
            spot: take.spot,
            file: take.file.clone(),
        });
    }
    Ok(candidates)
}

fn by_name(
    root: &Path,
    manifest: &Manifest,
    warnings: &mut Vec<Warning>,
) -> Result<Vec<Candidate>, IngestError> {
    let mut candidates: Vec<Candidate> = Vec::new();
    for name in recordings(root, warnings)? {
        let file = Path::new(TAKES_FOLDER).join(&name);
        match candidate_of(&file, manifest) {
            Ok(candidate) => candidates.push(candidate),
            Err(why) => warnings.push(left_out(&file, &why.problem, &why.advice)),
        }
    }
    // Nobody knows which of two files with one number is meant.
    let mut numbers: BTreeMap<_, Vec<&PathBuf>> = BTreeMap::new();
    for candidate in &candidates {
        numbers.entry(candidate.key()).or_default().push(&candidate.file);
    }
    let mut twice: BTreeSet<PathBuf> = BTreeSet::new();
    for ((seat, .., number), files) in numbers.iter().filter(|(_, files)| files.len() > 1) {
        for file in files {
            let other = files.iter().find(|f| f != &file).map_or_else(String::new, |f| shown(f));
            let number = number.unwrap_or(0);
            warnings.push(left_out(
                file,
                &format!("it and {other} are both number {number} of seat {}", plain(seat)),
                "rename one of them",
            ));
            twice.insert((*file).clone());
        }
    }
    candidates.retain(|c| !twice.contains(&c.file));
    Ok(candidates)
}

/// Names of the WAV files in `takes/`, sorted; what else lies there becomes a warning.
fn recordings(root: &Path, warnings: &mut Vec<Warning>) -> Result<Vec<PathBuf>, IngestError> {
    let folder = root.join(TAKES_FOLDER);
    if folder.symlink_metadata().is_err() {
        return Ok(Vec::new());
    }
    resolve(root, &folder, "make this folder and put the recordings into it")?;
    let read = |source| IngestError::Read { path: folder.clone(), source };
    let (mut names, mut others) = (Vec::new(), BTreeSet::new());
    for (n, entry) in fs::read_dir(&folder).map_err(read)?.enumerate() {
        if n > 4 * MAX_TAKES || names.len() > MAX_TAKES {
            return Err(IngestError::TooMany {
                path: folder.clone(),
                what: "recordings",
                found: n,
                limit: MAX_TAKES,
            });
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
        warnings.push(if is_folder {
            let inside = "takes lie directly in takes/: move its recordings there, or bring them \
                          in with `scrimcheck import`";
            left_out(&file, "it is a folder", inside)
        } else if n_files > MANY_OTHERS && told {
            continue;
        } else {
            told = true;
            let what = match n_files {
                n if n > MANY_OTHERS => format!("it and {} others are no WAV files", n - 1),
                _ => "it is not a WAV file".into(),
            };
            let export = "bring a recording in with `scrimcheck import`, which reads other kinds \
                          of files too; move anything else out of takes/";
            left_out(&file, &what, export)
        });
    }
    // The system lists files in any order.
    names.sort();
    Ok(names)
}

fn left_out(file: &Path, problem: &str, advice: &str) -> Warning {
    Warning {
        topic: Topic::FileName,
        seat: None,
        take: Some(shown(file)),
        message: format!("This is left out: {problem}."),
        advice: format!("{}.", upper_first(advice)),
    }
}

/// Why a file's name fits no take.
struct NoName {
    problem: String,
    advice: String,
}

fn candidate_of(file: &Path, manifest: &Manifest) -> Result<Candidate, NoName> {
    let refuse = |problem: String, advice: String| NoName { problem, advice };
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
        quiet: name.quiet,
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

/// Gives every take its seat's number and, in the order of the list, the lowest free
/// spot where none is named; sorts.
fn number_spots(seats: &[SeatInfo], candidates: Vec<Candidate>) -> Vec<Take> {
    let index: HashMap<&str, usize> =
        seats.iter().enumerate().map(|(i, s)| (s.id.as_str(), i)).collect();
    let mut used: BTreeMap<(usize, Condition, SoundSource, bool), BTreeSet<u32>> = BTreeMap::new();
    // Every candidate's seat is known: checked in the manifest or taken from it.
    let seat_of = |c: &Candidate| index.get(c.seat.as_str()).copied().unwrap_or(0);
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
            let Candidate { condition, source, quiet, file, .. } = c;
            Take { seat, condition, spot, source, quiet, file }
        })
        .collect();
    sort(&mut takes);
    takes
}

/// Order of a session's takes: seat, condition, source, quiet, spot, file.
pub(super) fn sort(takes: &mut [Take]) {
    let key = |t: &Take| (t.seat, t.condition, t.source, t.quiet, t.spot);
    takes.sort_by(|a, b| key(a).cmp(&key(b)).then_with(|| a.file.cmp(&b.file)));
}

fn upper_first(text: &str) -> String {
    let mut chars = text.chars();
    chars.next().map_or_else(String::new, |c| c.to_uppercase().chain(chars).collect())
}
