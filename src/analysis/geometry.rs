//! Where the seats are: viewing angles, whether the sheet's structure can be seen, whether it
//! beats with the pixels, and the angle to the loudspeaker.
//!
//! The picture is taken to be centred on the loudspeaker and square to its axis; the sheet hangs
//! `gap_m` ahead of the loudspeaker. Angles are horizontal.

use crate::ingest::manifest::{PictureInfo, ScreenInfo, SeatInfo};
use crate::warning::{Topic, Warning};
use serde::Serialize;

/// One minute of arc, radians: what a good eye resolves.
pub const ARC_MINUTE_RAD: f64 = std::f64::consts::PI / 180.0 / 60.0;
/// Wanted viewing angle of a 16:9 picture, degrees (common practice).
pub const WIDE_DEG: [f64; 2] = [45.0, 48.0];
/// Largest viewing angle of a scope picture, degrees (common practice), and smallest one
/// (SMPTE EG 18-1994, at least 30 degrees).
pub const SCOPE_DEG: [f64; 2] = [30.0, 50.0];
/// Pictures wider than this are scope, others 16:9 and its like.
const SCOPE_FROM: f64 = 2.0;

/// Horizontal angle under which a picture is seen, degrees.
///
/// `atan((w/2 - x)/D) + atan((w/2 + x)/D)`: for a seat `offset_m` beside the axis at
/// `distance_m` from the plane of the picture; on the axis `2 atan(w / (2 D))`.
pub fn viewing_angle_deg(width_m: f64, distance_m: f64, offset_m: f64) -> f64 {
    let half = width_m / 2.0;
    (((half - offset_m) / distance_m).atan() + ((half + offset_m) / distance_m).atan()).to_degrees()
}

/// Distance from which a period of `pitch_m` fills one minute of arc, m; farther away a good eye
/// does not see it.
pub fn one_arc_minute_distance_m(pitch_m: f64) -> f64 {
    pitch_m / ARC_MINUTE_RAD.tan()
}

/// How a viewing angle stands to common practice.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Practice {
    /// Inside.
    Within,
    /// The picture looks smaller than that.
    Smaller,
    /// The picture looks larger than that.
    Larger,
}

/// The picture as seen from one seat.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct SeenPicture {
    /// Width of the picture, m.
    pub width_m: f64,
    /// Width over height.
    pub aspect: f64,
    /// Horizontal viewing angle, degrees.
    pub angle_deg: f64,
    /// What common practice asks for, degrees.
    pub practice_deg: [f64; 2],
    /// How it stands to that.
    pub practice: Practice,
}

/// One seat.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SeatGeometry {
    /// Seat id.
    pub id: String,
    /// Distance from the plane of the sheet, m.
    pub distance_m: f64,
    /// Distance from the axis, to the right as the audience sees it, m.
    pub offset_m: f64,
    /// Distance from the loudspeaker, horizontal, m.
    pub loudspeaker_m: f64,
    /// Angle off the loudspeaker's axis, degrees, positive to the right as the audience sees it.
    pub loudspeaker_deg: f64,
    /// The whole picture, where its width is known.
    pub full: Option<SeenPicture>,
    /// The masked picture, where one is stated.
    pub masked: Option<SeenPicture>,
    /// Whether weave or holes are large enough to be seen from here; absent when neither pitch
    /// nor picture width is known.
    pub structure_visible: Option<bool>,
}

/// Hole pitch against pixel pitch.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Moire {
    /// Distance of pixels on the screen, mm.
    pub pixel_mm: f64,
    /// Distance of holes, mm.
    pub hole_mm: f64,
    /// Width of the widest stripes that a low order makes, mm; absent when pitches are equal or
    /// in a simple ratio to the last digit, where the stripes are wider than the picture.
    pub stripe_mm: Option<f64>,
    /// Hole and pixel harmonics that beat, 1 = the pitches themselves.
    pub orders: [u32; 2],
    /// Whether stripes wider than three of the larger pitch must be feared.
    pub risk: bool,
}

/// Everything that follows from positions and sizes.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Geometry {
    /// Seats that have a position in front of the sheet.
    pub seats: Vec<SeatGeometry>,
    /// The period that is looked at, mm: weave, else holes.
    pub structure_mm: Option<f64>,
    /// Distance from which that is below one minute of arc, m.
    pub structure_distance_m: Option<f64>,
    /// Holes against pixels.
    pub moire: Option<Moire>,
    /// In words.
    pub statement: Vec<String>,
}

/// Looks at all seats.
///
/// Warnings of [`Topic::Geometry`]: a seat behind the sheet, structure that can be seen, moire.
pub fn survey(
    screen: &ScreenInfo,
    picture: Option<&PictureInfo>,
    seats: &[SeatInfo],
) -> (Geometry, Vec<Warning>) {
    let known = |x: Option<f64>| x.filter(|v| v.is_finite() && *v > 0.0);
    let gap_m = known(screen.gap_m).unwrap_or(0.0);
    let width_m = known(screen.width_m);
    let aspect = picture
        .and_then(|p| known(p.aspect))
        .or_else(|| Some(width_m? / known(screen.height_m)?))
        .unwrap_or(16.0 / 9.0);
    let masked = width_m.zip(picture.and_then(|p| known(p.masked_aspect))).map(|(w, masked)| {
        // Masked to a wider shape the width stays, to a narrower one the height.
        (w.min(w / aspect * masked), masked)
    });
    let structure_mm = known(screen.weave_pitch_mm).or(known(screen.hole_pitch_mm));
    let structure_distance_m = structure_mm.map(|mm| one_arc_minute_distance_m(mm / 1e3));
    let mut warnings = Vec::new();
    let mut found = Vec::new();
    for seat in seats {
        let Some([ahead, right, _]) = seat.position_m else { continue };
        let distance_m = ahead - gap_m;
        if !(distance_m > 0.0 && right.is_finite() && distance_m.is_finite()) {
            warnings.push(warning(
                Some(seat.id.clone()),
                format!(
                    "Seat {} lies {ahead} m ahead of the loudspeaker, which is not in front of \
                     the sheet (gap {gap_m} m).",
                    seat.id
                ),
                "Check position_m: metres ahead of the loudspeaker, to the right as the audience sees it, above the \
                 floor.",
            ));
            continue;
        }
        let see = |width_m, aspect| SeenPicture::new(width_m, aspect, distance_m, right);
        let nearest_m = width_m.map(|w| distance_m.hypot((right.abs() - w / 2.0).max(0.0)));
        found.push(SeatGeometry {
            id: seat.id.clone(),
            distance_m,
            offset_m: right,
            loudspeaker_m: ahead.hypot(right),
            loudspeaker_deg: right.atan2(ahead).to_degrees(),
            full: width_m.map(|w| see(w, aspect)),
            masked: masked.map(|(w, a)| see(w, a)),
            structure_visible: structure_distance_m
                .map(|from| nearest_m.unwrap_or(distance_m) < from),
        });
    }
    let moire = width_m
        .zip(picture.and_then(|p| p.pixels_across).filter(|n| *n > 0))
        .zip(known(screen.hole_pitch_mm))
        .map(|((w, n), hole_mm)| moire(1e3 * w / f64::from(n), hole_mm));

    let mut statement = Vec::new();
    say_angles(&found, |s| s.full, "the full picture", &mut statement);
    say_angles(&found, |s| s.masked, "the masked picture", &mut statement);
    if let (Some(mm), Some(from_m)) = (structure_mm, structure_distance_m) {
        let near: Vec<&str> = found
            .iter()
            .filter(|s| s.structure_visible == Some(true))
            .map(|s| s.id.as_str())
            .collect();
        statement.push(format!(
            "From {from_m:.1} m on the sheet's structure of {mm} mm is too fine to see (one minute of arc)."
        ));
        if !near.is_empty() {
            warnings.push(warning(
                None,
                format!(
                    "From {} the sheet's structure ({mm} mm) may be seen: one minute of arc ends \
                     at {from_m:.1} m.",
                    near.join(", ")
                ),
                "Look at a bright, even picture from there; a finer sheet or a seat farther back \
                 helps.",
            ));
        }
    }
    if let Some(m) = &moire {
        statement.push(say_moire(m));
        if m.risk {
            warnings.push(warning(
                None,
                say_moire(m),
                "Show a bright, even picture before the sheet is cut; a finer perforation, or the \
                 sheet turned by some degrees, avoids stripes.",
            ));
        }
    }
    let geometry = Geometry { seats: found, structure_mm, structure_distance_m, moire, statement };
    (geometry, warnings)
}

fn warning(seat: Option<String>, message: String, advice: &str) -> Warning {
    Warning { topic: Topic::Geometry, seat, take: None, message, advice: advice.into() }
}

impl SeenPicture {
    /// A picture of a width and shape seen from `distance_m` in front of its plane and
    /// `offset_m` beside its axis.
    pub fn new(width_m: f64, aspect: f64, distance_m: f64, offset_m: f64) -> Self {
        let angle_deg = viewing_angle_deg(width_m, distance_m, offset_m);
        let practice_deg = if aspect > SCOPE_FROM { SCOPE_DEG } else { WIDE_DEG };
        let practice = if angle_deg < practice_deg[0] {
            Practice::Smaller
        } else if angle_deg > practice_deg[1] {
            Practice::Larger
        } else {
            Practice::Within
        };
        Self { width_m, aspect, angle_deg, practice_deg, practice }
    }
}

/// The lowest-order beat of hole and pixel grid that makes the widest stripes.
///
/// Grids of spatial frequency `m / hole` and `n / pixel` beat with period
/// `1 / |m / hole - n / pixel|`; orders up to `m + n = 4` are looked at (higher ones carry
/// little contrast; own choice). Both grids are taken as square to each other.
pub fn moire(pixel_mm: f64, hole_mm: f64) -> Moire {
    let mut widest = (0.0, [1, 1]);
    for m in 1..=3u32 {
        for n in 1..=(4 - m) {
            let beat = 1.0 / (f64::from(m) / hole_mm - f64::from(n) / pixel_mm).abs();
            if beat > widest.0 {
                widest = (beat, [m, n]);
            }
        }
    }
    let (stripe_mm, orders) = widest;
    Moire {
        pixel_mm,
        hole_mm,
        stripe_mm: (stripe_mm < 1e5).then_some(stripe_mm),
        orders,
        risk: stripe_mm > 3.0 * pixel_mm.max(hole_mm),
    }
}

fn say_moire(m: &Moire) -> String {
    let pitches = format!("Holes {:.2} mm and pixels {:.2} mm apart", m.hole_mm, m.pixel_mm);
    match (m.risk, m.stripe_mm) {
        (false, _) => format!("{pitches} make no wide stripes of low order."),
        (true, Some(mm)) => format!("{pitches} can make stripes about {mm:.0} mm wide (moire)."),
        (true, None) => format!(
            "{pitches} stand in a simple ratio: very wide bright and dark stripes are possible \
             (moire)."
        ),
    }
}

fn say_angles(
    seats: &[SeatGeometry],
    which: impl Fn(&SeatGeometry) -> Option<SeenPicture>,
    name: &str,
    out: &mut Vec<String>,
) {
    let seen: Vec<(&str, SeenPicture)> =
        seats.iter().filter_map(|s| which(s).map(|p| (s.id.as_str(), p))).collect();
    let Some((_, first)) = seen.first() else { return };
    let angles = seen.iter().map(|(_, p)| p.angle_deg);
    let (low, high) = angles.fold((f64::MAX, f64::MIN), |(l, h), a| (l.min(a), h.max(a)));
    let [from, to] = first.practice_deg;
    let wanted = if first.aspect > SCOPE_FROM {
        format!("common practice for scope is {from:.0} to at most {to:.0} degrees")
    } else {
        format!("common practice for 16:9 is {from:.0} to {to:.0} degrees")
    };
    let span = if high - low < 0.5 {
        format!("{high:.0} degrees")
    } else {
        format!("{low:.0} to {high:.0} degrees")
    };
    let mut sentence = format!("The seats see {name} at an angle of {span}; {wanted}.");
    for (practice, words) in
        [(Practice::Larger, "Nearer to it"), (Practice::Smaller, "Farther from it")]
    {
        let ids: Vec<&str> =
            seen.iter().filter(|(_, p)| p.practice == practice).map(|(id, _)| *id).collect();
        if !ids.is_empty() {
            sentence.push_str(&format!(" {words}: {}.", ids.join(", ")));
        }
    }
    out.push(sentence);
}

#[cfg(test)]
mod tests;
