//! Blind tests: drawn here, told at the end.
//!
//! A, B and X of a round come from addresses that say nothing, with dither of their own, so that
//! bytes of X are those of neither A nor B.

use super::listen::{gone, wav};
use super::listening::Test;
use super::refusal::Refusal;
use super::request::{Answer, Job};
use super::words::word;
use crate::ingest::blind_tests::{KeptTest, read_blind_tests, with_one_more};
use crate::listen::blind::{BlindTest, Outcome, Side};
use crate::listen::passage::Passage;
use crate::listen::versions::{Part, make_versions};
use crate::report::output::write_one_file;
use crate::report::words::heard::HeardTest;
use axum::Json;
use axum::extract::Path;
use axum::response::Response;
use serde::{Deserialize, Serialize};
use std::sync::Arc;

/// A training round takes away so much, dB, ...
const DULLED_DB: f64 = 12.0;
/// ... above this frequency, Hz, half of it there.
const DULLED_HZ: f64 = 2000.0;

/// Which versions of which sound, and how.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Asked {
    /// Number of the sound.
    number: u64,
    pair: [usize; 2],
    matched: bool,
    rounds: usize,
    /// One round with a difference that everyone hears.
    #[serde(default)]
    training: bool,
}

/// A test that was drawn.
#[derive(Serialize)]
pub(super) struct Drawn {
    test: u64,
    rounds: usize,
}

/// Draws a test.
pub(super) async fn begin(job: Job, Json(asked): Json<Asked>) -> Answer<Drawn> {
    job.answer(move |desk, folder| {
        let heard = desk.listening().heard(asked.number, &folder).ok_or_else(gone)?;
        let n = heard.versions.versions.len();
        let [first, second] = asked.pair;
        if first == second || first >= n || second >= n {
            return Err(Refusal::bad(word("blind.two")));
        }
        let (draw, training) = if asked.training {
            let parts = [Part::without(), dulled()];
            (BlindTest::training()?, Some(make_versions(&heard.sound, &parts)?))
        } else {
            (BlindTest::draw(asked.rounds)?, None)
        };
        let rounds = draw.rounds();
        // A training round is about tone, never about level.
        let (pair, matched, kept) = (asked.pair, asked.matched || asked.training, false);
        let test = desk.number();
        let drawn = Test { draw, heard, pair, matched, training, kept };
        desk.listening().keep_test(test, drawn);
        Ok(Drawn { test, rounds })
    })
    .await
}

/// The sound with its treble taken down.
fn dulled() -> Part {
    let gain_db = |hz: f64| {
        let part = (hz / DULLED_HZ).powi(4);
        -DULLED_DB * part / (1.0 + part)
    };
    let passage = Some(Arc::new(Passage::from_gain(&gain_db)));
    Part { key: "dulled".into(), title: word("blind.dulled").into(), passage, setting: None }
}

/// A, B or X of a round.
pub(super) async fn play(
    job: Job,
    Path((_, test, round, key)): Path<(String, u64, usize, String)>,
) -> Result<Response, Refusal> {
    job.work(move |desk, folder| {
        let mut seed = [0u8; 8];
        getrandom::fill(&mut seed).map_err(|_| Refusal::bad(word("blind.no_random")))?;
        let (version, rate_hz, matched) = {
            let mut listening = desk.listening();
            let test = listening.test(test, &folder).ok_or_else(gone)?;
            let which = match key.as_str() {
                "a" => Some(test.draw.version_of(Side::A)),
                "b" => Some(test.draw.version_of(Side::B)),
                "x" => test.draw.version_of_x(round),
                _ => None,
            };
            let which = which.ok_or_else(gone)?;
            (test.version(which).clone(), test.heard.versions.rate_hz, test.matched)
        };
        Ok(wav(version.wav(rate_hz, matched, u64::from_le_bytes(seed))?))
    })
    .await
}

/// What X is said to be.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Said {
    round: usize,
    side: Side,
}

/// Where the test stands; the result with the last answer alone.
#[derive(Serialize)]
pub(super) struct Stand {
    open_round: usize,
    rounds: usize,
    outcome: Option<Outcome>,
    /// Names of A and B, once it is over.
    names: Option<[String; 2]>,
}

/// Takes an answer.
pub(super) async fn answer(
    job: Job,
    Path((_, test)): Path<(String, u64)>,
    Json(said): Json<Said>,
) -> Answer<Stand> {
    job.answer(move |desk, folder| {
        let mut listening = desk.listening();
        let test = listening.test(test, &folder).ok_or_else(gone)?;
        test.draw.answer(said.round, said.side)?;
        let outcome = test.draw.outcome();
        let name = |side| test.version(test.draw.version_of(side)).title.clone();
        Ok(Stand {
            open_round: test.draw.open_round(),
            rounds: test.draw.rounds(),
            names: outcome.is_some().then(|| [name(Side::A), name(Side::B)]),
            outcome,
        })
    })
    .await
}

/// Who listened, and when.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Who {
    initials: String,
    /// Today where the listener sits, `2026-03-14`.
    date: String,
}

/// Keeps a finished test in the job; answers with all that are kept.
pub(super) async fn keep(
    job: Job,
    Path((_, number)): Path<(String, u64)>,
    Json(who): Json<Who>,
) -> Answer<Vec<HeardTest>> {
    job.answer(move |desk, folder| {
        let row = {
            let mut listening = desk.listening();
            let test = listening.test(number, &folder).ok_or_else(gone)?;
            let finished = test.draw.outcome().filter(|_| test.training.is_none() && !test.kept);
            let outcome = finished.ok_or_else(|| Refusal::bad(word("blind.not_finished")))?;
            KeptTest {
                date: who.date,
                listener: who.initials.trim().to_owned(),
                seat: test.heard.seat.clone(),
                sound: test.heard.versions.title.clone(),
                first: test.version(0).title.clone(),
                second: test.version(1).title.clone(),
                matched: test.matched,
                rounds: outcome.rounds,
                right: outcome.right,
            }
        };
        let _writing = desk.writing();
        let (path, bytes) = with_one_more(&folder, row)?;
        write_one_file(&path, true, |path| std::fs::write(path, &bytes))??;
        if let Some(test) = desk.listening().test(number, &folder) {
            test.kept = true;
        }
        Ok(read_blind_tests(&folder)?.into_iter().map(HeardTest::from).collect())
    })
    .await
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_training_round_is_plain_to_hear() {
        let part = dulled();
        let passage = part.passage.unwrap();
        assert!(passage.gain_db(200.0).abs() < 0.01);
        assert!((passage.gain_db(2000.0) + 6.0).abs() < 0.01);
        assert!((passage.gain_db(10_000.0) + 12.0).abs() < 0.05);
    }
}
