use super::*;

#[test]
fn angles_of_the_published_tables() {
    // SMPTE EG 18-1994 (secondary): closest 61.8, reference 43.4, farthest 33.3 degrees at
    // 2.39:1, which are 2, 3 and 4 picture heights.
    for (heights, published) in [(2.0, 61.8), (3.0, 43.4), (4.0, 33.3)] {
        let got = viewing_angle_deg(2.39, heights, 0.0);
        assert!((got - published).abs() < 0.1, "{heights} H: {got}");
    }
    // 30 degrees on 16:9 = 1.6264 diagonals (encyclopedia excerpt).
    let diagonal = 16f64.hypot(9.0);
    assert!((viewing_angle_deg(16.0, 1.6264 * diagonal, 0.0) - 30.0).abs() < 1e-3);
    // 1080 lines at 3.1 H: about 33 degrees, Poynton, Digital Video and HDTV, fig. 1.12.
    assert!((viewing_angle_deg(16.0 / 9.0, 3.1, 0.0) - 33.0).abs() < 1.5);
    // Computed: w/D 1/1 53.130, 3.0/4.0 41.112.
    assert!((viewing_angle_deg(1.0, 1.0, 0.0) - 53.130).abs() < 5e-4);
}

#[test]
fn off_axis_seats_see_a_narrower_picture() {
    // Computed independently: w = 3, D = 4, x = 0, 1, 2 m.
    for (x, want) in [(0.0, 41.112), (1.0, 39.130), (-1.0, 39.130), (2.0, 34.061)] {
        let got = viewing_angle_deg(3.0, 4.0, x);
        assert!((got - want).abs() < 5e-4, "{x}: {got}");
    }
}

#[test]
fn one_arc_minute_distances() {
    // Poynton, fig. 1.10: 480 lines 7.1 picture heights, 1080 lines 3.1; computed 7.1620,
    // 3.1831, 2160 lines 1.5915.
    for (lines, want) in [(480.0, 7.1620), (1080.0, 3.1831), (2160.0, 1.5915)] {
        let got = one_arc_minute_distance_m(1.0 / lines);
        assert!((got - want).abs() < 1e-4, "{lines}: {got}");
    }
}

fn screen(extra: &str) -> ScreenInfo {
    toml::from_str(&format!("width_m = 3.0\ngap_m = 0.1\n{extra}")).unwrap()
}

fn seat(id: &str, ahead: f64, right: f64) -> SeatInfo {
    SeatInfo { id: id.into(), name: None, position_m: Some([ahead, right, 1.1]), weight: 1.0 }
}

fn picture(text: &str) -> PictureInfo {
    toml::from_str(text).unwrap()
}

#[test]
fn seats_are_measured_from_the_sheet_and_from_the_loudspeaker() {
    let g = survey(&screen(""), None, &[seat("A", 4.1, 1.0)]);
    let s = &g.seats[0];
    assert!((s.distance_m - 4.0).abs() < 1e-12);
    assert!((s.full.unwrap().angle_deg - 39.130).abs() < 5e-4);
    assert!((s.loudspeaker_deg - (1.0f64 / 4.1).atan().to_degrees()).abs() < 1e-9);
    assert!(g.cautions.is_empty() && s.masked.is_none() && s.structure_visible.is_none());
}

#[test]
fn practice_has_two_sides() {
    // 3 m wide: 45 degrees at 3.621 m, 48 at 3.369 m (1.20711 w, 1.12302 w).
    for (distance, want) in [
        (3.36, Practice::Larger),
        (3.38, Practice::Within),
        (3.61, Practice::Within),
        (3.63, Practice::Smaller),
    ] {
        assert_eq!(SeenPicture::new(3.0, 16.0 / 9.0, distance, 0.0).practice, want);
    }
    // Scope: 50 degrees at 1.07225 w.
    assert_eq!(SeenPicture::new(3.0, 2.39, 3.21, 0.0).practice, Practice::Larger);
    assert_eq!(SeenPicture::new(3.0, 2.39, 3.22, 0.0).practice, Practice::Within);
}

#[test]
fn masking_keeps_width_or_height() {
    let seats = [seat("A", 4.1, 0.0)];
    let wide = picture("aspect = 1.7778\nmasked_aspect = 2.39");
    let g = survey(&screen(""), Some(&wide), &seats);
    assert!((g.seats[0].masked.unwrap().width_m - 3.0).abs() < 1e-12);
    let scope = picture("aspect = 2.39\nmasked_aspect = 1.7778");
    let g = survey(&screen(""), Some(&scope), &seats);
    assert!((g.seats[0].masked.unwrap().width_m - 3.0 / 2.39 * 1.7778).abs() < 1e-12);
}

#[test]
fn structure_is_seen_from_close_by_only() {
    // 1 mm: 3.438 m.
    let s = screen("weave_pitch_mm = 1.0");
    let g = survey(&s, None, &[seat("near", 3.5, 0.0), seat("far", 3.6, 0.0)]);
    let seen: Vec<_> = g.seats.iter().map(|s| s.structure_visible).collect();
    assert_eq!(seen, [Some(true), Some(false)]);
    let from_m = one_arc_minute_distance_m(1e-3);
    let near = Caution::StructureVisible { seats: vec!["near".into()], structure_mm: 1.0, from_m };
    assert_eq!(g.cautions, [near]);
}

#[test]
fn a_seat_behind_the_sheet_is_told_and_left_out() {
    for ahead in [0.1, -2.0, f64::NAN] {
        let g = survey(&screen(""), None, &[seat("A", ahead, 0.0)]);
        assert!(g.seats.is_empty());
        let told = |c: &Caution| matches!(c, Caution::BehindSheet { seat, .. } if seat == "A");
        assert!(g.cautions.len() == 1 && told(&g.cautions[0]), "{:?}", g.cautions);
    }
}

#[test]
fn moire_by_the_beat_of_two_grids() {
    // Closed form: pitches 1.0 and 1.1 mm beat every 11 mm.
    let m = moire(1.0, 1.1);
    assert!((m.stripe_mm.unwrap() - 11.0).abs() < 1e-9 && m.risk && m.orders == [1, 1]);
    // Fine holes under coarse pixels: nothing of low order is wide.
    let m = moire(1.5, 0.35);
    assert!(!m.risk, "{m:?}");
    // Equal pitches: stripes without end, told without a number.
    let m = moire(1.0, 1.0);
    assert!(m.risk && m.stripe_mm.is_none());
    let s = screen("hole_pitch_mm = 1.65");
    let g = survey(&s, Some(&picture("pixels_across = 1920")), &[]);
    assert!((g.moire.unwrap().pixel_mm - 1.5625).abs() < 1e-12);
    assert_eq!(g.cautions, [Caution::Stripes(g.moire.unwrap())]);
}
