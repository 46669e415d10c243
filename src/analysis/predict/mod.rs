//! Before buying: what a described sheet will lose, how the gap will comb, what it costs in
//! power. The same models as in the analysis of a session.

pub(crate) mod describe;

use super::geometry::{SeenPicture, one_arc_minute_distance_m};
use super::sheet::air::Air;
use super::sheet::models::{Gap, Hanging};
use super::sheet::stated::prediction_u95_db;
use crate::units::{GainDb, ThirdOctave, fine_grid_hz};
use describe::DescribedSheet;
use serde::Serialize;

/// Part of the sound pressure that a loudspeaker's front throws back, where nobody says.
pub const FRONT_REFLECTION: f64 = 0.6;

/// What to predict besides the sheets.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Plan {
    /// Space behind the sheet; `None` = no echo.
    pub gap: Option<Gap>,
    /// Angles to the sheet's normal, degrees.
    pub angles_deg: Vec<f64>,
    /// Picture and seats, for viewing angles.
    pub view: Option<View>,
    pub air: Air,
}

/// Picture and seats for viewing angles.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct View {
    /// Width of the picture, m.
    pub width_m: f64,
    /// Width over height.
    pub aspect: f64,
    /// Seats: distance from the sheet and distance from the axis, m.
    pub seats_m: Vec<[f64; 2]>,
    /// Period of weave or holes, mm.
    pub structure_mm: Option<f64>,
}

/// Why a plan cannot be computed.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum PlanError {
    /// No sheet.
    #[error("no sheet is described")]
    NoSheet,
    /// A number outside its range.
    #[error("{what} is {found}, expected {expected}")]
    Value {
        what: &'static str,
        /// Number found.
        found: f64,
        /// What would do.
        expected: &'static str,
    },
}

/// Several sheets side by side.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Forecast {
    /// What was asked.
    pub plan: Plan,
    /// Bands of all per-band lists: nominal and exact mid-band, Hz.
    pub bands_hz: Vec<[f64; 2]>,
    /// Frequencies of all fine curves, Hz.
    pub curve_hz: Vec<f64>,
    /// One for each sheet.
    #[serde(skip)]
    pub sheets: Vec<SheetForecast>,
    /// Seats of the plan.
    pub seats: Vec<SeatView>,
}

/// One sheet.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SheetForecast {
    /// The sheet.
    #[serde(skip)]
    pub sheet: DescribedSheet,
    /// What it loses straight on at 10 kHz, and what that is trusted to (95 %), dB.
    #[serde(skip)]
    pub at_10_khz_db: Option<[f64; 2]>,
    /// Frequency at which the sheet alone takes 3 dB, Hz; absent when that is above 80 kHz.
    pub corner_hz: Option<f64>,
    /// One for each angle of the plan.
    pub angles: Vec<AngleForecast>,
    /// What restoring the level costs.
    pub power: PowerCost,
}

/// One sheet at one angle.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct AngleForecast {
    /// Angle to the sheet's normal, degrees.
    pub angle_deg: f64,
    /// Loss per band, echoes included, dB.
    pub loss_db: Vec<f64>,
    /// What it is trusted to, dB (95 %).
    pub good_to_db: Vec<f64>,
    /// Loss at the single frequencies of the fine curve, dB.
    pub curve_db: Vec<f64>,
    /// The comb of the gap.
    pub comb: Option<Comb>,
}

/// Ripple that the gap puts on top of the sheet.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Comb {
    /// Delay of the first echo, s.
    pub delay_s: f64,
    /// Distance of neighbouring peaks once the sheet's phase is constant, Hz.
    pub spacing_hz: f64,
    /// First frequencies at which the echo takes away most, Hz.
    pub dips_hz: Vec<f64>,
    /// Largest extra loss by the echo between 200 Hz and 16 kHz, dB.
    pub deepest_dip_db: f64,
    /// Largest level gained by the echo there, dB.
    pub highest_peak_db: f64,
}

/// Power needed to restore the level, as a factor; straight on.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct PowerCost {
    pub worst_band_factor: f64,
    /// That band, nominal Hz.
    pub worst_band_hz: f64,
    /// Mean over the bands for a programme with equal power in every third octave (pink).
    pub pink_factor: f64,
    /// The same for a programme falling 3 dB an octave against pink above 1 kHz.
    pub falling_factor: f64,
}

/// A seat of the plan.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct SeatView {
    /// Distance from the sheet, m.
    pub distance_m: f64,
    /// Distance from the axis, m.
    pub offset_m: f64,
    /// Angle to the axis, degrees.
    pub angle_deg: f64,
    /// The picture from there.
    pub picture: SeenPicture,
    /// Whether weave or holes can be seen from there.
    pub structure_visible: Option<bool>,
}

/// Computes all sheets.
///
/// # Errors
/// [`PlanError`]: no sheet, or a gap, angle, size or seat outside its range.
pub fn forecast(sheets: Vec<DescribedSheet>, plan: Plan) -> Result<Forecast, PlanError> {
    check(&sheets, &plan)?;
    let bands = ThirdOctave::report_bands(25_000.0);
    let curve_hz = curve_grid_hz(&plan);
    let seats = plan.view.as_ref().map_or(Vec::new(), see_seats);
    let sheets = sheets.into_iter().map(|s| one_sheet(s, &plan, &bands, &curve_hz)).collect();
    Ok(Forecast {
        bands_hz: bands.iter().map(|b| [b.nominal_hz(), b.exact_hz()]).collect(),
        plan,
        curve_hz,
        sheets,
        seats,
    })
}

fn check(sheets: &[DescribedSheet], plan: &Plan) -> Result<(), PlanError> {
    if sheets.is_empty() {
        return Err(PlanError::NoSheet);
    }
    let within = |what, found: f64, low: f64, high: f64, expected| {
        if (low..=high).contains(&found) {
            Ok(())
        } else {
            Err(PlanError::Value { what, found, expected })
        }
    };
    if let Some(gap) = plan.gap {
        within("the gap", gap.gap_m, 0.005, 3.0, "0.005 to 3 m")?;
        within("the front's reflection", gap.front_reflection, 0.0, 1.0, "0 to 1")?;
    }
    for &angle in &plan.angles_deg {
        within("an angle", angle, 0.0, 80.0, "0 to 80 degrees from the normal")?;
    }
    if let Some(view) = &plan.view {
        within("the width of the picture", view.width_m, 0.2, 50.0, "0.2 to 50 m")?;
        within("the aspect ratio", view.aspect, 0.5, 5.0, "0.5 to 5")?;
        for [distance, offset] in &view.seats_m {
            within("the distance of a seat", *distance, 0.3, 100.0, "0.3 to 100 m")?;
            within("a seat's distance from the axis", *offset, -50.0, 50.0, "-50 to 50 m")?;
        }
    }
    Ok(())
}

/// 1/24-octave grid, and at least twelve points a ripple of the gap.
fn curve_grid_hz(plan: &Plan) -> Vec<f64> {
    let Some(gap) = plan.gap else { return fine_grid_hz(100.0, 20_000.0) };
    let spacing_hz = plan.air.speed_m_s / (2.0 * gap.gap_m);
    let grow = 2f64.powf(1.0 / 24.0) - 1.0;
    let next = |f: &f64| Some(f + (f * grow).min(spacing_hz / 12.0));
    std::iter::successors(Some(100.0), next).take_while(|f| *f <= 20_000.0).collect()
}

fn see_seats(view: &View) -> Vec<SeatView> {
    view.seats_m
        .iter()
        .map(|&[distance_m, offset_m]| SeatView {
            distance_m,
            offset_m,
            angle_deg: offset_m.atan2(distance_m).to_degrees(),
            picture: SeenPicture::new(view.width_m, view.aspect, distance_m, offset_m),
            structure_visible: view
                .structure_mm
                .map(|mm| distance_m < one_arc_minute_distance_m(mm / 1e3)),
        })
        .collect()
}

fn one_sheet(
    sheet: DescribedSheet,
    plan: &Plan,
    bands: &[ThirdOctave],
    curve_hz: &[f64],
) -> SheetForecast {
    let hanging = Hanging { front: sheet.front, backing: sheet.backing, gap: plan.gap };
    let at_angle = |angle_deg: f64| {
        let cos = angle_deg.to_radians().cos();
        let loss_db: Vec<f64> =
            bands.iter().map(|b| hanging.band_loss(*b, cos, &plan.air).0).collect();
        AngleForecast {
            angle_deg,
            good_to_db: loss_db.iter().map(|l| prediction_u95_db(*l)).collect(),
            curve_db: curve_hz.iter().map(|&f| hanging.loss(f, cos, &plan.air).0).collect(),
            comb: plan.gap.map(|gap| comb(&hanging, gap, cos, &plan.air)),
            loss_db,
        }
    };
    let mut asked = plan.angles_deg.clone();
    if asked.is_empty() {
        asked.push(0.0);
    }
    let angles: Vec<AngleForecast> = asked.into_iter().map(at_angle).collect();
    let straight = at_angle(0.0);
    let power = power_cost(bands, &straight.loss_db);
    let corner_hz = hanging.corner_hz(&plan.air);
    let at_10_khz_db = bands
        .iter()
        .position(|b| b.index() == 10)
        .map(|at| [straight.loss_db[at], straight.good_to_db[at]]);
    SheetForecast { sheet, at_10_khz_db, corner_hz, angles, power }
}

/// Where the echo takes and gives most, found on a fine grid.
fn comb(hanging: &Hanging, gap: Gap, cos: f64, air: &Air) -> Comb {
    let delay_s = 2.0 * gap.gap_m * cos / air.speed_m_s;
    let ripple_db = |f: f64| {
        let with = hanging.response(f, cos, air).norm_sqr();
        let alone = hanging.scattering(f, cos, air).transmission.norm_sqr();
        10.0 * (with / alone).log10()
    };
    let step = 1.0 / delay_s / 200.0;
    let n = ((16_000.0 - 200.0) / step) as usize;
    let (mut dips_hz, mut deepest, mut highest) = (Vec::new(), 0.0f64, 0.0f64);
    let (mut before, mut here) = (f64::INFINITY, ripple_db(200.0));
    for i in 1..=n {
        let next = ripple_db(200.0 + i as f64 * step);
        if here < before && here <= next && dips_hz.len() < 4 && i > 1 {
            dips_hz.push(200.0 + (i - 1) as f64 * step);
        }
        deepest = deepest.max(-next);
        highest = highest.max(next);
        (before, here) = (here, next);
    }
    Comb {
        delay_s,
        spacing_hz: 1.0 / delay_s,
        dips_hz,
        deepest_dip_db: deepest,
        highest_peak_db: highest,
    }
}

/// Power to restore the level, per band and for two declared programmes. A band that the sheet
/// raises counts as gained.
pub fn power_cost(bands: &[ThirdOctave], loss_db: &[f64]) -> PowerCost {
    let factor = |loss: f64| GainDb(loss).power_factor();
    let mean = |weight: &dyn Fn(ThirdOctave) -> f64| {
        let (mut sum, mut total) = (0.0, 0.0);
        for (band, loss) in bands.iter().zip(loss_db) {
            sum += weight(*band) * factor(*loss);
            total += weight(*band);
        }
        sum / total
    };
    let worst = bands
        .iter()
        .zip(loss_db)
        .max_by(|a, b| a.1.total_cmp(b.1))
        .map_or((f64::NAN, 0.0), |(band, loss)| (band.nominal_hz(), *loss));
    PowerCost {
        worst_band_factor: factor(worst.1),
        worst_band_hz: worst.0,
        pink_factor: mean(&|_| 1.0),
        // 3 dB an octave = 10 dB a decade.
        falling_factor: mean(&|band| (1000.0 / band.exact_hz()).min(1.0)),
    }
}

#[cfg(test)]
pub(crate) mod tests;
