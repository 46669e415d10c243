//! What stands in the papers, and in which order: first what the client needs,
//! then the tables of the next engineer. Every figure and nearly every sentence
//! comes from the finished result; nothing is computed here.

use super::cautions::cautions;
use super::method::{method, not_measured};
use super::seats::seats;
use super::setting::{cost, equaliser};
use super::summary::summary_page;
use super::writer::{SIGNATURES, Writer, figure, subtitle, with_u};
use super::{Block, Logo, Paper};
use crate::ingest::error::shown;
use crate::ingest::manifest::{Construction, DisplayUnits, SoundSource};
use crate::ingest::session::Session;
use crate::report::findings::further_warnings;
use crate::report::orientation::{
    ORIENTATION, ORIENTATION_HEAD, orientation_rows, orientation_sources,
};
use crate::report::plots::drawing::Drawing;
use crate::report::result::{PictureResult, SessionResult};
use crate::report::takes::{all_used, takes_sentences};
use crate::report::words::{self, loss_finding, rattle_range, spread_finding};
use crate::words::{key_words, length, list_words, luminance, seats_words, short_length};

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
    let mut writer = Writer::new(drawings, &result.title);
    summary_page(result, session, &mut writer);
    writer.blocks.push(Block::PageBreak);
    done(result, session, &mut writer);
    in_short(result, &mut writer);
    writer.figure("claims");
    equaliser(result, &mut writer);
    cost(result, session, &mut writer);
    heard(result, &mut writer);
    if let Some(found) = &result.picture {
        picture(found, units, &mut writer);
    }
    seats(result, units, &mut writer);
    method(result, session, &mut writer);
    cautions(session, &mut writer);
    not_measured(result, session, &mut writer);
    signatures(session, &mut writer);
    writer.paper(subtitle(result, session), logo)
}

fn done(result: &SessionResult, session: &Session, writer: &mut Writer) {
    let (manifest, handover) = (&session.manifest, &session.manifest.handover);
    writer.part("What was done, and for whom");
    writer.say(&format!(
        "A test sound was played through the centre loudspeaker and recorded at {}, first without \
         the screen and then with the screen in front of the loudspeaker. The difference is what \
         the screen takes away from the sound: the loss, in decibels. A loss of 1 dB can \
         just be heard; 3 dB is half the power.",
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
        let [w, h] = [w, h].map(|m| length(m, units));
        words.push(format!("picture {w} wide, {h} high"));
    }
    words.extend(screen.gap_m.map(|m| format!("loudspeaker {} behind it", short_length(m, units))));
    if screen.backing {
        words.push("with a backing cloth".into());
    }
    let n_takes = session.takes.iter().filter(|t| t.source == SoundSource::Centre).count();
    let n_control = session.takes.len() - n_takes;
    let lent = session.without_from.as_ref().map(|other| {
        let date = other.date.as_ref().map(|d| format!(", {d}")).unwrap_or_default();
        format!("those of {} ({}{date})", shown(&other.folder), other.title)
    });
    let takes = match (n_takes, n_control) {
        (0, _) => None,
        (n, 0) => Some(format!("{n}")),
        (n, c) => Some(format!("{n}, and {c} of a control loudspeaker")),
    };
    writer.facts([
        ("Client", handover.client.clone()),
        ("Site", handover.site.clone()),
        ("Installer", handover.installer.clone()),
        ("Reference", handover.reference.clone()),
        ("Recorded on", result.date.clone()),
        ("Paper dated", handover.date.as_ref().map(ToString::to_string)),
        ("Screen", Some(words.join(", ")).filter(|w| !w.is_empty())),
        ("Takes", takes),
        ("Takes without the screen", lent),
    ]);
}

fn in_short(result: &SessionResult, writer: &mut Writer) {
    writer.part("What was found, in full");
    let mut points = vec![format!("{}.", loss_finding(result))];
    points.extend(spread_finding(result).map(|s| format!("{s}.")));
    // The verdict on the setting without its figures, which follow with the setting.
    points.extend(result.correction.iter().filter_map(|c| {
        let verdict = c.words.reason.split([':', ';']).next()?.split(". ").next()?;
        Some(format!("{}.", verdict.trim_end_matches('.')))
    }));
    if !all_used(result) {
        points.extend(takes_sentences(result));
    }
    points.extend(result.verification.iter().map(|v| v.words.advised.sentence.clone()));
    points.extend(result.rattle.iter().map(|range| {
        format!(
            "Something rattles with the screen hung while the sweep passes {} ({}).",
            rattle_range(range),
            list_words(&range.seats)
        )
    }));
    writer.list(points);
    if !result.claims.is_empty() {
        writer.section("What the maker claims, and what is shown");
        let sentences: Vec<&str> =
            result.claims.iter().map(|c| c.words.sentence.as_str()).collect();
        let (sentences, shared) = told_once(&sentences);
        writer.list(result.claims.iter().zip(sentences).map(|(claim, sentence)| {
            format!("{}: {sentence}", claim.verdict.label().to_uppercase())
        }));
        writer.say(shared.unwrap_or_default());
    }
    match further_warnings(result, DisplayUnits::Metric).len() {
        0 => {}
        1 => writer.say("One point is doubtful; see \u{201c}What is doubtful\u{201d}."),
        n => writer.say(&format!("{n} points are doubtful; see \u{201c}What is doubtful\u{201d}.")),
    }
}

/// Sentences without the proviso at their ends that several of them share, and the proviso.
fn told_once<'a>(sentences: &[&'a str]) -> (Vec<&'a str>, Option<&'a str>) {
    let openings = [" No control takes were made", " The installer attests"];
    let proviso = |s: &'a str| openings.iter().find_map(|o| s.find(o)).map(|at| s.split_at(at));
    let found: Vec<&str> = sentences.iter().filter_map(|s| proviso(s)).map(|p| p.1).collect();
    match found.first() {
        Some(first) if found.len() > 1 && found.iter().all(|f| f == first) => {
            let cut = |s: &&'a str| proviso(s).map_or(*s, |p| p.0);
            (sentences.iter().map(cut).collect(), Some(first))
        }
        _ => (sentences.to_vec(), None),
    }
}

/// Blind tests, each with its day, listener and what was played.
fn heard(result: &SessionResult, writer: &mut Writer) {
    if result.listening.is_empty() {
        return;
    }
    writer.part("Heard in a blind test");
    writer.say(
        "Two versions of a sound were played as A and B, and one of them as X; which, a random \
         source had drawn, and nobody knew before the last answer.",
    );
    let rows = result.listening.iter().map(|heard| {
        let kept = &heard.kept;
        let against = format!("{} against {}", kept.first, kept.second);
        let loud = if kept.matched { "equally loud" } else { "as loud as they are" };
        vec![
            kept.date.clone(),
            kept.listener.clone(),
            format!("{against}: {}, seat {}, {loud}", kept.sound, kept.seat),
            heard.sentence.clone(),
        ]
    });
    writer.table("Blind tests", &["Day", "Listener", "What was heard", "Result"], rows);
}

fn picture(found: &PictureResult, units: DisplayUnits, writer: &mut Writer) {
    let light = found.light.as_ref();
    let of_geometry = words::geometry::statement(&found.geometry, units);
    if light.is_none() && found.geometry.seats.is_empty() && of_geometry.is_empty() {
        return;
    }
    writer.part("Picture");
    let of_light = light.map_or(Vec::new(), |light| words::picture::statement(light, units));
    writer.list(of_light.into_iter().chain(of_geometry));
    if let Some(light) = light {
        writer.table(ORIENTATION, &ORIENTATION_HEAD, orientation_rows(light, units));
        writer.say(&orientation_sources(light));
    }
    if let Some(gain) = light.and_then(|l| l.gain.as_ref()) {
        let rows = gain.over_angle.iter().map(|point| {
            vec![
                format!("{:.0}", point.angle_deg),
                with_u(Some(point.gain.value), Some(point.gain.u95), 2),
                // That of the axis over itself is 1 by definition.
                match point.ratio.filter(|r| r.u95 > 0.0) {
                    Some(ratio) => with_u(Some(ratio.value), Some(ratio.u95), 2),
                    None => figure(point.ratio.map(|r| r.value), 0),
                },
            ]
        });
        writer.table(
            "Gain of the screen by angle of view",
            &["Angle, degrees", "Gain", "Over gain on the axis"],
            rows,
        );
    }
    if let Some(uniformity) = light.and_then(|l| l.uniformity.as_ref()) {
        let rows = uniformity.points.iter().map(|point| {
            vec![
                key_words(&point.point),
                luminance(point.luminance_cd_m2, units),
                with_u(Some(point.over_centre.value), Some(point.over_centre.u95), 2),
            ]
        });
        writer.table(
            "Luminance over the picture",
            &["Point", "Luminance", "Over the centre"],
            rows,
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
