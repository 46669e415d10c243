//! What every sheet did, over all its rooms. More than 350 lines: the document, and how each part of it
//! is put together.

use super::bias::{
    Bias, LightBias, bias_of_sheet, find_too_good, light_bias_of_sheet, overall_bias,
};
use super::collect::Job;
use super::figures::{
    all_bands, gain_on_axis, gap_m, largest_loss, mean_loss, seat_sd, summed_bands,
};
use super::mean::{OverRooms, RoomFigure, Scatter, mean_u, over_rooms, pooled_scatter};
use super::model::{ModelOverRooms, OF_CLOTH, model};
use super::names::{NameError, NamePair, SheetNames};
use super::stored::StoredResult;
use crate::analysis::sheet::kinds::ModelKind;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// All sheets of a folder.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SheetsOverJobs {
    /// Number of jobs.
    pub n_jobs: usize,
    /// Jobs whose manifest gives the sheet no name.
    pub n_unnamed: usize,
    /// Jobs whose result is that of another to the last figure: copies, counted once.
    pub n_copies: usize,
    /// Sheets, those of most rooms first.
    pub sheets: Vec<SheetOverRooms>,
    /// Measured less claimed, over all sheets; absent below five claims.
    pub bias: Option<Bias>,
    /// Names that may mean one sheet.
    pub alike: Vec<[String; 2]>,
    /// The questions about them.
    pub questions: Vec<String>,
}

/// A sheet over its rooms.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SheetOverRooms {
    /// Name.
    pub name: String,
    /// The rooms.
    pub rooms: Vec<RoomOfSheet>,
    /// Loss by band.
    pub bands: Vec<BandOverRooms>,
    /// Mean loss from 500 Hz to 16 kHz, dB.
    pub mean_loss_db: Option<OverRooms>,
    /// Largest loss from 500 Hz to 16 kHz, dB: the mean over rooms, and its range.
    pub largest_loss_db: Option<OverRooms>,
    /// Standard deviation over the seats, mean from 500 Hz to 16 kHz, dB.
    pub seat_sd_db: Option<OverRooms>,
    /// Claims kept, broken, and not decided.
    pub claims: ClaimCount,
    /// The description that fits the rooms best, with its parameters.
    pub model: Option<ModelOverRooms>,
    /// The best of those that have a flow resistance or a mass.
    pub resistance_and_mass: Option<ModelOverRooms>,
    /// Smallest and largest gap, m.
    pub gap_m: Option<[f64; 2]>,
    /// The setting that was needed.
    pub setting: Option<SettingOverRooms>,
    /// Gain on the axis.
    pub gain_on_axis: Option<OverRooms>,
    /// Gain off the axis over that on it.
    pub off_axis: Vec<OffAxis>,
    /// Smallest distance from which its structure is below one minute of arc, m.
    pub structure_distance_m: Option<f64>,
    /// Rooms in which something rattled with it.
    pub n_rattles: usize,
    /// Measured less claimed loss; absent below five claims.
    pub bias: Option<Bias>,
    /// Measured less claimed light; absent below five claims.
    pub light_bias: Option<LightBias>,
}

/// One room of a sheet.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct RoomOfSheet {
    /// "Room 7": the number in the list of all jobs.
    pub label: String,
    /// Title of the job, only where names were asked for.
    pub title: Option<String>,
    /// Date.
    pub date: Option<String>,
    /// Gap, m.
    pub gap_m: Option<f64>,
    /// Mean loss, dB, and its expanded uncertainty.
    pub mean_loss_db: Option<f64>,
    /// Expanded uncertainty, dB.
    pub u95_db: Option<f64>,
}

/// A band over rooms.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct BandOverRooms {
    /// Name, Hz.
    pub nominal_hz: f64,
    /// Mid-band, Hz.
    pub exact_hz: f64,
    /// Loss, dB.
    pub loss_db: OverRooms,
}

/// Verdicts counted.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize)]
pub struct ClaimCount {
    /// Shown to hold.
    pub kept: usize,
    /// Shown not to hold.
    pub broken: usize,
    /// Neither.
    pub open: usize,
}

/// The setting over rooms.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SettingOverRooms {
    /// Trim, dB.
    pub trim_db: Option<OverRooms>,
    /// Rooms in which one setting served all seats.
    pub n_serves_all: usize,
    /// Rooms with a setting.
    pub n_rooms: usize,
    /// Mean gain of the filters: band, Hz, and dB.
    pub filter_gain_db: Vec<(f64, f64)>,
}

/// Gain at an angle.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct OffAxis {
    /// Angle, degrees.
    pub angle_deg: f64,
    /// Gain over that on the axis.
    pub ratio: OverRooms,
}

/// How names of sheets and jobs are treated.
#[derive(Debug, Clone, Default, PartialEq, Eq, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct NameRules {
    /// Pairs of names that are one sheet.
    pub same: Vec<NamePair>,
    /// Pairs of names that are two.
    pub distinct: Vec<NamePair>,
    /// Whether titles of jobs, which may name clients, are told.
    pub with_names: bool,
}

/// The jobs of every named sheet.
pub(super) struct Grouped<'a> {
    pub names: SheetNames,
    pub n_unnamed: usize,
    pub n_copies: usize,
    /// Sheets with the jobs' numbers, those of most rooms first.
    pub sheets: Vec<(String, Vec<(usize, &'a Job)>)>,
}

pub(super) fn group<'a>(jobs: &'a [Job], rules: &NameRules) -> Result<Grouped<'a>, NameError> {
    let named = |job: &Job| job.result.screen.name.clone().filter(|n| !n.trim().is_empty());
    let all: Vec<String> = jobs.iter().filter_map(named).collect();
    let names = SheetNames::new(&all, &rules.same, &rules.distinct)?;
    let mut sheets: BTreeMap<String, Vec<(usize, &Job)>> = BTreeMap::new();
    let (mut n_unnamed, mut n_copies) = (0, 0);
    for (i, job) in jobs.iter().enumerate() {
        // A copied folder is no further room, and would make the mean seem surer than it is.
        if jobs[..i].iter().any(|other| other.result == job.result) {
            n_copies += 1;
            continue;
        }
        match named(job).as_deref().and_then(|n| names.told(n)) {
            Some(name) => sheets.entry(name.to_owned()).or_default().push((i, job)),
            None => n_unnamed += 1,
        }
    }
    let mut sheets: Vec<_> = sheets.into_iter().collect();
    sheets.sort_by(|a, b| b.1.len().cmp(&a.1.len()).then(a.0.cmp(&b.0)));
    Ok(Grouped { names, n_unnamed, n_copies, sheets })
}

/// What every sheet did over all jobs.
///
/// # Errors
/// [`NameError`] for a pair of names that cannot be used.
pub fn sheets_over_jobs(jobs: &[Job], rules: &NameRules) -> Result<SheetsOverJobs, NameError> {
    let grouped = group(jobs, rules)?;
    let scatters = Scatters::of(&grouped);
    let mut biases: Vec<Option<Bias>> =
        grouped.sheets.iter().map(|(_, jobs)| bias_of_sheet(jobs)).collect();
    find_too_good(&mut biases);
    let overall = overall_bias(&biases);
    let sheets = grouped.sheets.iter().zip(biases);
    Ok(SheetsOverJobs {
        n_jobs: jobs.len(),
        n_unnamed: grouped.n_unnamed,
        n_copies: grouped.n_copies,
        questions: grouped.names.asked.iter().map(SheetNames::question).collect(),
        alike: grouped.names.asked,
        sheets: sheets
            .map(|((name, jobs), bias)| one_sheet(name, jobs, &scatters, rules.with_names, bias))
            .collect(),
        bias: overall,
    })
}

/// How rooms scatter, from the sheets with enough of them.
pub(super) struct Scatters {
    by_band: BTreeMap<u64, Scatter>,
    pub mean_loss: Option<Scatter>,
}

impl Scatters {
    fn of(grouped: &Grouped) -> Self {
        let of_sheets = |figure: &dyn Fn(&StoredResult) -> Option<RoomFigure>| {
            let means: Vec<Option<OverRooms>> = grouped
                .sheets
                .iter()
                .map(|(_, jobs)| {
                    let rooms: Vec<RoomFigure> =
                        jobs.iter().filter_map(|(_, j)| figure(&j.result)).collect();
                    over_rooms(&rooms, 0.0, None)
                })
                .collect();
            pooled_scatter(&means)
        };
        let jobs =
            || grouped.sheets.iter().flat_map(|(_, jobs)| jobs.iter().map(|(_, j)| &j.result));
        let bands = all_bands(jobs());
        let by_band =
            bands.iter().filter_map(|[hz, _]| Some((hz.to_bits(), of_sheets(&|r| r.band(*hz))?)));
        Self { by_band: by_band.collect(), mean_loss: of_sheets(&mean_loss) }
    }

    pub fn band(&self, nominal_hz: f64) -> Option<Scatter> {
        self.by_band.get(&nominal_hz.to_bits()).copied()
    }
}

/// What the method may do alike in all rooms, mean over rooms, dB.
pub(super) fn common_u(jobs: &[(usize, &Job)], nominal_hz: &[f64]) -> f64 {
    let all: Vec<f64> = jobs
        .iter()
        .flat_map(|(_, j)| nominal_hz.iter().map(|hz| j.result.method_u_db(*hz)))
        .collect();
    if all.is_empty() { 0.0 } else { all.iter().sum::<f64>() / all.len() as f64 }
}

fn one_sheet(
    name: &str,
    jobs: &[(usize, &Job)],
    scatters: &Scatters,
    with_names: bool,
    bias: Option<Bias>,
) -> SheetOverRooms {
    let results = || jobs.iter().map(|(_, j)| &j.result);
    let over = |figure: &dyn Fn(&StoredResult) -> Option<RoomFigure>, common: f64, other| {
        over_rooms(&results().filter_map(figure).collect::<Vec<_>>(), common, other)
    };
    let summed: Vec<f64> = summed_bands(&jobs[0].1.result).collect();
    let bands = all_bands(results()).into_iter().filter_map(|[nominal_hz, exact_hz]| {
        let common = common_u(jobs, &[nominal_hz]);
        let loss = over(&|r| r.band(nominal_hz), common, scatters.band(nominal_hz))?;
        Some(BandOverRooms { nominal_hz, exact_hz, loss_db: loss })
    });
    let gaps = results().filter_map(gap_m);
    let gains: Vec<RoomFigure> = results().filter_map(gain_on_axis).collect();
    let distances = results().filter_map(|r| r.picture.as_ref()?.geometry.structure_distance_m);
    SheetOverRooms {
        name: name.to_owned(),
        rooms: jobs.iter().map(|(i, j)| room(*i, j, with_names)).collect(),
        bands: bands.collect(),
        mean_loss_db: over(&mean_loss, common_u(jobs, &summed), scatters.mean_loss),
        largest_loss_db: over(&largest_loss, common_u(jobs, &summed), None),
        seat_sd_db: over(&seat_sd, 0.0, None),
        claims: count(results()),
        model: model(jobs, &ModelKind::ALL),
        resistance_and_mass: model(jobs, &OF_CLOTH),
        gap_m: gaps.map(|gap| [gap, gap]).reduce(|a, b| [a[0].min(b[0]), a[1].max(b[1])]),
        setting: setting(jobs),
        // One meter and one white reference serve all rooms, and err in all of them alike.
        gain_on_axis: over_rooms(&gains, mean_u(&gains), None),
        off_axis: off_axis(jobs),
        // The coarsest that any manifest states.
        structure_distance_m: distances.reduce(f64::max),
        n_rattles: results().filter(|r| !r.rattle.is_empty()).count(),
        bias,
        light_bias: light_bias_of_sheet(jobs),
    }
}

fn room(number: usize, job: &Job, with_names: bool) -> RoomOfSheet {
    let mean = mean_loss(&job.result);
    RoomOfSheet {
        label: format!("Room {}", number + 1),
        title: with_names.then(|| job.result.title.clone()),
        date: job.result.date.clone(),
        gap_m: gap_m(&job.result),
        mean_loss_db: mean.map(|m| m.value),
        u95_db: mean.map(|m| 2.0 * m.u),
    }
}

fn count<'a>(results: impl Iterator<Item = &'a StoredResult>) -> ClaimCount {
    let mut count = ClaimCount::default();
    for claim in results.flat_map(|r| &r.claims) {
        match claim.verdict.as_str() {
            "pass" => count.kept += 1,
            "fail" => count.broken += 1,
            _ => count.open += 1,
        }
    }
    count
}

fn setting(jobs: &[(usize, &Job)]) -> Option<SettingOverRooms> {
    let all: Vec<_> = jobs.iter().filter_map(|(_, j)| j.result.correction.as_ref()).collect();
    if all.is_empty() {
        return None;
    }
    let trims: Vec<RoomFigure> =
        all.iter().map(|c| RoomFigure { value: c.trim_db, u: c.trim_u95_db / 2.0 }).collect();
    let mut gains: BTreeMap<u64, Vec<f64>> = BTreeMap::new();
    for band in all.iter().flat_map(|c| &c.bands) {
        gains.entry(band.nominal_hz.to_bits()).or_default().push(band.gain_db);
    }
    let mean = |v: &[f64]| v.iter().sum::<f64>() / v.len() as f64;
    Some(SettingOverRooms {
        trim_db: over_rooms(&trims, 0.0, None),
        n_serves_all: all.iter().filter(|c| c.serves_all_seats).count(),
        n_rooms: all.len(),
        filter_gain_db: gains.iter().map(|(hz, v)| (f64::from_bits(*hz), mean(v))).collect(),
    })
}

/// Angles to the nearest degree; those off the axis that a room was read at.
fn off_axis(jobs: &[(usize, &Job)]) -> Vec<OffAxis> {
    let mut by_angle: BTreeMap<u32, Vec<RoomFigure>> = BTreeMap::new();
    for (_, job) in jobs {
        let gain = job.result.picture.as_ref().and_then(|p| p.light.as_ref()?.gain.as_ref());
        for point in gain.iter().flat_map(|g| &g.over_angle) {
            let degrees = point.angle_deg.round();
            if let Some(ratio) = point.ratio.filter(|_| degrees >= 3.0) {
                by_angle.entry(degrees as u32).or_default().push(ratio);
            }
        }
    }
    by_angle
        .into_iter()
        .filter_map(|(degrees, rooms)| {
            let ratio = over_rooms(&rooms, mean_u(&rooms), None)?;
            Some(OffAxis { angle_deg: f64::from(degrees), ratio })
        })
        .collect()
}
