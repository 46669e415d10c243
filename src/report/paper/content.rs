//! What stands in the papers, and in which order: first what the client needs,
//! then the tables of the next engineer. Every figure and nearly every sentence
//! comes from the finished result; nothing is computed here.

use super::cautions::{boost_caution, cautions};
use super::measures::{luminance, short_length};
use super::method::{capital, method, not_measured};
use super::seats::seats;
use super::{Block, Detail, Logo, Paper, PaperFigure, Table};
use crate::analysis::biquad::SectionKind;
use crate::analysis::correction::Correction;
use crate::analysis::power::PowerCost;
use crate::analysis::verification::{Finding, Verification};
use crate::ingest::manifest::{Construction, DisplayUnits, SoundSource};
use crate::ingest::session::Session;
use crate::report::findings::further_warnings;
use crate::report::plots::drawing::Drawing;
use crate::report::result::{PictureResult, SessionResult};
use crate::report::words::{
    frequency_words, list_words, loss_finding, seats_words, signed, spread_finding,
};

/// Heading of the last part.
pub const SIGNATURES: &str = "Signatures";

/// The paper of a result.
///
/// `drawings` are the plots of the same result; each finds its place by its id,
/// and one that is not known here stands with the method. `logo` comes from
/// [`super::logo::read_logo`].
pub fn paper(
    result: &SessionResult,
    session: &Session,
    drawings: &[Drawing],
    logo: Option<Logo>,
) -> Paper {
    let units = session.manifest.handover.units;
    let mut writer = Writer { blocks: Vec::new(), drawings: drawings.to_vec() };
    done(result, session, &mut writer);
    in_short(result, &mut writer);
    writer.figure("loss");
    writer.figure("claims");
    equaliser(result, &mut writer);
    cost(result, session, &mut writer);
    if let Some(found) = &result.picture {
        picture(found, units, &mut writer);
    }
    seats(result, units, &mut writer);
    method(result, session, &mut writer);
    cautions(session, &mut writer);
    not_measured(result, session, &mut writer);
    signatures(session, &mut writer);

    let handover = &session.manifest.handover;
    let date = handover.date.as_ref().map(ToString::to_string).or_else(|| result.date.clone());
    let subtitle: Vec<String> =
        [handover.client.clone(), handover.site.clone(), date].into_iter().flatten().collect();
    Paper {
        title: format!("Sound through the screen: {}", result.title),
        subtitle: subtitle.join(" \u{b7} "),
        logo,
        blocks: writer.blocks,
    }
}

/// The paper in the making.
pub(super) struct Writer {
    pub(super) blocks: Vec<Block>,
    /// Plots that have not found their place.
    drawings: Vec<Drawing>,
}

impl Writer {
    pub(super) fn part(&mut self, text: &str) {
        self.blocks.push(Block::Heading { level: 1, text: text.to_owned() });
    }

    pub(super) fn section(&mut self, text: &str) {
        self.blocks.push(Block::Heading { level: 2, text: text.to_owned() });
    }

    pub(super) fn say(&mut self, text: &str) {
        if !text.is_empty() {
            self.blocks.push(Block::Paragraph(tidy(text)));
        }
    }

    pub(super) fn list<T: AsRef<str>>(&mut self, points: impl IntoIterator<Item = T>) {
        let points: Vec<String> = points.into_iter().map(|p| tidy(p.as_ref())).collect();
        if !points.is_empty() {
            self.blocks.push(Block::List(points));
        }
    }

    pub(super) fn caution(&mut self, text: &str) {
        self.blocks.push(Block::Caution(text.to_owned()));
    }

    pub(super) fn table(&mut self, caption: &str, head: &[&str], rows: Vec<Vec<String>>) {
        if !rows.is_empty() {
            self.blocks.push(Block::Table(Table {
                caption: caption.to_owned(),
                head: head.iter().map(|h| (*h).to_owned()).collect(),
                rows,
                detail: Detail::Main,
            }));
        }
    }

    /// The table placed last may be left out where a paper must stay short.
    pub(super) fn may_go(&mut self, how_soon: Detail) {
        if let Some(Block::Table(table)) = self.blocks.last_mut() {
            table.detail = how_soon;
        }
    }

    /// Places the plot of this name, where there is one.
    pub(super) fn figure(&mut self, id: &str) {
        if let Some(place) = self.drawings.iter().position(|d| d.id == id) {
            let drawing = self.drawings.remove(place);
            self.blocks.push(Block::Figure(PaperFigure {
                name: drawing.id.to_owned(),
                svg: drawing.paper_svg,
                title: drawing.title,
                subtitle: drawing.subtitle,
                caption: drawing.caption,
                detail: match drawing.id {
                    "loss" | "claims" | "correction" | "power" | "seat-map" => Detail::Main,
                    "spread" | "seat-dependence" | "verification" | "sheet" => Detail::Engineer,
                    _ => Detail::Extra,
                },
                alternative: drawing.description,
            }));
        }
    }

    /// Places every plot that has found no other place.
    pub(super) fn other_figures(&mut self) {
        while let Some(id) = self.drawings.first().map(|d| d.id) {
            self.figure(id);
        }
    }
}

/// Signs that a terminal may lack, as they are printed.
fn tidy(text: &str) -> String {
    text.replace("+-", "\u{b1}").replace("cd/m2", "cd/m\u{b2}")
}

/// A figure with its uncertainty, or a dash.
pub(super) fn with_u(value: Option<f64>, u95: Option<f64>, decimals: usize) -> String {
    match (value, u95) {
        (Some(v), Some(u)) => format!("{} \u{b1} {u:.decimals$}", signed(v, decimals)),
        (v, _) => figure(v, decimals),
    }
}

/// A figure, or a dash.
pub(super) fn figure(value: Option<f64>, decimals: usize) -> String {
    value.map_or_else(|| "\u{2013}".to_owned(), |v| signed(v, decimals))
}

fn done(result: &SessionResult, session: &Session, writer: &mut Writer) {
    let (manifest, handover) = (&session.manifest, &session.manifest.handover);
    writer.part("What was done, and for whom");
    writer.say(&format!(
        "A test sound was played through the centre loudspeaker and recorded at {}, first without \
         the screen and then with the screen in front of the loudspeaker. The difference is what \
         the screen takes away from the sound: the loss, in decibels. A loss of 1 dB is just \
         heard; 3 dB is half the power.",
        seats_words(result.seats.len())
    ));
    let units = handover.units;
    let screen = &manifest.screen;
    let mut words: Vec<String> = screen.name.iter().cloned().collect();
    words.extend(screen.construction.map(|c| {
        match c {
            Construction::Woven => "woven cloth",
            Construction::Perforated => "perforated film",
            Construction::Other => "other construction",
        }
        .to_owned()
    }));
    if let (Some(w), Some(h)) = (screen.width_m, screen.height_m) {
        let [w, h] = [w, h].map(|m| super::measures::length(m, units));
        words.push(format!("picture {w} wide, {h} high"));
    }
    words.extend(screen.gap_m.map(|m| format!("{} behind it", short_length(m, units))));
    if screen.backing {
        words.push("with a backing cloth".into());
    }
    let n_takes = session.takes.iter().filter(|t| t.source == SoundSource::Centre).count();
    let n_control = session.takes.len() - n_takes;
    let takes = match (n_takes, n_control) {
        (0, _) => None,
        (n, 0) => Some(format!("{n}")),
        (n, c) => Some(format!("{n}, and {c} of a control loudspeaker")),
    };
    let facts = [
        ("Client", handover.client.clone()),
        ("Site", handover.site.clone()),
        ("Installer", handover.installer.clone()),
        ("Reference", handover.reference.clone()),
        ("Recorded on", result.date.clone()),
        ("Paper dated", handover.date.as_ref().map(ToString::to_string)),
        ("Screen", Some(words.join(", ")).filter(|w| !w.is_empty())),
        ("Recordings", takes),
    ];
    let facts: Vec<(String, String)> =
        facts.into_iter().filter_map(|(name, value)| Some((name.to_owned(), value?))).collect();
    writer.blocks.push(Block::Facts(facts));
}

fn in_short(result: &SessionResult, writer: &mut Writer) {
    writer.part("What was found");
    let mut points = vec![format!("{}.", loss_finding(result))];
    points.extend(spread_finding(result).map(|s| format!("{s}.")));
    // The verdict on the setting without its figures, which follow with the setting.
    points.extend(result.correction.iter().filter_map(|c| {
        let verdict = c.reason.split([':', ';']).next()?.split(". ").next()?;
        Some(format!("{}.", verdict.trim_end_matches('.')))
    }));
    points.extend(result.verification.iter().map(|v| v.sentence.clone()));
    points.extend(result.rattle.iter().map(|range| {
        format!(
            "Something rattles with the screen hung while the sweep passes {:.0} to {:.0} Hz ({}).",
            range.low_hz,
            range.high_hz,
            list_words(&range.seats)
        )
    }));
    writer.list(points);
    if !result.claims.is_empty() {
        writer.section("What the maker claims, and what is shown");
        let sentences: Vec<&str> = result.claims.iter().map(|c| c.sentence.as_str()).collect();
        let (sentences, shared) = told_once(&sentences);
        writer.list(result.claims.iter().zip(sentences).map(|(claim, sentence)| {
            format!("{}: {sentence}", claim.verdict.label().to_uppercase())
        }));
        writer.say(shared.unwrap_or_default());
    }
    match further_warnings(result).len() {
        0 => {}
        1 => writer.say("One point is doubtful; see \u{201c}What is doubtful\u{201d}."),
        n => writer.say(&format!("{n} points are doubtful; see \u{201c}What is doubtful\u{201d}.")),
    }
}

/// Sentences without the proviso at their ends that several of them share, and the proviso.
fn told_once<'a>(sentences: &[&'a str]) -> (Vec<&'a str>, Option<&'a str>) {
    let proviso = |s: &'a str| s.find(" This holds if ").map(|at| s.split_at(at));
    let found: Vec<&str> = sentences.iter().filter_map(|s| proviso(s)).map(|p| p.1).collect();
    match found.first() {
        Some(first) if found.len() > 1 && found.iter().all(|f| f == first) => {
            let cut = |s: &&'a str| proviso(s).map_or(*s, |p| p.0);
            (sentences.iter().map(cut).collect(), Some(first))
        }
        _ => (sentences.to_vec(), None),
    }
}

fn equaliser(result: &SessionResult, writer: &mut Writer) {
    let Some(correction) = &result.correction else { return };
    writer.part("Equaliser settings");
    writer.say(&correction.reason);
    let rows = setting_rows(correction);
    if rows.is_empty() {
        writer.say("Nothing is to be set.");
    } else {
        writer.table(
            "Settings to type in, for the centre channel alone",
            &["Setting", "Frequency, Hz", "Gain, dB", "Q", "Bandwidth, octaves"],
            rows,
        );
        writer.say(&format!(
            "For a processor at {} Hz; the coefficients are in correction.json and \
             correction.csv. Q is that of the usual digital filters of the second order; where a \
             processor asks for a bandwidth instead, the last column is its value.",
            correction.rate_hz
        ));
    }
    writer.say(correction.advice.as_deref().unwrap_or_default());
    writer.figure("correction");
    if let Some(verification) = &result.verification {
        as_recorded(verification, writer);
    }
}

/// What the takes with the setting active say.
fn as_recorded(verification: &Verification, writer: &mut Writer) {
    writer.section("The setting as recorded");
    writer.say(&verification.sentence);
    writer.say(verification.advice.as_deref().unwrap_or_default());
    let rows = verification.trim.iter().chain(&verification.sections).map(|found| {
        let judged = match found.finding {
            Finding::AsAsked => "as asked",
            Finding::NotActive => "not active",
            Finding::Inverted => "inverted",
            Finding::Twice => "twice what was asked",
            Finding::Half => "half of what was asked",
            Finding::Different => "different",
            Finding::CannotTell => "the recordings do not tell",
        };
        vec![
            capital(&found.what),
            signed(found.asked_db, 1),
            with_u(found.found_db, found.u95_db, 1),
            judged.to_owned(),
        ]
    });
    writer.table(
        "Gain asked for and found, dB",
        &["Setting", "Asked", "Found", "Judgement"],
        rows.collect(),
    );
    let rows = verification.seats.iter().map(|seat| {
        vec![
            seat.id.clone(),
            figure(seat.left_rms_db, 2),
            seat.worst_band.as_ref().map_or_else(
                || figure(None, 0),
                |w| format!("{} dB at {}", signed(w.left_db, 1), frequency_words(w.nominal_hz)),
            ),
            if seat.within { "yes" } else { "no" }.to_owned(),
        ]
    });
    writer.table(
        "What is left of the shape at each seat with the setting active",
        &["Seat", "Left, dB rms", "Farthest off", "Within the tolerance"],
        rows.collect(),
    );
    writer.may_go(Detail::Engineer);
    writer.figure("verification");
}

fn setting_rows(correction: &Correction) -> Vec<Vec<String>> {
    let dash = || "\u{2013}".to_owned();
    if correction.sections.is_empty() && correction.trim_setting_db == 0.0 {
        return Vec::new();
    }
    let gain = signed(correction.trim_setting_db, 1);
    let trim = vec!["Level (trim)".to_owned(), "all".to_owned(), gain, dash(), dash()];
    let filters = correction.sections.iter().enumerate().map(|(i, section)| {
        let kind = match section.setting.kind {
            SectionKind::HighShelf => "high shelf",
            SectionKind::Peaking => "peaking",
        };
        vec![
            format!("Filter {}: {kind}", i + 1),
            format!("{}", section.setting.frequency_hz),
            signed(section.setting.gain_db, 1),
            format!("{:.2}", section.setting.q),
            format!("{:.2}", section.bandwidth_oct),
        ]
    });
    std::iter::once(trim).chain(filters).collect()
}

fn cost(result: &SessionResult, session: &Session, writer: &mut Writer) {
    let Some(power) = &result.power else { return };
    writer.part("What it costs");
    writer.say(&power.sentence);
    for check in [&power.amplifier, &power.driver].into_iter().flatten() {
        if !power.sentence.contains(&check.sentence) {
            writer.say(&check.sentence);
        }
    }
    writer.table(
        "Power with the setting, by kind of programme",
        &["Programme", "Gain, dB", "Factor", "Power, W", "Driver gain, dB", "Driver power, W"],
        programme_rows(power),
    );
    writer.figure("power");
    if power.peak_gain_db > 0.0 {
        boost_caution(session, writer);
    }
}

fn programme_rows(power: &PowerCost) -> Vec<Vec<String>> {
    let row = |p: &crate::analysis::power::Programme| {
        vec![
            p.name.clone(),
            signed(p.gain_db, 1),
            format!("{:.2}", p.factor),
            figure(p.watts, 0),
            figure(p.driver_gain_db, 1),
            figure(p.driver_watts, 1),
        ]
    };
    let largest = vec![
        format!("Largest gain, at {}", frequency_words(power.peak_hz.round())),
        signed(power.peak_gain_db, 1),
        format!("{:.2}", power.peak_factor),
        figure(power.amplifier.as_ref().map(|a| a.needs_w), 0),
        figure(power.driver_headroom_db, 1),
        figure(None, 0),
    ];
    power.programmes.iter().map(row).chain([largest]).collect()
}

fn picture(found: &PictureResult, units: DisplayUnits, writer: &mut Writer) {
    let light = found.light.as_ref();
    if light.is_none() && found.geometry.seats.is_empty() && found.geometry.statement.is_empty() {
        return;
    }
    writer.part("Picture");
    writer.list(light.iter().flat_map(|l| &l.statement).chain(&found.geometry.statement));
    if let Some(gain) = light.and_then(|l| l.gain.as_ref()) {
        let rows = gain.over_angle.iter().map(|point| {
            vec![
                format!("{:.0}", point.angle_deg),
                with_u(Some(point.gain.value), Some(point.gain.u95), 2),
                with_u(point.ratio.map(|r| r.value), point.ratio.map(|r| r.u95), 2),
            ]
        });
        writer.table(
            "Gain of the screen by angle of view",
            &["Angle, degrees", "Gain", "Over gain on the axis"],
            rows.collect(),
        );
    }
    if let Some(uniformity) = light.and_then(|l| l.uniformity.as_ref()) {
        let rows = uniformity.points.iter().map(|point| {
            vec![
                serde_json::to_value(point.point)
                    .ok()
                    .and_then(|v| v.as_str().map(|s| s.replace('_', " ")))
                    .unwrap_or_default(),
                luminance(point.luminance_cd_m2, units),
                with_u(Some(point.over_centre.value), Some(point.over_centre.u95), 2),
            ]
        });
        writer.table(
            "Luminance over the picture",
            &["Point", "Luminance", "Over the centre"],
            rows.collect(),
        );
    }
}

fn signatures(session: &Session, writer: &mut Writer) {
    writer.part(SIGNATURES);
    let lines = &session.manifest.handover.signatures;
    let lines = if lines.is_empty() {
        vec!["For the installer".to_owned(), "For the client".to_owned()]
    } else {
        lines.clone()
    };
    writer.blocks.push(Block::Signatures(lines));
}
