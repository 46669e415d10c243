//! Places that cannot be written: read-only folders, full disks, full devices.

use super::run::Class::{Accepted, Unwritten};
use super::run::{Case, case, inventory, scrimcheck};
use std::fs::{self, File, OpenOptions};
use std::os::unix::fs::PermissionsExt;
use std::path::Path;
use std::process::{Command, Stdio};

pub fn cases() -> Vec<Case> {
    vec![
        case("report where devices are", Unwritten, &["/proc/scrimcheck"], |_| {}).command(&[
            "analyze",
            "room",
            "--out",
            "/proc/scrimcheck",
        ]),
        case("report in a device", Unwritten, &["/dev/null"], |_| {}).command(&[
            "analyze",
            "room",
            "--out",
            "/dev/null",
        ]),
        case("report below a device", Unwritten, &["/dev/full/x"], |_| {}).command(&[
            "analyze",
            "room",
            "--out",
            "/dev/full/x",
        ]),
        case("read-only files in the session", Accepted, &[], |d| {
            for name in ["session.toml", "sweep.wav", "takes/R1C_with_1.wav"] {
                fs::set_permissions(d.join(name), fs::Permissions::from_mode(0o444)).unwrap();
            }
        }),
    ]
}

/// A good session in a folder that anybody may go into.
fn home() -> tempfile::TempDir {
    let home = tempfile::tempdir().unwrap();
    super::room::good(&home.path().join("room"));
    fs::set_permissions(home.path(), fs::Permissions::from_mode(0o755)).unwrap();
    home
}

fn is_root() -> bool {
    let out = Command::new("id").arg("-u").output();
    out.is_ok_and(|o| o.stdout == b"0\n")
}

/// The command as somebody whom access rights hold: root is asked for no leave.
fn as_user(folder: &Path, arguments: &[&str]) -> Option<Command> {
    let program = assert_cmd::cargo::cargo_bin("scrimcheck");
    let mut command = if is_root() {
        let copy = folder.join("program");
        // Copied by another process: a file that this one still writes while a neighbouring test starts a
        // program is open in that program for a moment, and is refused as busy (execve(2), ETXTBSY).
        let copied = Command::new("cp").arg(program).arg(&copy).status().ok()?;
        assert!(copied.success(), "the program could not be copied to {}", copy.display());
        let mut command = Command::new("setpriv");
        command.args(["--reuid=65534", "--regid=65534", "--clear-groups"]).arg(copy);
        command
    } else {
        Command::new(program)
    };
    command.current_dir(folder).env_clear().env("PATH", "/usr/bin:/bin").args(arguments);
    Some(command)
}

#[test]
fn a_read_only_session_is_analysed_into_another_folder() {
    let home = home();
    let room = home.path().join("room");
    fs::set_permissions(&room, fs::Permissions::from_mode(0o555)).unwrap();
    let before = inventory(&room);
    let Some(out) = as_user(home.path(), &["analyze", "room"]).and_then(|mut c| c.output().ok())
    else {
        eprintln!("skipped: no way here to be somebody without root's rights");
        return;
    };
    let said = String::from_utf8_lossy(&out.stderr);
    assert_eq!(out.status.code(), Some(4), "{said}");
    assert!(
        said.contains("room/report cannot be written") && said.contains("another place"),
        "{said}"
    );
    assert_eq!(inventory(&room), before);
    let there = home.path().join("there");
    fs::create_dir(&there).unwrap();
    fs::set_permissions(&there, fs::Permissions::from_mode(0o777)).unwrap();
    let out = as_user(home.path(), &["analyze", "room", "--out", "there/report"])
        .unwrap()
        .output()
        .unwrap();
    assert_eq!(out.status.code(), Some(0), "{}", String::from_utf8_lossy(&out.stderr));
    assert_eq!(inventory(&room), before);
    // A take that may not be read is left out and named.
    let take = room.join("takes/R1C_with_1.wav");
    fs::set_permissions(&take, fs::Permissions::from_mode(0o000)).unwrap();
    let out = as_user(home.path(), &["analyze", "room", "--out", "there/other"])
        .unwrap()
        .output()
        .unwrap();
    let said = String::from_utf8_lossy(&out.stdout);
    assert_eq!(out.status.code(), Some(0), "{said}");
    assert!(said.contains("R1C_with_1.wav") && said.contains("access rights"), "{said}");
    fs::set_permissions(&room, fs::Permissions::from_mode(0o755)).unwrap();
}

/// Mounts a small disk at `at`; `None` where that is not allowed.
fn small_disk(at: &Path, size: &str) -> Option<Mounted> {
    fs::create_dir(at).ok()?;
    let status = Command::new("mount")
        .args(["-t", "tmpfs", "-o", &format!("size={size},mode=777"), "tmpfs"])
        .arg(at)
        .stderr(Stdio::null())
        .status();
    status.is_ok_and(|s| s.success()).then(|| Mounted(at.to_owned()))
}

struct Mounted(std::path::PathBuf);

impl Drop for Mounted {
    fn drop(&mut self) {
        let _ = Command::new("umount").arg(&self.0).status();
    }
}

#[test]
fn a_full_disk_leaves_the_previous_report_and_nothing_else() {
    let home = home();
    let disk = home.path().join("disk");
    for size in ["16k", "200k", "600k"] {
        let Some(_mounted) = small_disk(&disk, size) else {
            eprintln!("skipped: no small disk can be mounted here");
            return;
        };
        // A report that was there before; as small as the smallest disk.
        let report = disk.join("report");
        fs::create_dir(&report).unwrap();
        let list = "files written by scrimcheck; a folder with other files is left alone\nold\n";
        fs::write(report.join(".scrimcheck"), list).unwrap();
        fs::write(report.join("old"), "old").unwrap();
        let before = inventory(home.path());
        for out in ["disk/report", "disk/new/report"] {
            let arguments = ["analyze", "room", "--out", out].map(str::to_owned);
            let run = scrimcheck(home.path(), &arguments).output().unwrap();
            let said = String::from_utf8_lossy(&run.stderr).into_owned();
            assert_eq!(run.status.code(), Some(4), "{size} {out}: {said}");
            assert!(said.contains("disk is not full") && said.contains(out), "{said}");
            assert_eq!(inventory(home.path()), before, "{size} {out}");
        }
        for arguments in [
            &["sweep", "disk/sweep.wav"][..],
            &["start", "disk/new", "--seats", "A"],
            &["demo", "disk/demo"],
        ] {
            let arguments: Vec<String> = arguments.iter().map(|a| (*a).to_owned()).collect();
            let run = scrimcheck(home.path(), &arguments).output().unwrap();
            let said = String::from_utf8_lossy(&run.stderr).into_owned();
            assert_eq!(run.status.code(), Some(4), "{size} {arguments:?}: {said}");
            assert_eq!(inventory(home.path()), before, "{size} {arguments:?}");
        }
        drop(_mounted);
        fs::remove_dir(&disk).unwrap();
    }
}

#[test]
fn a_full_device_for_the_printed_results_is_told() {
    let Ok(full) = OpenOptions::new().write(true).open("/dev/full") else {
        eprintln!("skipped: no full device here");
        return;
    };
    let home = home();
    let run = |arguments: &[&str], out: File| {
        let mut command = Command::new(assert_cmd::cargo::cargo_bin("scrimcheck"));
        command.current_dir(home.path()).args(arguments).stdout(out);
        command.stderr(Stdio::piped()).output().unwrap()
    };
    let printed = run(&["check", "room"], full.try_clone().unwrap());
    let said = String::from_utf8_lossy(&printed.stderr);
    assert_eq!(printed.status.code(), Some(4), "{said}");
    assert!(said.contains("standard output cannot be written"), "{said}");
    let analysed = run(&["analyze", "room", "--json"], full);
    assert_eq!(analysed.status.code(), Some(4));
    // The report is whole all the same.
    assert!(home.path().join("room/report/result.json").is_file());
}
