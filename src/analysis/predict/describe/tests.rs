use super::*;

#[test]
fn reads_and_builds() {
    let d = Description::parse(
        "Fine vinyl: hole-diameter-mm=0.5, hole_pitch_mm=1.9817, thickness_mm=0.3, lattice=square",
    )
    .unwrap();
    let sheet = d.build().unwrap();
    assert_eq!(sheet.name, "Fine vinyl");
    let Sheet::Perforated(holes) = sheet.front else { panic!("{sheet:?}") };
    // pi/4 (0.5/1.9817)^2 = 5.000 %.
    assert!((holes.open_area() - 0.05).abs() < 1e-5);

    let by_area =
        Description::parse("x:hole_diameter_mm=0.5,open_area_percent=5,thickness_mm=0.3").unwrap();
    let Sheet::Perforated(same) = by_area.build().unwrap().front else { panic!() };
    assert!((same.pitch_m * 1e3 - 1.9817).abs() < 5e-5);

    let backed = Description::parse(
        "w:flow_resistance_pa_s_m=40,areal_mass_g_m2=200,backing_flow_resistance_pa_s_m=20,\
             backing_air_mm=5",
    )
    .unwrap()
    .build()
    .unwrap();
    assert_eq!(backed.backing, Some((Sheet::Resistive { flow_resistance_pa_s_m: 20.0 }, 0.005)));
    assert!(matches!(backed.front, Sheet::Parallel { .. }));
}

#[test]
fn every_refusal_names_sheet_and_key() {
    let told = |text: &str| match Description::parse(text).and_then(|d| d.build()) {
        Ok(sheet) => panic!("{text} was taken for {sheet:?}"),
        Err(error) => error.to_string(),
    };
    for (text, words) in [
        ("A:hole=0.5", vec!["\"A\"", "\"hole\"", "did you mean hole_diameter_mm"]),
        ("A:zzz=1", vec!["zzz", "the keys are"]),
        ("A:hole_diameter_mm", vec!["\"hole_diameter_mm\" is not key=value"]),
        ("A:hole_diameter_mm=big", vec!["hole_diameter_mm", "\"big\"", "above 0"]),
        ("A:hole_diameter_mm=NaN", vec!["NaN"]),
        ("A:hole_diameter_mm=-1", vec!["-1"]),
        ("A:hole_diameter_mm=0.5,thickness_mm=0.3", vec!["hole_pitch_mm or open_area_percent"]),
        ("A:hole_diameter_mm=0.5,hole_pitch_mm=2", vec!["thickness_mm"]),
        ("A:hole_diameter_mm=0.5,hole_pitch_mm=0.5,thickness_mm=1", vec!["overlap"]),
        (
            "A:hole_diameter_mm=0.5,hole_pitch_mm=2,thickness_mm=1,open_area_percent=9",
            vec!["open_area_percent", "\"9\"", "4.9"],
        ),
        ("A:construction=paper", vec!["paper", "perforated, woven or film"]),
        ("A:lattice=round", vec!["round", "square or staggered"]),
        ("A:construction=woven,areal_mass_g_m2=300", vec!["woven", "flow_resistance_pa_s_m"]),
        ("A:construction=film", vec!["film", "areal_mass_g_m2"]),
        ("A:", vec!["construction"]),
        ("A:areal_mass_g_m2=300,backing_air_mm=3", vec!["backing_flow_resistance_pa_s_m"]),
    ] {
        let error = told(text);
        for word in words {
            assert!(error.contains(word), "{text}: {error}");
        }
    }
}

#[test]
fn the_table_of_a_session_tells_its_lattice_by_pitch_and_open_area() {
    // Example 2 of Schultz 1986 in mm: staggered, 25.28 % open; square holes would be 21.9 %.
    let text = "name = \"Vinyl\"\nhole_diameter_mm = 1.6764\nhole_pitch_mm = 3.175\n\
                thickness_mm = 1.5875\nopen_area_percent = 25.28";
    let description = Description::of_screen(&toml::from_str(text).unwrap());
    let sheet = description.build().unwrap();
    let Sheet::Perforated(holes) = sheet.front else { panic!("{sheet:?}") };
    assert_eq!(holes.lattice, Lattice::Staggered);
    assert!((holes.open_area() - 0.2528).abs() < 1e-4, "{}", holes.open_area());
    assert!(!Description::of_screen(&toml::from_str("name = \"New\"").unwrap()).says_anything());
}
