//! The chain from an opened session to the finished result, top to bottom: more than 400 lines, since the
//! way is told in one place.

use crate::analysis::band_levels::band_levels;
use crate::analysis::budget::{Budget, Term};
use crate::analysis::claims::{hold_to_seats, judge_claims};
use crate::analysis::control_step::{ControlLoss, ControlStep, measure_step, widen_by_step};
use crate::analysis::correction::{CorrectionError, fit_with_seats};
use crate::analysis::direct_from::DIRECT_FROM_HZ;
use crate::analysis::geometry::survey;
use crate::analysis::joint::{self, Joint};
use crate::analysis::level::find_level;
use crate::analysis::loss::{LossTable, losses, losses_from, shows_loss};
use crate::analysis::open_level::open_level;
use crate::analysis::open_level::shared_level;
use crate::analysis::picture::{assess_light, judge_light_claims, readings_missing};
use crate::analysis::power::correction_power;
use crate::analysis::rough_level::rough_level;
use crate::analysis::seats::judge_seats;
use crate::analysis::sheet::air::Air;
use crate::analysis::sheet::finding::{SheetFinding, explain_loss};
use crate::analysis::sheet::gap::{GapEstimate, GapSearch, SeatRatio, estimate_gap};
use crate::analysis::verification::verify;
use crate::ingest::blind_tests::{BlindTestError, read_blind_tests};
use crate::ingest::error::{IngestError, shown};
use crate::ingest::manifest::{Condition, Manifest, SoundSource};
use crate::ingest::readings::{Reading, ReadingsError, read_readings};
use crate::ingest::session::Session;
use crate::ingest::takes::{TAKES_FOLDER, default_name};
use crate::judge::rattle::{ALARM_DB, Rattle, RattleSearch, steps_hz};
use crate::judge::{
    Heard, Judged, Missing, NextTake, Outcome, Reason, TakeAnalyser, TakeRead, TakeState, hear,
    judge_session, missing_takes, next_take, seats_in_use,
};
use crate::report::budget::budget_terms;
use crate::report::result::{
    DistortionResult, PictureResult, RattleProfile, RattleRange, SessionResult,
};
use crate::report::words;
use crate::report::words::heard::HeardTest;
use crate::transfer::distortion::{Distortion, combine, rise_of_drive};
use crate::transfer::measure::{Responder, TransferError, Transfers};
use crate::warning::{Topic, Warning, Warnings};
use std::path::PathBuf;

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

/// So many different reasons are told of a session that is refused.
const REASONS_TOLD: usize = 3;

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
pub fn analyze_keeping(
    session: &Session,
    tick: &(dyn Fn() + Sync),
) -> Result<Analyzed, ChainError> {
    let manifest = &session.manifest;
    let picture = manifest.picture.as_ref();
    let mut warnings = Warnings::from(words::notices::warnings(&session.notices));
    let readings = light_readings(session)?;
    let listening = read_blind_tests(&session.root)?;

    // What becomes of each take; from here on there are only those that are used.
    let responder = Responder::new(session);
    let (heard, judged) = hear_and_judge(session, &responder, tick);
    let used = judged.in_use();
    if seats_in_use(session, &judged.takes).is_empty() {
        return Err(nothing_used(session, &judged));
    }
    warnings.say(|units| judged.warnings(units));
    warnings.extend(judged.seats_left_out(session));

    // What the screen takes away.
    let responses = heard.responses.into_iter().flatten().filter(|r| used.contains(&r.take));
    let read = |take: usize| session.read_take(&session.takes[take]);
    let mut transfers = responder.pair_up(responses.collect(), &read, manifest.screen.gap_m)?;
    let distortion = distortion(session, &transfers);
    if let Some(DistortionResult { with: Some(with), corrected: Some(corrected), .. }) = &distortion
    {
        let rise = rise_of_drive(with, corrected);
        warnings.extend(rise.map(words::distortion::drive_warning));
    }
    let Losses { step, gap, joint, table, budget } = losses_of(manifest, &mut transfers);
    let mut level = find_level(&table.bands, &mean_loss_db(&table), step.as_ref());
    let open = open_level(manifest, level.low_band_loss_db, step.as_ref());
    level.open = Some(open);
    warnings.extend(words::level::warnings(&level));

    // What the maker says.
    let mut claims = judge_claims(&manifest.claim, &table, shared_level(step.as_ref(), open));
    let ids = judged.seats_left_out(session).into_iter().filter_map(|w| w.seat);
    let in_doubt = judged.seats_in_doubt(session);
    hold_to_seats(&mut claims, &ids.collect::<Vec<_>>(), &in_doubt, manifest.seat.len());

    // What kind of loss it is, and what can be done about it: neither needs the other.
    let dependence = judge_seats(&table);
    let (sheet, fitted) = rayon::join(
        || explain(manifest, &transfers, &table, gap.as_ref()),
        || fit_with_seats(&table, &manifest.correction, &dependence),
    );
    warnings.say(|units| words::sheet::warnings(&sheet, units));
    let correction = match fitted {
        Ok(correction) => {
            warnings.extend(words::correction::warnings(&correction));
            Some(correction)
        }
        Err(CorrectionError::NothingMeasured) => None,
        Err(error) => return Err(error.into()),
    };
    let verification =
        correction.as_ref().filter(|_| !transfers.corrected.is_empty()).map(|setting| {
            let (plan, seats) = (&transfers.plan, &transfers.corrected);
            let known = joint::fit_with_known_echoes(plan, seats, &joint, &transfers.seats);
            let (mut corrected, _) = losses_from(manifest, &transfers, seats, &known);
            if let Some(step) = &step {
                widen_by_step(&mut corrected, step);
            }
            let found = verify(setting, &table, &corrected);
            let verification = words::verification::said(found, setting);
            warnings.extend(words::verification::warning(&verification));
            verification
        });
    // What that costs.
    let power = correction.as_ref().map(|correction| {
        let power = correction_power(correction, manifest.speaker.as_ref());
        warnings.say(|units| words::power::warnings(&power, units));
        words::power::said(power)
    });

    // The picture side.
    let geometry = survey(&manifest.screen, picture, &manifest.seat);
    warnings.say(|units| words::geometry::warnings(&geometry, units));
    let light = readings.map(|readings| assess_light(&readings, picture, &manifest.screen));
    if let Some(light) = &light {
        warnings.say(|units| words::picture::warnings(light, units));
    }
    if readings_missing(manifest, light.as_ref()) {
        warnings.extend([words::picture::readings_missing()]);
    }
    claims.extend(judge_light_claims(&manifest.claim, light.as_ref()));

    let mut result = SessionResult::new(session, &table, warnings);
    result.add_takes(outcomes(session, &judged));
    result.linearity = judged.linearity;
    result.levels = Some(band_levels(session, &transfers));
    result.budget = budget_terms(&budget, transfers.seats.len(), transfers.bands.len());
    result.level = Some(words::level::said(level));
    result.claims = claims.into_iter().map(words::claims::said).collect();
    result.rattle = rattle_ranges(&judged.rattle);
    result.rattle_profile = rattle_profile(&judged.rattle);
    result.rattle_limit_db = judged.rattle.detection_limit_db;
    result.distortion = distortion;
    result.sheet = Some(words::sheet::said(sheet));
    result.seat_dependence = Some(words::seats::said(dependence));
    result.correction = correction.map(words::correction::said);
    result.verification = verification;
    result.power = power;
    result.picture = Some(PictureResult {
        light: light.map(words::picture::said),
        geometry: words::geometry::said(geometry),
    });
    result.listening = listening.into_iter().map(HeardTest::from).collect();
    Ok(Analyzed { result, transfers, joint })
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

/// Reads every take once, and judges all.
fn hear_and_judge(
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

/// Warnings that belong to no single take.
pub fn session_warnings(session: &Session, judged: &Judged, reads: &[TakeRead]) -> Vec<Warning> {
    let mut warnings = words::notices::warnings(&session.notices);
    warnings.extend(judged.session.iter().map(|finding| finding.warning(None, None)));
    let level = rough_level(session, reads, judged);
    warnings.extend(level.iter().flat_map(words::level::warnings));
    warnings
}

/// Losses, with what was found on the way to them.
pub struct Losses {
    /// Gain step between the conditions, where control takes show it.
    pub step: Option<ControlStep>,
    /// The gap that the takes tell of.
    pub gap: Option<GapEstimate>,
    /// Sheet and front.
    pub joint: Joint,
    /// The losses.
    pub table: LossTable,
    /// Their uncertainty, term by term.
    pub budget: Budget,
}

/// Losses of a session: first the level, since what a sheet throws back follows from what it
/// passes, then sheet and front together. Where no gap is stated, the one that the takes tell of
/// places the echoes; where no loss is shown nothing hangs there, and no gap is told.
pub fn losses_of(manifest: &Manifest, transfers: &mut Transfers) -> Losses {
    let step = control_step(manifest, transfers);
    if let Some(step) = &step {
        transfers.take_out_step(step.step_db);
    }
    let fitted = |transfers: &Transfers| {
        let joint = joint::fit(&transfers.plan, &transfers.seats);
        let (table, budget) = losses_from(manifest, transfers, &transfers.seats, &joint);
        (joint, table, budget)
    };
    let (mut joint, mut table, mut budget) = fitted(transfers);
    let shown = shows_loss(&table.bands, &table.mean.loss, DIRECT_FROM_HZ);
    let gap = if shown { find_gap(manifest, transfers) } else { None };
    if let Some(gap) = gap.filter(|_| manifest.screen.gap_m.is_none()) {
        transfers.place_gap(manifest, gap.gap_m);
        (joint, table, budget) = fitted(transfers);
    }
    // A seat that is left out has no figures, and no row of dashes either.
    table.seats.retain(|seat| transfers.seats.iter().any(|s| s.seat == seat.seat));
    if let Some(step) = &step {
        widen_by_step(&mut table, step);
        budget.add_to_all(Term::Level, step.u_db);
    }
    Losses { step, gap, joint, table, budget }
}

/// What became of every recording of the session, those that are no take of it at the end.
fn outcomes(session: &Session, judged: &Judged) -> Vec<Outcome> {
    [judged.outcomes(), words::notices::passed_over(&session.notices)].concat()
}

/// The refusal of a session of which no seat is left.
fn nothing_used(session: &Session, judged: &Judged) -> ChainError {
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

fn rattle_ranges(search: &RattleSearch) -> Vec<RattleRange> {
    let range = |r: &Rattle| RattleRange {
        low_hz: r.low_hz,
        high_hz: r.high_hz,
        excess_db: r.excess_db,
        seats: r.seats.clone(),
    };
    search.ranges.iter().map(range).collect()
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

/// Harmonics of the main loudspeaker, mean over the takes of each condition.
fn distortion(session: &Session, transfers: &Transfers) -> Option<DistortionResult> {
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
    (without.is_some() || with.is_some()).then_some(DistortionResult { without, with, corrected })
}

/// The gap that the ripple at the seats tells of.
pub fn find_gap(manifest: &Manifest, transfers: &Transfers) -> Option<GapEstimate> {
    let air = Air { speed_m_s: transfers.speed_m_s, ..Air::AT_20_C };
    let ratios: Vec<SeatRatio> = transfers
        .seats
        .iter()
        .map(|s| SeatRatio { ratio: s.ratio.clone(), cos_theta: manifest.seat_cosine(s.seat) })
        .collect();
    let top_hz = transfers.band_hz[1];
    let default = GapSearch::default();
    let search = GapSearch {
        band_hz: [default.band_hz[0], default.band_hz[1].min(0.9 * top_hz)],
        ..default
    };
    estimate_gap(&ratios, transfers.plan.ratio_step_hz(), &air, &search)
}

/// Kind of loss, from the mean loss and the gap.
pub fn explain(
    manifest: &Manifest,
    transfers: &Transfers,
    table: &LossTable,
    found: Option<&GapEstimate>,
) -> SheetFinding {
    let air = Air { speed_m_s: transfers.speed_m_s, ..Air::AT_20_C };
    let cosines: Vec<f64> = (0..manifest.seat.len())
        .filter(|&s| manifest.seat[s].position_m.is_some())
        .map(|s| manifest.seat_cosine(s))
        .collect();
    explain_loss(table, &manifest.screen, &cosines, found, &air)
}

/// The level step between the conditions, where control takes show it.
pub fn control_step(manifest: &Manifest, transfers: &Transfers) -> Option<ControlStep> {
    if transfers.control.is_empty() {
        return None;
    }
    let (table, _) = losses(manifest, transfers, &transfers.control);
    let control: Vec<ControlLoss> = table
        .seats
        .iter()
        .map(|seat| ControlLoss {
            seat: seat.id.clone(),
            loss_db: seat.loss.iter().map(|e| e.map(|e| e.value_db)).collect(),
        })
        .collect();
    measure_step(&table.bands, &control)
}

fn mean_loss_db(table: &LossTable) -> Vec<Option<f64>> {
    table.mean.loss.iter().map(|e| e.map(|e| e.value_db)).collect()
}

/// The light readings: of the file that the manifest names, or of
/// `readings.csv` where there is one.
fn light_readings(session: &Session) -> Result<Option<Vec<Reading>>, ChainError> {
    let Some(path) = session.readings_file()? else { return Ok(None) };
    Ok(Some(read_readings(&path)?))
}
