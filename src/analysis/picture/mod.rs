//! The picture side: gain, evenness and luminance from light readings, and what the holes let
//! through.

pub(crate) mod figure;
pub(crate) mod gain;
pub(crate) mod uniformity;

use super::claims::{ClaimVerdict, LightFigure, NoLight, is_light, judge_light};
use super::sheet::perforated::{EndCorrection, Lattice, Perforation};
use crate::ingest::manifest::{Claim, ClaimQuantity, Manifest, PictureInfo, ScreenInfo};
use crate::ingest::readings::{Point, Reading};
use crate::units::CD_M2_PER_FL;
use figure::{Figure, MeterDoubt};
use gain::Gain;
use serde::Serialize;
use std::f64::consts::PI;
use uniformity::{LimitCheck, Uniformity};

/// What the light readings say.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Light {
    /// How far a reading is trusted.
    pub meter: MeterDoubt,
    /// Gain at the centre, where readings have a reference.
    pub gain: Option<Gain>,
    /// Evenness, from five points on.
    pub uniformity: Option<Uniformity>,
    /// Luminance of the picture.
    pub luminance: Option<Luminance>,
    /// What the holes let through, where their share of the sheet is known.
    pub holes: Option<HoleLight>,
    /// What to be careful of.
    #[serde(skip)]
    pub cautions: Vec<Caution>,
}

/// What to be careful of.
#[derive(Debug, Clone, Copy, PartialEq)]
#[non_exhaustive]
pub enum Caution {
    /// The meter's uncertainty is not stated.
    MeterNotStated,
    /// The luminance of the centre is far from what the projector should give.
    FarFromExpected {
        /// As read, cd/m2.
        got_cd_m2: f64,
        /// From the projector's lumens, cd/m2.
        expected_cd_m2: f64,
    },
}

/// Luminance at the centre of the picture.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Luminance {
    /// As read, cd/m2.
    pub centre_cd_m2: Figure,
    /// The same in foot-lamberts.
    pub centre_fl: f64,
    /// From the projector's lumens, the size of the picture and the measured gain, cd/m2.
    pub expected_cd_m2: Option<f64>,
    /// Published ranges.
    pub limits: Vec<LimitCheck>,
}

/// Light that goes through the holes instead of back.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct HoleLight {
    /// Share of the light, 0...1: the open area.
    pub lost_share: f64,
    /// Gain that the same coating would have without holes, where the gain was measured.
    pub gain_without_holes: Option<f64>,
}

/// Looks at all readings.
pub fn assess_light(
    readings: &[Reading],
    picture: Option<&PictureInfo>,
    screen: &ScreenInfo,
) -> Light {
    let known = |x: Option<f64>| x.filter(|v| v.is_finite() && *v > 0.0);
    let meter = MeterDoubt::new(picture.and_then(|p| p.meter_uncertainty_percent));
    let reference_gain = picture.and_then(|p| known(p.reference_gain)).unwrap_or(1.0);
    let gain = gain::gain_over_angle(readings, reference_gain, meter);
    let on_axis = gain.as_ref().and_then(|g| g.on_axis);
    let uniformity = uniformity::uniformity(readings, meter);
    let expected_cd_m2 = picture
        .and_then(|p| known(p.projector_lm))
        .zip(picture_area_m2(picture, screen))
        .zip(on_axis)
        .map(|((lm, area), gain)| expected_luminance_cd_m2(lm, area, gain.value));
    let luminance = uniformity::luminance_at(readings, Point::Centre).map(|(cd, n)| {
        // Calibration does not average out.
        let shared = meter.whole().powi(2) - meter.own().powi(2);
        let centre = Figure::relative(cd, (shared + meter.own().powi(2) / n as f64).sqrt());
        Luminance {
            centre_cd_m2: centre,
            centre_fl: cd / CD_M2_PER_FL,
            expected_cd_m2,
            limits: uniformity::luminance_limits(centre),
        }
    });
    let holes = open_share(screen).map(|lost_share| HoleLight {
        lost_share,
        gain_without_holes: on_axis.map(|g| g.value / (1.0 - lost_share)),
    });
    let mut cautions = Vec::new();
    if !meter.stated {
        cautions.push(Caution::MeterNotStated);
    }
    if let Some(Luminance { centre_cd_m2, expected_cd_m2: Some(expected_cd_m2), .. }) = luminance
        && !(0.6..=1.4).contains(&(centre_cd_m2.value / expected_cd_m2))
    {
        cautions.push(Caution::FarFromExpected { got_cd_m2: centre_cd_m2.value, expected_cd_m2 });
    }
    Light { meter, gain, uniformity, luminance, holes, cautions }
}

/// Whether `[picture]` or a claim asks for light and nothing was read.
pub fn readings_missing(manifest: &Manifest, light: Option<&Light>) -> bool {
    let asked = manifest.picture.as_ref().is_some_and(|p| {
        p.projector_lm.or(p.reference_gain).or(p.meter_uncertainty_percent).is_some()
    });
    let claimed = manifest.claim.iter().any(|c| is_light(c.quantity));
    light.is_none() && (asked || claimed)
}

/// Luminance of a picture of `area_m2` lit by `projector_lm`: `g lm / (area pi)`, cd/m2.
pub fn expected_luminance_cd_m2(projector_lm: f64, area_m2: f64, gain: f64) -> f64 {
    gain * projector_lm / area_m2 / PI
}

fn picture_area_m2(picture: Option<&PictureInfo>, screen: &ScreenInfo) -> Option<f64> {
    let known = |x: Option<f64>| x.filter(|v| v.is_finite() && *v > 0.0);
    let width = known(screen.width_m)?;
    let by_aspect = picture.and_then(|p| known(p.aspect)).map(|a| width / a);
    known(screen.height_m).or(by_aspect).map(|height| width * height)
}

/// Share of the sheet that is hole: as stated, else from diameter and pitch (square).
pub fn open_share(screen: &ScreenInfo) -> Option<f64> {
    let known = |x: Option<f64>| x.filter(|v| v.is_finite() && *v > 0.0);
    let stated = known(screen.open_area_percent).map(|p| p / 100.0);
    let from_holes =
        known(screen.hole_diameter_mm).zip(known(screen.hole_pitch_mm)).map(|(d, b)| {
            Perforation {
                hole_m: d / 1e3,
                pitch_m: b / 1e3,
                thickness_m: 0.0,
                lattice: Lattice::Square,
                ends: EndCorrection::None,
            }
            .open_area()
        });
    stated.or(from_holes).filter(|s| *s < 1.0)
}

/// Figure for a light claim.
///
/// # Errors
/// [`NoLight`]: which readings are missing.
pub fn light_figure(light: Option<&Light>, claim: &Claim) -> Result<LightFigure, NoLight> {
    let light = light.ok_or(NoLight::Readings)?;
    let gain = || light.gain.as_ref().ok_or(NoLight::Reference);
    let at = || gain()?.at(claim.angle_deg.unwrap_or(0.0));
    let figure = match claim.quantity {
        ClaimQuantity::GainOnAxis => gain()?.on_axis.ok_or(NoLight::OnAxis)?,
        ClaimQuantity::GainAtAngle => at()?.0,
        ClaimQuantity::GainOffAxisRatio => at()?.1,
        ClaimQuantity::Uniformity => {
            light.uniformity.as_ref().ok_or(NoLight::Points)?.minimum_over_centre
        }
        _ => return Err(NoLight::OtherQuantity),
    };
    Ok(figure.for_claim())
}

/// Verdicts on the light claims, in their order; loss claims are left out.
pub fn judge_light_claims(claims: &[Claim], light: Option<&Light>) -> Vec<ClaimVerdict> {
    claims
        .iter()
        .filter(|c| is_light(c.quantity))
        .map(|c| judge_light(c, light_figure(light, c)))
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::claims::{Basis, NotShown, Verdict};
    use crate::ingest::readings::parse_readings;
    use std::path::Path;

    fn screen(text: &str) -> ScreenInfo {
        toml::from_str(text).unwrap()
    }

    fn picture(text: &str) -> PictureInfo {
        toml::from_str(text).unwrap()
    }

    fn readings(text: &str) -> Vec<Reading> {
        parse_readings(text.as_bytes(), Path::new("readings.csv")).unwrap()
    }

    #[test]
    fn lumens_to_luminance() {
        // Computed: 1000 lm on 2.5 m wide 16:9 (3.5156 m2) are 284.44 lx, 90.541 cd/m2 at gain 1.
        let got = expected_luminance_cd_m2(1000.0, 2.5 * 2.5 * 9.0 / 16.0, 1.0);
        assert!((got - 90.541).abs() < 5e-4, "{got}");
    }

    const READINGS: &str = "point,angle_deg,screen_cd_m2,reference_cd_m2\n\
        centre,0,48.0,50.0\ncentre,20,45.6,50.0\ncentre,-20,45.6,50.0\ncentre,40,38.4,50.0\n\
        left,0,41,\nright,0,41.5,\ntop,0,40.5,\nbottom,0,41,\n";

    #[test]
    fn the_whole_picture_side_of_a_session() {
        let screen = screen("width_m = 2.5\nheight_m = 1.40625\nopen_area_percent = 4.0");
        let picture = picture("meter_uncertainty_percent = 1.0\nprojector_lm = 560.0");
        let light = assess_light(&readings(READINGS), Some(&picture), &screen);
        assert_eq!(light.cautions, []);
        let gain = light.gain.as_ref().unwrap();
        assert!((gain.on_axis.unwrap().value - 0.96).abs() < 1e-12);
        assert!((gain.at(20.0).unwrap().1.value - 0.95).abs() < 1e-12);
        let luminance = light.luminance.as_ref().unwrap();
        assert!((luminance.centre_fl - 14.009).abs() < 1e-3);
        // 560 lm / 3.5156 m2 / pi x 0.96.
        assert!((luminance.expected_cd_m2.unwrap() - 48.674).abs() < 0.01);
        assert!((light.holes.unwrap().gain_without_holes.unwrap() - 1.0).abs() < 1e-12);
        assert!((light.uniformity.unwrap().minimum_over_centre.value - 0.84375).abs() < 1e-12);
    }

    #[test]
    fn doubts_are_found() {
        let screen = screen("width_m = 2.5\nheight_m = 1.40625");
        let dim = picture("projector_lm = 2000.0");
        let light = assess_light(&readings(READINGS), Some(&dim), &screen);
        let expected_cd_m2 = light.luminance.unwrap().expected_cd_m2.unwrap();
        let far = Caution::FarFromExpected { got_cd_m2: 48.0, expected_cd_m2 };
        assert_eq!(light.cautions, [Caution::MeterNotStated, far]);
    }

    #[test]
    fn light_claims_get_the_same_verdicts() {
        let picture = picture("meter_uncertainty_percent = 1.0");
        let light = assess_light(&readings(READINGS), Some(&picture), &screen(""));
        let verdict = |text: &str, light: Option<&Light>| {
            let claim: Claim = toml::from_str(text).unwrap();
            judge_light_claims(&[claim], light).remove(0)
        };
        // Gain 0.96, u 1 %: guard 0.0158.
        for (minimum, want) in [
            (0.94, Verdict::Pass),
            (0.95, Verdict::ConditionalPass),
            (0.97, Verdict::ConditionalFail),
            (0.98, Verdict::Fail),
        ] {
            let text = format!("quantity = \"gain_on_axis\"\nminimum = {minimum}");
            assert_eq!(verdict(&text, Some(&light)).verdict, want, "{minimum}");
        }
        for text in [
            "quantity = \"gain_at_angle\"\nangle_deg = 40\nminimum = 0.7",
            "quantity = \"uniformity\"\nminimum = 0.8",
        ] {
            let got = verdict(text, Some(&light));
            assert_eq!((got.verdict, &got.basis), (Verdict::Pass, &Basis::Light), "{text}");
        }
        let nothing = |text: &str, light: Option<&Light>| {
            let got = verdict(text, light);
            assert_eq!(got.verdict, Verdict::NotShown, "{text}");
            let Basis::Nothing(NotShown::NoLight(why)) = got.basis else { panic!("{got:?}") };
            why
        };
        let beyond = "quantity = \"gain_off_axis_ratio\"\nangle_deg = 60\nminimum = 0.5";
        let why = nothing(beyond, Some(&light));
        assert!(matches!(why, NoLight::AtAngle { angle_deg: 60.0, .. }), "{why:?}");
        let why = nothing("quantity = \"gain_on_axis\"\nminimum = 1", None);
        assert_eq!(why, NoLight::Readings);
    }

    #[test]
    fn holes_let_light_through() {
        // pi/4 (0.5/2)^2 = 4.909 % for square holes of 0.5 mm, 2 mm apart.
        let s = screen("hole_diameter_mm = 0.5\nhole_pitch_mm = 2.0");
        assert!((open_share(&s).unwrap() - 0.049_087).abs() < 1e-6);
        assert_eq!(open_share(&screen("open_area_percent = 4.5")), Some(0.045));
        assert_eq!(open_share(&screen("open_area_percent = 150")), None);
        assert_eq!(open_share(&screen("")), None);
    }
}
