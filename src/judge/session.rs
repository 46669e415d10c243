//! All takes of a session judged: each by itself, against the others, and what is missing.
//!
//! The same judgements serve `check`, between takes, and the warnings of a result.

use super::across::{
    Drifts, Entry, Weather, judge_across, judge_conditions, recurring_bursts, session_scatter,
};
use super::finding::worst;
use super::linearity::{self, Linearity};
use super::rattle::{RattleSearch, SeatProfiles, search};
use super::settle::{seats_in_use, settle};
use super::state::{JudgedTake, Outcome, TakeState};
use super::{Finding, TakeAnalyser, TakeFacts, TakeVerdict, judge_take};
use crate::ingest::error::IngestError;
use crate::ingest::manifest::{Condition, DisplayUnits, Manifest, PerCondition, SoundSource};
use crate::ingest::session::{Session, Take};
use crate::ingest::takes::default_name;
use crate::transfer::drift::TakeDrift;
use crate::warning::{Topic, Warning};
use crate::words::with_causes;
use serde::Serialize;

/// From so many takes on, one warning counts what they share.
const MANY_TAKES: usize = 4;

/// All takes judged.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Judged {
    /// In the order of the session.
    pub takes: Vec<JudgedTake>,
    /// What belongs to no single take.
    pub session: Vec<Finding>,
    /// Rattle that only the screen brings.
    pub rattle: RattleSearch,
    /// Whether the chain is linear.
    pub linearity: Linearity,
}

impl Judged {
    /// Everything as warnings, takes first.
    ///
    /// What many takes share (hum, level, no silence) becomes one warning that counts them;
    /// a take that must be made again keeps its own. Only what is said of the session tells lengths.
    pub fn warnings(&self, units: DisplayUnits) -> Vec<Warning> {
        let shared = |topic: Topic| {
            let has = |take: &&JudgedTake| {
                take.findings.iter().any(|f| f.topic == topic && f.verdict != TakeVerdict::Repeat)
            };
            self.takes.iter().filter(has).count()
        };
        let mut counted: Vec<Topic> = Vec::new();
        let mut warnings = Vec::new();
        for take in &self.takes {
            for finding in &take.findings {
                let n = shared(finding.topic);
                if finding.verdict == TakeVerdict::Repeat || n < MANY_TAKES {
                    warnings.push(finding.warning(Some(&take.seat), Some(&take.file)));
                } else if !counted.contains(&finding.topic) {
                    counted.push(finding.topic);
                    let mut warning = finding.warning(None, None);
                    warning.message = format!(
                        "In {n} of {} takes, first in {}: {}",
                        self.takes.len(),
                        take.file,
                        finding.message
                    );
                    warnings.push(warning);
                }
            }
        }
        warnings.extend(self.session.iter().map(|f| f.in_units(units).warning(None, None)));
        warnings
    }

    /// What became of every take.
    pub fn outcomes(&self) -> Vec<Outcome> {
        let outcome = |take: &JudgedTake| Outcome {
            file: take.file.clone(),
            seat: Some(take.seat.clone()),
            condition: Some(take.condition),
            spot: Some(take.spot),
            source: Some(take.source),
            state: take.state,
            reason: take.reason.clone(),
        };
        self.takes.iter().map(outcome).collect()
    }

    /// Seats that no figure rests on, each with the first reason of its takes.
    pub fn seats_left_out(&self, session: &Session) -> Vec<Warning> {
        let used = seats_in_use(session, &self.takes);
        let left_out = (0..session.manifest.seat.len()).filter(|seat| !used.contains(seat));
        let warning = |seat: usize| {
            let id = &session.manifest.seat[seat].id;
            let of_seat = || {
                self.takes.iter().filter(move |t| {
                    t.seat == *id && t.source == SoundSource::Centre && t.reason.is_some()
                })
            };
            let own = of_seat().find(|t| t.verdict == TakeVerdict::Repeat);
            let message = match own.or_else(|| of_seat().next()) {
                Some(take) => {
                    let why = take.reason.as_ref().map_or("", |reason| &reason.message);
                    format!("Seat {id} is left out. {}: {why}", take.file)
                }
                None => {
                    let first = default_name(id, Condition::Without, SoundSource::Centre, 1);
                    format!("Seat {id} is left out: it has no take; the first is {first}.")
                }
            };
            Warning {
                topic: Topic::Missing,
                seat: Some(id.clone()),
                take: None,
                message,
                advice: "`scrimcheck check` says which takes to make again.".into(),
            }
        };
        left_out.map(warning).collect()
    }

    /// Ids of the seats whose figures rest on takes in doubt in a way that touches the loss. Hum, noise
    /// and what lies outside the bands is in the uncertainty of the bands, or in none of them.
    pub fn seats_in_doubt(&self, session: &Session) -> Vec<String> {
        let touches = |topic| {
            matches!(
                topic,
                Topic::GainStep | Topic::Repeatability | Topic::Disturbance | Topic::WrongSignal
            )
        };
        let in_doubt = |take: &&JudgedTake| {
            take.state == TakeState::Doubtful
                && take.source == SoundSource::Centre
                && take.findings.iter().any(|f| f.verdict == TakeVerdict::Doubt && touches(f.topic))
        };
        let seats = session.manifest.seat.iter().map(|seat| &seat.id);
        let doubted = |id: &&String| self.takes.iter().filter(in_doubt).any(|t| t.seat == **id);
        seats.filter(doubted).cloned().collect()
    }

    /// Indices of the takes that figures rest on.
    pub fn in_use(&self) -> Vec<usize> {
        let used = self.takes.iter().filter(|t| t.state != TakeState::LeftOut && !t.quiet);
        used.map(|take| take.index).collect()
    }

    /// Whether any take must be made again.
    pub fn must_repeat(&self) -> bool {
        self.takes.iter().any(|take| take.verdict == TakeVerdict::Repeat)
    }
}

/// What is known of a take: its facts, or why it could not be read.
pub type TakeRead = Result<TakeFacts, IngestError>;

/// Judges all takes.
///
/// `reads` belongs to the session's takes, in their order; `drifts` holds clock drifts of
/// takes without and with the screen, as far as they are known.
pub fn judge_session(
    session: &Session,
    analyser: &TakeAnalyser,
    reads: &[TakeRead],
    drifts: [&[TakeDrift]; 2],
) -> Judged {
    let alone = session.takes.iter().zip(reads);
    let mut findings: Vec<Vec<Finding>> =
        alone.map(|(take, read)| judge_alone(take, read, session.sweep.rate_hz)).collect();
    let entries: Vec<Entry> = session
        .takes
        .iter()
        .zip(reads)
        .zip(&findings)
        .map(|((take, read), own)| Entry {
            take,
            seat_id: session.seat_id(take),
            facts: read.as_ref().ok(),
            usable: worst(own) != TakeVerdict::Repeat && !take.quiet,
        })
        .collect();
    for index in recurring_bursts(&entries) {
        recast_disturbance(&mut findings[index]);
    }
    for (index, finding) in judge_across(&entries, analyser) {
        findings[index].push(finding);
    }
    let (linearity, of_quiet) = linearity::judge(&entries, &findings);
    for (index, finding) in of_quiet {
        findings[index].push(finding);
    }
    let rattle = search_rattle(session, &entries);
    let about_session = judge_whole(session, &entries, drifts, &rattle);
    let mut takes: Vec<JudgedTake> = session
        .takes
        .iter()
        .zip(findings)
        .enumerate()
        .map(|(index, (take, findings))| JudgedTake {
            index,
            file: take.file.display().to_string(),
            seat: session.seat_id(take).to_owned(),
            condition: take.condition,
            spot: take.spot,
            source: take.source,
            quiet: take.quiet,
            verdict: worst(&findings),
            findings,
            state: TakeState::Used,
            reason: None,
        })
        .collect();
    settle(session, &mut takes, &linearity);
    Judged { takes, session: about_session, rattle, linearity }
}

/// What a take tells by itself.
fn judge_alone(take: &Take, read: &TakeRead, sweep_rate_hz: u32) -> Vec<Finding> {
    let mut found = match read {
        Ok(facts) => judge_take(facts, sweep_rate_hz),
        Err(error) => vec![unreadable(error)],
    };
    // A quiet take is meant to be soft; that too little of it stands above the noise is told by
    // its comparison.
    let of_level = |f: &Finding| matches!(f.topic, Topic::LowLevel | Topic::Noise);
    found.retain(|f| !take.quiet || f.verdict == TakeVerdict::Repeat || !of_level(f));
    found
}

/// What belongs to the session, not to a take: the days, the placements, what rattles.
fn judge_whole(
    session: &Session,
    entries: &[Entry],
    [without, with]: [&[TakeDrift]; 2],
    rattle: &RattleSearch,
) -> Vec<Finding> {
    let manifest = &session.manifest;
    let drifts = Drifts { without, with, rate_constant_s: session.sweep.rate_constant_s };
    let spots = super::plan::fewest_spots(session);
    let mut found = judge_conditions(&weather(manifest), drifts, manifest.screen.gap_m, spots);
    found.extend(session_scatter(entries));
    found.extend(rattle.ranges.iter().map(|range| rattles(range, rattle.n_seats)));
    found
}

fn rattles(range: &super::rattle::Rattle, n_seats: usize) -> Finding {
    Finding::new(
        TakeVerdict::Doubt,
        Topic::Rattle,
        format!(
            "Something rattles with the screen while the sweep passes {:.0} to {:.0} Hz: {:.0} dB \
             above the takes without it, at {} of {n_seats} seats.",
            range.low_hz,
            range.high_hz,
            range.excess_db,
            range.seats.len(),
        ),
        "Look for loose lacing, frame corners, rollers and fixings; damp them and record again.",
    )
}

/// A take whose file cannot be used.
fn unreadable(error: &IngestError) -> Finding {
    let topic = match error {
        IngestError::TooShort { .. } => Topic::Truncation,
        IngestError::Silent { .. } | IngestError::OtherChannel { .. } => Topic::LowLevel,
        IngestError::NoFile { .. } => Topic::Missing,
        _ => Topic::WrongSignal,
    };
    let advice = match error {
        IngestError::OtherChannel { .. } => "Correct the manifest; no take need be repeated.",
        _ => "Put the right file there, or make this take again.",
    };
    Finding::new(TakeVerdict::Repeat, topic, with_causes(error), advice)
}

/// A disturbance that comes back at the same frequency in other takes is none.
fn recast_disturbance(findings: &mut [Finding]) {
    for finding in findings.iter_mut().filter(|f| f.topic == Topic::Disturbance) {
        *finding = Finding::new(
            TakeVerdict::Good,
            Topic::Disturbance,
            format!(
                "{} It comes back at the same frequency of the sweep in other takes.",
                finding.message
            ),
            "So it is no slam or cough: something in the room, the loudspeaker or the screen \
             rattles there. Look for it; no take need be repeated for it alone.",
        );
    }
}

fn search_rattle(session: &Session, entries: &[Entry]) -> RattleSearch {
    let mut seats: Vec<SeatProfiles> = session
        .manifest
        .seat
        .iter()
        .map(|seat| SeatProfiles { id: seat.id.clone(), ..SeatProfiles::default() })
        .collect();
    for entry in entries.iter().filter(|e| e.usable && e.take.source == SoundSource::Centre) {
        let (Some(seat), Some(profile)) =
            (seats.get_mut(entry.take.seat), entry.facts.and_then(|facts| facts.rattle.as_ref()))
        else {
            continue;
        };
        match entry.take.condition {
            Condition::Without => seat.without.push(profile),
            Condition::With => seat.with.push(profile),
            // The equaliser changes the level of everything: no take to compare with.
            Condition::Corrected => {}
        }
    }
    search(&seats)
}

/// Air and mean distance as the manifest states them.
fn weather(manifest: &Manifest) -> Weather {
    let pair = |stated: Option<PerCondition>| {
        stated.map(|stated| match stated {
            PerCondition::One(x) => [x, x],
            PerCondition::Each(each) => [each.without, each.with],
        })
    };
    let distances: Vec<f64> = manifest
        .seat
        .iter()
        .filter_map(|seat| seat.position_m)
        .map(|[ahead, right, _]| ahead.hypot(right))
        .collect();
    let mean = distances.iter().sum::<f64>() / distances.len() as f64;
    Weather {
        temperature_c: pair(manifest.session.temperature_c),
        humidity_percent: pair(manifest.session.humidity_percent),
        distance_m: (!distances.is_empty()).then_some(mean),
    }
}

#[cfg(test)]
mod tests;
