//! The chain from an opened session to the finished result, top to bottom. Steps of several calls have a
//! file of their own.

mod losses;
mod mending;
mod picture;
mod refusal;
mod takes;

pub use losses::{Losses, control_step, explain, find_gap, losses_of};
pub use refusal::ChainError;
pub use takes::{Checked, check, session_warnings};

use crate::analysis::band_levels::band_levels;
use crate::analysis::claims::{hold_to_seats, judge_claims};
use crate::analysis::joint::Joint;
use crate::analysis::level::find_level;
use crate::analysis::loss::LossTable;
use crate::analysis::open_level::{open_level, shared_level};
use crate::ingest::blind_tests::read_blind_tests;
use crate::ingest::manifest::{Condition, SoundSource};
use crate::ingest::session::Session;
use crate::judge::rattle::{ALARM_DB, RattleSearch, steps_hz};
use crate::judge::seats_in_use;
use crate::report::budget::budget_terms;
use crate::report::result::{DistortionResult, RattleProfile, SessionResult};
use crate::report::words;
use crate::report::words::heard::HeardTest;
use crate::transfer::distortion::{Distortion, combine, rise_of_drive};
use crate::transfer::measure::{Responder, Transfers};
use crate::warning::Warnings;
use mending::mend;
use picture::{light_readings, look};
use refusal::{nothing_used, outcomes};
use takes::hear_and_judge;

/// A finished result, and the transmissions it was told from: for listening.
pub struct Analyzed {
    /// The finished document.
    pub result: SessionResult,
    /// Seats with both conditions.
    pub transfers: Transfers,
    /// Sheet and front at these seats.
    pub joint: Joint,
}

/// Everything that can be said about a session. `tick` is called once for each
/// take, from any thread, when it has been read and deconvolved.
///
/// # Errors
/// [`ChainError`], which names the culprit.
pub fn analyze(session: &Session, tick: &(dyn Fn() + Sync)) -> Result<SessionResult, ChainError> {
    analyze_keeping(session, tick).map(|analyzed| analyzed.result)
}

/// [`analyze`], with the transmissions kept.
///
/// # Errors
/// As [`analyze`].
// More than 60 lines: one step after the other.
pub fn analyze_keeping(
    session: &Session,
    tick: &(dyn Fn() + Sync),
) -> Result<Analyzed, ChainError> {
    let manifest = &session.manifest;
    let mut warnings = Warnings::from(words::notices::warnings(&session.notices));
    let readings = light_readings(session)?;
    let listening = read_blind_tests(&session.root)?;

    // What becomes of each take; from here on there are only those that are used.
    let responder = Responder::new(session);
    let (heard, judged) = hear_and_judge(session, &responder, tick);
    if seats_in_use(session, &judged.takes).is_empty() {
        return Err(nothing_used(session, &judged));
    }
    warnings.say(|units| judged.warnings(units));
    warnings.extend(judged.seats_left_out(session));

    // What the screen takes away.
    let used = judged.in_use();
    let responses = heard.responses.into_iter().flatten().filter(|r| used.contains(&r.take));
    let read = |take: usize| session.read_take(&session.takes[take]);
    let mut transfers = responder.pair_up(responses.collect(), &read, manifest.screen.gap_m)?;
    let distortion = distortion(session, &transfers, &mut warnings);
    let losses = losses_of(manifest, &mut transfers);
    let Losses { step, table, .. } = &losses;
    let mut level = find_level(&table.bands, &mean_loss_db(table), step.as_ref());
    let open = open_level(manifest, level.low_band_loss_db, step.as_ref());
    level.open = Some(open);
    warnings.extend(words::level::warnings(&level));

    // What the maker says of the sound.
    let mut claims = judge_claims(&manifest.claim, table, shared_level(step.as_ref(), open));
    let left_out = judged.seats_left_out(session).into_iter().filter_map(|w| w.seat);
    let in_doubt = judged.seats_in_doubt(session);
    hold_to_seats(&mut claims, &left_out.collect::<Vec<_>>(), &in_doubt, manifest.seat.len());

    // What kind of loss it is, and what can be done about it.
    let mending = mend(manifest, &transfers, &losses, &mut warnings)?;

    // The picture side, and what the maker says of it.
    let (picture, light_claims) = look(manifest, readings.as_deref(), &mut warnings);
    claims.extend(light_claims);

    let mut result = SessionResult::new(session, table, warnings);
    result.add_takes(outcomes(session, &judged));
    result.linearity = judged.linearity;
    result.levels = Some(band_levels(session, &transfers));
    result.budget = budget_terms(&losses.budget, transfers.seats.len(), transfers.bands.len());
    result.level = Some(words::level::said(level));
    result.claims = claims.into_iter().map(words::claims::said).collect();
    result.rattle = judged.rattle.ranges.clone();
    result.rattle_profile = rattle_profile(&judged.rattle);
    result.rattle_limit_db = judged.rattle.detection_limit_db;
    result.distortion = distortion;
    result.sheet = Some(mending.sheet);
    result.seat_dependence = Some(mending.dependence);
    result.correction = mending.correction;
    result.verification = mending.verification;
    result.power = mending.power;
    result.picture = Some(picture);
    result.listening = listening.into_iter().map(HeardTest::from).collect();
    Ok(Analyzed { result, transfers, joint: losses.joint })
}

fn rattle_profile(search: &RattleSearch) -> Option<RattleProfile> {
    let finite = |v: &Option<f64>| v.filter(|v| v.is_finite());
    let excess_db: Vec<Option<f64>> = search.excess_db.iter().map(finite).collect();
    excess_db.iter().any(Option::is_some).then(|| RattleProfile {
        frequency_hz: steps_hz(),
        excess_db,
        alarm_db: ALARM_DB,
    })
}

/// Harmonics of the main loudspeaker, mean over the takes of each condition; warns where the setting
/// drives them up.
fn distortion(
    session: &Session,
    transfers: &Transfers,
    warnings: &mut Warnings,
) -> Option<DistortionResult> {
    let of = |condition: Condition| {
        let takes: Vec<&Distortion> = transfers
            .takes
            .iter()
            .filter(|t| {
                let take = &session.takes[t.take];
                take.condition == condition && take.source == SoundSource::Centre
            })
            .filter_map(|t| t.distortion.as_ref())
            .collect();
        combine(&takes)
    };
    let [without, with, corrected] =
        [Condition::Without, Condition::With, Condition::Corrected].map(of);
    if let (Some(with), Some(corrected)) = (&with, &corrected) {
        let rise = rise_of_drive(with, corrected);
        warnings.extend(rise.map(words::distortion::drive_warning));
    }
    (without.is_some() || with.is_some()).then_some(DistortionResult { without, with, corrected })
}

fn mean_loss_db(table: &LossTable) -> Vec<Option<f64>> {
    table.mean.loss.iter().map(|e| e.map(|e| e.value_db)).collect()
}
