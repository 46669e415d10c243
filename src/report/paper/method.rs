//! For the next engineer: how it was measured, how sure it is, what is doubtful,
//! and what was not measured at all.

use super::sheet::sheet_paragraph;
use super::writer::{DOUBTFUL, Writer, dash, figure, with_u};
use crate::analysis::claims::ClaimVerdict;
use crate::ingest::manifest::{PerCondition, SweepKind};
use crate::ingest::session::Session;
use crate::judge::Linearity;
use crate::judge::rattle::Rattle;
use crate::report::findings::{further_warnings, warning_line};
use crate::report::result::{BudgetTerm, SessionResult};
use crate::report::takes::takes_sentences;
use crate::report::words::claims::{DECISION_RULE, chance};
use crate::report::words::{self, frequency_range, rattle_range};
use crate::words::{Digits, capital, key_words, list_words, millimetres, rate_words, signed};

// More than 60 lines: one section after the other.
pub(super) fn method(result: &SessionResult, session: &Session, writer: &mut Writer) {
    let units = session.manifest.handover.units;
    writer.blocks.push(super::Block::PageBreak);
    writer.part("Method");
    writer.say(&method_sentence(session));
    writer.say(
        "Each recording is divided by the played signal, which gives the response at the seat. From \
         500 Hz up the loss is that of the direct sound: a filter that turns the response without \
         the screen into the one with it; the echoes between screen and loudspeaker belong to it \
         and are found from all seats together. Below 500 Hz the loss is that of all that reaches \
         the seat. Bands are third octaves of IEC 61260-1, base ten.",
    );
    if let Some(level) = &result.level {
        writer.say(&level.words.statement);
    }
    if session.manifest.session.gain_untouched {
        let who = session.manifest.handover.installer.as_deref().unwrap_or("The installer");
        writer.say(&format!(
            "{who} attests that no gain and no volume was touched between the conditions."
        ));
    }
    writer.say(&result.linearity.in_words());
    writer.list(takes_sentences(result));
    if result.correction.as_ref().is_some_and(|c| !c.sections.is_empty()) {
        writer.say(
            "Coefficients of the filters: H(z) = B/A with B = b0 + b1/z + b2/z\u{b2} and A = 1 + \
             a1/z + a2/z\u{b2}. Bandwidth BW in octaves: analog, 1/Q = 2 sinh(0.347 BW), that of \
             the analog filter it was made from; digital, that of the filter as it runs, narrower \
             near the top.",
        );
    }
    if let Some(sheet) = &result.sheet {
        writer.section("What kind of sheet this is");
        writer.say(&sheet_paragraph(result, session));
        writer.list(words::sheet::statement(sheet, units));
    }
    writer.figure("sheet");
    if !result.rattle.is_empty() || result.rattle_limit_db.is_some() {
        writer.section("Rattle");
        writer.say(&rattle_sentence(result));
        writer.figure("rattle");
    }
    writer.section("Takes");
    writer.figure("levels");
    writer.other_figures();

    writer.section("Uncertainty");
    writer.say(
        "All uncertainties are expanded ones for a coverage of 95 % (GUM, with Student's t for the \
         degrees of freedom at hand). The terms add as squares; those that all seats share do not \
         shrink in the mean.",
    );
    budget(result, writer);

    if !result.claims.is_empty() {
        writer.section("Claims in figures");
        writer.say(DECISION_RULE);
        writer.table(
            "Claims, and the figure that decides each",
            &["Claim", "Measured", "Guard band", "At most", "At least", "Probability", "Verdict"],
            result.claims.iter().map(|claim| claim_row(claim)),
        );
    }

    writer.section("Instruments");
    let instruments = &session.manifest.handover.instruments;
    if instruments.is_empty() {
        writer.say("No instruments are listed.");
    } else {
        writer.list(instruments);
    }
    let warnings = further_warnings(result, units);
    if !warnings.is_empty() {
        writer.section(DOUBTFUL);
        writer.list(warnings.into_iter().map(|w| capital(&warning_line(w))));
    }
}

/// What rattles, or how weak a rattle would have stayed hidden.
fn rattle_sentence(result: &SessionResult) -> String {
    let range = |range: &Rattle| {
        let (excess, seats) = (signed(range.excess_db, 1), list_words(&range.seats));
        format!(
            "{}: {excess} dB above the takes without the screen, at {seats}.",
            rattle_range(range)
        )
    };
    let mut said: Vec<String> = result.rattle.iter().map(range).collect();
    if said.is_empty() {
        said.push("No rattle was found with the screen hung.".to_owned());
    }
    said.extend(result.rattle_limit_db.map(|limit| {
        format!(
            "One more than {} dB below the sweep's own level could hide in the noise.",
            signed(limit, 0)
        )
    }));
    said.join(" ")
}

fn method_sentence(session: &Session) -> String {
    let manifest = &session.manifest;
    let sweep = &manifest.sweep;
    let kind = match sweep.kind {
        SweepKind::Exponential => "an exponential sweep",
        SweepKind::Other => "a broadband signal",
    };
    let mut text =
        format!("Signal: {kind} from {}", frequency_range([sweep.start_hz, sweep.stop_hz]));
    text += &sweep.duration_s.map(|s| format!(", {s} s")).unwrap_or_default();
    text += &format!(", recorded at {}", rate_words(f64::from(session.sweep.rate_hz)));
    text += if manifest.recording.reference_channel.is_some() {
        " with an electrical reference. "
    } else {
        " without an electrical reference. "
    };
    text += &format!(
        "The microphone goes back to its mark within {}.",
        millimetres(manifest.session.placement_tolerance_mm, Digits::All, manifest.handover.units)
    );
    let per_condition = |name: &str, unit: &str, value: Option<PerCondition>| match value {
        None => String::new(),
        Some(PerCondition::One(v)) => format!(" {name}: {v} {unit}."),
        Some(PerCondition::Each(each)) => format!(
            " {name}: {} {unit} without, {} {unit} with the screen.",
            each.without, each.with
        ),
    };
    text += &per_condition("Air", "\u{b0}C", manifest.session.temperature_c);
    text += &per_condition("Humidity", "%", manifest.session.humidity_percent);
    text
}

/// Nominal bands of the budget table, Hz: octaves are enough to see what matters where.
const BUDGET_HZ: [f64; 8] = [125.0, 250.0, 500.0, 1000.0, 2000.0, 4000.0, 8000.0, 16_000.0];

fn budget(result: &SessionResult, writer: &mut Writer) {
    if result.budget.is_empty() {
        return;
    }
    let columns: Vec<usize> = (0..result.bands.len())
        .filter(|&b| BUDGET_HZ.contains(&result.bands[b].nominal_hz))
        .collect();
    let labels: Vec<String> = columns.iter().map(|&b| result.bands[b].label()).collect();
    let mut head = vec!["Term"];
    head.extend(labels.iter().map(String::as_str));
    let name = |term: &BudgetTerm| capital(&term.term.replace('_', " "));
    let row = |name: String, u_db: &[Option<f64>], decimals: usize| {
        let cells = columns.iter().map(|&b| figure(u_db.get(b).copied().flatten(), decimals));
        std::iter::once(name).chain(cells).collect()
    };
    let terms = result.budget.iter().map(|term| {
        let shared = if term.common { " (shared)" } else { "" };
        row(name(term) + shared, &term.u_db, 3)
    });
    writer.table(
        "Uncertainty budget: standard uncertainties in dB, root mean square over the seats, by \
         band in Hz",
        &head,
        terms.chain([row("U (95 %) of the mean".to_owned(), &result.mean.u95_db, 2)]),
    );
    let origins = result.budget.iter().map(|term| format!("{}: {}.", name(term), term.origin));
    writer.say(&origins.collect::<Vec<_>>().join(" "));
}

fn claim_row(claim: &ClaimVerdict) -> Vec<String> {
    let db = |v: Option<f64>| v.map(|v| format!("{} dB", signed(v, 2)));
    let plain = |v: Option<f64>| v.map(|v| signed(v, 2));
    let or_dash = |text: Option<String>| text.unwrap_or_else(dash);
    let light = claim.measured.is_some() || claim.maximum.is_some() || claim.minimum.is_some();
    let measured = if light {
        with_u(claim.measured, claim.u95, 2)
    } else {
        let unit = if claim.measured_db.is_some() { " dB" } else { "" };
        with_u(claim.measured_db, claim.u95_db, 2) + unit
    };
    vec![
        claim_name(claim),
        measured,
        or_dash(if light { plain(claim.guard) } else { db(claim.guard) }),
        or_dash(plain(claim.maximum).or_else(|| db(claim.limit_db))),
        or_dash(plain(claim.minimum).or_else(|| db(claim.lower_limit_db))),
        or_dash(claim.probability.map(chance)),
        claim.verdict.label().to_owned(),
    ]
}

fn claim_name(claim: &ClaimVerdict) -> String {
    let word = capital(&key_words(&claim.quantity));
    let range = claim.band_hz.map(|ends| format!(", {}", frequency_range(ends)));
    let source = claim.source.as_ref().map(|s| format!(" ({s})"));
    word + &range.unwrap_or_default() + &source.unwrap_or_default()
}

pub(super) fn not_measured(result: &SessionResult, session: &Session, writer: &mut Writer) {
    writer.part("What was not measured");
    let manifest = &session.manifest;
    let mut points: Vec<String> = manifest.handover.not_measured.clone();
    if let (Some(first), Some(last)) = (result.bands.first(), result.bands.last()) {
        let ends = [first.nominal_hz, last.nominal_hz];
        points.push(format!("Sound outside the bands from {}", frequency_range(ends)));
    }
    if result.correction.is_some()
        && result.levels.as_ref().is_none_or(|l| l.corrected_db.is_empty())
    {
        points.push(
            "The sound with the equaliser setting active: the setting is a prediction".into(),
        );
    }
    if manifest.sweep.kind == SweepKind::Other {
        points.push("Rattle and distortion, which need an exponential sweep".into());
    }
    if result.picture.as_ref().is_none_or(|p| p.light.is_none()) {
        points.push("The picture: no light readings were taken".into());
    }
    if result.level.as_ref().is_none_or(|l| l.step_db.is_none()) {
        points.push(
            "Whether a gain was changed between the conditions: no control takes were made, and a \
             changed gain looks like an even loss"
                .into(),
        );
    }
    if !matches!(result.linearity, Linearity::Shown { .. }) {
        points.push(
            "Whether the recording chain is linear, by a quiet take: an automatic gain or a limiter \
             would falsify every loss"
                .into(),
        );
    }
    points.push("Other places in the room than the seats named, and other loudspeakers".into());
    writer.list(points);
}
