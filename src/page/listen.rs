//! Sounds of a job: what can be listened to, and each version as a file.

use super::desk::Desk;
use super::listening::{Heard, Jobs};
use super::place::{is_plain, job_folder, outside};
use super::refusal::Refusal;
use super::request::{Answer, Job};
use super::stamp::inputs;
use super::upload::to_disk;
use super::words::word;
use crate::analysis::predict::FRONT_REFLECTION;
use crate::analysis::predict::describe::Description;
use crate::analysis::sheet::models::Gap;
use crate::chain::analyze_keeping;
use crate::ingest::blind_tests::read_blind_tests;
use crate::job;
use crate::listen::files::DITHER_SEED;
use crate::listen::job::{offer, usual_seat};
use crate::listen::read::read_sound;
use crate::listen::sounds::{self, Sound};
use crate::listen::versions::make_versions;
use crate::report::words::heard::HeardTest;
use axum::Json;
use axum::body::Body;
use axum::extract::{Path, Query};
use axum::http::{HeaderMap, StatusCode, header};
use axum::response::{IntoResponse, Response};
use serde::{Deserialize, Serialize};
use std::path::{Path as FilePath, PathBuf};
use std::sync::Arc;

/// Largest sound of the user's, bytes.
const MOST_BYTES: u64 = 256 << 20;
/// So much of it is played, s: the page holds every version in memory.
const LONGEST_S: f64 = 20.0;
/// Name of the user's own sound among the sounds.
const OWN: &str = "own";
/// What the folder of a job's own sounds is called.
const OWN_FOLDER: &str = "sound";

/// What can be listened to.
#[derive(Serialize)]
pub(super) struct Choices {
    seats: Vec<Named>,
    /// The one that is taken where nobody says.
    seat: String,
    sounds: Vec<Named>,
    /// Tests that were kept.
    kept: Vec<HeardTest>,
}

#[derive(Serialize)]
struct Named {
    key: String,
    title: String,
}

/// Answers with seats, sounds and kept tests.
pub(super) async fn choices(job: Job) -> Answer<Choices> {
    job.answer(move |desk, folder| {
        let jobs = measured(desk, std::slice::from_ref(&folder))?;
        let analyzed = &jobs[0].1;
        let usual = usual_seat(analyzed).ok_or_else(|| Refusal::bad(word("listen.no_seat")))?;
        let seats = analyzed.result.seats.iter();
        let seats = seats.filter(|s| s.loss_db.iter().any(Option::is_some));
        Ok(Choices {
            seats: seats.map(|s| Named { key: s.id.clone(), title: s.name.clone() }).collect(),
            seat: usual.to_owned(),
            sounds: sounds::ALL
                .map(|m| Named { key: m.key().into(), title: m.title().into() })
                .into(),
            kept: read_blind_tests(&folder)?.into_iter().map(HeardTest::from).collect(),
        })
    })
    .await
}

/// Which sound, where, through what.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Asked {
    seat: String,
    /// Short name of a made sound, or `own`.
    sound: String,
    /// Name of the own sound.
    name: Option<String>,
    /// Another job, whose screen is heard against this one's.
    against: Option<String>,
    /// A described sheet, in one word.
    #[serde(default)]
    sheet: String,
}

/// The versions that were made.
#[derive(Serialize)]
pub(super) struct Made {
    number: u64,
    title: String,
    seat: String,
    goes_round: bool,
    headroom_gain_db: f64,
    versions: Vec<Shown>,
    notes: Vec<String>,
}

#[derive(Serialize)]
struct Shown {
    title: String,
    predicted: bool,
    loudness_lufs: f64,
    true_peak_dbtp: f64,
    matched_gain_db: f64,
}

/// Makes the versions of a sound.
pub(super) async fn hear(job: Job, Json(asked): Json<Asked>) -> Answer<Made> {
    let own = job.hidden_folder(OWN_FOLDER);
    job.answer(move |desk, folder| {
        let mut folders = vec![folder.clone()];
        if let Some(other) = &asked.against {
            folders.push(job_folder(&desk.root, other)?);
        }
        let sheets = match asked.sheet.trim() {
            "" => Vec::new(),
            text => {
                let sheet = Description::parse(text).and_then(|d| d.build());
                vec![sheet.map_err(|e| Refusal::from(e).at("sheet"))?]
            }
        };
        let sound = sound(&own, &asked)?;
        let jobs = measured(desk, &folders)?;
        let gap = jobs[0].0.manifest.screen.gap_m;
        let gap = gap.map(|gap_m| Gap { gap_m, front_reflection: FRONT_REFLECTION });
        let offer = offer(&jobs, Some(&asked.seat), &sheets, gap)?;
        let versions = make_versions(&sound, &offer.parts)?;
        let shown = |v: &crate::listen::versions::Version| Shown {
            title: v.title.clone(),
            predicted: v.predicted,
            loudness_lufs: v.level.loudness_lufs,
            true_peak_dbtp: v.level.true_peak_dbtp,
            matched_gain_db: v.matched_gain_db,
        };
        let number = desk.number();
        let made = Made {
            number,
            title: versions.title.clone(),
            seat: asked.seat.clone(),
            goes_round: versions.goes_round,
            headroom_gain_db: versions.headroom_gain_db,
            versions: versions.versions.iter().map(shown).collect(),
            notes: offer.notes,
        };
        desk.listening().keep_heard(number, Heard { folder, seat: asked.seat, sound, versions });
        Ok(made)
    })
    .await
}

fn sound(own: &FilePath, asked: &Asked) -> Result<Sound, Refusal> {
    if asked.sound != OWN {
        let made = sounds::Made::from_key(&asked.sound);
        return made.map(sounds::Made::sound).ok_or_else(|| Refusal::bad(word("error.form")));
    }
    let name = asked.name.as_deref().filter(|name| is_plain(name)).ok_or_else(outside)?;
    let path = own.join(name);
    let mut sound = read_sound(&path, LONGEST_S)
        .map_err(|error| Refusal::from(error).hiding(own).at("sound"))?;
    fade_ends(&mut sound);
    Ok(sound)
}

/// The page plays a sound round and round: its ends must meet without a click.
fn fade_ends(sound: &mut Sound) {
    let n = sound.rate_hz as usize / 50;
    for channel in &mut sound.channels {
        crate::transfer::window::taper_ends(channel, n, n);
    }
}

/// Jobs measured, or taken as they were where nothing has changed since.
fn measured(desk: &Desk, folders: &[PathBuf]) -> Result<Jobs, Refusal> {
    let now: Vec<(PathBuf, String)> = folders.iter().map(|f| (f.clone(), inputs(f))).collect();
    // One analysis at a time, as for the report: it uses all cores.
    let _alone = desk.made();
    if let Some((basis, jobs)) = &desk.listening().jobs
        && *basis == now
    {
        return Ok(Arc::clone(jobs));
    }
    let mut jobs = Vec::new();
    for folder in folders {
        let session = job::open(folder)?;
        let analyzed = analyze_keeping(&session, &|| ())?;
        jobs.push((session, analyzed));
    }
    let jobs = Arc::new(jobs);
    desk.listening().jobs = Some((now, Arc::clone(&jobs)));
    Ok(jobs)
}

/// Name of an own sound.
#[derive(Deserialize)]
pub(super) struct Name {
    name: String,
}

/// Takes a sound of the user's; it stays as long as the program runs.
pub(super) async fn own_sound(
    job: Job,
    Query(Name { name }): Query<Name>,
    headers: HeaderMap,
    body: Body,
) -> Answer<u64> {
    job.folder()?;
    if !is_plain(&name) {
        return Err(outside());
    }
    let folder = job.hidden_folder(OWN_FOLDER);
    // One at a time: another one takes its place.
    if folder.symlink_metadata().is_ok() {
        tokio::fs::remove_dir_all(&folder).await?;
    }
    tokio::fs::create_dir_all(&folder).await?;
    Ok(Json(to_disk(body, &headers, &folder.join(&name), MOST_BYTES).await?))
}

/// One version as a file, as it is.
pub(super) async fn version(
    job: Job,
    Path((_, number, version)): Path<(String, u64, usize)>,
) -> Result<Response, Refusal> {
    job.work(move |desk, folder| {
        let heard = desk.listening().heard(number, &folder).ok_or_else(gone)?;
        let version = heard.versions.versions.get(version).ok_or_else(gone)?;
        Ok(wav(version.wav(heard.versions.rate_hz, false, DITHER_SEED)?))
    })
    .await
}

/// What is no longer kept.
pub(super) fn gone() -> Refusal {
    Refusal::say(StatusCode::NOT_FOUND, "listen.gone")
}

/// A sound as an answer.
pub(super) fn wav(bytes: Vec<u8>) -> Response {
    ([(header::CONTENT_TYPE, "audio/wav")], bytes).into_response()
}
