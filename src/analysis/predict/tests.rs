use super::describe::Description;
use super::*;

pub(crate) fn sheet(text: &str) -> DescribedSheet {
    Description::parse(text).unwrap().build().unwrap()
}

pub(crate) fn plan(gap_m: Option<f64>) -> Plan {
    Plan {
        gap: gap_m.map(|gap_m| Gap { gap_m, front_reflection: 0.9 }),
        angles_deg: vec![0.0, 30.0],
        view: None,
        air: Air::AT_20_C,
    }
}

#[test]
fn a_weave_costs_the_same_everywhere() {
    // Rs = rho c: 20 lg 1.5 = 3.5218 dB, power 2.25 (closed form).
    let f = forecast(vec![sheet("w:flow_resistance_pa_s_m=413.25")], plan(None)).unwrap();
    let s = &f.sheets[0];
    assert!(s.angles[0].loss_db.iter().all(|l| (l - 3.5218).abs() < 1e-3));
    for factor in [s.power.worst_band_factor, s.power.pink_factor, s.power.falling_factor] {
        assert!((factor - 2.25).abs() < 1e-3, "{factor}");
    }
    // At 30 degrees 20 lg(1 + cos 30 / 2).
    let want = 20.0 * (1.0 + 30f64.to_radians().cos() / 2.0).log10();
    assert!((s.angles[1].loss_db[5] - want).abs() < 1e-3);
    assert!(s.angles[0].comb.is_none() && f.seats.is_empty());
}

#[test]
fn programmes_weigh_bands_as_declared() {
    let bands: Vec<ThirdOctave> = [0, 10].map(ThirdOctave::from_index).to_vec();
    // 0 dB at 1 kHz, 10 dB at 10 kHz: pink (1 + 10)/2, falling (1 + 0.1 x 10)/1.1.
    let cost = power_cost(&bands, &[0.0, 10.0]);
    assert!((cost.pink_factor - 5.5).abs() < 1e-12);
    assert!((cost.falling_factor - 2.0 / 1.1).abs() < 1e-12);
    assert_eq!((cost.worst_band_factor, cost.worst_band_hz), (10.0, 10_000.0));
}

#[test]
fn the_comb_of_a_weave_is_that_of_the_textbook() {
    // Gap 0.20 m: tau 1.1655 ms, spacing 858 Hz; a resistive echo is real and positive, so
    // dips lie at 429, 1287, 2145 Hz (computed; form of Everest & Pohlmann, ch. 10).
    let f = forecast(vec![sheet("w:flow_resistance_pa_s_m=100")], plan(Some(0.2))).unwrap();
    let comb = f.sheets[0].angles[0].comb.as_ref().unwrap();
    assert!((comb.spacing_hz - 858.0).abs() < 1e-9);
    assert!((comb.delay_s - 1.1655e-3).abs() < 1e-7);
    for (got, want) in comb.dips_hz.iter().zip([429.0, 1287.0, 2145.0]) {
        assert!((got - want).abs() < 5.0, "{got}, {want}");
    }
    let g: f64 = 0.9 * 100.0 / (2.0 * 413.25 + 100.0);
    assert!((comb.deepest_dip_db - 20.0 * (1.0 + g).log10()).abs() < 1e-3);
    assert!((comb.highest_peak_db + 20.0 * (1.0 - g).log10()).abs() < 1e-3);
    // Oblique: the way is cos 30 as long.
    let oblique = f.sheets[0].angles[1].comb.as_ref().unwrap();
    assert!((oblique.spacing_hz * 30f64.to_radians().cos() - 858.0).abs() < 1e-9);
}

#[test]
fn delays_of_the_published_comb_table() {
    // Everest & Pohlmann, Master Handbook of Acoustics, ch. 10: 1 ms has its first null at
    // 500 Hz and a spacing of 1000 Hz; 8 ms a spacing of 125 Hz; spacing is 1/t throughout.
    for (delay_s, spacing_hz, first_dip_hz) in
        [(1e-3, 1000.0, Some(500.0)), (8e-3, 125.0, None), (0.1e-3, 10_000.0, Some(5000.0))]
    {
        let gap_m = delay_s * Air::AT_20_C.speed_m_s / 2.0;
        let weave = vec![sheet("w:flow_resistance_pa_s_m=100")];
        let f = forecast(weave, plan(Some(gap_m))).unwrap();
        let comb = f.sheets[0].angles[0].comb.as_ref().unwrap();
        assert!((comb.spacing_hz - spacing_hz).abs() < 1e-6 * spacing_hz);
        if let Some(hz) = first_dip_hz {
            assert!((comb.dips_hz[0] - hz).abs() < 0.006 * spacing_hz, "{:?}", comb.dips_hz);
        }
    }
}

#[test]
fn plans_outside_their_range_are_refused() {
    let w = || vec![sheet("w:flow_resistance_pa_s_m=100")];
    assert_eq!(forecast(Vec::new(), plan(None)), Err(PlanError::NoSheet));
    let refused = |p: Plan, word: &str| {
        let error = forecast(w(), p).expect_err(word).to_string();
        assert!(error.contains(word), "{error}");
    };
    refused(plan(Some(0.0)), "gap");
    refused(plan(Some(f64::NAN)), "gap");
    refused(Plan { angles_deg: vec![85.0], ..plan(None) }, "angle");
    let view = View { width_m: 3.0, aspect: 1.78, seats_m: vec![[0.0, 0.0]], structure_mm: None };
    refused(Plan { view: Some(view), ..plan(None) }, "distance of a seat");
}

#[test]
fn seats_see_the_picture() {
    let view = View {
        width_m: 3.0,
        aspect: 16.0 / 9.0,
        seats_m: vec![[4.0, 0.0], [4.0, 2.0]],
        structure_mm: Some(1.0),
    };
    let p = Plan { view: Some(view), ..plan(None) };
    let f = forecast(vec![sheet("f:areal_mass_g_m2=50")], p).unwrap();
    // Computed off-axis values: 41.112 and 34.061 degrees; 26.565 degrees off the axis.
    assert!((f.seats[0].picture.angle_deg - 41.112).abs() < 5e-4);
    assert!((f.seats[1].picture.angle_deg - 34.061).abs() < 5e-4);
    assert!((f.seats[1].angle_deg - 26.565).abs() < 5e-4);
    assert_eq!(f.seats[0].structure_visible, Some(false));
}
