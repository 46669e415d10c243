//! The other commands, and command lines that make no sense.

use super::room::MANIFEST;
use super::run::Class::{Accepted, Refused, Unwritten, Usage, Warned};
use super::run::{Case, Class, case};
use std::fs;

fn run(
    name: &'static str,
    class: Class,
    arguments: &[&str],
    makes: &'static str,
    says: &'static [&'static str],
) -> Case {
    case(format!("command: {name}"), class, says, |_| {}).command(arguments).makes(makes)
}

pub fn cases() -> Vec<Case> {
    vec![
        run("analyze", Accepted, &["analyze", "room"], "room/report", &["R1C"]),
        run("other spelling", Accepted, &["analyse", "room"], "room/report", &["R1C"]),
        run("none", Usage, &["analyze-it", "room"], "", &["analyze-it"]),
        run("unknown option", Usage, &["analyze", "room", "--loud"], "", &["--loud"]),
        run("analyze without a folder", Usage, &["analyze"], "", &["DIR"]),
        run(
            "report into the session",
            Unwritten,
            &["analyze", "room", "--out", "room"],
            "",
            &["session.toml", "--force"],
        ),
        run(
            "report above everything",
            Unwritten,
            &["analyze", "room", "--out", "/"],
            "",
            &["--force"],
        ),
        run(
            "report into a file",
            Unwritten,
            &["analyze", "room", "--out", "room/session.toml"],
            "",
            &["room/session.toml", "not a folder"],
        ),
        run(
            "report below a file",
            Unwritten,
            &["analyze", "room", "--out", "room/session.toml/x/y"],
            "",
            &["not a folder"],
        ),
        run("report nowhere", Usage, &["analyze", "room", "--out", ""], "", &["--out"]),
        run(
            "report into new folders",
            Accepted,
            &["analyze", "room", "--out", "a/b/c"],
            "a",
            &["a/b/c"],
        ),
        case("refused session with new folders for the report", Refused, &["sweep.wav"], |d| {
            fs::remove_file(d.join("sweep.wav")).unwrap();
        })
        .command(&["analyze", "room", "--out", "a/b/c"]),
        case("broken take with new folders for the report", Warned, &["R1C_with_1.wav"], |d| {
            fs::write(d.join("takes/R1C_with_1.wav"), "x").unwrap();
        })
        .command(&["analyze", "room", "--out", "a/b/c"])
        .makes("a"),
        case("report of somebody else", Unwritten, &["mine.txt", "--force"], |d| {
            fs::create_dir(d.join("report")).unwrap();
            fs::write(d.join("report/mine.txt"), "mine").unwrap();
        }),
        case("report beside files of somebody else", Accepted, &[], |d| {
            fs::create_dir(d.join("report")).unwrap();
            fs::write(d.join("report/mine.txt"), "mine").unwrap();
        })
        .command(&["analyze", "room", "--force"]),
        case("report with a list that names the user's files", Unwritten, &[".scrimcheck"], |d| {
            fs::create_dir(d.join("report")).unwrap();
            fs::write(d.join("report/.scrimcheck"), "my own list\nnotes.txt\n").unwrap();
            fs::write(d.join("report/notes.txt"), "mine").unwrap();
        }),
        case("list of written files that leads out", Unwritten, &["mine.txt"], |d| {
            fs::create_dir(d.join("report")).unwrap();
            fs::write(
                d.join("report/.scrimcheck"),
                "files written by scrimcheck; a folder with other files is left alone\n\
                 ../session.toml\n/etc/passwd\n",
            )
            .unwrap();
            fs::write(d.join("report/mine.txt"), "mine").unwrap();
        }),
        case("list that leads out, by force", Accepted, &[], |d| {
            fs::create_dir(d.join("report")).unwrap();
            fs::write(
                d.join("report/.scrimcheck"),
                "files written by scrimcheck; a folder with other files is left alone\n\
                 ../session.toml\n../takes/R1C_with_1.wav\n",
            )
            .unwrap();
            fs::write(d.join("report/mine.txt"), "mine").unwrap();
            fs::remove_file(d.join("report/.scrimcheck")).unwrap();
        })
        .command(&["analyze", "room", "--force"]),
        run("check", Accepted, &["check", "room"], "", &["R1C"]),
        run("check as JSON", Accepted, &["check", "room", "--json"], "", &["scrimcheck-check"]),
        case("check of a half-finished session", Accepted, &["Missing", "R1_L"], |d| {
            fs::remove_file(d.join("takes/R1_L_with_1.wav")).unwrap();
        })
        .command(&["check", "room"]),
        case("check with a broken take", Warned, &["R1C_with_1.wav", "truncated"], |d| {
            let path = d.join("takes/R1C_with_1.wav");
            let bytes = fs::read(&path).unwrap();
            fs::write(path, &bytes[..bytes.len() / 2]).unwrap();
        })
        .command(&["check", "room"]),
        case("check without any take", Accepted, &["Missing"], |d| {
            fs::remove_dir_all(d.join("takes")).unwrap();
        })
        .command(&["check", "room"]),
        case("check with every take broken", Warned, &["R1C_with_1.wav"], |d| {
            for entry in fs::read_dir(d.join("takes")).unwrap() {
                fs::write(entry.unwrap().path(), "x").unwrap();
            }
        })
        .command(&["check", "room"]),
        case("check with a broken manifest", Refused, &["session.toml", "line 1"], |d| {
            fs::write(d.join("session.toml"), "x").unwrap();
        })
        .command(&["check", "room"]),
        run("check of nothing", Refused, &["check", "nowhere"], "", &["nowhere", "no such folder"]),
        run("compare one", Usage, &["compare", "room"], "", &["second folder"]),
        run("compare a session with itself", Accepted, &["compare", "room", "room"], "", &["room"]),
        run("compare with nothing", Refused, &["compare", "room", "nowhere"], "", &["nowhere"]),
        case("compare with a broken session", Refused, &["other", "session.toml"], |d| {
            fs::create_dir(d.parent().unwrap().join("other")).unwrap();
            fs::write(d.parent().unwrap().join("other/session.toml"), "x").unwrap();
        })
        .command(&["compare", "room", "other", "--out", "set"]),
        run(
            "compare into the session",
            Unwritten,
            &["compare", "room", "room", "--out", "room"],
            "",
            &["session.toml"],
        ),
        run(
            "sweep",
            Accepted,
            &["sweep", "new.wav", "--duration-s", "0.5"],
            "new.wav",
            &["new.wav"],
        ),
        run(
            "sweep over a file",
            Unwritten,
            &["sweep", "room/sweep.wav"],
            "",
            &["room/sweep.wav", "--force"],
        ),
        run(
            "sweep over a folder",
            Unwritten,
            &["sweep", "room", "--force"],
            "",
            &["room", "not a file"],
        ),
        run(
            "sweep into a folder that is not there",
            Unwritten,
            &["sweep", "no/new.wav"],
            "",
            &["no/new.wav"],
        ),
        run(
            "sweep onto a device",
            Unwritten,
            &["sweep", "/dev/null", "--force"],
            "",
            &["/dev/null", "not a file"],
        ),
        run("sweep onto a full device", Unwritten, &["sweep", "/dev/full"], "", &["/dev/full"]),
        run(
            "sweep beyond Nyquist",
            Usage,
            &["sweep", "n.wav", "--stop-hz", "30000"],
            "",
            &["stop", "24000"],
        ),
        run("sweep to no number", Usage, &["sweep", "n.wav", "--stop-hz", "nan"], "", &["stop"]),
        run("sweep from infinity", Usage, &["sweep", "n.wav", "--start-hz", "inf"], "", &["start"]),
        run(
            "sweep without end",
            Usage,
            &["sweep", "n.wav", "--duration-s", "1e12"],
            "",
            &["duration"],
        ),
        run("sweep at no rate", Usage, &["sweep", "n.wav", "--rate-hz", "0"], "", &["rate"]),
        run(
            "sweep louder than full",
            Usage,
            &["sweep", "n.wav", "--level-dbfs", "6"],
            "",
            &["level"],
        ),
        run("start", Accepted, &["start", "new", "--seats", "A,B"], "new", &["new"]),
        run(
            "start over a session",
            Unwritten,
            &["start", "room", "--seats", "A"],
            "",
            &["room", "--force"],
        ),
        run("start below nothing", Refused, &["start", "no/new", "--seats", "A"], "", &["no"]),
        run("start without seats", Usage, &["start", "new"], "", &["--seats"]),
        run("start with an empty seat", Usage, &["start", "new", "--seats", "A,,B"], "", &["seat"]),
        run("start with a seat twice", Usage, &["start", "new", "--seats", "A,A"], "", &["A"]),
        run(
            "start with a path for a seat",
            Usage,
            &["start", "new", "--seats", "../x"],
            "",
            &["../x"],
        ),
        run(
            "start with a zero in the title",
            Usage,
            &["start", "new", "--seats", "A", "--title", "a\u{1}b"],
            "",
            &["title"],
        ),
        run(
            "start with markup for a title",
            Accepted,
            &["start", "new", "--seats", "A", "--title", "<b>\"x\"</b>"],
            "new",
            &["new"],
        ),
        run(
            "predict",
            Accepted,
            &[
                "predict",
                "--set",
                "hole_diameter_mm=0.5",
                "--set",
                "open_area_percent=5",
                "--set",
                "thickness_mm=0.3",
            ],
            "",
            &[],
        ),
        run("predict of nothing", Usage, &["predict"], "", &[]),
        run(
            "predict of no number",
            Usage,
            &["predict", "--sheet", "x:hole_diameter_mm=nan,open_area_percent=5,thickness_mm=0.3"],
            "",
            &["hole"],
        ),
        run(
            "predict of a sheet of holes",
            Usage,
            &[
                "predict",
                "--sheet",
                "x:hole_diameter_mm=0.5,open_area_percent=500,thickness_mm=0.3",
            ],
            "",
            &["overlap"],
        ),
        run("demo over a session", Unwritten, &["demo", "room"], "", &["room", "--force"]),
        run(
            "demo into a file",
            Unwritten,
            &["demo", "room/session.toml"],
            "",
            &["room/session.toml"],
        ),
        case("odd date for papers", Accepted, &[], |_| {})
            .variable("SOURCE_DATE_EPOCH", "yesterday"),
        case("date for papers after all time", Accepted, &[], |_| {})
            .variable("SOURCE_DATE_EPOCH", "99999999999999999999"),
        case("no columns", Accepted, &["R1C"], |_| {}).variable("COLUMNS", "0"),
        case("claims by the hundred", Accepted, &[], |d| {
            let claim =
                "[[claim]]\nquantity = \"maximum_loss\"\nband_hz = [500, 5000]\nlimit_db = 3\n";
            fs::write(d.join("session.toml"), format!("{MANIFEST}{}", claim.repeat(200))).unwrap();
        }),
        case("seats by the hundred", Accepted, &[], |d| {
            let mut text = MANIFEST.to_owned();
            for seat in 0..300 {
                text += &format!("[[seat]]\nid = \"S{seat}\"\n");
                for condition in ["without", "with"] {
                    fs::copy(
                        d.join(format!("takes/R1C_{condition}_1.wav")),
                        d.join(format!("takes/S{seat}_{condition}_1.wav")),
                    )
                    .unwrap();
                }
            }
            fs::write(d.join("session.toml"), text).unwrap();
        }),
    ]
}
