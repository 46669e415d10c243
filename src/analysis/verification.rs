//! Takes recorded with the setting active: was it done, was it done right, what is left.
//!
//! The change that the equaliser made at a seat is `loss with - loss corrected`; both are
//! taken against the same takes without the screen, so the loudspeaker and the room drop
//! out. It is held against the responses of the sections by weighted least squares:
//! `change = trim + factor x filters` tells a setting that was inverted, doubled, halved
//! or not active at all, `change = trim + sum factor_i x section_i` tells it section by
//! section as far as their responses can be told apart.

use crate::analysis::biquad::{SectionKind, say_hz};
use crate::analysis::correction::{BandNodes, Correction, Predicted, WorstBand};
use crate::analysis::loss::{Estimate, LossTable};
use crate::analysis::seats::{in_shape_range, usable};
use crate::units::ThirdOctave;
use crate::warning::{Topic, Warning};
use nalgebra::{DMatrix, DVector};
use serde::Serialize;
use statrs::distribution::{ContinuousCDF, StudentsT};

/// Deviation of a factor from what was asked that counts as asked: a tenth of the gain.
const FACTOR_TOLERANCE: f64 = 0.1;

/// Deviation of the trim from what was asked that counts as asked, dB: half a usual step.
const TRIM_TOLERANCE_DB: f64 = 0.25;

/// Standard deviation of a band's change that no stated uncertainty falls below, dB.
const FLOOR_DB: f64 = 0.03;

/// What was found of one number of the setting.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Finding {
    /// As asked.
    AsAsked,
    /// Not there at all.
    NotActive,
    /// With the opposite sign.
    Inverted,
    /// Twice what was asked.
    Twice,
    /// Half of what was asked.
    Half,
    /// Something else.
    Different,
    /// The recordings do not tell.
    CannotTell,
}

/// A number of the setting as found.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Found {
    /// What it is, in words: "high shelf at 8 kHz".
    pub what: String,
    /// Gain asked, dB.
    pub asked_db: f64,
    /// Gain found, dB; absent where the recordings do not tell.
    pub found_db: Option<f64>,
    /// Expanded uncertainty of the gain found (95 %), dB.
    pub u95_db: Option<f64>,
    /// Judgement.
    pub finding: Finding,
}

/// What the recordings with the setting active say as a whole.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum VerificationVerdict {
    /// Done as asked, and every seat lies within the tolerance.
    Achieved,
    /// Done as asked, but what is left exceeds the tolerance at a seat.
    DoneButLeftOver,
    /// Nothing changed: not active, or set on another channel.
    NotActive,
    /// Cuts where boosts were asked, and the reverse.
    Inverted,
    /// Twice the gain asked.
    Twice,
    /// Half the gain asked.
    Half,
    /// The filters are not active, the level is.
    FiltersNotActive,
    /// The filters are active, the level is not made up.
    TrimNotApplied,
    /// Single sections are not as asked; `sections` says which.
    SectionsDiffer,
    /// The change is another one than asked.
    Different,
    /// The recordings do not tell.
    CannotTell,
}

/// One seat with the setting active.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SeatVerification {
    /// Seat id.
    pub id: String,
    /// Change that the setting made, dB per band; positive = louder.
    pub change_db: Vec<Option<Predicted>>,
    /// Loss left, measured, dB per band.
    pub left: Vec<Option<Predicted>>,
    /// Measured less predicted loss, dB per band; positive = less was achieved than predicted.
    pub off_db: Vec<Option<Predicted>>,
    /// Shape left (level apart), 500 Hz-16 kHz, dB rms.
    pub left_rms_db: Option<f64>,
    /// Band farthest off, level apart.
    pub worst_band: Option<WorstBand>,
    /// Whether the shape left lies within the tolerance.
    pub within: bool,
    /// Whether it does with the uncertainty counted in, in every band.
    pub shown: bool,
}

/// Achieved against predicted.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Verification {
    /// Verdict.
    pub verdict: VerificationVerdict,
    /// The verdict in plain sentences.
    pub sentence: String,
    /// What to do; absent when nothing is to be done.
    pub advice: Option<String>,
    /// The level made up.
    pub trim: Option<Found>,
    /// Factor between the filters' gain found and asked; 1 = as asked.
    pub factor: Option<f64>,
    /// Its expanded uncertainty (95 %).
    pub factor_u95: Option<f64>,
    /// Section by section, in the order of the correction.
    pub sections: Vec<Found>,
    /// Seats of the corrected table that hold a loss in both tables.
    pub seats: Vec<SeatVerification>,
    /// Level left over in the mean of the seats, 500 Hz-2 kHz, dB.
    pub level_left_db: Option<f64>,
    /// All bands, all seats: rms of measured less predicted, dB.
    pub off_rms_db: Option<f64>,
    /// Doubts.
    pub warnings: Vec<Warning>,
}

/// One usable cell: both losses at one seat and band.
struct Cell {
    band: usize,
    with: Estimate,
    corrected: Estimate,
}

/// Holds the losses with the setting active against what was predicted.
///
/// # Shapes
/// `with` and `corrected` are losses against the same takes without the screen; bands are
/// matched by mid-band, seats by id, so either table may miss some.
/// # Valid range
/// Cells where either loss is absent are left out; with none the verdict is
/// [`VerificationVerdict::CannotTell`].
pub fn verify(correction: &Correction, with: &LossTable, corrected: &LossTable) -> Verification {
    let gains = correction.band_gains_db(&with.bands);
    let cells: Vec<(usize, usize, Vec<Cell>)> = matched(with, corrected);
    let level_left_db = level_left(with, &cells);
    let seats: Vec<SeatVerification> = cells
        .iter()
        .map(|(s, _, row)| judge_seat(correction, with, *s, row, &gains, level_left_db))
        .collect();
    let rows: Vec<(usize, f64, f64)> = cells
        .iter()
        .flat_map(|(_, _, row)| row)
        .map(|c| {
            let u2 = independent(&c.with) + independent(&c.corrected) + FLOOR_DB * FLOOR_DB;
            (c.band, c.with.value_db - c.corrected.value_db, 1.0 / u2)
        })
        .collect();
    let shared_u_db = shared(&cells);
    let whole = fit(&rows, std::slice::from_ref(&gains), shared_u_db);
    let trim = whole.as_ref().or(fit(&rows, &[], shared_u_db).as_ref()).map(|f| {
        let (found, u95) = f[0];
        Found {
            what: "level".into(),
            asked_db: correction.trim_db,
            found_db: Some(found),
            u95_db: Some(u95),
            finding: judge_trim(correction.trim_db, found, u95),
        }
    });
    let factor = whole.as_ref().map(|f| f[1]);
    let sections = judge_sections(correction, with, &rows, shared_u_db, factor);
    let verdict = decide(&seats, trim.as_ref(), factor, &sections, correction);
    let off: Vec<f64> =
        seats.iter().flat_map(|s| s.off_db.iter().flatten()).map(|p| p.value_db).collect();
    let off_rms_db = (!off.is_empty())
        .then(|| (off.iter().map(|v| v * v).sum::<f64>() / off.len() as f64).sqrt());
    let (sentence, advice) = say(verdict, correction, trim.as_ref(), factor, &sections, &seats);
    let warnings = match &advice {
        Some(advice) => vec![Warning {
            topic: Topic::Correction,
            seat: None,
            take: None,
            message: sentence.clone(),
            advice: advice.clone(),
        }],
        None => Vec::new(),
    };
    Verification {
        verdict,
        sentence,
        advice,
        trim,
        factor: factor.map(|f| f.0),
        factor_u95: factor.map(|f| f.1),
        sections,
        seats,
        level_left_db,
        off_rms_db,
        warnings,
    }
}

fn matched(with: &LossTable, corrected: &LossTable) -> Vec<(usize, usize, Vec<Cell>)> {
    let cell = |t: &LossTable, s: usize, b: usize| {
        t.seats[s].loss.get(b).copied().flatten().filter(usable)
    };
    let band_of: Vec<Option<usize>> =
        with.bands.iter().map(|b| corrected.bands.iter().position(|c| c == b)).collect();
    (0..with.seats.len())
        .filter_map(|s| {
            let t = corrected.seats.iter().position(|c| c.id == with.seats[s].id)?;
            let row: Vec<Cell> = (0..with.bands.len())
                .filter_map(|band| {
                    let corrected = cell(corrected, t, band_of[band]?)?;
                    Some(Cell { band, with: cell(with, s, band)?, corrected })
                })
                .collect();
            (!row.is_empty()).then_some((s, t, row))
        })
        .collect()
}

/// Variance that is independent between bands and seats, dB^2.
fn independent(e: &Estimate) -> f64 {
    crate::analysis::seats::independent_variance(e)
}

/// Uncertainty that all cells may share, dB: it moves the level found, not the shape.
fn shared(cells: &[(usize, usize, Vec<Cell>)]) -> f64 {
    cells
        .iter()
        .flat_map(|(_, _, row)| row)
        .map(|c| c.with.u_common_db.hypot(c.corrected.u_common_db))
        .fold(0.0, f64::max)
}

fn level_left(with: &LossTable, cells: &[(usize, usize, Vec<Cell>)]) -> Option<f64> {
    let [low, high] = crate::analysis::correction::TRIM_RANGE_HZ;
    let left: Vec<f64> = cells
        .iter()
        .flat_map(|(_, _, row)| row)
        .filter(|c| (low * 0.999..=high * 1.001).contains(&with.bands[c.band].nominal_hz()))
        .map(|c| c.corrected.value_db)
        .collect();
    (!left.is_empty()).then(|| left.iter().sum::<f64>() / left.len() as f64)
}

fn judge_seat(
    correction: &Correction,
    with: &LossTable,
    seat: usize,
    row: &[Cell],
    gains: &[f64],
    level_left_db: Option<f64>,
) -> SeatVerification {
    let n = with.bands.len();
    let (mut change_db, mut left, mut off_db) = (vec![None; n], vec![None; n], vec![None; n]);
    let mut shape: Vec<(f64, f64, f64)> = Vec::new();
    for c in row {
        // The takes without the screen are common to both losses and their errors cancel;
        // added in full they keep U on the safe side.
        let both = c.with.u95_db.hypot(c.corrected.u95_db);
        let change = c.with.value_db - c.corrected.value_db;
        change_db[c.band] = Some(Predicted { value_db: change, u95_db: both });
        left[c.band] =
            Some(Predicted { value_db: c.corrected.value_db, u95_db: c.corrected.u95_db });
        let asked = correction.trim_db + gains[c.band];
        off_db[c.band] = Some(Predicted { value_db: asked - change, u95_db: both });
        if in_shape_range(with.bands[c.band]) {
            let off = c.corrected.value_db - level_left_db.unwrap_or(0.0);
            shape.push((with.bands[c.band].nominal_hz(), off, c.corrected.u95_db));
        }
    }
    let rms = |f: &dyn Fn(&(f64, f64, f64)) -> f64| {
        (!shape.is_empty())
            .then(|| (shape.iter().map(|s| f(s).powi(2)).sum::<f64>() / shape.len() as f64).sqrt())
    };
    let left_rms_db = rms(&|s| s.1);
    let rms_u_db = rms(&|s| s.2);
    let worst_band = shape.iter().max_by(|a, b| a.1.abs().total_cmp(&b.1.abs())).map(|s| {
        WorstBand { seat: with.seats[seat].id.clone(), nominal_hz: s.0, left_db: s.1, u95_db: s.2 }
    });
    let (rms_limit, band_limit) = (correction.tolerance_rms_db, correction.tolerance_band_db);
    let expected = with.bands.iter().filter(|b| in_shape_range(**b)).count();
    SeatVerification {
        id: with.seats[seat].id.clone(),
        change_db,
        left,
        off_db,
        left_rms_db,
        within: left_rms_db.is_some_and(|r| r <= rms_limit)
            && shape.iter().all(|s| s.1.abs() <= band_limit),
        shown: shape.len() == expected
            && left_rms_db.zip(rms_u_db).is_some_and(|(r, u)| r + u <= rms_limit)
            && shape.iter().all(|s| s.1.abs() + s.2 <= band_limit),
        worst_band,
    }
}

/// Weighted least squares of `change = level + sum factor_i x gains_i`.
///
/// `rows` hold band, change in dB and weight in 1/dB^2; `gains` hold per band the response of
/// each regressor. The answer is value and expanded uncertainty of the level in dB, then of
/// each factor; `None` with too few rows or regressors that cannot be told apart. The
/// covariance is widened by the scatter about the fit where that exceeds what the weights
/// say (Birge), and the shared uncertainty is added to the level.
fn fit(
    rows: &[(usize, f64, f64)],
    gains: &[Vec<f64>],
    shared_u_db: f64,
) -> Option<Vec<(f64, f64)>> {
    let p = gains.len() + 1;
    if rows.len() <= p {
        return None;
    }
    let design = |row: &(usize, f64, f64)| -> Vec<f64> {
        std::iter::once(1.0).chain(gains.iter().map(|g| g[row.0])).collect()
    };
    let (mut normal, mut right) = (DMatrix::zeros(p, p), DVector::zeros(p));
    for row in rows {
        let x = DVector::from_vec(design(row));
        normal += row.2 * &x * x.transpose();
        right += row.2 * row.1 * x;
    }
    let eigen = normal.clone().symmetric_eigen();
    let (small, large) = (eigen.eigenvalues.min(), eigen.eigenvalues.max());
    // Regressors that are nearly zero or nearly the same cannot be told apart.
    if small.is_nan() || small <= 1e-6 * large {
        return None;
    }
    let covariance = normal.try_inverse()?;
    let value = &covariance * right;
    let dof = (rows.len() - p) as f64;
    let chi2: f64 = rows
        .iter()
        .map(|row| {
            let fitted: f64 = design(row).iter().zip(value.iter()).map(|(x, v)| x * v).sum();
            row.2 * (row.1 - fitted).powi(2)
        })
        .sum();
    let widen = (chi2 / dof).max(1.0);
    // With this many rows `dof` is at least 1 and the distribution exists.
    let t = StudentsT::new(0.0, 1.0, dof).ok()?.inverse_cdf(0.975);
    Some(
        (0..p)
            .map(|i| {
                let own = widen * covariance[(i, i)];
                let shared = if i == 0 { shared_u_db * shared_u_db } else { 0.0 };
                (value[i], t * (own + shared).sqrt())
            })
            .collect(),
    )
}

/// Which of the known factors the interval holds, if it holds that one alone.
fn judge_factor(factor: f64, u95: f64) -> Finding {
    let known = [
        (1.0, Finding::AsAsked),
        (0.0, Finding::NotActive),
        (-1.0, Finding::Inverted),
        (2.0, Finding::Twice),
        (0.5, Finding::Half),
    ];
    if !(factor.is_finite() && u95.is_finite()) {
        return Finding::CannotTell;
    }
    let off = |c: f64| (factor - c).abs();
    let near: Vec<Finding> =
        known.iter().filter(|(c, _)| off(*c) <= u95 + FACTOR_TOLERANCE).map(|k| k.1).collect();
    match near.as_slice() {
        [] => Finding::Different,
        [one] => *one,
        _ => Finding::CannotTell,
    }
}

/// The same for the level; factors that lie closer than half a decibel are not told apart.
fn judge_trim(asked_db: f64, found_db: f64, u95_db: f64) -> Finding {
    let near = |db: f64| (found_db - db).abs() <= u95_db + TRIM_TOLERANCE_DB;
    let known = [
        (asked_db, Finding::AsAsked),
        (0.0, Finding::NotActive),
        (-asked_db, Finding::Inverted),
        (2.0 * asked_db, Finding::Twice),
        (0.5 * asked_db, Finding::Half),
    ];
    let near: Vec<Finding> = known.iter().filter(|(db, _)| near(*db)).map(|k| k.1).collect();
    match near.as_slice() {
        [] => Finding::Different,
        // A trim too small to be told from none at all is as asked for all that can be said.
        [one] => *one,
        [Finding::AsAsked, ..] if u95_db <= TRIM_TOLERANCE_DB => Finding::AsAsked,
        _ => Finding::CannotTell,
    }
}

fn judge_sections(
    correction: &Correction,
    with: &LossTable,
    rows: &[(usize, f64, f64)],
    shared_u_db: f64,
    factor: Option<(f64, f64)>,
) -> Vec<Found> {
    let nodes = BandNodes::new(&with.bands, correction.rate_hz);
    let each: Vec<Vec<f64>> = correction
        .sections
        .iter()
        .map(|s| nodes.band_gains_db(std::slice::from_ref(&s.biquad)))
        .collect();
    // With a single section its factor is the factor of the whole.
    let fitted = match (each.len(), factor) {
        (1, Some(f)) => Some(vec![(0.0, 0.0), f]),
        _ => fit(rows, &each, shared_u_db),
    };
    correction
        .sections
        .iter()
        .enumerate()
        .map(|(i, s)| {
            let kind = match s.setting.kind {
                SectionKind::HighShelf => "high shelf",
                SectionKind::Peaking => "peaking filter",
            };
            let found = fitted.as_ref().map(|f| f[i + 1]);
            Found {
                what: format!("{kind} at {}", say_hz(s.setting.frequency_hz)),
                asked_db: s.setting.gain_db,
                found_db: found.map(|(v, _)| v * s.setting.gain_db),
                u95_db: found.map(|(_, u)| u * s.setting.gain_db.abs()),
                finding: found.map_or(Finding::CannotTell, |(v, u)| judge_factor(v, u)),
            }
        })
        .collect()
}

fn decide(
    seats: &[SeatVerification],
    trim: Option<&Found>,
    factor: Option<(f64, f64)>,
    sections: &[Found],
    correction: &Correction,
) -> VerificationVerdict {
    use VerificationVerdict as V;
    let Some(trim) = trim else { return V::CannotTell };
    let outcome = || if seats.iter().all(|s| s.within) { V::Achieved } else { V::DoneButLeftOver };
    if correction.sections.is_empty() {
        return match trim.finding {
            Finding::AsAsked => outcome(),
            Finding::NotActive => V::NotActive,
            Finding::Inverted => V::Inverted,
            Finding::Twice => V::Twice,
            Finding::Half => V::Half,
            Finding::Different => V::Different,
            Finding::CannotTell => V::CannotTell,
        };
    }
    let Some((value, u95)) = factor else { return V::CannotTell };
    // Single sections that are plainly not as asked, beside others that are.
    let told: Vec<Finding> =
        sections.iter().map(|s| s.finding).filter(|f| *f != Finding::CannotTell).collect();
    let odd = told.iter().any(|f| *f != Finding::AsAsked);
    let mixed = told.iter().any(|f| *f != told[0]);
    if odd && mixed {
        return V::SectionsDiffer;
    }
    // A trim that may be none can also not be missed.
    let trim_missing =
        trim.finding == Finding::NotActive && correction.trim_db.abs() > 2.0 * TRIM_TOLERANCE_DB;
    let no_level = matches!(trim.finding, Finding::NotActive)
        || correction.trim_db.abs() <= 2.0 * TRIM_TOLERANCE_DB;
    match judge_factor(value, u95) {
        Finding::AsAsked if trim_missing => V::TrimNotApplied,
        Finding::AsAsked => match trim.finding {
            Finding::AsAsked | Finding::CannotTell | Finding::NotActive => outcome(),
            _ => V::Different,
        },
        Finding::NotActive if no_level => V::NotActive,
        Finding::NotActive => V::FiltersNotActive,
        Finding::Inverted => V::Inverted,
        Finding::Twice => V::Twice,
        Finding::Half => V::Half,
        Finding::Different => V::Different,
        Finding::CannotTell => V::CannotTell,
    }
}

fn say(
    verdict: VerificationVerdict,
    correction: &Correction,
    trim: Option<&Found>,
    factor: Option<(f64, f64)>,
    sections: &[Found],
    seats: &[SeatVerification],
) -> (String, Option<String>) {
    use VerificationVerdict as V;
    let times = factor.map_or(String::new(), |(v, u)| {
        format!(" Found: {v:.2} times the filters asked for, +-{u:.2}.")
    });
    let level =
        trim.and_then(|t| Some((t.found_db?, t.u95_db?))).map_or(String::new(), |(v, u)| {
            // Nothing found is 0, not -0.
            let v = if v.abs() < 0.005 { 0.0 } else { v };
            format!(" Level found: {v:+.2} dB (+-{u:.2}), asked: {:+.2} dB.", correction.trim_db)
        });
    let farthest = seats
        .iter()
        .filter(|s| s.left_rms_db.is_some())
        .max_by(|a, b| {
            let rms = |s: &SeatVerification| s.left_rms_db.unwrap_or(0.0);
            rms(a).total_cmp(&rms(b))
        })
        .map_or(String::new(), |s| {
            format!(
                " The shape left over is at most {:.2} dB rms (seat {}; {} dB is allowed).",
                s.left_rms_db.unwrap_or(0.0),
                s.id,
                correction.tolerance_rms_db
            )
        });
    let again = "Correct it in the processor and record the corrected takes again.";
    match verdict {
        V::Achieved => {
            let doubt = if seats.iter().all(|s| s.shown) {
                ""
            } else {
                " With the uncertainty counted in, this is not shown at every seat."
            };
            (format!("The setting is active and does what was asked.{farthest}{doubt}"), None)
        }
        V::DoneButLeftOver => (
            format!(
                "The setting is active and does what was asked, but it is not enough.{farthest}"
            ),
            Some(correction.advice.clone().unwrap_or_else(|| {
                "Check that nothing was moved between the recordings; then treat what is left at \
                 its cause, for it is not the same at all seats."
                    .into()
            })),
        ),
        V::NotActive => (
            format!("The recordings show no change: the setting was not active.{times}{level}"),
            Some(format!(
                "Look whether the equaliser is bypassed, or set on another channel than the \
                 centre. {again}"
            )),
        ),
        V::Inverted => (
            format!(
                "The setting works the wrong way round: it cuts where it should boost.{times}{level}"
            ),
            Some(format!("Enter the gains with the opposite sign. {again}")),
        ),
        V::Twice => (
            format!("The gain is twice what was asked.{times}{level}"),
            Some(format!(
                "Look whether the setting is active in two places, for instance in the processor \
                 and in the amplifier. {again}"
            )),
        ),
        V::Half => (
            format!("The gain is half of what was asked.{times}{level}"),
            Some(format!("Look at the gains entered, and at any limit of the processor. {again}")),
        ),
        V::FiltersNotActive => (
            format!("The level was made up, but the filters were not active.{times}{level}"),
            Some(format!("Switch the filters on, on the centre channel. {again}")),
        ),
        V::TrimNotApplied => (
            format!("The filters are active, but the level was not made up.{level}{times}"),
            Some(format!("Raise the level of the centre channel as asked. {again}")),
        ),
        V::SectionsDiffer => {
            let odd: Vec<String> = sections.iter().filter_map(say_section).collect();
            (
                format!("Not every filter is as asked: {}.", odd.join("; ")),
                Some(format!("Enter these filters again. {again}")),
            )
        }
        V::Different => (
            format!("The change is another one than asked.{times}{level}"),
            Some(format!(
                "Compare every number in the processor with the table of the setting, also the \
                 meaning of Q and bandwidth. {again}"
            )),
        ),
        V::CannotTell => (
            format!("The recordings do not tell whether the setting is active.{times}{level}"),
            Some(
                "Record the corrected takes again at more seats, with two spots each, without \
                 moving anything else."
                    .into(),
            ),
        ),
    }
}

fn say_section(s: &Found) -> Option<String> {
    let what = &s.what;
    let gain =
        s.found_db.map_or(String::new(), |v| format!(" ({v:+.1} dB for {:+.1})", s.asked_db));
    match s.finding {
        Finding::AsAsked | Finding::CannotTell => None,
        Finding::NotActive => Some(format!("the {what} was not active")),
        Finding::Inverted => Some(format!("the {what} works the wrong way round{gain}")),
        Finding::Twice => Some(format!("the {what} has twice the gain asked{gain}")),
        Finding::Half => Some(format!("the {what} has half the gain asked{gain}")),
        Finding::Different => Some(format!("the {what} has another gain{gain}")),
    }
}

/// Bands of the change found, for a plot: nominal names are those of `with.bands`.
pub fn asked_change_db(correction: &Correction, bands: &[ThirdOctave]) -> Vec<f64> {
    correction.band_gains_db(bands).into_iter().map(|g| g + correction.trim_db).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::correction::{Section, fit_correction};
    use crate::analysis::made_tables::{noise, sheet_loss_db, table};
    use crate::support::assert_close;

    fn cloth(hz: f64) -> f64 {
        1.5 + sheet_loss_db(hz, 0.010, 60.0)
            + 1.5 * 0.5f64.powf((2.0 * (hz / 2500.0).log2() / 0.9).powi(2))
    }

    fn with_screen() -> LossTable {
        table(4, |_, hz| cloth(hz), |s, k| 0.05 * noise(1, s, k), 0.05, 0.02)
    }

    fn asked() -> Correction {
        // The fit is the slow part, and always the same.
        static FIT: std::sync::OnceLock<Correction> = std::sync::OnceLock::new();
        let c = FIT.get_or_init(|| fit_correction(&with_screen(), &Default::default()).unwrap());
        assert!(c.sections.len() >= 2 && c.trim_db > 1.0, "{c:?}");
        c.clone()
    }

    /// Losses recorded with `done` active, noise of its own.
    fn corrected(done: &Correction, level_db: f64) -> LossTable {
        let gain = |hz: f64| level_db + done.filter_gain_db(hz);
        table(4, |_, hz| cloth(hz) - gain(hz), |s, k| 0.05 * noise(2, s, k), 0.05, 0.02)
    }

    /// The setting with its gains multiplied, filter by filter.
    fn changed(c: &Correction, factor: impl Fn(usize) -> f64) -> Correction {
        let mut out = c.clone();
        for (i, s) in out.sections.iter_mut().enumerate() {
            let setting = crate::analysis::biquad::Setting {
                gain_db: s.setting.gain_db * factor(i),
                ..s.setting
            };
            *s = Section::new(setting, c.rate_hz).unwrap();
        }
        out
    }

    fn verdict(done: &Correction, level_db: f64) -> Verification {
        verify(&asked(), &with_screen(), &corrected(done, level_db))
    }

    #[test]
    fn a_setting_done_as_asked_is_achieved() {
        let c = asked();
        let v = verdict(&c, c.trim_db);
        assert_eq!(v.verdict, VerificationVerdict::Achieved, "{v:#?}");
        assert_close("factor", &[v.factor.unwrap()], &[1.0], 0.05);
        assert_close("trim", &[v.trim.unwrap().found_db.unwrap()], &[c.trim_db], 0.05);
        assert!(v.seats.iter().all(|s| s.within) && v.warnings.is_empty());
        // Two noises of 0.05 dB in every cell.
        assert_close("off", &[v.off_rms_db.unwrap()], &[0.05 * 2f64.sqrt()], 0.02);
    }

    #[test]
    fn what_can_go_wrong_is_recognised() {
        use VerificationVerdict as V;
        let c = asked();
        let t = c.trim_db;
        let all = |f: f64| changed(&c, move |_| f);
        for (name, done, level, want, words) in [
            ("bypassed", all(0.0), 0.0, V::NotActive, "no change"),
            ("inverted", all(-1.0), -t, V::Inverted, "wrong way round"),
            ("inverted filters", all(-1.0), t, V::Inverted, "wrong way round"),
            ("twice", all(2.0), 2.0 * t, V::Twice, "twice"),
            ("half", all(0.5), 0.5 * t, V::Half, "half"),
            ("filters off", all(0.0), t, V::FiltersNotActive, "filters were not active"),
            ("trim off", all(1.0), 0.0, V::TrimNotApplied, "level was not made up"),
        ] {
            let v = verdict(&done, level);
            assert_eq!(v.verdict, want, "{name}: {}", v.sentence);
            assert!(v.sentence.contains(words), "{name}: {}", v.sentence);
            assert!(v.advice.is_some() && v.warnings.len() == 1, "{name}");
        }
    }

    #[test]
    fn a_shelf_that_is_off_is_named() {
        let c = asked();
        let shelf = c.sections.iter().position(|s| s.slope.is_some()).unwrap();
        let v = verdict(&changed(&c, |i| if i == shelf { 0.0 } else { 1.0 }), c.trim_db);
        assert_eq!(v.verdict, VerificationVerdict::SectionsDiffer, "{v:#?}");
        assert!(v.sentence.contains("the high shelf at"), "{}", v.sentence);
        assert!(v.sentence.contains("was not active"), "{}", v.sentence);
        assert_eq!(v.sections[shelf].finding, Finding::NotActive);
    }

    #[test]
    fn noise_keeps_the_verdict_back() {
        let c = asked();
        let noisy = |error: f64, seed: u64| {
            let gain = |hz: f64| c.trim_db + c.filter_gain_db(hz);
            let t = table(
                1,
                |_, hz| cloth(hz) - gain(hz),
                |s, k| error * noise(seed, s, k),
                error,
                0.0,
            );
            verify(&c, &with_screen(), &t)
        };
        for seed in 0..5 {
            assert_eq!(noisy(3.0, seed).verdict, VerificationVerdict::CannotTell, "seed {seed}");
        }
    }

    #[test]
    fn factors_on_both_sides_of_their_tolerance() {
        assert_eq!(judge_factor(1.09, 0.0), Finding::AsAsked);
        assert_eq!(judge_factor(1.11, 0.0), Finding::Different);
        assert_eq!(judge_factor(0.52, 0.05), Finding::Half);
        assert_eq!(judge_factor(0.75, 0.16), Finding::CannotTell);
        assert_eq!(judge_factor(0.75, 0.14), Finding::Different);
        assert_eq!(judge_factor(f64::NAN, 0.1), Finding::CannotTell);
        assert_eq!(judge_factor(1.0, f64::NAN), Finding::CannotTell);
        assert_eq!(judge_trim(2.0, 2.24, 0.0), Finding::AsAsked);
        assert_eq!(judge_trim(2.0, 2.26, 0.0), Finding::Different);
        assert_eq!(judge_trim(2.0, 0.1, 0.1), Finding::NotActive);
        assert_eq!(judge_trim(0.0, 0.1, 0.1), Finding::AsAsked);
        assert_eq!(judge_trim(2.0, 1.5, 2.0), Finding::CannotTell);
    }

    #[test]
    fn a_seat_over_the_tolerance_is_left_over() {
        let c = asked();
        let gain = |hz: f64| c.trim_db + c.filter_gain_db(hz);
        // One seat got a ripple of its own, which no setting removes.
        let ripple = |s: usize, k: usize| if s == 2 { [0.9, -0.9][k % 2] } else { 0.0 };
        let t = table(4, |_, hz| cloth(hz) - gain(hz), ripple, 0.05, 0.0);
        let v = verify(&c, &with_screen(), &t);
        assert_eq!(v.verdict, VerificationVerdict::DoneButLeftOver, "{}", v.sentence);
        assert!(v.sentence.contains("S3") && v.advice.is_some(), "{}", v.sentence);
        let within: Vec<bool> = v.seats.iter().map(|s| s.within).collect();
        assert_eq!(within, [true, true, false, true]);
    }

    #[test]
    fn a_level_without_filters_is_verified_too() {
        let flat = |loss: f64, seed: u64| {
            table(3, move |_, _| loss, |s, k| 0.02 * noise(seed, s, k), 0.02, 0.0)
        };
        let with = flat(3.0, 1);
        let c = fit_correction(&with, &Default::default()).unwrap();
        assert!(c.sections.is_empty());
        let at = |left: f64| verify(&c, &with, &flat(left, 2)).verdict;
        assert_eq!(at(0.0), VerificationVerdict::Achieved);
        assert_eq!(at(3.0), VerificationVerdict::NotActive);
        assert_eq!(at(6.0), VerificationVerdict::Inverted);
        assert_eq!(at(-3.0), VerificationVerdict::Twice);
    }

    #[test]
    fn nothing_recorded_tells_nothing() {
        let c = asked();
        let mut t = corrected(&c, c.trim_db);
        t.seats.iter_mut().for_each(|s| s.loss.iter_mut().for_each(|l| *l = None));
        let v = verify(&c, &with_screen(), &t);
        assert_eq!(v.verdict, VerificationVerdict::CannotTell);
        assert!(v.seats.is_empty() && v.factor.is_none() && v.off_rms_db.is_none());
        t.seats.clear();
        assert_eq!(verify(&c, &with_screen(), &t).verdict, VerificationVerdict::CannotTell);
    }

    #[test]
    fn seats_are_matched_by_name_and_absent_cells_left_out() {
        let c = asked();
        let mut t = corrected(&c, c.trim_db);
        t.seats.remove(0);
        t.seats[0].loss[15] = None;
        let v = verify(&c, &with_screen(), &t);
        let ids: Vec<&str> = v.seats.iter().map(|s| s.id.as_str()).collect();
        assert_eq!(ids, ["S2", "S3", "S4"]);
        assert!(v.seats[0].left[15].is_none() && !v.seats[0].shown && v.seats[0].within);
        assert_eq!(v.verdict, VerificationVerdict::Achieved);
    }
}
