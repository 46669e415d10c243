//! Seats and picture in sentences.

use super::said::{Said, Statement};
use crate::analysis::geometry::{
    Caution, Geometry, Moire, Practice, SCOPE_FROM, SeatGeometry, SeenPicture,
};
use crate::ingest::manifest::DisplayUnits;
use crate::warning::{Topic, Warning};
use crate::words::{Digits, metres, millimetres};

/// The geometry with what is said of it, in metric units.
pub fn said(geometry: Geometry) -> Said<Geometry, Statement> {
    Said::stated(geometry, |geometry| statement(geometry, DisplayUnits::Metric))
}

/// Viewing angles, whether the sheet's structure shows, and whether it beats with the pixels.
pub fn statement(geometry: &Geometry, units: DisplayUnits) -> Vec<String> {
    let mut out = Vec::new();
    out.extend(angles_sentence(&geometry.seats, |s| s.full, "the full picture"));
    out.extend(angles_sentence(&geometry.seats, |s| s.masked, "the masked picture"));
    if let (Some(mm), Some(from_m)) = (geometry.structure_mm, geometry.structure_distance_m) {
        out.push(format!(
            "From {} on the sheet's structure of {} is too fine to see (one minute of arc).",
            metres(from_m, Digits::Decimals(1), units),
            millimetres(mm, Digits::All, units)
        ));
    }
    out.extend(geometry.moire.as_ref().map(|m| moire_sentence(m, units)));
    out
}

fn angles_sentence(
    seats: &[SeatGeometry],
    which: impl Fn(&SeatGeometry) -> Option<SeenPicture>,
    name: &str,
) -> Option<String> {
    let seen: Vec<(&str, SeenPicture)> =
        seats.iter().filter_map(|s| which(s).map(|p| (s.id.as_str(), p))).collect();
    let (_, first) = seen.first()?;
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
    Some(sentence)
}

fn moire_sentence(m: &Moire, units: DisplayUnits) -> String {
    let [hole, pixel] =
        [m.hole_mm, m.pixel_mm].map(|mm| millimetres(mm, Digits::Decimals(2), units));
    let pitches = format!("Holes {hole} and pixels {pixel} apart");
    match (m.risk, m.stripe_mm) {
        (false, _) => format!("{pitches} make no wide stripes of low order."),
        (true, Some(mm)) => format!(
            "{pitches} can make stripes about {} wide (moire).",
            millimetres(mm, Digits::Decimals(0), units)
        ),
        (true, None) => format!(
            "{pitches} stand in a simple ratio: very wide bright and dark stripes are possible \
             (moire)."
        ),
    }
}

/// The cautions that go with the geometry.
pub fn warnings(geometry: &Geometry, units: DisplayUnits) -> Vec<Warning> {
    geometry.cautions.iter().map(|caution| caution_words(caution, units)).collect()
}

fn caution_words(caution: &Caution, units: DisplayUnits) -> Warning {
    let (message, advice) = match caution {
        Caution::BehindSheet { seat, ahead_m, gap_m } => (
            format!(
                "Seat {seat} lies {} ahead of the loudspeaker, which is not in front of the sheet \
                 (gap {}).",
                metres(*ahead_m, Digits::All, units),
                metres(*gap_m, Digits::All, units)
            ),
            "Check position_m: metres ahead of the loudspeaker, to the right as the audience sees it, above the \
             floor.",
        ),
        Caution::StructureVisible { seats, structure_mm, from_m } => (
            format!(
                "From {} the sheet's structure ({}) may be seen: one minute of arc ends at {}.",
                seats.join(", "),
                millimetres(*structure_mm, Digits::All, units),
                metres(*from_m, Digits::Decimals(1), units)
            ),
            "Look at a bright, even picture from there; a finer sheet or a seat farther back \
             helps.",
        ),
        Caution::Stripes(moire) => (
            moire_sentence(moire, units),
            "Show a bright, even picture before the sheet is cut; a finer perforation, or the \
             sheet turned by some degrees, avoids stripes.",
        ),
    };
    let seat = match caution {
        Caution::BehindSheet { seat, .. } => Some(seat.clone()),
        _ => None,
    };
    Warning { topic: Topic::Geometry, seat, take: None, message, advice: advice.into() }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::geometry::survey;
    use crate::ingest::manifest::SeatInfo;
    use DisplayUnits::{Imperial, Metric};

    fn found(screen: &str, picture: &str, seats: &[(&str, f64)]) -> Geometry {
        let screen = toml::from_str(&format!("width_m = 3.0\ngap_m = 0.1\n{screen}")).unwrap();
        let seat = |(id, ahead): &(&str, f64)| SeatInfo {
            id: (*id).into(),
            name: None,
            position_m: Some([*ahead, 0.0, 1.1]),
            weight: 1.0,
        };
        let seats: Vec<SeatInfo> = seats.iter().map(seat).collect();
        survey(&screen, Some(&toml::from_str(picture).unwrap()), &seats)
    }

    #[test]
    fn full_and_masked_picture_have_a_sentence_each() {
        let wide = "aspect = 1.7778\nmasked_aspect = 2.39";
        let said = statement(&found("", wide, &[("A", 4.1)]), Metric);
        // 2 atan(1.5 / 4) = 41.1 degrees.
        let at = "at an angle of 41 degrees; common practice for";
        assert!(said[0].contains(&format!("the full picture {at} 16:9 is 45 to 48")), "{said:?}");
        assert!(said[0].ends_with("Farther from it: A."), "{said:?}");
        assert!(said[1].contains(&format!("the masked picture {at} scope is 30 to at most 50")));
        assert_eq!(said.len(), 2);
    }

    #[test]
    fn structure_and_its_seats_are_named_in_both_units() {
        let geometry = found("weave_pitch_mm = 1.0", "", &[("near", 3.5), ("far", 3.6)]);
        // 1 mm fills one minute of arc at 3.438 m; 3.4 m are 133.9 in.
        assert!(
            statement(&geometry, Metric)[1]
                .starts_with("From 3.4 m on the sheet's structure of 1 mm")
        );
        let imperial = "From near the sheet's structure (0.039 in) may be seen: one minute of arc \
                        ends at 11 ft 2 in.";
        assert_eq!(warnings(&geometry, Imperial)[0].message, imperial);
    }

    #[test]
    fn a_seat_behind_the_sheet_and_stripes_are_warned_of() {
        let geometry = found("hole_pitch_mm = 1.65", "pixels_across = 1920", &[("A", 0.05)]);
        let told = warnings(&geometry, Metric);
        assert!(told[0].message.starts_with("Seat A lies 0.05 m ahead"), "{told:?}");
        assert!(told[0].message.ends_with("(gap 0.1 m)."), "{told:?}");
        assert_eq!((told[0].seat.as_deref(), told.len()), (Some("A"), 2));
        // 1 / (1/1.5625 - 1/1.65) = 29.5 mm.
        let stripes = "Holes 1.65 mm and pixels 1.56 mm apart can make stripes about 29 mm wide \
                       (moire).";
        assert_eq!((told[1].message.as_str(), told[1].seat.as_deref()), (stripes, None));
        let fine = found("hole_pitch_mm = 0.35", "pixels_across = 1920", &[]);
        assert!(statement(&fine, Metric)[1].contains("no wide stripes"));
        assert!(warnings(&fine, Metric).is_empty());
        let equal = found("hole_pitch_mm = 1.5625", "pixels_across = 1920", &[]);
        assert!(statement(&equal, Imperial)[1].contains("very wide bright and dark"));
    }
}
