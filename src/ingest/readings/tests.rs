use super::*;

fn parse(text: &str) -> Result<Vec<Reading>, String> {
    parse_readings(text.as_bytes(), Path::new("readings.csv")).map_err(|e| e.to_string())
}

#[test]
fn reads_names_numbers_and_empty_cells() {
    let rows = parse(
        "\u{feff}point,angle_deg,screen_cd_m2,reference_cd_m2,illuminance_lx\r\n\
             # the projector had an hour to warm up\r\n\
             centre,0,48.0,50.0,\r\n\
             \r\n\
             Top Left,,40.5,,150\r\n\
             9,-30,35,,\r\n",
    )
    .unwrap();
    assert_eq!(rows.len(), 3);
    assert_eq!(rows[0].against, Some(Against::WhiteReference(50.0)));
    assert_eq!((rows[1].point, rows[1].angle_deg), (Point::TopLeft, 0.0));
    assert_eq!(rows[1].against, Some(Against::Illuminance(150.0)));
    assert_eq!((rows[2].point, rows[2].angle_deg), (Point::BottomRight, -30.0));
    assert_eq!(rows[2].against, None);
}

#[test]
fn semicolons_go_with_decimal_commas() {
    let rows = parse("point;screen_cd_m2\ncentre;48,5\n").unwrap();
    assert_eq!(rows[0].screen_cd_m2, 48.5);
}

#[test]
fn every_refusal_names_line_column_and_cell() {
    for (text, wanted) in [
        ("point,screen_cd_m2\ncentre,fifty\n", vec!["line 2", "screen_cd_m2", "fifty"]),
        ("point,screen_cd_m2\ncentre,48\nceiling,4\n", vec!["line 3", "point", "ceiling"]),
        ("point,screen_cd_m2\n0,48\n", vec!["line 2", "point", "\"0\""]),
        ("point,screen_cd_m2\n10,48\n", vec!["line 2", "point", "\"10\""]),
        ("point,screen_cd_m2\ncentre,\n", vec!["line 2", "screen_cd_m2", "\"\""]),
        ("point,screen_cd_m2\ncentre,0\n", vec!["line 2", "screen_cd_m2", "above 0"]),
        ("point,screen_cd_m2\ncentre,NaN\n", vec!["screen_cd_m2", "NaN"]),
        ("point,screen_cd_m2\ncentre,inf\n", vec!["screen_cd_m2", "inf"]),
        (
            "point,screen_cd_m2,angle_deg\ncentre,4,90\n",
            vec!["angle_deg", "90", "between -90 and 90"],
        ),
        ("point,screen_cd_m2,colour\ncentre,4,1\n", vec!["colour", "not known"]),
        ("point,angle_deg\ncentre,1\n", vec!["screen_cd_m2", "missing"]),
        ("point,point,screen_cd_m2\na,b,1\n", vec!["point", "twice"]),
        ("point,screen_cd_m2\ncentre,48,5\n", vec!["line 2"]),
        ("point,screen_cd_m2\n", vec!["no readings"]),
        ("", vec!["point", "missing"]),
        (
            "point,screen_cd_m2,reference_cd_m2,illuminance_lx\ncentre,4,5,6\n",
            vec!["line 2", "leave one empty"],
        ),
    ] {
        let error = parse(text).expect_err(text);
        assert!(error.starts_with("readings.csv"), "{error}");
        for word in wanted {
            assert!(error.contains(word), "{text:?} gave: {error}");
        }
    }
}

#[test]
fn bytes_that_are_no_text_are_refused() {
    let error = parse_readings(b"point,screen_cd_m2\n\xff\xfe,4\n", Path::new("r.csv"));
    assert!(matches!(error, Err(ReadingsError::Row { line: 2, .. })), "{error:?}");
}

#[test]
fn a_missing_file_is_named() {
    let error = read_readings(Path::new("no-such-folder/readings.csv")).unwrap_err();
    assert!(error.to_string().contains("no-such-folder"), "{error}");
}

#[test]
fn the_grid_is_numbered_row_by_row() {
    for (i, point) in Point::GRID.into_iter().enumerate() {
        assert_eq!(Point::parse(&(i + 1).to_string()), Some(point));
        assert_eq!(Point::parse(point.name()), Some(point));
    }
    assert_eq!(Point::parse("5"), Some(Point::Centre));
    assert_eq!(Point::parse("Center"), Some(Point::Centre));
}
