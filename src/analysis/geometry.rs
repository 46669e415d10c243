//! Where the seats are: viewing angles, whether the sheet's structure can be seen, whether it
//! beats with the pixels, and the angle to the loudspeaker.
//!
//! The picture is taken to be centred on the loudspeaker and square to its axis; the sheet hangs
//! `gap_m` ahead of the loudspeaker. Angles are horizontal.

use crate::ingest::manifest::{PictureInfo, ScreenInfo, SeatInfo};
use serde::Serialize;

/// One minute of arc, radians: what a good eye resolves.
pub const ARC_MINUTE_RAD: f64 = std::f64::consts::PI / 180.0 / 60.0;
/// Wanted viewing angle of a 16:9 picture, degrees (common practice).
pub const WIDE_DEG: [f64; 2] = [45.0, 48.0];
/// Largest viewing angle of a scope picture, degrees (common practice), and smallest one
/// (SMPTE EG 18-1994, at least 30 degrees).
pub const SCOPE_DEG: [f64; 2] = [30.0, 50.0];
/// Pictures wider than this are scope, others 16:9 and its like.
pub const SCOPE_FROM: f64 = 2.0;

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
    /// What to be careful of.
    #[serde(skip)]
    pub cautions: Vec<Caution>,
}

/// What to be careful of.
#[derive(Debug, Clone, PartialEq)]
#[non_exhaustive]
pub enum Caution {
    /// A seat does not lie in front of the sheet; it is left out.
    BehindSheet {
        /// Its id.
        seat: String,
        /// As stated, m ahead of the loudspeaker.
        ahead_m: f64,
        /// Gap between loudspeaker and sheet, 0 where none is stated, m.
        gap_m: f64,
    },
    /// From some seats weave or holes are large enough to be seen.
    StructureVisible {
        /// Ids of these seats.
        seats: Vec<String>,
        /// The period, mm.
        structure_mm: f64,
        /// Distance from which it is below one minute of arc, m.
        from_m: f64,
    },
    /// Holes and pixels can make wide stripes.
    Stripes(Moire),
}

/// Looks at all seats.
pub fn survey(screen: &ScreenInfo, picture: Option<&PictureInfo>, seats: &[SeatInfo]) -> Geometry {
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
    let mut cautions = Vec::new();
    let mut found = Vec::new();
    for seat in seats {
        let Some([ahead, right, _]) = seat.position_m else { continue };
        let distance_m = ahead - gap_m;
        if !(distance_m > 0.0 && right.is_finite() && distance_m.is_finite()) {
            cautions.push(Caution::BehindSheet { seat: seat.id.clone(), ahead_m: ahead, gap_m });
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

    let near = found.iter().filter(|s| s.structure_visible == Some(true));
    let near: Vec<String> = near.map(|s| s.id.clone()).collect();
    if let Some((structure_mm, from_m)) = structure_mm.zip(structure_distance_m)
        && !near.is_empty()
    {
        cautions.push(Caution::StructureVisible { seats: near, structure_mm, from_m });
    }
    cautions.extend(moire.filter(|m| m.risk).map(Caution::Stripes));
    Geometry { seats: found, structure_mm, structure_distance_m, moire, cautions }
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

#[cfg(test)]
mod tests;
