//! Evenness of the picture and its luminance, against published limits.

use super::super::claims::{Limits, Verdict, judge_between};
use super::figure::{Figure, MeterDoubt};
use crate::ingest::readings::{Point, Reading};
use crate::units::CD_M2_PER_FL;
use serde::Serialize;

/// Luminance at one point over that of the centre.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct PointRatio {
    /// Where.
    pub point: Point,
    pub luminance_cd_m2: f64,
    pub over_centre: Figure,
}

/// Evenness of the picture.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Uniformity {
    /// Points other than the centre, in grid order.
    pub points: Vec<PointRatio>,
    /// Smallest luminance of all other points over the centre.
    pub minimum_over_centre: Figure,
    /// Smallest over largest luminance of all points (the form of ISO 11315-1, there for
    /// illuminance on nine points).
    pub minimum_over_maximum: Figure,
    /// Published limits.
    pub limits: Vec<LimitCheck>,
}

/// A figure held against a published limit.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct LimitCheck {
    /// What is limited.
    pub name: &'static str,
    /// Where the limit stands.
    pub source: &'static str,
    /// Lower limit.
    pub minimum: f64,
    /// Upper limit.
    pub maximum: f64,
    /// Measured figure that decides.
    pub measured: f64,
    /// Its expanded uncertainty.
    pub u95: f64,
    /// Verdict by guard band.
    pub verdict: Verdict,
}

/// SMPTE ST 431-1:2006 / ISO 26431-1:2008, as reported by secondary sources.
const D_CINEMA: &str = "SMPTE ST 431-1:2006, ISO 26431-1:2008 (secondary source)";

/// Luminance at the centre in cd/m2: name, limits, source.
const LUMINANCE_LIMITS: [(&str, [f64; 2], &str); 3] = [
    ("Digital cinema, theatre", [37.8, 58.2], D_CINEMA),
    ("Digital cinema, review room", [44.5, 51.5], D_CINEMA),
    ("Film, theatre", [14.0 * CD_M2_PER_FL, 18.0 * CD_M2_PER_FL], "SMPTE RP 51-1995"),
];

/// Luminance over that of the centre: name, limits, whether for corners.
const UNIFORMITY_LIMITS: [(&str, [f64; 2], bool); 3] = [
    ("Digital cinema, theatre: sides over centre", [0.75, 0.9], false),
    ("Digital cinema, review room: sides over centre", [0.8, 0.9], false),
    ("Digital cinema, review room: corners over centre", [0.8, 0.9], true),
];

/// Mean luminance at a point, from the readings closest to straight on, and their number.
pub fn luminance_at(readings: &[Reading], point: Point) -> Option<(f64, usize)> {
    let here = || readings.iter().filter(|r| r.point == point);
    let nearest = here().map(|r| r.angle_deg.abs()).min_by(f64::total_cmp)?;
    let values: Vec<f64> =
        here().filter(|r| r.angle_deg.abs() <= nearest + 1e-9).map(|r| r.screen_cd_m2).collect();
    Some((values.iter().sum::<f64>() / values.len() as f64, values.len()))
}

/// Evenness from the readings; `None` without a centre and four other points.
pub fn uniformity(readings: &[Reading], meter: MeterDoubt) -> Option<Uniformity> {
    let (centre, n_centre) = luminance_at(readings, Point::Centre)?;
    let ratio = |a: f64, n_a: usize, b: f64, n_b: usize| {
        Figure::relative(a / b, meter.own() * (1.0 / n_a as f64 + 1.0 / n_b as f64).sqrt())
    };
    let all: Vec<(Point, f64, usize)> = Point::GRID
        .into_iter()
        .filter_map(|p| luminance_at(readings, p).map(|(l, n)| (p, l, n)))
        .collect();
    let points: Vec<PointRatio> = all
        .iter()
        .filter(|(p, ..)| *p != Point::Centre)
        .map(|&(point, luminance_cd_m2, n)| PointRatio {
            point,
            luminance_cd_m2,
            over_centre: ratio(luminance_cd_m2, n, centre, n_centre),
        })
        .collect();
    if points.len() < 4 {
        return None;
    }
    let lowest =
        points.iter().min_by(|a, b| a.over_centre.value.total_cmp(&b.over_centre.value))?;
    let (_, low, n_low) = *all.iter().min_by(|a, b| a.1.total_cmp(&b.1))?;
    let (_, high, n_high) = *all.iter().max_by(|a, b| a.1.total_cmp(&b.1))?;
    let limits = UNIFORMITY_LIMITS
        .iter()
        .filter_map(|&(name, range, corners)| {
            let of_kind: Vec<Figure> = points
                .iter()
                .filter(|p| if corners { p.point.is_corner() } else { p.point.is_side() })
                .map(|p| p.over_centre)
                .collect();
            worst(name, D_CINEMA, range, &of_kind)
        })
        .collect();
    Some(Uniformity {
        minimum_over_centre: lowest.over_centre,
        minimum_over_maximum: ratio(low, n_low, high, n_high),
        points,
        limits,
    })
}

/// Luminance at the centre against published ranges.
pub fn luminance_limits(centre_cd_m2: Figure) -> Vec<LimitCheck> {
    LUMINANCE_LIMITS
        .iter()
        .filter_map(|&(name, range, source)| worst(name, source, range, &[centre_cd_m2]))
        .collect()
}

/// The figure with the worst verdict decides.
fn worst(
    name: &'static str,
    source: &'static str,
    [minimum, maximum]: [f64; 2],
    figures: &[Figure],
) -> Option<LimitCheck> {
    figures
        .iter()
        .map(|f| {
            let c = f.for_claim();
            let limits = Limits { lower: Some(minimum), upper: Some(maximum) };
            (f, judge_between(c.value, c.u, c.dof, limits))
        })
        .max_by(|(_, a), (_, b)| {
            let risk = |p: Option<f64>| 1.0 - p.unwrap_or(0.0);
            a.verdict.cmp(&b.verdict).then(risk(a.probability).total_cmp(&risk(b.probability)))
        })
        .map(|(f, j)| LimitCheck {
            name,
            source,
            minimum,
            maximum,
            measured: f.value,
            u95: f.u95,
            verdict: j.verdict,
        })
}

#[cfg(test)]
mod tests {
    use super::*;

    const METER: MeterDoubt = MeterDoubt { percent: 1.0, stated: true };

    fn rows(values: &[(Point, f64)]) -> Vec<Reading> {
        values
            .iter()
            .map(|&(point, screen_cd_m2)| Reading {
                line: 1,
                point,
                angle_deg: 0.0,
                screen_cd_m2,
                against: None,
            })
            .collect()
    }

    fn sides(share: f64) -> Vec<Reading> {
        use Point::{Bottom, Centre, Left, Right, Top};
        let mut all = vec![(Centre, 50.0)];
        all.extend([Left, Right, Top, Bottom].map(|p| (p, 42.5)));
        all[1].1 = 50.0 * share;
        rows(&all)
    }

    #[test]
    fn sides_against_the_cinema_limits() {
        // U of a ratio at 1 % is 1.65 % one-sided: 0.78 is inside 0.75 shown, 0.755 is not.
        for (share, theatre, review) in [
            (0.85, Verdict::Pass, Verdict::Pass),
            (0.78, Verdict::Pass, Verdict::Fail),
            (0.755, Verdict::ConditionalPass, Verdict::Fail),
            (0.745, Verdict::ConditionalFail, Verdict::Fail),
            (0.70, Verdict::Fail, Verdict::Fail),
            (0.96, Verdict::Fail, Verdict::Fail),
        ] {
            let u = uniformity(&sides(share), METER).unwrap();
            let verdicts: Vec<Verdict> = u.limits.iter().map(|l| l.verdict).collect();
            assert_eq!(verdicts, [theatre, review], "{share}: {:?}", u.limits);
        }
    }

    #[test]
    fn luminance_against_published_ranges() {
        // 48 cd/m2 (14 fL) is the digital cinema's, 55 cd/m2 (16 fL) the film's nominal value.
        let verdicts = |cd: f64| {
            let checks = luminance_limits(Figure::relative(cd, 0.01));
            checks.iter().map(|c| c.verdict).collect::<Vec<_>>()
        };
        assert_eq!(verdicts(48.0)[..2], [Verdict::Pass, Verdict::Pass]);
        assert_eq!(verdicts(55.0), [Verdict::Pass, Verdict::Fail, Verdict::Pass]);
        assert_eq!(verdicts(20.0), [Verdict::Fail; 3]);
        assert_eq!(verdicts(f64::NAN), [Verdict::NotShown; 3]);
    }

    #[test]
    fn nine_points_and_their_extremes() {
        let luminances = [40.0, 44.0, 41.0, 45.0, 50.0, 46.0, 38.0, 43.0, 39.0];
        let all: Vec<_> = Point::GRID.into_iter().zip(luminances).collect();
        let u = uniformity(&rows(&all), METER).unwrap();
        assert_eq!(u.points.len(), 8);
        assert!((u.minimum_over_centre.value - 0.76).abs() < 1e-12);
        assert!((u.minimum_over_maximum.value - 0.76).abs() < 1e-12);
        // Two readings of one meter, half of 1 % squared each.
        assert!((u.minimum_over_centre.u / u.minimum_over_centre.value - 0.01).abs() < 1e-12);
        assert_eq!(u.limits.len(), 3);
    }

    #[test]
    fn fewer_than_five_points_are_no_uniformity() {
        assert_eq!(uniformity(&sides(0.8)[..4], METER), None);
        assert_eq!(uniformity(&sides(0.8)[1..], METER), None, "no centre");
    }

    #[test]
    fn the_reading_nearest_to_straight_on_counts() {
        let mut all = rows(&[(Point::Centre, 30.0), (Point::Centre, 50.0), (Point::Centre, 52.0)]);
        all[0].angle_deg = -40.0;
        assert_eq!(luminance_at(&all, Point::Centre), Some((51.0, 2)));
        assert_eq!(luminance_at(&all, Point::Left), None);
    }
}
