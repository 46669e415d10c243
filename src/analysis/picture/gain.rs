//! Gain of the sheet: luminance against that of a perfect white diffuser in the same light, on
//! the axis and over the angle of view.

use super::super::claims::NoLight;
use super::figure::{Figure, MeterDoubt};
use crate::ingest::readings::{Against, Point, Reading};
use serde::Serialize;
use std::f64::consts::PI;

/// Gain at one angle.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct GainPoint {
    /// Angle of view from the normal, degrees, without its side.
    pub angle_deg: f64,
    /// Gain there.
    pub gain: Figure,
    /// Gain over that on the axis; absent without one.
    pub ratio: Option<Figure>,
    /// Readings behind it (both sides of the axis count together).
    pub readings: usize,
}

/// Gain of the sheet at its centre.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Gain {
    pub on_axis: Option<Figure>,
    /// At every angle that was read, smallest first.
    pub over_angle: Vec<GainPoint>,
    /// Angle at which half the gain on the axis is reached, degrees; absent where no reading
    /// goes that low.
    pub half_gain_deg: Option<Figure>,
    /// Largest angle that was read, degrees.
    pub largest_deg: f64,
}

/// Readings within this angle count as on the axis, degrees.
const AXIS_DEG: f64 = 2.0;
/// Angles closer than this are the same, degrees.
const SAME_DEG: f64 = 0.25;

/// Gain from one reading: `L_screen / L_reference x reference gain`, or `pi L / E`.
pub fn gain_of(reading: &Reading, reference_gain: f64) -> Option<f64> {
    match reading.against? {
        Against::WhiteReference(white) => Some(reading.screen_cd_m2 / white * reference_gain),
        Against::Illuminance(lux) => Some(PI * reading.screen_cd_m2 / lux),
    }
}

/// Gain over angle from the readings at the centre of the picture; `None` when none of them has
/// a reference.
///
/// # Uncertainty
/// One gain against a white reference holds two readings of one meter (calibration cancels),
/// against illuminance two of two meters; a ratio of gains holds four readings, calibration
/// cancelled. Several readings at one angle are averaged.
/// # Source
/// Gain as luminance relative to a standard white diffuser (encyclopedia definition); half-gain
/// angle as the angle of half the peak gain (from memory).
pub fn gain_over_angle(
    readings: &[Reading],
    reference_gain: f64,
    meter: MeterDoubt,
) -> Option<Gain> {
    // (angle, gain, by illuminance), centre only, one side folded onto the other.
    let mut found: Vec<(f64, f64, bool)> = readings
        .iter()
        .filter(|r| r.point == Point::Centre)
        .filter_map(|r| {
            let by_lux = matches!(r.against, Some(Against::Illuminance(_)));
            gain_of(r, reference_gain).map(|g| (r.angle_deg.abs(), g, by_lux))
        })
        .collect();
    found.sort_by(|a, b| a.0.total_cmp(&b.0));
    let largest_deg = found.last()?.0;
    let mut groups: Vec<Vec<(f64, f64, bool)>> = Vec::new();
    for row in found {
        match groups.last_mut() {
            Some(group) if row.0 - group[0].0 <= SAME_DEG => group.push(row),
            _ => groups.push(vec![row]),
        }
    }
    let mut over_angle: Vec<GainPoint> = groups
        .iter()
        .map(|group| {
            let n = group.len() as f64;
            let mean = |pick: fn(&(f64, f64, bool)) -> f64| group.iter().map(pick).sum::<f64>() / n;
            let by_lux = group.iter().any(|g| g.2);
            // Of the two meters' calibrations nothing averages out.
            let own = 2.0 * meter.own().powi(2) / n;
            let shared =
                if by_lux { 2.0 * (meter.whole().powi(2) - meter.own().powi(2)) } else { 0.0 };
            GainPoint {
                angle_deg: mean(|g| g.0),
                gain: Figure::relative(mean(|g| g.1), (own + shared).sqrt()),
                ratio: None,
                readings: group.len(),
            }
        })
        .collect();
    let axis = over_angle.first().copied().filter(|p| p.angle_deg <= AXIS_DEG);
    if let Some(axis) = axis {
        for point in &mut over_angle {
            let n = 1.0 / point.readings as f64 + 1.0 / axis.readings as f64;
            let u = meter.own() * (2.0 * n).sqrt();
            let itself = point.angle_deg == axis.angle_deg;
            let ratio = point.gain.value / axis.gain.value;
            point.ratio = Some(Figure::relative(ratio, if itself { 0.0 } else { u }));
        }
    }
    Some(Gain {
        on_axis: axis.map(|a| a.gain),
        half_gain_deg: half_gain_deg(&over_angle),
        over_angle,
        largest_deg,
    })
}

/// First crossing of half the gain on the axis, straight between neighbouring readings.
fn half_gain_deg(points: &[GainPoint]) -> Option<Figure> {
    points.windows(2).find_map(|pair| {
        let (a, b) = (pair[0].ratio?, pair[1].ratio?);
        if !(a.value > 0.5 && b.value <= 0.5) {
            return None;
        }
        let slope = (b.value - a.value) / (pair[1].angle_deg - pair[0].angle_deg);
        let angle_deg = pair[0].angle_deg + (0.5 - a.value) / slope;
        Some(Figure::absolute(angle_deg, (a.u.max(b.u) / slope).abs()))
    })
}

impl Gain {
    /// Gain and its ratio to the axis at an angle between two readings, straight between them.
    ///
    /// # Errors
    /// [`NoLight`], when the angle was not reached or there is no reading on the axis.
    pub fn at(&self, angle_deg: f64) -> Result<(Figure, Figure), NoLight> {
        let angle_deg = angle_deg.abs();
        let near = |p: &&GainPoint| (p.angle_deg - angle_deg).abs() <= SAME_DEG;
        let point = match self.over_angle.iter().find(near) {
            Some(point) => *point,
            None => self
                .over_angle
                .windows(2)
                .find(|w| w[0].angle_deg < angle_deg && angle_deg < w[1].angle_deg)
                .map(|w| between(w[0], w[1], angle_deg))
                .ok_or(NoLight::AtAngle { angle_deg, largest_deg: self.largest_deg })?,
        };
        let ratio = point.ratio.ok_or(NoLight::OnAxisForRatio)?;
        Ok((point.gain, ratio))
    }
}

fn between(a: GainPoint, b: GainPoint, angle_deg: f64) -> GainPoint {
    let t = (angle_deg - a.angle_deg) / (b.angle_deg - a.angle_deg);
    let mix =
        |x: Figure, y: Figure| Figure::absolute(x.value + t * (y.value - x.value), x.u.max(y.u));
    GainPoint {
        angle_deg,
        gain: mix(a.gain, b.gain),
        ratio: a.ratio.zip(b.ratio).map(|(x, y)| mix(x, y)),
        readings: a.readings.min(b.readings),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const METER: MeterDoubt = MeterDoubt { percent: 2.0, stated: true };

    fn reading(angle_deg: f64, screen_cd_m2: f64, against: Option<Against>) -> Reading {
        Reading { line: 2, point: Point::Centre, angle_deg, screen_cd_m2, against }
    }

    #[test]
    fn lambertian_identities() {
        // E = pi L / g. Computed: 48 cd/m2 at gain 1.0 needs 150.80 lx, at 0.8 188.50 lx;
        // 200 lx at gain 1.1 give 70.028 cd/m2.
        for (l, lux, want) in [(48.0, 150.80, 1.0), (48.0, 188.50, 0.8), (70.028, 200.0, 1.1)] {
            let r = reading(0.0, l, Some(Against::Illuminance(lux)));
            assert!((gain_of(&r, 1.0).unwrap() - want).abs() < 1e-4);
        }
        let r = reading(0.0, 45.0, Some(Against::WhiteReference(50.0)));
        assert!((gain_of(&r, 0.98).unwrap() - 0.882).abs() < 1e-12);
        assert_eq!(gain_of(&reading(0.0, 45.0, None), 1.0), None);
    }

    #[test]
    fn half_gain_of_cosine_power_screens() {
        // cos^n with n = 4.8188, 2, 1 has half its gain at 30, 45, 60 degrees (closed form).
        for (n, want) in [(4.8188, 30.0), (2.0, 45.0), (1.0, 60.0)] {
            let rows: Vec<Reading> = (-16..=16)
                .map(|i| {
                    let angle = f64::from(i) * 5.0;
                    let l = 60.0 * angle.to_radians().cos().powf(n);
                    reading(angle, l, Some(Against::WhiteReference(50.0)))
                })
                .collect();
            let gain = gain_over_angle(&rows, 1.0, METER).unwrap();
            let half = gain.half_gain_deg.unwrap();
            assert!((half.value - want).abs() < 0.1, "n = {n}: {half:?}");
            assert!(half.u > 0.0 && half.u < 3.0, "{half:?}");
            assert_eq!(gain.over_angle.len(), 17);
            assert_eq!((gain.over_angle[0].readings, gain.over_angle[1].readings), (1, 2));
        }
    }

    #[test]
    fn half_gain_that_is_not_reached_is_absent() {
        let white = Some(Against::WhiteReference(50.0));
        let rows = [reading(0.0, 50.0, white), reading(30.0, 40.0, white)];
        let gain = gain_over_angle(&rows, 1.0, METER).unwrap();
        assert_eq!(gain.half_gain_deg, None);
        let beyond = NoLight::AtAngle { angle_deg: 31.0, largest_deg: 30.0 };
        assert_eq!(gain.at(31.0), Err(beyond));
        let (g, ratio) = gain.at(-15.0).unwrap();
        assert!((g.value - 0.9).abs() < 1e-12 && (ratio.value - 0.9).abs() < 1e-12);
        // Exactly half counts as reached.
        let rows = [reading(0.0, 50.0, white), reading(40.0, 25.0, white)];
        let half = gain_over_angle(&rows, 1.0, METER).unwrap().half_gain_deg.unwrap();
        assert!((half.value - 40.0).abs() < 1e-9);
    }

    #[test]
    fn without_reference_or_axis_nothing_is_made_up() {
        assert_eq!(gain_over_angle(&[reading(0.0, 50.0, None)], 1.0, METER), None);
        let rows = [reading(20.0, 50.0, Some(Against::WhiteReference(50.0)))];
        let gain = gain_over_angle(&rows, 1.0, METER).unwrap();
        assert_eq!((gain.on_axis, gain.over_angle[0].ratio), (None, None));
        assert_eq!(gain.at(20.0), Err(NoLight::OnAxisForRatio));
    }

    #[test]
    fn calibration_cancels_where_it_is_shared() {
        // White reference: two readings, half the variance each: 2 %. Illuminance: 2 % twice,
        // nothing cancels: 2.83 %. Ratio of two gains: four halves: 2.83 %.
        let u = |against| {
            let rows = [reading(0.0, 50.0, Some(against)), reading(20.0, 45.0, Some(against))];
            let gain = gain_over_angle(&rows, 1.0, METER).unwrap();
            let (on_axis, (_, ratio)) = (gain.on_axis.unwrap(), gain.at(20.0).unwrap());
            (on_axis.u / on_axis.value, ratio.u / ratio.value)
        };
        let (gain, ratio) = u(Against::WhiteReference(50.0));
        assert!((gain - 0.02).abs() < 1e-12 && (ratio - 0.02 * 2f64.sqrt()).abs() < 1e-12);
        let (gain, ratio) = u(Against::Illuminance(150.0));
        assert!((gain - 0.02 * 2f64.sqrt()).abs() < 1e-12);
        assert!((ratio - 0.02 * 2f64.sqrt()).abs() < 1e-12);
    }
}
