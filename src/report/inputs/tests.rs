//! A changed take or manifest never passes for the old one.

use super::*;
use std::time::Duration;

const MANIFEST: &str = "[session]\ntitle = \"t\"\n[sweep]\nfile = \"sweep.wav\"\nstart_hz = 20.0\n\
                        stop_hz = 20000.0\n[screen]\n[[seat]]\nid = \"R1C\"\n";

/// A small session whose files are old, and the list of its report.
fn session() -> (tempfile::TempDir, PathBuf) {
    let dir = tempfile::tempdir().unwrap();
    let root = dir.path().join("room");
    fs::create_dir_all(root.join("takes")).unwrap();
    fs::create_dir_all(root.join("report")).unwrap();
    let small = Path::new(env!("CARGO_MANIFEST_DIR")).join("sessions/three-seats");
    fs::copy(small.join("sweep.wav"), root.join("sweep.wav")).unwrap();
    fs::write(root.join("session.toml"), MANIFEST).unwrap();
    for name in ["R1C_without_1.wav", "R1C_with_1.wav"] {
        let take = fs::read_dir(small.join("takes")).unwrap().next().unwrap().unwrap().path();
        fs::copy(take, root.join("takes").join(name)).unwrap();
    }
    list(&root);
    (dir, root)
}

fn list(root: &Path) {
    // Files of a session that is analysed were not written in the same moment.
    std::thread::sleep(Duration::from_millis(60));
    let opened = SystemTime::now();
    let session = Session::open(root).unwrap();
    let list = Inputs::look(&session, opened).unwrap().with_result(root, b"{}").unwrap();
    fs::write(root.join("report").join(INPUTS_FILE), list.to_json()).unwrap();
}

fn state(root: &Path) -> Result<Holds, Stale> {
    check(root, &root.join("report"), b"{}")
}

fn changed(root: &Path) -> String {
    match state(root) {
        Err(Stale::Changed { what }) => what,
        other => panic!("{other:?}"),
    }
}

#[test]
fn what_is_unchanged_holds_and_is_hashed_only_while_it_is_fresh() {
    let (_dir, root) = session();
    // Written a moment ago: looked into.
    let Ok(Holds::Hashed(_)) = state(&root) else { panic!("{:?}", state(&root)) };
    std::thread::sleep(Duration::from_millis(2100));
    let Ok(Holds::Hashed(list)) = state(&root) else { panic!("{:?}", state(&root)) };
    fs::write(root.join("report").join(INPUTS_FILE), list.to_json()).unwrap();
    assert_eq!(state(&root), Ok(Holds::AtOnce));
    // A copy of the folder has other times and numbers, and the same content.
    let copy = root.with_file_name("copy");
    fs::create_dir_all(copy.join("takes")).unwrap();
    fs::create_dir_all(copy.join("report")).unwrap();
    for file in ["session.toml", "sweep.wav", "takes/R1C_with_1.wav", "takes/R1C_without_1.wav"] {
        fs::copy(root.join(file), copy.join(file)).unwrap();
    }
    fs::copy(root.join("report/inputs.json"), copy.join("report/inputs.json")).unwrap();
    assert!(matches!(state(&copy), Ok(Holds::Hashed(_))), "{:?}", state(&copy));
}

#[test]
fn a_changed_take_is_seen_though_length_and_date_are_what_they_were() {
    let (_dir, root) = session();
    let take = root.join("takes/R1C_with_1.wav");
    let date = fs::metadata(&take).unwrap().modified().unwrap();
    let mut bytes = fs::read(&take).unwrap();
    let last = bytes.len() - 1;
    bytes[last] ^= 1;
    fs::write(&take, bytes).unwrap();
    File::options().write(true).open(&take).unwrap().set_modified(date).unwrap();
    assert_eq!(changed(&root), "takes/R1C_with_1.wav");
}

#[test]
fn new_lost_and_rewritten_files_are_seen() {
    let (_dir, root) = session();
    let at = |name: &str| root.join(name);
    fs::write(at("takes/R1C_with_2.wav"), "x").unwrap();
    assert_eq!(changed(&root), "takes");
    fs::remove_file(at("takes/R1C_with_2.wav")).unwrap();
    fs::write(at("readings.csv"), "point\n").unwrap();
    assert_eq!(changed(&root), "the folder");
    fs::remove_file(at("readings.csv")).unwrap();
    fs::write(at("session.toml"), MANIFEST.replace("\"t\"", "\"u\"")).unwrap();
    assert_eq!(changed(&root), "session.toml");
    fs::write(at("session.toml"), MANIFEST).unwrap();
    assert!(state(&root).is_ok());
    assert_eq!(
        check(&root, &at("report"), b"{ }"),
        Err(Stale::Changed { what: "result.json".into() })
    );
}

#[test]
fn another_version_and_a_list_that_leads_elsewhere_do_not_hold() {
    let (_dir, root) = session();
    let path = root.join("report").join(INPUTS_FILE);
    let text = fs::read_to_string(&path).unwrap();
    let older = text.replace(&format!("\"program\":\"{PROGRAM}\""), "\"program\":\"0.0.9\"");
    assert_ne!(older, text);
    fs::write(&path, older).unwrap();
    assert_eq!(state(&root), Err(Stale::OtherVersion { program: "0.0.9".into() }));
    for elsewhere in ["/etc/passwd", "../../a/session.toml", "a/../../b", ".."] {
        fs::write(
            &path,
            text.replace("\"file\":\"session.toml\"", &format!("\"file\":\"{elsewhere}\"")),
        )
        .unwrap();
        assert_eq!(state(&root), Err(Stale::NoReport), "{elsewhere}");
    }
    fs::remove_file(&path).unwrap();
    assert_eq!(state(&root), Err(Stale::NoReport));
}

#[test]
fn a_file_that_changes_during_the_analysis_leaves_no_list() {
    let (_dir, root) = session();
    let opened = SystemTime::now();
    let session = Session::open(&root).unwrap();
    let list = Inputs::look(&session, opened).unwrap();
    fs::write(root.join("session.toml"), MANIFEST.replace("\"t\"", "\"longer\"")).unwrap();
    assert_eq!(list.with_result(&root, b"{}"), None);
    // Written between the opening and the look: what the session holds is not known.
    assert!(Inputs::look(&session, opened).is_err());
}
