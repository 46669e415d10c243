//! Why there is no result.

use crate::analysis::correction::CorrectionError;
use crate::ingest::blind_tests::BlindTestError;
use crate::ingest::error::{IngestError, shown};
use crate::ingest::manifest::{Condition, SoundSource};
use crate::ingest::readings::ReadingsError;
use crate::ingest::session::Session;
use crate::ingest::takes::{TAKES_FOLDER, default_name};
use crate::judge::{Judged, Outcome, Reason, TakeState};
use crate::report::words;
use crate::transfer::measure::TransferError;
use crate::warning::Topic;
use std::path::PathBuf;

/// So many different reasons are told of a session that is refused.
const REASONS_TOLD: usize = 3;

/// Why there is no result.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum ChainError {
    /// A take cannot be used.
    #[error(transparent)]
    Transfer(#[from] TransferError),
    /// No seat has a usable take in both conditions.
    #[error(
        "{}: no figure can be given, since no seat has usable takes without and with the screen; \
         {n_left_out} of {n_takes} takes are left out. {reasons} `scrimcheck check` says what to do",
        shown(.root)
    )]
    NothingUsed {
        /// Session folder.
        root: PathBuf,
        /// Takes left out.
        n_left_out: usize,
        /// Takes of the session.
        n_takes: usize,
        /// The first of the different reasons, each as a sentence.
        reasons: String,
    },
    /// The limits of the equaliser in the manifest make no sense.
    #[error(transparent)]
    Correction(#[from] CorrectionError),
    /// Nothing was recorded yet, or the file of the light readings cannot be used.
    #[error(transparent)]
    Ingest(#[from] IngestError),
    /// The light readings cannot be used.
    #[error(transparent)]
    Readings(#[from] ReadingsError),
    /// The blind tests that were kept cannot be read.
    #[error(transparent)]
    Listening(#[from] BlindTestError),
}

/// What became of every recording of the session, those that are no take of it at the end.
pub(super) fn outcomes(session: &Session, judged: &Judged) -> Vec<Outcome> {
    [judged.outcomes(), words::notices::passed_over(&session.notices)].concat()
}

/// The refusal of a session of which no seat is left.
pub(super) fn nothing_used(session: &Session, judged: &Judged) -> ChainError {
    let is_empty = session.takes.is_empty() && session.notices.iter().all(|n| n.file.is_none());
    if is_empty {
        let seat = session.manifest.seat.first().map_or("R1C", |seat| &seat.id);
        let name = default_name(seat, Condition::Without, SoundSource::Centre, 1);
        let path = session.root.join(TAKES_FOLDER);
        return IngestError::NoTakes { path, example: format!("{TAKES_FOLDER}/{name}") }.into();
    }
    let mut reasons: Vec<String> = Vec::new();
    for outcome in outcomes(session, judged).iter().filter(|o| o.state == TakeState::LeftOut) {
        let of_another = |r: &&Reason| r.topic == Topic::Missing && outcome.condition.is_some();
        let Some(reason) = outcome.reason.as_ref().filter(|r| !of_another(r)) else {
            continue;
        };
        let of_take = |said: &String| said.ends_with(&reason.message);
        if reasons.len() < REASONS_TOLD && !reasons.iter().any(of_take) {
            reasons.push(format!("{}: {}", outcome.file, reason.message));
        }
    }
    if reasons.is_empty() {
        reasons.extend(judged.seats_left_out(session).iter().map(|w| w.message.clone()).take(1));
    }
    ChainError::NothingUsed {
        root: session.root.clone(),
        n_left_out: judged.takes.iter().filter(|t| t.state == TakeState::LeftOut).count(),
        n_takes: judged.takes.len(),
        reasons: reasons.join(" "),
    }
}
