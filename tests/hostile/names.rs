//! Names are data: they never become paths or markup, and never drive the terminal.

use super::room::{MANIFEST, good};
use super::run::Class::{Accepted, Refused, Usage, Warned};
use super::run::{Case, append, case, inventory, manifest, scrimcheck};
use std::fs;

/// The session with its first seat called `id`, which its takes are listed for.
fn seat(name: &'static str, id: &'static str) -> Case {
    case(format!("seat called {name}"), Accepted, &[], move |d| {
        let mut text = MANIFEST.replace("id = \"R1C\"", &format!("id = {id:?}"));
        for (seat, file) in [(id, "R1C"), ("R1_L", "R1_L")] {
            for condition in ["without", "with"] {
                text += &format!(
                    "[[take]]\nseat = {seat:?}\ncondition = \"{condition}\"\n\
                     file = \"takes/{file}_{condition}_1.wav\"\n"
                );
            }
        }
        fs::write(d.join("session.toml"), text).unwrap();
    })
}

pub fn cases() -> Vec<Case> {
    vec![
        seat("like a path", "../../etc/passwd"),
        seat("like a root", "/"),
        seat("like two dots", ".."),
        seat("like a device", "CON"),
        seat("like markup", "<script>alert(1)</script>"),
        seat("like an entity", "&lt;&amp;\"'"),
        seat("like a formula", "=1+1"),
        seat("like a list of cells", "a,b;c"),
        seat("with an emoji", "seat \u{1f3ac}"),
        seat("in another script", "مقعد ١"),
        seat("in wide letters", "第一排中央"),
        seat("like its own take", "R1C_with_1"),
        seat("like a template", "{{7*7}}${x}%s%n"),
        seat(
            "with sixty-four letters",
            "wwwwwwwwwwwwwwwwwwwwwwwwwwwwwwwwwwwwwwwwwwwwwwwwwwwwwwwwwwwwwwww",
        ),
        manifest(
            "seat of sixty-five letters",
            Refused,
            "\"R1C\"",
            format!("{:?}", "w".repeat(65)),
            &["line 14", "64"],
        ),
        manifest("seat with a zero", Refused, "\"R1C\"", "\"R\\u0000\"", &["line 14", "\\u{0}"]),
        manifest(
            "seat written from the right",
            Refused,
            "\"R1C\"",
            "\"R\\u202e1\"",
            &["line 14", "\\u{202e}"],
        ),
        manifest(
            "seat of nothing visible",
            Refused,
            "\"R1C\"",
            "\"\\u200b\"",
            &["line 14", "\\u{200b}"],
        ),
        manifest("seat of spaces", Refused, "\"R1C\"", "\"  \"", &["line 14"]),
        manifest("seat that is a number", Refused, "\"R1C\"", "7", &["line 14", "text"]),
        case("seats that differ in case alone", Refused, &["session.toml, line 17", "r1c"], |d| {
            for condition in ["without", "with"] {
                fs::remove_file(d.join(format!("takes/R1_L_{condition}_1.wav"))).unwrap();
            }
            let text = MANIFEST.replace("R1_L", "r1c");
            fs::write(d.join("session.toml"), text).unwrap();
        }),
        manifest(
            "title of markup",
            Accepted,
            "Invented room",
            "</title><script>alert(1)</script>",
            &[],
        ),
        manifest("title from the right", Accepted, "Invented room", "a\\u202eb\\u2066c", &[]),
        manifest("title with a bell", Refused, "Invented room", "a\\u0007b", &["line 2", "\\u{7}"]),
        manifest(
            "title with an escape code",
            Refused,
            "Invented room",
            "a\\u001b]0;x\\u0007b",
            &["line 2"],
        ),
        manifest("title of nothing", Refused, "Invented room", "", &["line 2", "title"]),
        manifest("title of many lines", Accepted, "Invented room", "a\\n\\n\\nb", &[]),
        manifest(
            "title of combining marks",
            Accepted,
            "Invented room",
            "Z\\u0351\\u0343\\u0342\\u0341".repeat(100),
            &[],
        ),
        append(
            "names of two thousand letters",
            Accepted,
            format!(
                "[handover]\nclient = {0:?}\nsite = {0:?}\ninstaller = {0:?}\nreference = {0:?}",
                "W".repeat(2000)
            ),
            &[],
        ),
        append(
            "client of markup",
            Accepted,
            "[handover]\nclient = \"<img src=x onerror=alert(1)>\"\nsite = \"]]>\"",
            &[],
        ),
        append(
            "source of markup",
            Accepted,
            "[[claim]]\nquantity = \"maximum_loss\"\nband_hz = [500, 5000]\nlimit_db = 40\nsource = \"<svg onload=alert(1)>\"",
            &[],
        ),
        case("recording called like markup", Warned, &["<b>_with_1.wav"], |d| {
            fs::write(d.join("takes/<b>_with_1.wav"), "x").unwrap();
        }),
        case("session folder called like an option", Usage, &["--help-me"], |_| {})
            .command(&["analyze", "--help-me"]),
    ]
}

/// Every text of the manifest holds markup; none of it is markup in page, plots or sheet.
#[test]
fn text_of_the_manifest_is_never_markup() {
    const EVIL: &str = "<script>alert(1)</script>\\\"'><img src=x onerror=alert(2)>";
    let home = tempfile::tempdir().unwrap();
    let room = home.path().join("room");
    good(&room);
    let text = MANIFEST
        .replace("Invented room", EVIL)
        .replace("[screen]", &format!("[screen]\nname = \"{EVIL}\""))
        .replace("id = \"R1C\"", &format!("id = \"R1C\"\nname = \"{EVIL}\""));
    let more = format!(
        "[[claim]]\nquantity = \"maximum_loss\"\nband_hz = [500, 16000]\nlimit_db = 3\nsource = \"{EVIL}\"\n\
         [handover]\nclient = \"{EVIL}\"\nsite = \"{EVIL}\"\ninstaller = \"{EVIL}\"\nreference = \"{EVIL}\"\n"
    );
    fs::write(room.join("session.toml"), text + &more).unwrap();
    for arguments in [
        &["analyze", "room", "--out", "out"][..],
        &["start", "new", "--seats", "A", "--title", "<script>alert(1)</script><img src=x>"],
    ] {
        let arguments: Vec<String> = arguments.iter().map(|a| (*a).to_owned()).collect();
        let run = scrimcheck(home.path(), &arguments).output().unwrap();
        let said = String::from_utf8_lossy(&run.stderr);
        assert_eq!(run.status.code(), Some(0), "{said}");
    }
    let mut n_looked = 0;
    for path in inventory(home.path()).into_keys() {
        if path.extension().is_some_and(|e| e == "html" || e == "svg") {
            n_looked += 1;
            let text = fs::read_to_string(home.path().join(&path)).unwrap().to_lowercase();
            for evil in ["<script>alert", "<img src=x"] {
                assert!(!text.contains(evil), "{evil} in {}", path.display());
            }
        }
    }
    assert!(n_looked >= 5, "only {n_looked} files with markup");
}
