//! The papers of real folders, read by programs that had no part in making them
//! (poppler-utils), and what happens to hostile text.

mod support;

use assert_cmd::Command;
use predicates::str::contains;
use scrimcheck::simulate::scenario::{Equaliser, Rattle, Seat};
use scrimcheck::simulate::{Kind, Scenario, simulate, write};
use std::fs;
use std::path::Path;
use support::poppler;

fn scrimcheck(folder: &Path) -> Command {
    let mut command = Command::cargo_bin("scrimcheck").expect("the built program");
    command.current_dir(folder).env_clear();
    command
}

/// A short session with `n` seats in rows of five, one spot each.
fn scenario(n: usize) -> Scenario {
    let mut scenario = Scenario::random(Kind::Woven, 3).shortened(0.5, 0.15).with_spots(1);
    let seat = |s: usize| Seat {
        id: format!("R{}{}", s / 5 + 1, ["A", "B", "C", "D", "E"][s % 5]),
        name: format!("Row {}, place {}", s / 5 + 1, s % 5 + 1),
        position_m: [2.4 + 0.7 * (s / 5) as f64, 0.45 * ((s % 5) as f64 - 2.0), 1.1],
        weight: 1.0,
    };
    scenario.seats = (0..n).map(seat).collect();
    scenario.session_lines = "date = 2026-03-14\n".into();
    scenario
}

fn room(scenario: &Scenario) -> tempfile::TempDir {
    let dir = tempfile::tempdir().unwrap();
    write(&simulate(scenario), &dir.path().join("room")).unwrap();
    dir
}

fn analyzed(scenario: &Scenario) -> tempfile::TempDir {
    let dir = room(scenario);
    scrimcheck(dir.path()).args(["analyze", "room", "--out", "report"]).assert().code(0);
    if let Ok(keep) = std::env::var("SCRIMCHECK_KEEP_PLOTS") {
        let name = format!("{}-seats-{}", scenario.seats.len(), scenario.rattle.is_some());
        let target = Path::new(&keep).join(name);
        fs::create_dir_all(&target).unwrap();
        for file in ["handover.pdf", "report.html"] {
            fs::copy(dir.path().join("report").join(file), target.join(file)).unwrap();
        }
    }
    dir
}

fn n_pages(pdf: &Path) -> usize {
    let info = poppler("pdfinfo", &[], pdf);
    info.lines().find_map(|l| l.strip_prefix("Pages:")).unwrap().trim().parse().unwrap()
}

/// Every font is embedded, a subset, and has a table of Unicode characters.
fn assert_fonts(pdf: &Path) {
    let fonts = poppler("pdffonts", &[], pdf);
    let rows: Vec<&str> = fonts.lines().skip(2).collect();
    assert!(!rows.is_empty(), "{fonts}");
    for row in rows {
        let columns: Vec<&str> = row.split_whitespace().collect();
        assert_eq!(columns[columns.len() - 5..columns.len() - 2], ["yes", "yes", "yes"], "{fonts}");
    }
}

#[test]
fn the_handover_has_two_to_eight_pages_for_any_number_of_seats() {
    for n in [1, 6, 20] {
        let dir = analyzed(&scenario(n));
        let pdf = dir.path().join("report/handover.pdf");
        let pages = n_pages(&pdf);
        assert!((2..=8).contains(&pages), "{n} seats: {pages} pages");
        assert_fonts(&pdf);
        let info = poppler("pdfinfo", &["-isodates"], &pdf);
        assert!(info.contains("Tagged:          yes"), "{info}");
        assert!(
            info.contains("CreationDate:    2026-03-14T00:00:00"),
            "the session's date: {info}"
        );
        // The reading order: the client first, the engineer after, then what is signed.
        let words = poppler("pdftotext", &[], &pdf).replace('\u{c}', "\n");
        let parts = [
            "What was done, and for whom",
            "What was found, in full",
            "Equaliser setting",
            "Seat by seat",
            "Method",
            "Uncertainty",
            "Cautions",
            "What was not measured",
            "Signatures",
        ];
        let mut from = 0;
        for part in parts {
            let heading = format!("\n{part}\n");
            let found = words[from..].find(&heading);
            from += found.unwrap_or_else(|| panic!("{n} seats: {part} after {from} in {words}"));
        }
        assert!(words.contains(&format!("page {pages} of {pages}")));
        let maps = fs::read_dir(dir.path().join("report/plots")).unwrap();
        let maps =
            maps.filter(|f| f.as_ref().unwrap().file_name().to_string_lossy().contains("seat-map"));
        assert_eq!(maps.count(), 3, "the seat map as SVG and in two sizes of PNG");
    }
}

#[test]
fn the_environment_sets_the_date_where_it_has_one() {
    let dir = room(&scenario(1));
    let run = |epoch: &str| {
        scrimcheck(dir.path())
            .env("SOURCE_DATE_EPOCH", epoch)
            .args(["analyze", "room", "--out", "report"])
            .assert()
            .code(0);
        poppler("pdfinfo", &["-isodates"], &dir.path().join("report/handover.pdf"))
    };
    // date -u -d @1700000000: 2023-11-14 22:13:20.
    assert!(run("1700000000").contains("CreationDate:    2023-11-14T22:13:20"));
    assert!(run("no number").contains("CreationDate:    2026-03-14T00:00:00"));
}

#[test]
fn hostile_names_stay_text_everywhere() {
    let nasty =
        "</script><img src=x onerror=alert(1)>=HYPERLINK(\"http://x\") \u{202e}txet\u{2066} &amp;";
    let long = "very long ".repeat(100) + &"x".repeat(900);
    let mut hostile = scenario(2);
    hostile.seats[0].name = "<b onclick=alert(2)>R1A</b> =1+1".into();
    hostile.title = "]]><svg onload=alert(3)>".into();
    let quoted = |text: &str| toml::Value::String(text.into()).to_string();
    hostile.more_manifest = format!(
        "[handover]\nclient = {}\nsite = {}\ninstruments = [{}]\nnot_measured = [{}]\nsignatures = [{}]\n",
        quoted(nasty),
        quoted(&long),
        vec![quoted("=cmd|' /C x'!A0"); 90].join(", "),
        vec![quoted(nasty); 60].join(", "),
        quoted(&long),
    );
    let dir = room(&hostile);
    let run = scrimcheck(dir.path()).args(["analyze", "room", "--out", "report"]).assert();
    let output = run.get_output();
    if output.status.code() == Some(3) {
        // Directions that turn text round are refused at the door; then without them.
        let told = String::from_utf8_lossy(&output.stderr).into_owned();
        let manifest = dir.path().join("room/session.toml");
        let text = fs::read_to_string(&manifest).unwrap();
        let text = text
            .replace(['\u{202e}', '\u{2066}'], "")
            .replace("\\u202E", "")
            .replace("\\u2066", "");
        fs::write(&manifest, text).unwrap();
        let again = scrimcheck(dir.path()).args(["analyze", "room", "--out", "report"]).assert();
        assert_eq!(again.get_output().status.code(), Some(0), "{told} {again:?}");
    }
    let html = fs::read_to_string(dir.path().join("report/report.html")).unwrap();
    assert_eq!(html.matches("</script>").count(), 1);
    for markup in ["<img src=x", "<b onclick", "<svg onload"] {
        assert!(!html.contains(markup), "{markup} became markup");
    }
    assert!(html.contains("&lt;b onclick=alert(2)&gt;R1A"));
    let pdf = dir.path().join("report/handover.pdf");
    let pages = n_pages(&pdf);
    assert!((2..=8).contains(&pages), "{pages} pages");
    let words = poppler("pdftotext", &[], &pdf);
    assert!(words.contains("onerror=alert(1)") && !words.contains('\u{202e}'), "{words}");
    assert_fonts(&pdf);
    for csv in ["bands.csv", "curve.csv"] {
        let table = fs::read_to_string(dir.path().join("report").join(csv)).unwrap();
        assert!(table.lines().all(|l| !l.starts_with(['=', '+', '@'])), "{csv}");
    }
}

#[test]
fn lengths_and_light_are_in_feet_where_the_client_counts_in_feet() {
    let mut imperial = scenario(2);
    imperial.more_manifest = "[handover]\nunits = \"imperial\"\n".into();
    let dir = analyzed(&imperial);
    let pdf = dir.path().join("report/handover.pdf");
    assert!(poppler("pdfinfo", &[], &pdf).contains("(letter)"));
    let words = poppler("pdftotext", &["-layout"], &pdf);
    assert!(words.contains(" ft ") && words.contains(" in"), "{words}");
    for metric in [" m ", " m,", " m.", " mm", "cd/m"] {
        let line = words.lines().find(|l| l.contains(metric));
        assert!(line.is_none(), "{metric:?} in {line:?}");
    }
}

#[test]
fn a_logo_that_cannot_be_used_is_refused_before_the_takes_are_read() {
    let mut with_logo = scenario(1);
    with_logo.more_manifest = "[handover]\nlogo = \"logo.svg\"\n".into();
    let dir = room(&with_logo);
    // Takes that cannot be read: had they been read first, they would be refused first.
    for take in fs::read_dir(dir.path().join("room/takes")).unwrap() {
        fs::write(take.unwrap().path(), "no sound").unwrap();
    }
    let analyze = || scrimcheck(dir.path()).args(["analyze", "room"]).assert();
    analyze().code(3).stderr(contains("logo"));
    fs::write(dir.path().join("room/logo.svg"), "<svg").unwrap();
    analyze().code(3).stderr(contains("logo.svg"));
    let svg = "<svg xmlns='http://www.w3.org/2000/svg' width='9' height='9'><rect width='9' height='9'/></svg>";
    fs::write(dir.path().join("room/logo.svg"), svg).unwrap();
    let run = analyze().code(3);
    let told = String::from_utf8_lossy(&run.get_output().stderr).into_owned();
    assert!(!told.contains("logo") && told.contains(".wav"), "{told}");
    assert!(!dir.path().join("room/report").exists());
}

#[test]
fn what_is_found_is_drawn_and_the_setting_as_recorded_is_told() {
    let mut first = Scenario::random(Kind::Woven, 3).shortened(3.0, 0.2).with_spots(1);
    first.seats.truncate(2);
    first.rattle = Some(Rattle { low_hz: 90.0, high_hz: 140.0, level_db: -6.0 });
    let dir = room(&first);
    scrimcheck(dir.path()).args(["analyze", "room", "--out", "first"]).assert().code(0);
    let text = fs::read_to_string(dir.path().join("first/correction.json")).unwrap();
    let setting: serde_json::Value = serde_json::from_str(&text).unwrap();
    let number = |v: &serde_json::Value, key: &str| v[key].as_f64().unwrap();
    let sections = setting["sections"].as_array().unwrap().iter();
    first.equaliser = Some(Equaliser {
        trim_db: number(&setting, "trim_db"),
        sections: sections.map(|s| ["b0", "b1", "b2", "a1", "a2"].map(|k| number(s, k))).collect(),
        rate_hz: number(&setting, "rate_hz"),
    });
    let dir = analyzed(&first);
    for plot in
        ["rattle", "distortion-with", "distortion-corrected", "verification", "power", "sheet"]
    {
        for ending in [".svg", ".png", "@2x.png"] {
            let path = dir.path().join(format!("report/plots/{plot}{ending}"));
            assert!(path.is_file(), "{plot}{ending}");
        }
    }
    let html = fs::read_to_string(dir.path().join("report/report.html")).unwrap();
    for id in ["plot-rattle", "plot-distortion-with", "plot-verification", "plot-seat-map"] {
        assert_eq!(html.matches(&format!("<figure id=\"{id}\">")).count(), 1, "{id}");
    }
    let words = poppler("pdftotext", &[], &dir.path().join("report/handover.pdf"));
    for part in ["The setting as recorded", "Gain asked for and found, dB"] {
        assert!(words.contains(part), "{part}: {words}");
    }
    assert!(words.contains("rattles"), "{words}");
    assert!(n_pages(&dir.path().join("report/handover.pdf")) <= 8);
}

#[test]
fn a_take_sheet_is_one_tagged_page_with_embedded_fonts() {
    let dir = tempfile::tempdir().unwrap();
    scrimcheck(dir.path())
        .args(["start", "barn", "--seats", "R1L,R1C,R1R,R2L,R2C,R2R", "--duration-s", "0.5"])
        .args(["--title", "<b>Barn"])
        .assert()
        .code(0)
        .stdout(contains("take-sheet.pdf"));
    let pdf = dir.path().join("barn/take-sheet.pdf");
    assert_eq!(n_pages(&pdf), 1);
    assert_fonts(&pdf);
    assert!(poppler("pdfinfo", &[], &pdf).contains("Tagged:          yes"));
    let words = poppler("pdftotext", &["-layout"], &pdf);
    let html = fs::read_to_string(dir.path().join("barn/take-sheet.html")).unwrap();
    for expected in [
        "R2R_with_control_1.wav",
        "Measured by",
        "Microphone, serial no.",
        "licensed electrician",
        "at most 87 dB(A) over a day",
    ] {
        for (paper, text) in [("PDF", &words), ("page", &html)] {
            let joined = text.split_whitespace().collect::<Vec<_>>().join(" ");
            assert!(joined.contains(expected), "{expected} in the {paper}: {text}");
        }
    }
    assert!(words.contains("<b>Barn") && html.contains("&lt;b&gt;Barn"));
}

#[test]
fn sessions_side_by_side_have_a_page() {
    let dir = room(&scenario(2));
    let copy = dir.path().join("other/room");
    fs::create_dir_all(copy.join("takes")).unwrap();
    for file in ["session.toml", "sweep.wav"] {
        fs::copy(dir.path().join("room").join(file), copy.join(file)).unwrap();
    }
    for take in fs::read_dir(dir.path().join("room/takes")).unwrap() {
        let take = take.unwrap();
        fs::copy(take.path(), copy.join("takes").join(take.file_name())).unwrap();
    }
    scrimcheck(dir.path())
        .args(["compare", "room", "other/room", "--out", "both"])
        .assert()
        .code(0);
    let page = fs::read_to_string(dir.path().join("both/comparison.html")).unwrap();
    // The same takes twice: whatever is ranked first would be false.
    assert!(page.contains("<td class=\"word\">no difference shown</td>"));
    assert!(!page.contains("loses more</td>"));
    assert!(page.contains("room (2)") && page.contains("<figure id=\"plot-compare\">"));
    assert!(
        !page.contains("http://")
            || page.matches("http://").count()
                == page.matches("http://www.w3.org/2000/svg").count()
    );
}
