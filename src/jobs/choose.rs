//! The known sheets, ranked for a room that is still to be fitted.
//!
//! What a sheet loses in a room is the sheet's own loss and the ripple of the gap there. So its
//! measured losses are not carried over as they are: in each room where the sheet hung, what its
//! model gives for that room's gap and angles is taken off, what is left is averaged over the rooms
//! ([`super::mean`]), and what the model gives for the new gap and angles is put on. Errors of the
//! model that are the same in all rooms fall out; what remains is in the scatter of the rooms, and
//! the prediction for one room more carries it in full.
//!
//! Taken as known: the new loudspeaker's front throws back what those of the other rooms did
//! ([`crate::analysis::predict::FRONT_REFLECTION`] in the model). A sheet that is only described has the model alone, trusted
//! to 0.3 dB and a fifth of the value; so has a measured one while it hung in one room only and no
//! other sheet shows how rooms scatter.

use super::collect::Job;
use super::described::Described;
use super::figures::{all_bands, is_summed, summed_bands};
use super::mean::{OverRooms, RoomFigure, over_rooms, pooled_scatter};
use super::model::model;
use super::names::NameError;
use super::residuals::{Base, Residuals};
use super::room::Room;
use super::sheets::{Grouped, NameRules, SheetOverRooms, common_u, group, sheets_over_jobs};
use crate::analysis::compare::Rated;
use crate::analysis::picture::expected_luminance_cd_m2;
use crate::analysis::picture::figure::Figure;
use crate::analysis::picture::uniformity::{LimitCheck, luminance_limits};
use crate::analysis::power::{PowerCost, gain_power};
use crate::analysis::sheet::kinds::ModelKind;
use crate::analysis::sheet::stated::prediction_u95_db;
use crate::report::words::{self, said::Said};
use crate::units::ThirdOctave;
use serde::Serialize;

/// Where a sheet's figures come from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case", tag = "from")]
pub enum Evidence {
    /// Measured.
    Measured {
        /// In so many rooms.
        n_rooms: usize,
    },
    /// Described by the maker only.
    Described,
}

/// A sheet for the room.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Candidate {
    /// Name.
    pub name: String,
    /// How sure.
    pub evidence: Evidence,
    /// Predicted loss by band, mean over the seats.
    pub bands: Vec<PredictedBand>,
    /// Predicted mean loss from 500 Hz to 16 kHz, dB.
    pub mean_loss_db: Rated,
    /// One more than the number of sheets shown to lose less here.
    pub rank: usize,
    /// What making up the loss takes.
    pub power: Said<PowerCost>,
    /// Luminance of the picture, cd/m2.
    pub luminance_cd_m2: Option<Rated>,
    /// That against published targets.
    pub luminance_limits: Vec<LimitCheck>,
    /// Distance from which its structure is below one minute of arc, m.
    pub structure_distance_m: Option<f64>,
    /// Whether the structure can be seen from the nearest seat.
    pub structure_visible: Option<bool>,
    /// Whether its maker's claims are shown to be too good.
    pub claims_too_good: bool,
}

/// A predicted band.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct PredictedBand {
    /// Name, Hz.
    pub nominal_hz: f64,
    /// Mid-band, Hz.
    pub exact_hz: f64,
    /// Loss, dB.
    pub loss_db: f64,
    /// Expanded uncertainty for this room, 95 %, dB.
    pub u95_db: f64,
}

/// Two sheets held against each other.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ChoicePair {
    /// Names.
    pub names: [String; 2],
    /// Loss of the first less that of the second, dB.
    pub difference_db: f64,
    /// Expanded uncertainty of the difference, dB.
    pub u95_db: f64,
    /// Whether the difference is beyond it.
    pub shown: bool,
}

/// The ranking.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Choice {
    /// The room.
    pub room: Room,
    /// Sheets by rank, then by loss.
    pub candidates: Vec<Candidate>,
    /// Every two of them.
    pub pairs: Vec<ChoicePair>,
    /// Names that may mean one sheet: questions.
    pub questions: Vec<String>,
}

/// Ranks all sheets of the jobs and the described ones for `room`.
///
/// # Errors
/// [`NameError`] for a pair of names that cannot be used.
pub fn choose(
    jobs: &[Job],
    described: &[Described],
    room: Room,
    rules: &NameRules,
) -> Result<Choice, NameError> {
    let grouped = group(jobs, rules)?;
    let over = sheets_over_jobs(jobs, rules)?;
    let mut candidates = measured(&grouped, &over.sheets, &room);
    candidates.extend(described.iter().map(|d| describe(d, &room)));
    let losses: Vec<Rated> = candidates.iter().map(|c| c.mean_loss_db).collect();
    for candidate in &mut candidates {
        let own = candidate.mean_loss_db;
        candidate.rank = 1 + losses.iter().filter(|l| shown_below(**l, own)).count();
    }
    candidates.sort_by(|a, b| {
        (a.rank.cmp(&b.rank))
            .then(a.mean_loss_db.value.total_cmp(&b.mean_loss_db.value))
            .then(a.name.cmp(&b.name))
    });
    let pairs = pairs(&candidates);
    Ok(Choice { room, candidates, pairs, questions: over.questions })
}

fn pairs(candidates: &[Candidate]) -> Vec<ChoicePair> {
    let mut out = Vec::new();
    for (i, a) in candidates.iter().enumerate() {
        for b in &candidates[i + 1..] {
            let (la, lb) = (a.mean_loss_db, b.mean_loss_db);
            out.push(ChoicePair {
                names: [a.name.clone(), b.name.clone()],
                difference_db: la.value - lb.value,
                u95_db: difference_u95(la, lb),
                shown: shown_below(la, lb) || shown_below(lb, la),
            });
        }
    }
    out
}

/// Every prediction has an uncertainty here.
fn difference_u95(a: Rated, b: Rated) -> f64 {
    a.u95.unwrap_or(f64::MAX).hypot(b.u95.unwrap_or(f64::MAX))
}

fn shown_below(a: Rated, b: Rated) -> bool {
    b.value - a.value > difference_u95(a, b)
}

/// Candidates of all measured sheets.
fn measured(grouped: &Grouped, over: &[SheetOverRooms], room: &Room) -> Vec<Candidate> {
    let sheets: Vec<(Base, Vec<Residuals>)> = grouped
        .sheets
        .iter()
        .map(|(_, jobs)| {
            let base = Base { sheet: model(jobs, &ModelKind::ALL).map(|m| (m.sheet, None)) };
            let rooms = jobs.iter().map(|(_, j)| Residuals::of(&j.result, &base)).collect();
            (base, rooms)
        })
        .collect();
    // How rooms scatter around the models, from the sheets with enough rooms.
    let scatter = |figure: &dyn Fn(&Residuals) -> Option<RoomFigure>| {
        let of_sheet = |(_, rooms): &(Base, Vec<Residuals>)| {
            over_rooms(&rooms.iter().filter_map(figure).collect::<Vec<_>>(), 0.0, None)
        };
        pooled_scatter(&sheets.iter().map(of_sheet).collect::<Vec<_>>())
    };
    let cosines = room.cosines();
    let mut out = Vec::new();
    for (((name, jobs), (base, rooms)), summary) in grouped.sheets.iter().zip(&sheets).zip(over) {
        let predict = |figure: &dyn Fn(&Residuals) -> Option<RoomFigure>, hz: &[f64]| {
            let figures: Vec<RoomFigure> = rooms.iter().filter_map(figure).collect();
            over_rooms(&figures, common_u(jobs, hz), scatter(figure))
        };
        let bands: Vec<PredictedBand> = all_bands(jobs.iter().map(|(_, j)| &j.result))
            .into_iter()
            .filter_map(|[nominal_hz, exact_hz]| {
                let rest = predict(&|r| r.band(nominal_hz), &[nominal_hz])?;
                let loss_db = base.band_db(exact_hz, room.gap_m, &cosines) + rest.mean;
                let u95_db = predicted_u95(&rest, loss_db);
                Some(PredictedBand { nominal_hz, exact_hz, loss_db, u95_db })
            })
            .collect();
        let summed: Vec<f64> = summed_bands(&jobs[0].1.result).collect();
        let Some(rest) = predict(&|r| r.mean(&summed), &summed) else { continue };
        let on_bands: Vec<f64> = bands
            .iter()
            .filter(|b| summed.contains(&b.nominal_hz))
            .map(|b| base.band_db(b.exact_hz, room.gap_m, &cosines))
            .collect();
        let value = on_bands.iter().sum::<f64>() / on_bands.len() as f64 + rest.mean;
        let mean = Rated { value, u95: Some(predicted_u95(&rest, value)) };
        let evidence = Evidence::Measured { n_rooms: rest.n_rooms };
        let mut candidate = candidate(name, evidence, bands, mean, room);
        candidate.see(room, summary.structure_distance_m);
        candidate.light(room, summary.gain_on_axis);
        candidate.claims_too_good = summary.bias.as_ref().is_some_and(|b| b.too_good);
        out.push(candidate);
    }
    out
}

/// For one room more; where the scatter between rooms is not known, as for a description.
fn predicted_u95(rest: &OverRooms, loss_db: f64) -> f64 {
    rest.next_room_u95.unwrap_or_else(|| prediction_u95_db(loss_db).max(2.0 * rest.within_u))
}

fn describe(described: &Described, room: &Room) -> Candidate {
    let sheet = &described.sheet;
    let base = Base { sheet: Some((sheet.front, sheet.backing)) };
    let cosines = room.cosines();
    let bands: Vec<PredictedBand> = ThirdOctave::report_bands(20_000.0)
        .into_iter()
        .map(|b| {
            let loss_db = base.band_db(b.exact_hz(), room.gap_m, &cosines);
            PredictedBand {
                nominal_hz: b.nominal_hz(),
                exact_hz: b.exact_hz(),
                loss_db,
                u95_db: prediction_u95_db(loss_db),
            }
        })
        .collect();
    let summed: Vec<&PredictedBand> = bands.iter().filter(|b| is_summed(b.nominal_hz)).collect();
    let mean = |f: fn(&PredictedBand) -> f64| {
        summed.iter().map(|b| f(b)).sum::<f64>() / summed.len() as f64
    };
    let rated = Rated { value: mean(|b| b.loss_db), u95: Some(mean(|b| b.u95_db)) };
    let mut candidate = candidate(&sheet.name, Evidence::Described, bands, rated, room);
    let distance = described
        .structure_mm
        .map(|mm| crate::analysis::geometry::one_arc_minute_distance_m(mm / 1e3));
    candidate.see(room, distance);
    candidate
}

fn candidate(
    name: &str,
    evidence: Evidence,
    bands: Vec<PredictedBand>,
    mean_loss_db: Rated,
    room: &Room,
) -> Candidate {
    let power = gain_power(|hz| between_bands(&bands, hz), Some(&room.power.speaker()));
    let power = words::power::said(power);
    Candidate {
        name: name.to_owned(),
        evidence,
        bands,
        mean_loss_db,
        rank: 1,
        power,
        luminance_cd_m2: None,
        luminance_limits: Vec::new(),
        structure_distance_m: None,
        structure_visible: None,
        claims_too_good: false,
    }
}

/// The loss at a frequency, straight between the bands over the logarithm of frequency, dB.
fn between_bands(bands: &[PredictedBand], hz: f64) -> f64 {
    let Some(first) = bands.first() else { return 0.0 };
    let mut before = first;
    for band in bands {
        if band.exact_hz >= hz {
            if band.exact_hz <= before.exact_hz {
                return band.loss_db;
            }
            let share = (hz / before.exact_hz).ln() / (band.exact_hz / before.exact_hz).ln();
            return before.loss_db + share * (band.loss_db - before.loss_db);
        }
        before = band;
    }
    before.loss_db
}

impl Candidate {
    fn see(&mut self, room: &Room, distance_m: Option<f64>) {
        self.structure_distance_m = distance_m;
        self.structure_visible =
            distance_m.zip(room.nearest_seat_m()).map(|(from, nearest)| nearest < from);
    }

    fn light(&mut self, room: &Room, gain: Option<OverRooms>) {
        let (Some(gain), Some(lm), Some(area)) = (gain, room.projector_lm, room.area_m2()) else {
            return;
        };
        let luminance = |g: f64| expected_luminance_cd_m2(lm, area, g);
        // One room: the meter's uncertainty alone.
        let u95 = gain.next_room_u95.unwrap_or(2.0 * gain.within_u);
        let (value, u95) = (luminance(gain.mean), luminance(u95));
        self.luminance_cd_m2 = Some(Rated { value, u95: Some(u95) });
        self.luminance_limits = luminance_limits(Figure::absolute(value, u95 / 2.0));
    }
}
