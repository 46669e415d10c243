//! Safe writing, against real folders.

use super::*;
use std::fs;

fn report(target: &Path, force: bool, files: &[(&str, &str)]) -> Result<(), ReportError> {
    let mut folder = OutputFolder::open(target, force)?;
    for (name, text) in files {
        folder.write(name, text.as_bytes())?;
    }
    folder.publish().map(|_| ())
}

fn names(folder: &Path) -> Vec<String> {
    let mut names: Vec<String> = fs::read_dir(folder)
        .unwrap()
        .map(|e| e.unwrap().file_name().into_string().unwrap())
        .collect();
    names.sort();
    names
}

#[test]
fn a_second_report_replaces_the_first_and_leaves_nothing_beside() {
    let dir = tempfile::tempdir().unwrap();
    let target = dir.path().join("deep/report");
    report(&target, false, &[("result.json", "1"), ("plots/old.svg", "1")]).unwrap();
    report(&target, false, &[("result.json", "2"), ("bands.csv", "2")]).unwrap();
    assert_eq!(names(&target), [".scrimcheck", "bands.csv", "result.json"]);
    assert_eq!(fs::read_to_string(target.join("result.json")).unwrap(), "2");
    assert_eq!(names(target.parent().unwrap()), ["report"]);
}

#[test]
fn what_another_writer_put_there_is_published_too() {
    let dir = tempfile::tempdir().unwrap();
    let target = dir.path().join("demo");
    for _ in 0..2 {
        let mut folder = OutputFolder::open(&target, false).unwrap();
        let staging = folder.staging_path().unwrap();
        fs::create_dir(staging.join("takes")).unwrap();
        fs::write(staging.join("takes/a.wav"), "1").unwrap();
        assert_eq!(folder.publish().unwrap(), [target.join("takes/a.wav")]);
    }
    assert_eq!(names(&target), [".scrimcheck", "takes"]);
}

#[test]
fn an_empty_folder_is_taken() {
    let dir = tempfile::tempdir().unwrap();
    report(dir.path().join("x").as_path(), false, &[]).unwrap();
    let empty = dir.path().join("empty");
    fs::create_dir(&empty).unwrap();
    report(&empty, false, &[("a", "1")]).unwrap();
    assert_eq!(names(&empty), [".scrimcheck", "a"]);
}

#[test]
fn a_folder_with_other_files_is_refused_and_left_as_it_was() {
    let dir = tempfile::tempdir().unwrap();
    let target = dir.path().join("mine");
    fs::create_dir_all(target.join("sub")).unwrap();
    fs::write(target.join("sub/letter.txt"), "dear").unwrap();
    let error = report(&target, false, &[("a", "1")]).unwrap_err();
    assert!(error.to_string().contains("letter.txt"), "{error}");
    assert_eq!(names(dir.path()), ["mine"]);
    assert_eq!(names(&target), ["sub"]);
}

#[test]
fn force_keeps_other_files_even_under_a_name_that_is_needed() {
    let dir = tempfile::tempdir().unwrap();
    let target = dir.path().join("r");
    report(&target, false, &[("bands.csv", "old"), ("stale.csv", "old")]).unwrap();
    fs::write(target.join("notes.txt"), "mine").unwrap();
    fs::write(target.join("curve.csv"), "mine too").unwrap();
    report(&target, true, &[("bands.csv", "new"), ("curve.csv", "new")]).unwrap();
    assert_eq!(
        names(&target),
        [".scrimcheck", "bands.csv", "curve.csv", "kept-curve.csv", "notes.txt"]
    );
    let read = |n: &str| fs::read_to_string(target.join(n)).unwrap();
    assert_eq!((read("bands.csv"), read("curve.csv")), ("new".into(), "new".into()));
    assert_eq!((read("kept-curve.csv"), read("notes.txt")), ("mine too".into(), "mine".into()));
    assert_eq!(names(dir.path()), ["r"]);
    // Still other people's files there: refused again without force.
    assert!(matches!(report(&target, false, &[]), Err(ReportError::Foreign { .. })));
}

/// A folder of somebody else's that stands where a file is needed, and a file of his in a folder
/// that stands where one is needed too.
#[test]
fn force_keeps_folders_too() {
    let dir = tempfile::tempdir().unwrap();
    let target = dir.path().join("r");
    fs::create_dir_all(target.join("a/deep")).unwrap();
    fs::write(target.join("a/deep/x"), "mine").unwrap();
    fs::create_dir(target.join("plots")).unwrap();
    fs::write(target.join("plots/loss.svg"), "mine").unwrap();
    report(&target, true, &[("a", "1"), ("plots/loss.svg", "1")]).unwrap();
    assert_eq!(names(&target), [".scrimcheck", "a", "kept-a", "plots"]);
    assert_eq!(names(&target.join("plots")), ["kept-loss.svg", "loss.svg"]);
    let read = |n: &str| fs::read_to_string(target.join(n)).unwrap();
    assert_eq!(
        (read("kept-a/deep/x"), read("plots/kept-loss.svg")),
        ("mine".into(), "mine".into())
    );
    // Once more: what has got another name keeps it.
    report(&target, true, &[("a", "2"), ("plots/loss.svg", "2")]).unwrap();
    assert_eq!(names(&target), [".scrimcheck", "a", "kept-a", "plots"]);
    assert_eq!((read("kept-a/deep/x"), read("a")), ("mine".into(), "2".into()));
}

#[test]
fn a_file_that_cannot_be_kept_leaves_all_as_it_was() {
    let dir = tempfile::tempdir().unwrap();
    let target = dir.path().join("r");
    report(&target, false, &[("a", "old")]).unwrap();
    // As long as a name may be: there is none for it beside the file that needs it.
    let long = "m".repeat(255);
    fs::write(target.join(&long), "mine").unwrap();
    let done = report(&target, true, &[("a", "new"), (&long, "new")]);
    assert!(matches!(done, Err(ReportError::Write { .. })), "{done:?}");
    let read = |n: &str| fs::read_to_string(target.join(n)).unwrap();
    assert_eq!((read("a"), read(&long)), ("old".into(), "mine".into()));
    assert_eq!(names(&target), [".scrimcheck", "a", &long]);
    assert_eq!(names(dir.path()), ["r"]);
}

#[test]
fn a_failure_before_the_end_leaves_the_previous_report() {
    let dir = tempfile::tempdir().unwrap();
    let target = dir.path().join("r");
    report(&target, false, &[("a", "old")]).unwrap();
    let mut folder = OutputFolder::open(&target, false).unwrap();
    folder.write("a", b"new").unwrap();
    // The same name twice is a mistake of the program and fails like a full disk does.
    assert!(matches!(folder.write("a", b"again"), Err(ReportError::Write { .. })));
    drop(folder);
    assert_eq!(fs::read_to_string(target.join("a")).unwrap(), "old");
    assert_eq!(names(dir.path()), ["r"]);
}

#[test]
fn a_file_that_arrives_during_the_run_is_not_lost() {
    let dir = tempfile::tempdir().unwrap();
    let target = dir.path().join("r");
    report(&target, false, &[("a", "old")]).unwrap();
    let mut folder = OutputFolder::open(&target, false).unwrap();
    folder.write("a", b"new").unwrap();
    fs::write(target.join("notes.txt"), "mine").unwrap();
    assert!(matches!(folder.publish(), Err(ReportError::Foreign { .. })));
    assert_eq!(fs::read_to_string(target.join("a")).unwrap(), "old");
    assert_eq!(fs::read_to_string(target.join("notes.txt")).unwrap(), "mine");
}

/// As an editor saves it: a new file under the old name, after the old one was kept.
#[test]
fn a_file_that_is_saved_during_the_exchange_is_not_lost() {
    let dir = tempfile::tempdir().unwrap();
    let target = dir.path().join("r");
    report(&target, false, &[("a", "old")]).unwrap();
    let notes = target.join("notes.txt");
    fs::write(&notes, "first").unwrap();
    let mut folder = OutputFolder::open(&target, true).unwrap();
    folder.write("a", b"new").unwrap();
    let new = folder.staging_path().unwrap();
    fs::write(new.join(LIST_NAME), list_text(&folder.written)).unwrap();
    let kept = folder.place.keep_foreign(&new).unwrap();
    fs::write(target.join("saved"), "second").unwrap();
    fs::rename(target.join("saved"), &notes).unwrap();
    let later = std::time::SystemTime::now() + std::time::Duration::from_secs(1);
    fs::File::options().write(true).open(&notes).unwrap().set_modified(later).unwrap();
    folder.place.swap(new.parent().unwrap(), &new, &kept).unwrap();
    let read = |n: &str| fs::read_to_string(target.join(n)).unwrap();
    assert_eq!((read("a"), read("notes.txt")), ("new".into(), "first".into()));
    assert_eq!(read("kept-notes.txt"), "second");
    drop(folder);
    assert_eq!(names(dir.path()), ["r"]);
}

#[test]
fn one_file_is_written_whole_or_not_at_all() {
    let dir = tempfile::tempdir().unwrap();
    let target = dir.path().join("out.wav");
    let write = |force, text: &str, fails: bool| {
        write_one_file(&target, force, |path| {
            fs::write(path, text)?;
            if fails { Err(io::Error::other("full")) } else { Ok(()) }
        })
    };
    write(false, "1", false).unwrap().unwrap();
    assert!(matches!(write(false, "2", false), Err(ReportError::Taken { .. })));
    write(true, "3", true).unwrap().unwrap_err();
    assert_eq!(fs::read_to_string(&target).unwrap(), "1");
    write(true, "4", false).unwrap().unwrap();
    assert_eq!(fs::read_to_string(&target).unwrap(), "4");
    assert_eq!(names(dir.path()), ["out.wav"]);
}

#[test]
fn names_stay_inside() {
    let dir = tempfile::tempdir().unwrap();
    let mut folder = OutputFolder::open(&dir.path().join("r"), false).unwrap();
    for bad in ["", "../a", "/a", "a/../../b", "a\nb", "."] {
        assert!(matches!(folder.write(bad, b""), Err(ReportError::Name { .. })), "{bad:?}");
    }
}

#[test]
fn a_file_in_the_place_of_the_folder_or_above_it_is_refused() {
    let dir = tempfile::tempdir().unwrap();
    let file = dir.path().join("file");
    fs::write(&file, "mine").unwrap();
    let at = |p: &Path| report(p, true, &[("a", "1")]).unwrap_err();
    assert!(matches!(at(&file), ReportError::NotAFolder { .. }));
    let below = at(&file.join("below"));
    assert!(matches!(below, ReportError::NotAFolder { .. }), "{below:?}");
    assert_eq!(fs::read_to_string(&file).unwrap(), "mine");
}

#[test]
fn runs_at_once_end_with_one_whole_report() {
    let dir = tempfile::tempdir().unwrap();
    let target = dir.path().join("r");
    std::thread::scope(|scope| {
        for run in 0..8 {
            let target = &target;
            scope.spawn(move || {
                let text = run.to_string();
                report(target, false, &[("a", &text), ("b/c", &text)]).unwrap();
            });
        }
    });
    assert_eq!(names(&target), [".scrimcheck", "a", "b"]);
    let read = |n: &str| fs::read_to_string(target.join(n)).unwrap();
    assert_eq!(read("a"), read("b/c"));
    assert_eq!(names(dir.path()), ["r"]);
}

#[test]
fn a_report_inside_a_folder_of_ours_is_ours_too() {
    let dir = tempfile::tempdir().unwrap();
    let demo = dir.path().join("demo");
    report(&demo, false, &[("session.toml", "1")]).unwrap();
    report(&demo.join("report"), false, &[("result.json", "1")]).unwrap();
    report(&demo, false, &[("session.toml", "2")]).unwrap();
    assert_eq!(names(&demo), [".scrimcheck", "session.toml"]);
}

#[cfg(unix)]
#[test]
fn a_link_in_the_folder_is_a_file_of_somebody_else() {
    let dir = tempfile::tempdir().unwrap();
    let outside = dir.path().join("outside");
    fs::create_dir(&outside).unwrap();
    fs::write(outside.join("precious"), "mine").unwrap();
    let target = dir.path().join("r");
    report(&target, false, &[("a", "1")]).unwrap();
    std::os::unix::fs::symlink(&outside, target.join("b")).unwrap();
    assert!(matches!(report(&target, false, &[]), Err(ReportError::Foreign { .. })));
    report(&target, true, &[("b/c", "2")]).unwrap();
    assert_eq!(names(&outside), ["precious"]);
    assert_eq!(names(&target), [".scrimcheck", "b", "kept-b"]);
    assert_eq!(names(&target.join("kept-b")), ["precious"]);
    assert_eq!(names(&target.join("b")), ["c"]);
}
