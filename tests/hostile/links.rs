//! Links, pipes, sockets and devices where files belong.

use super::room::MANIFEST;
use super::run::Class::{Accepted, Refused, Unwritten, Warned};
use super::run::{Case, case};
use std::fs;
use std::os::unix::fs::symlink;
use std::path::Path;

fn fifo(path: &Path) {
    let status = std::process::Command::new("mkfifo").arg(path).status().unwrap();
    assert!(status.success());
}

/// Puts a link in the place of a file.
fn link(room: &Path, name: &str, target: &str) {
    fs::remove_file(room.join(name)).unwrap();
    symlink(target, room.join(name)).unwrap();
}

pub fn cases() -> Vec<Case> {
    vec![
        case(
            "take is a link outside",
            Warned,
            &["R1C_with_1.wav", "leads out of the session folder", "/etc/"],
            |d| {
                fs::remove_file(d.join("takes/R1C_with_1.wav")).unwrap();
                symlink("/etc/passwd", d.join("takes/R1C_with_1.wav")).unwrap();
            },
        ),
        case("sweep is a link outside", Refused, &["sweep.wav", "leads out"], |d| {
            fs::remove_file(d.join("sweep.wav")).unwrap();
            symlink("/etc/passwd", d.join("sweep.wav")).unwrap();
        }),
        case("takes is a link outside", Refused, &["takes", "leads out"], |d| {
            fs::remove_dir_all(d.join("takes")).unwrap();
            symlink("/etc", d.join("takes")).unwrap();
        }),
        case("link to nowhere", Warned, &["R1C_with_1.wav", "no such file"], |d| {
            fs::remove_file(d.join("takes/R1C_with_1.wav")).unwrap();
            symlink("nowhere", d.join("takes/R1C_with_1.wav")).unwrap();
        }),
        case("link to itself", Warned, &["R1C_with_1.wav", "cannot be read"], |d| {
            fs::remove_file(d.join("takes/R1C_with_1.wav")).unwrap();
            symlink("R1C_with_1.wav", d.join("takes/R1C_with_1.wav")).unwrap();
        }),
        case(
            "two names for one recording",
            Warned,
            &["R1C_with_1.wav", "R1C_with_2.wav", "same recording"],
            |d| {
                symlink("R1C_with_1.wav", d.join("takes/R1C_with_2.wav")).unwrap();
            },
        ),
        case("take is a pipe", Warned, &["R1C_with_1.wav", "pipe"], |d| {
            fs::remove_file(d.join("takes/R1C_with_1.wav")).unwrap();
            fifo(&d.join("takes/R1C_with_1.wav"));
        }),
        case("sweep is a pipe", Refused, &["sweep.wav", "pipe"], |d| {
            fs::remove_file(d.join("sweep.wav")).unwrap();
            fifo(&d.join("sweep.wav"));
        }),
        case("manifest is a pipe", Refused, &["session.toml", "pipe"], |d| {
            fs::remove_file(d.join("session.toml")).unwrap();
            fifo(&d.join("session.toml"));
        }),
        case(
            "manifest is a link to an endless device",
            Refused,
            &["session.toml", "leads out"],
            |d| {
                fs::remove_file(d.join("session.toml")).unwrap();
                symlink("/dev/zero", d.join("session.toml")).unwrap();
            },
        ),
        case("take is a link inside", Accepted, &[], |d| {
            fs::create_dir(d.join("raw")).unwrap();
            fs::rename(d.join("takes/R1C_with_1.wav"), d.join("raw/a.wav")).unwrap();
            symlink("../raw/a.wav", d.join("takes/R1C_with_1.wav")).unwrap();
        }),
        case("take is a link to a device", Warned, &["R1C_with_1.wav", "leads out"], |d| {
            link(d, "takes/R1C_with_1.wav", "/dev/zero");
        }),
        case("take is a socket", Warned, &["R1C_with_1.wav", "socket"], |d| {
            fs::remove_file(d.join("takes/R1C_with_1.wav")).unwrap();
            drop(std::os::unix::net::UnixListener::bind(d.join("takes/R1C_with_1.wav")).unwrap());
        }),
        case("take is a link through the parent folder", Accepted, &[], |d| {
            fs::rename(d.join("takes/R1C_with_1.wav"), d.join("a.wav")).unwrap();
            symlink("../../room/a.wav", d.join("takes/R1C_with_1.wav")).unwrap();
        }),
        case("takes is a link to the session itself", Refused, &["sweep.wav"], |d| {
            fs::remove_dir_all(d.join("takes")).unwrap();
            symlink(".", d.join("takes")).unwrap();
        }),
        case("listed take through a link outside", Refused, &["away/passwd", "leads out"], |d| {
            symlink("/etc", d.join("away")).unwrap();
            let more = "[[take]]\nseat = \"R1C\"\ncondition = \"with\"\nfile = \"away/passwd\"";
            fs::write(d.join("session.toml"), format!("{MANIFEST}{more}")).unwrap();
        }),
        case("manifest is a link outside", Refused, &["session.toml", "leads out"], |d| {
            fs::rename(d.join("session.toml"), d.parent().unwrap().join("other.toml")).unwrap();
            symlink("../other.toml", d.join("session.toml")).unwrap();
        }),
        case("manifest is a link to itself", Refused, &["session.toml"], |d| {
            link(d, "session.toml", "session.toml")
        }),
        case("session is a link to the folder", Accepted, &[], |d| {
            symlink("room", d.parent().unwrap().join("way")).unwrap();
        })
        .command(&["analyze", "way"]),
        case("session is a link to nothing", Refused, &["way", "no such folder"], |d| {
            symlink("nothing", d.parent().unwrap().join("way")).unwrap();
        })
        .command(&["analyze", "way"]),
        case("session is a pipe", Refused, &["way", "pipe"], |d| {
            fifo(&d.parent().unwrap().join("way"))
        })
        .command(&["analyze", "way"]),
        case("readings are a link outside", Refused, &["readings.csv", "leads out"], |d| {
            fs::write(d.parent().unwrap().join("secret.csv"), "point,screen_cd_m2\ncentre,48\n")
                .unwrap();
            symlink("../secret.csv", d.join("readings.csv")).unwrap();
        }),
        case("readings are a link to nothing", Refused, &["readings.csv"], |d| {
            symlink("nothing.csv", d.join("readings.csv")).unwrap();
        }),
        case("readings are a pipe", Refused, &["readings.csv", "pipe"], |d| {
            fifo(&d.join("readings.csv"))
        }),
        case("readings are a link to a device", Refused, &["readings.csv", "leads out"], |d| {
            symlink("/dev/zero", d.join("readings.csv")).unwrap();
        }),
        case("calibration is a link outside", Refused, &["mic.csv", "leads out"], |d| {
            symlink("/etc/passwd", d.join("mic.csv")).unwrap();
            let more = "[recording]\ncalibration_file = \"mic.csv\"";
            fs::write(d.join("session.toml"), format!("{MANIFEST}{more}")).unwrap();
        }),
        case("calibration is a pipe", Refused, &["mic.csv", "pipe"], |d| {
            fifo(&d.join("mic.csv"));
            let more = "[recording]\ncalibration_file = \"mic.csv\"";
            fs::write(d.join("session.toml"), format!("{MANIFEST}{more}")).unwrap();
        }),
        case("logo is a link outside", Refused, &["logo.svg", "out"], |d| {
            fs::write(
                d.parent().unwrap().join("secret.svg"),
                "<svg xmlns='http://www.w3.org/2000/svg'/>",
            )
            .unwrap();
            symlink("../secret.svg", d.join("logo.svg")).unwrap();
            fs::write(d.join("session.toml"), format!("{MANIFEST}[handover]\nlogo = \"logo.svg\""))
                .unwrap();
        }),
        case("logo is a pipe", Refused, &["logo.svg", "pipe"], |d| {
            fifo(&d.join("logo.svg"));
            fs::write(d.join("session.toml"), format!("{MANIFEST}[handover]\nlogo = \"logo.svg\""))
                .unwrap();
        }),
        case("report is a link outside", Unwritten, &["room/report", "leads out", "--out"], |d| {
            fs::create_dir(d.parent().unwrap().join("elsewhere")).unwrap();
            symlink("../elsewhere", d.join("report")).unwrap();
        }),
        case("report is a link to nothing", Unwritten, &["room/report", "--out"], |d| {
            symlink("../nowhere", d.join("report")).unwrap();
        }),
        case("report is a link to itself", Unwritten, &["room/report"], |d| {
            symlink("report", d.join("report")).unwrap();
        }),
        case(
            "report is a link to the recordings",
            Unwritten,
            &["R1C_with_1.wav", "--force"],
            |d| {
                symlink("takes", d.join("report")).unwrap();
            },
        ),
        case("report is a pipe", Unwritten, &["room/report", "not a folder"], |d| {
            fifo(&d.join("report"))
        }),
        case("report named by a link of the user's", Accepted, &[], |d| {
            let home = d.parent().unwrap();
            fs::create_dir(home.join("there")).unwrap();
            symlink("there", home.join("here")).unwrap();
        })
        .command(&["analyze", "room", "--out", "here"])
        .makes("there"),
        case("a pipe among the recordings that is no take", Accepted, &[], |d| {
            fifo(&d.join("takes/notes"))
        }),
        case("check with a pipe for a take", Warned, &["R1C_with_1.wav", "pipe"], |d| {
            fs::remove_file(d.join("takes/R1C_with_1.wav")).unwrap();
            fifo(&d.join("takes/R1C_with_1.wav"));
        })
        .command(&["check", "room"]),
    ]
}
