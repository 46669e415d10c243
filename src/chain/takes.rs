//! What becomes of each take, and what can be said before anything is measured.

use crate::analysis::rough_level::rough_level;
use crate::ingest::session::Session;
use crate::judge::{
    Heard, Judged, Missing, NextTake, TakeAnalyser, TakeRead, hear, judge_session, missing_takes,
    next_take,
};
use crate::report::words;
use crate::transfer::measure::Responder;
use crate::warning::Warning;

/// Reads every take once, and judges all.
pub(super) fn hear_and_judge(
    session: &Session,
    responder: &Responder,
    tick: &(dyn Fn() + Sync),
) -> (Heard, Judged) {
    let analyser = TakeAnalyser::new(&session.sweep);
    let read = |take: usize| session.read_take(&session.takes[take]);
    let heard = hear(session, &analyser, responder, &read, tick);
    let [without, with] = heard.drifts(session);
    let judged = judge_session(session, &analyser, &heard.reads, [&without, &with]);
    (heard, judged)
}

/// What is known of the takes before anything is measured.
pub struct Checked {
    /// What becomes of each take.
    pub judged: Judged,
    /// Warnings that belong to no single take.
    pub warnings: Vec<Warning>,
    /// Takes that the plan asks for and that are not there.
    pub missing: Vec<Missing>,
    /// The take to make next.
    pub next: Option<NextTake>,
}

/// Judges every take that is there, and says what is missing and what comes next.
pub fn check(session: &Session) -> Checked {
    let (heard, judged) = hear_and_judge(session, &Responder::new(session), &|| ());
    let missing = missing_takes(session);
    let next = next_take(session, &missing, &judged.takes);
    let warnings = session_warnings(session, &judged, &heard.reads);
    Checked { judged, warnings, missing, next }
}

/// Warnings that belong to no single take.
pub fn session_warnings(session: &Session, judged: &Judged, reads: &[TakeRead]) -> Vec<Warning> {
    let mut warnings = words::notices::warnings(&session.notices);
    warnings.extend(judged.session.iter().map(|finding| finding.warning(None, None)));
    let level = rough_level(session, reads, judged);
    warnings.extend(level.iter().flat_map(words::level::warnings));
    warnings
}
