//! One case of the table: how it is written, run and judged.

use super::room::{MANIFEST, good};
use assert_cmd::Command;
use std::collections::BTreeMap;
use std::collections::hash_map::DefaultHasher;
use std::fs;
use std::hash::{Hash, Hasher};
use std::path::{Path, PathBuf};
use std::sync::Mutex;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::time::{Duration, Instant};

/// Most address space of a run, KiB.
const MEMORY_KIB: u64 = 2 << 20;
/// Longest run.
const TIME: Duration = Duration::from_secs(60);
/// A message longer than this is no message.
const MAX_MESSAGE_BYTES: usize = 8000;

/// What must come out.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Class {
    /// Status 3, nothing written.
    Refused,
    /// Status 4, nothing written.
    Unwritten,
    /// Status 2, nothing written.
    Usage,
    /// Done, with a warning that holds the words.
    Warned,
    /// Done.
    Accepted,
}

use Class::{Accepted, Refused, Unwritten, Usage, Warned};

type Spoil = Box<dyn Fn(&Path) + Send + Sync>;

pub struct Case {
    pub name: String,
    /// What is run, in the folder that holds the session `room`.
    arguments: Vec<String>,
    class: Class,
    /// Pieces that the messages must hold: the culprit, what was found, what to do.
    says: &'static [&'static str],
    spoil: Spoil,
    /// What the command makes when it is done, relative to where it runs.
    makes: &'static str,
    /// Statuses that stand for done.
    done: &'static [i32],
    /// Variables set for the command.
    variables: Vec<(&'static str, &'static str)>,
}

impl Case {
    pub fn command(mut self, arguments: &[&str]) -> Self {
        self.arguments = arguments.iter().map(|a| (*a).to_owned()).collect();
        if arguments[0] == "check" {
            // 1: a take is to be made again.
            (self.makes, self.done) = ("", &[0, 1]);
        }
        self
    }

    pub fn makes(mut self, what: &'static str) -> Self {
        self.makes = what;
        self
    }

    pub fn variable(mut self, name: &'static str, value: &'static str) -> Self {
        self.variables.push((name, value));
        self
    }
}

/// `analyze room` after `spoil`, which gets the path of the session.
pub fn case(
    name: impl Into<String>,
    class: Class,
    says: &'static [&'static str],
    spoil: impl Fn(&Path) + Send + Sync + 'static,
) -> Case {
    Case {
        name: name.into(),
        arguments: vec!["analyze".into(), "room".into()],
        class,
        says,
        spoil: Box::new(spoil),
        makes: "room/report",
        done: &[0],
        variables: Vec::new(),
    }
}

/// Replaces a piece of the manifest.
pub fn manifest(
    name: &'static str,
    class: Class,
    from: &'static str,
    to: impl Into<String>,
    says: &'static [&'static str],
) -> Case {
    assert!(MANIFEST.contains(from), "{name}: {from}");
    let text = MANIFEST.replacen(from, &to.into(), 1);
    case(name, class, says, move |d| fs::write(d.join("session.toml"), &text).unwrap())
}

/// Appends to the manifest.
pub fn append(
    name: &'static str,
    class: Class,
    more: impl Into<String>,
    says: &'static [&'static str],
) -> Case {
    let text = format!("{MANIFEST}\n{}", more.into());
    case(name, class, says, move |d| fs::write(d.join("session.toml"), &text).unwrap())
}

/// Files, folders and links below a folder: kind, length, and a hash of contents or target.
pub fn inventory(folder: &Path) -> BTreeMap<PathBuf, (&'static str, u64, u64)> {
    let mut found = BTreeMap::new();
    let mut folders = vec![folder.to_path_buf()];
    while let Some(next) = folders.pop() {
        for entry in fs::read_dir(&next).unwrap() {
            let path = entry.unwrap().path();
            let metadata = path.symlink_metadata().unwrap();
            let mut hasher = DefaultHasher::new();
            let (kind, len) = if metadata.is_dir() {
                folders.push(path.clone());
                ("folder", 0)
            } else if metadata.is_symlink() {
                path.read_link().unwrap().hash(&mut hasher);
                ("link", 0)
            } else if metadata.is_file() {
                // Gigabytes of nothing are told by length and time alone.
                if metadata.len() < 1 << 26 {
                    fs::read(&path).unwrap().hash(&mut hasher);
                }
                metadata.modified().unwrap().hash(&mut hasher);
                ("file", metadata.len())
            } else {
                ("other", 0)
            };
            found.insert(path.strip_prefix(folder).unwrap().into(), (kind, len, hasher.finish()));
        }
    }
    found
}

/// The built command with its limits, running in `folder`.
pub fn scrimcheck(folder: &Path, arguments: &[String]) -> Command {
    let program = assert_cmd::cargo::cargo_bin("scrimcheck");
    let mut command = if cfg!(target_os = "linux") {
        let mut shell = Command::new("sh");
        shell
            .arg("-c")
            .arg(format!("ulimit -v {MEMORY_KIB} && exec \"$@\""))
            .arg("sh")
            .arg(program);
        shell
    } else {
        Command::new(program)
    };
    // Every thread takes address space of its own, so that their number is set too.
    command.env_clear().env("PATH", "/usr/bin:/bin").env("RAYON_NUM_THREADS", "2");
    // Wide, so that words are found though lines are broken.
    command.env("COLUMNS", "4000");
    command.current_dir(folder).timeout(TIME).args(arguments);
    command
}

/// Runs all cases, on two threads, and fails with all that went wrong.
pub fn check_all(cases: &[Case]) {
    let mut names: Vec<&str> = cases.iter().map(|c| c.name.as_str()).collect();
    names.sort_unstable();
    let twice = names.windows(2).find(|w| w[0] == w[1]);
    assert!(twice.is_none(), "two cases of one name: {twice:?}");
    let only = std::env::var("HOSTILE_CASE").ok();
    let (next, wrong) = (AtomicUsize::new(0), Mutex::new(Vec::new()));
    std::thread::scope(|scope| {
        for _ in 0..2 {
            scope.spawn(|| {
                while let Some(case) = cases.get(next.fetch_add(1, Ordering::Relaxed)) {
                    if only.as_ref().is_some_and(|o| !case.name.contains(o.as_str())) {
                        continue;
                    }
                    let faults = run(case);
                    if !faults.is_empty() {
                        let text = format!("{}:\n  {}", case.name, faults.join("\n  "));
                        wrong.lock().unwrap().push(text);
                    }
                }
            });
        }
    });
    let wrong = wrong.into_inner().unwrap();
    assert!(wrong.is_empty(), "{} of {}:\n{}", wrong.len(), cases.len(), wrong.join("\n\n"));
}

fn run(case: &Case) -> Vec<String> {
    let home = tempfile::tempdir().unwrap();
    good(&home.path().join("room"));
    (case.spoil)(&home.path().join("room"));
    let before = inventory(home.path());
    let clock = Instant::now();
    let mut command = scrimcheck(home.path(), &case.arguments);
    command.envs(case.variables.iter().copied());
    let output = command.output().unwrap();
    let elapsed_s = clock.elapsed().as_secs_f64();
    let [stdout, stderr] =
        [&output.stdout, &output.stderr].map(|b| String::from_utf8_lossy(b).into_owned());

    let mut faults = Vec::new();
    let statuses: &[i32] = match case.class {
        Refused => &[3],
        Unwritten => &[4],
        Usage => &[2],
        Warned | Accepted => case.done,
    };
    let is_done = matches!(case.class, Warned | Accepted);
    match output.status.code() {
        Some(code) if statuses.contains(&code) => {}
        other => {
            faults.push(format!("status {other:?} after {elapsed_s:.1} s, want {statuses:?}"));
        }
    }
    let said = if is_done { format!("{stdout}\n{stderr}") } else { stderr.clone() };
    let lacking: Vec<_> = case.says.iter().filter(|part| !said.contains(**part)).collect();
    if !lacking.is_empty() {
        faults.push(format!("lacks {lacking:?}"));
    }
    if !is_done && !stderr.starts_with("error: ") {
        faults.push("does not begin with `error: `".into());
    }
    if !is_done && !stdout.is_empty() {
        faults.push("printed to standard output all the same".into());
    }
    if stderr.len() > MAX_MESSAGE_BYTES {
        faults.push(format!("{} bytes of message", stderr.len()));
    }
    for word in ["panicked", "RUST_BACKTRACE", "internal error", "overflow"] {
        if stderr.contains(word) {
            faults.push(format!("says {word}"));
        }
    }
    let is_bad = |c: char| {
        (c.is_control() && c != '\n')
            || matches!(c, '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}')
    };
    if let Some(c) = said.chars().find(|&c| is_bad(c)) {
        faults.push(format!("prints {c:?}"));
    }
    let mut after = inventory(home.path());
    if is_done && !case.makes.is_empty() {
        if !after.keys().any(|p| p.starts_with(case.makes)) {
            faults.push(format!("made no {}", case.makes));
        }
        after.retain(|p, _| !p.starts_with(case.makes) || before.contains_key(p));
    }
    for (path, what) in &before {
        match after.get(path) {
            None => faults.push(format!("{} is gone", path.display())),
            Some(now) if now != what => faults.push(format!("{} changed", path.display())),
            _ => {}
        }
    }
    for path in after.keys().filter(|p| !before.contains_key(*p)) {
        faults.push(format!("left {} behind", path.display()));
    }
    if !faults.is_empty() {
        let short = |text: &str| text.chars().take(2500).collect::<String>();
        faults.push(format!("stderr: {}", short(&stderr)));
        if is_done {
            faults.push(format!("stdout: {}", short(&stdout)));
        }
    }
    faults
}
