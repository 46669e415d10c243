//! Files missing, in the wrong place, or with names that fit nothing.

use super::run::Class::{Accepted, Refused, Usage, Warned};
use super::run::{Case, case};
use std::fs;

pub fn cases() -> Vec<Case> {
    vec![
        case("no manifest", Refused, &["session.toml", "scrimcheck start"], |d| {
            fs::remove_file(d.join("session.toml")).unwrap()
        }),
        case(
            "manifest is a folder",
            Refused,
            &["session.toml", "folder", "expected a file"],
            |d| {
                fs::remove_file(d.join("session.toml")).unwrap();
                fs::create_dir(d.join("session.toml")).unwrap();
            },
        ),
        case("no sweep", Refused, &["sweep.wav", "no such file", "sweep.file"], |d| {
            fs::remove_file(d.join("sweep.wav")).unwrap()
        }),
        case("sweep is a folder", Refused, &["sweep.wav", "folder"], |d| {
            fs::remove_file(d.join("sweep.wav")).unwrap();
            fs::create_dir(d.join("sweep.wav")).unwrap();
        }),
        case("no takes folder", Refused, &["takes", "no take", "R1C_without_1.wav"], |d| {
            fs::remove_dir_all(d.join("takes")).unwrap()
        }),
        case("empty takes folder", Refused, &["no take", "R1C_without_1.wav"], |d| {
            fs::remove_dir_all(d.join("takes")).unwrap();
            fs::create_dir(d.join("takes")).unwrap();
        }),
        case("takes is a file", Refused, &["takes"], |d| {
            fs::remove_dir_all(d.join("takes")).unwrap();
            fs::write(d.join("takes"), "x").unwrap();
        }),
        case(
            "a seat with one condition",
            Warned,
            &["R1C", "with the screen", "R1C_with_1.wav"],
            |d| {
                fs::remove_file(d.join("takes/R1C_with_1.wav")).unwrap();
            },
        ),
        case("a seat without takes", Warned, &["R1_L", "no take", "R1_L_without_1.wav"], |d| {
            fs::remove_file(d.join("takes/R1_L_with_1.wav")).unwrap();
            fs::remove_file(d.join("takes/R1_L_without_1.wav")).unwrap();
        }),
        case("a seat whose only take is a control", Warned, &["R1C", "with the screen"], |d| {
            fs::rename(d.join("takes/R1C_with_1.wav"), d.join("takes/R1C_with_control_1.wav"))
                .unwrap();
        }),
        case(
            "a name of no seat",
            Warned,
            &["R1X_with_1.wav", "no seat is called `R1X`", "Did you mean R1C"],
            |d| {
                fs::copy(d.join("takes/R1C_with_1.wav"), d.join("takes/R1X_with_1.wav")).unwrap();
            },
        ),
        case("a name without condition", Warned, &["R1C_2.wav", "_without_", "Rename"], |d| {
            fs::copy(d.join("takes/R1C_with_1.wav"), d.join("takes/R1C_2.wav")).unwrap();
        }),
        case(
            "a name without number",
            Warned,
            &["R1C_with.wav", "number", "R1C_without_1.wav"],
            |d| {
                fs::copy(d.join("takes/R1C_with_1.wav"), d.join("takes/R1C_with.wav")).unwrap();
            },
        ),
        case(
            "the same number twice",
            Warned,
            &["R1C_with_01.wav", "R1C_with_1.wav", "number 1 of seat R1C"],
            |d| {
                fs::copy(d.join("takes/R1C_with_1.wav"), d.join("takes/R1C_with_01.wav")).unwrap();
            },
        ),
        case("a name that drives the terminal", Warned, &["\\u{1b}[2J"], |d| {
            fs::write(d.join("takes/\u{1b}[2J_with_1.wav"), "x").unwrap();
        }),
        case("a folder called like a take", Warned, &["R1C_with_1.wav", "folder"], |d| {
            fs::remove_file(d.join("takes/R1C_with_1.wav")).unwrap();
            fs::create_dir(d.join("takes/R1C_with_1.wav")).unwrap();
        }),
        case("empty session folder", Refused, &["no session.toml", "scrimcheck start"], |d| {
            fs::remove_dir_all(d).unwrap();
            fs::create_dir(d).unwrap();
        }),
        case("no session folder", Refused, &["room", "no such folder"], |d| {
            fs::remove_dir_all(d).unwrap();
        }),
        case("session folder is a file", Refused, &["room", "file", "expected the folder"], |d| {
            fs::remove_dir_all(d).unwrap();
            fs::write(d, "x").unwrap();
        }),
        case(
            "path through a file",
            Refused,
            &["room/session.toml/below", "no such folder"],
            |_| {},
        )
        .command(&["analyze", "room/session.toml/below"]),
        case("session named by an empty path", Usage, &["DIR"], |_| {}).command(&["analyze", ""]),
        case("path of a megabyte's tenth", Refused, &["cannot be read"], |_| {})
            .command(&["analyze", &"x/".repeat(2100)]),
        case(
            "names that differ in case alone",
            Warned,
            &["R1C_with_1.wav", "number 1 of seat R1C"],
            |d| {
                fs::copy(d.join("takes/R1C_with_1.wav"), d.join("takes/r1c_WITH_1.wav")).unwrap();
            },
        ),
        case("names in other case", Accepted, &[], |d| {
            fs::rename(d.join("takes/R1C_with_1.wav"), d.join("takes/r1c_WITH_1.WAV")).unwrap();
        }),
        case("two manifests", Warned, &["Session.toml", "session.toml"], |d| {
            fs::copy(d.join("session.toml"), d.join("Session.toml")).unwrap();
        }),
        case(
            "notes of the system beside recordings",
            Warned,
            &["notes.txt", "not a WAV file", "takes/old", "folder"],
            |d| {
                for name in [".DS_Store", "._R1C_with_1.wav", "notes.txt", "R1C.wav.bak"] {
                    fs::write(d.join("takes").join(name), "x").unwrap();
                }
                fs::create_dir(d.join("takes/old")).unwrap();
            },
        ),
        case(
            "ten thousand other files beside recordings",
            Warned,
            &["note0.txt", "9999 others", "no WAV files"],
            |d| {
                for i in 0..10_000 {
                    fs::write(d.join(format!("takes/note{i}.txt")), "").unwrap();
                }
            },
        ),
        case("more recordings than can be", Refused, &["takes", "10000", "split"], |d| {
            for i in 2..5100 {
                for condition in ["with", "without"] {
                    fs::write(d.join(format!("takes/R1C_{condition}_{i}.wav")), "").unwrap();
                }
            }
        }),
        case("a take of a huge number", Warned, &["R1C_with_99999999999999999999.wav"], |d| {
            fs::copy(
                d.join("takes/R1C_with_1.wav"),
                d.join("takes/R1C_with_99999999999999999999.wav"),
            )
            .unwrap();
        }),
        case("recordings in a folder of another case", Refused, &["no take"], |d| {
            fs::rename(d.join("takes"), d.join("TAKES")).unwrap();
        }),
        case("the same recording twice", Refused, &["R1_L_with_1.wav", "same"], |d| {
            fs::copy(d.join("takes/R1C_with_1.wav"), d.join("takes/R1_L_with_1.wav")).unwrap();
        }),
        case("without and with are one recording", Warned, &["R1C_with_1.wav", "same"], |d| {
            fs::copy(d.join("takes/R1C_without_1.wav"), d.join("takes/R1C_with_1.wav")).unwrap();
        }),
    ]
}
