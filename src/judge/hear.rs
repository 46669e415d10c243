//! Every take read once: its facts and its response.

use super::facts::{BandPowers, TakeAnalyser, TakeFacts};
use super::session::TakeRead;
use super::verdict::SHARE_AT_LEAST;
use crate::ingest::error::IngestError;
use crate::ingest::manifest::Condition;
use crate::ingest::session::Session;
use crate::transfer::drift::TakeDrift;
use crate::transfer::measure::{ReadTake, Responder};
use crate::transfer::take::TakeResponse;
use rayon::prelude::*;

/// What was heard of all takes, in the order of the session.
pub struct Heard {
    /// Facts, or why a take cannot be read.
    pub reads: Vec<TakeRead>,
    /// Responses, `None` where there is none.
    pub responses: Vec<Option<TakeResponse>>,
}

/// Reads all takes, in parallel; a take that cannot be used is told in its place, not a failure.
/// `tick` is called once for each, from any thread.
pub fn hear(
    session: &Session,
    analyser: &TakeAnalyser,
    responder: &Responder,
    read: &ReadTake,
    tick: &(dyn Fn() + Sync),
) -> Heard {
    let one = |index: usize| -> Result<(TakeFacts, TakeResponse), IngestError> {
        let recording =
            read(index).map_err(|error| with_right_channel(session, analyser, index, error))?;
        let mut facts = analyser.facts(&recording);
        facts.heard_in = recording
            .louder_channel
            .filter(|channel| holds_sweep(session, analyser, index, *channel));
        let response = responder
            .respond(index, recording, 0.0)
            .ok_or_else(|| nothing_heard(session, index))?;
        let bands = responder.bands();
        facts.place.clone_from(&response.print);
        facts.arrivals = Some(response.arrivals);
        facts.powers = Some(BandPowers {
            bands: bands.to_vec(),
            power: response.power[..bands.len()].to_vec(),
            noise: response.noise[..bands.len()].to_vec(),
        });
        Ok((facts, response))
    };
    let told = |index: usize| {
        let heard = one(index);
        tick();
        match heard {
            Ok((facts, response)) => (Ok(facts), Some(response)),
            Err(error) => (Err(error), None),
        }
    };
    let (reads, responses) = (0..session.takes.len()).into_par_iter().map(told).unzip();
    Heard { reads, responses }
}

/// Whether a channel of a take's file, counted from 1, holds the sweep.
fn holds_sweep(session: &Session, analyser: &TakeAnalyser, index: usize, channel: u16) -> bool {
    let recording = session.read_channel(&session.takes[index], channel);
    recording.is_ok_and(|recording| {
        analyser.facts(&recording).sweep.is_some_and(|sweep| sweep.share >= SHARE_AT_LEAST)
    })
}

/// The error of a silent channel where another one holds the sweep.
fn with_right_channel(
    session: &Session,
    analyser: &TakeAnalyser,
    index: usize,
    error: IngestError,
) -> IngestError {
    match error {
        IngestError::Silent { seat, path, channel, other: Some(found) }
            if holds_sweep(session, analyser, index, found) =>
        {
            IngestError::OtherChannel { seat, path, channel, found }
        }
        other => other,
    }
}

fn nothing_heard(session: &Session, index: usize) -> IngestError {
    let take = &session.takes[index];
    IngestError::Silent {
        seat: session.seat_id(take).to_owned(),
        path: session.root.join(&take.file),
        channel: session.manifest.recording.mic_channel,
        other: None,
    }
}

impl Heard {
    /// Clock drift of the takes without and with the screen that are worth it by themselves.
    pub fn drifts(&self, session: &Session) -> [Vec<TakeDrift>; 2] {
        let worth = |facts: &TakeFacts| facts.pace.is_none();
        [Condition::Without, Condition::With].map(|condition| {
            let of = self.responses.iter().zip(&self.reads).filter_map(|(r, read)| {
                let response = r.as_ref().filter(|_| read.as_ref().is_ok_and(worth))?;
                let take = &session.takes[response.take];
                let ppm = response.drift_ppm.filter(|_| take.condition == condition)?;
                Some(TakeDrift { seat: take.seat, ppm })
            });
            of.collect()
        })
    }
}
