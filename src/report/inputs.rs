//! What a report was made from: `inputs.json` beside `result.json`.
//!
//! It lists every file that the analysis reads, with length, times, number in the file system and
//! a hash of the content, the names in the folders where takes are looked for, the version of the
//! program, and a hash of the `result.json` that came out.
//!
//! **What decides.** Content decides. Length, time of modification, time of change and file number
//! are only a first look: where all of them are what they were, the file is taken to be the same;
//! where any differs, its content is hashed and held against the hash that is written down. A time
//! of change cannot be set by a user, so a file that was exchanged and given its old date is seen.
//! A file that was written less than [`SETTLE_NS`] before the look may have been written again
//! within the same tick of the clock, and is hashed in any case. Where the system tells no time of
//! change and no number, length and time of modification stand alone; a tool that changes a file
//! and sets both back is then not seen.
//!
//! The hash is SipHash-1-3 with 128 bits: it tells files apart, it is no seal against forgery.

use crate::ingest::manifest;
use crate::ingest::session::Session;
use serde::{Deserialize, Serialize};
use siphasher::sip128::{Hasher128, SipHasher13};
use std::collections::BTreeSet;
use std::fs::{self, File, Metadata};
use std::hash::Hasher;
use std::io::{self, Read};
use std::path::{Component, Path, PathBuf};
use std::time::{SystemTime, UNIX_EPOCH};

/// Name of the file in the report folder.
pub const INPUTS_FILE: &str = "inputs.json";
/// Value of `format`.
const FORMAT: &str = "scrimcheck-inputs";
/// Value of `version`.
const VERSION: u32 = 1;
/// The version of this program, as written beside a result.
pub const PROGRAM: &str = env!("CARGO_PKG_VERSION");
/// So long before a look a file must have been written to be trusted by its times, ns: two
/// seconds, the coarsest clock of the usual file systems.
pub const SETTLE_NS: i64 = 2_000_000_000;
/// Times of files are told to this, ns; the clock itself is finer.
const TICK_NS: i64 = 20_000_000;
/// Largest list of inputs that is read, bytes.
const MOST_BYTES: u64 = 4 << 20;

/// What a report was made from.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Inputs {
    format: String,
    version: u32,
    /// Version of the program.
    program: String,
    /// Version of the result document.
    result_version: u32,
    /// Hash of the result document; empty until there is one.
    result_hash: String,
    /// When the files were looked at, ns since 1970.
    looked_ns: i64,
    files: Vec<InputFile>,
    folders: Vec<InputFolder>,
}

/// One file.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
struct InputFile {
    /// Relative to the session folder, `/` between names.
    file: String,
    #[serde(flatten)]
    look: Look,
    hash: String,
}

/// Names in a folder.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
struct InputFolder {
    folder: String,
    names: BTreeSet<String>,
}

/// What the system says of a file without reading it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
struct Look {
    bytes: u64,
    modified_ns: i64,
    changed_ns: Option<i64>,
    number: Option<u64>,
}

/// Why a report is not that of the files that are there.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum Stale {
    /// There is no report, or none that says what it was made from.
    #[error("not analysed yet")]
    NoReport,
    /// It was made by another version of this program.
    #[error("analysed by version {program}, this is {PROGRAM}")]
    OtherVersion {
        /// Which.
        program: String,
    },
    /// Something changed since.
    #[error("{what} changed")]
    Changed {
        /// The file or folder.
        what: String,
    },
}

/// A list that was read and found to hold.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Holds {
    /// By the first look alone.
    AtOnce,
    /// After files were hashed: the list with what the system says now, to be written for the
    /// next time.
    Hashed(Box<Inputs>),
}

impl Inputs {
    /// Looks at everything that the analysis of a session reads. To be called before the analysis;
    /// `opened` is when the opening of the session began.
    ///
    /// # Errors
    /// What the system says of a file that cannot be read; a file that was written after `opened`,
    /// of which it is not known what the session holds.
    pub fn look(session: &Session, opened: SystemTime) -> io::Result<Self> {
        let root = &session.root;
        let looked_ns = now_ns();
        let mut files = Vec::new();
        for file in files_of(session) {
            let path = root.join(&file);
            let look = Look::at(&path)?;
            if look.last_ns() > since_1970_ns(opened) - TICK_NS {
                return Err(io::Error::other("written while it was read"));
            }
            files.push(InputFile { file: slashed(&file), look, hash: hash_file(&path)? });
        }
        let mut folders = vec![String::new(), "takes".to_owned()];
        if let Some(lent) = &session.without_from {
            folders.extend([slashed(&lent.folder), slashed(&lent.folder.join("takes"))]);
        }
        let folders = folders.into_iter().map(|folder| {
            let names = names_in(&root.join(&folder));
            InputFolder { folder, names }
        });
        Ok(Self { looked_ns, files, folders: folders.collect(), ..Self::unknown() })
    }

    /// A list that says nothing: nobody knows what the result was made from, and the next run
    /// analyses again.
    pub fn unknown() -> Self {
        Self {
            format: FORMAT.to_owned(),
            version: VERSION,
            program: PROGRAM.to_owned(),
            result_version: crate::report::result::VERSION,
            result_hash: String::new(),
            looked_ns: 0,
            files: Vec::new(),
            folders: Vec::new(),
        }
    }

    /// The list beside the result document `result`, if nothing changed since [`Inputs::look`]:
    /// else it is not known what the result was made from, and the next run analyses again.
    pub fn with_result(mut self, root: &Path, result: &[u8]) -> Option<Self> {
        let look = |f: &InputFile| Look::at(&root.join(&f.file)).ok();
        let same = self.files.iter().all(|f| look(f) == Some(f.look));
        self.result_hash = hash_bytes(result);
        (same && self.changed_folder(root).is_none()).then_some(self)
    }

    /// The list as text.
    pub fn to_json(&self) -> Vec<u8> {
        // Plain strings and numbers: this cannot fail.
        let mut text = serde_json::to_vec(self).unwrap_or_default();
        text.push(b'\n');
        text
    }

    /// Reads the list in a report folder.
    fn read(report: &Path) -> Option<Self> {
        let mut text = Vec::new();
        let file = File::open(report.join(INPUTS_FILE)).ok()?;
        file.take(MOST_BYTES).read_to_end(&mut text).ok()?;
        let list: Self = serde_json::from_slice(&text).ok()?;
        let inside = |name: &str| is_inside(Path::new(name));
        let plain = list.files.iter().all(|f| inside(&f.file))
            && list.folders.iter().all(|f| f.folder.is_empty() || inside(&f.folder));
        (list.format == FORMAT && !list.files.is_empty() && plain).then_some(list)
    }

    fn changed_folder(&self, root: &Path) -> Option<String> {
        let changed = self.folders.iter().find(|f| names_in(&root.join(&f.folder)) != f.names)?;
        Some(if changed.folder.is_empty() { "the folder" } else { &changed.folder }.to_owned())
    }
}

/// Whether the report in `report` is that of the session in `root` as it is now; `result` is the
/// content of its `result.json`.
///
/// # Errors
/// [`Stale`] with the reason why it is not.
pub fn check(root: &Path, report: &Path, result: &[u8]) -> Result<Holds, Stale> {
    let mut list = Inputs::read(report).ok_or(Stale::NoReport)?;
    let versions = (list.version, list.program.as_str(), list.result_version);
    if versions != (VERSION, PROGRAM, crate::report::result::VERSION) {
        return Err(Stale::OtherVersion { program: list.program });
    }
    if hash_bytes(result) != list.result_hash {
        return Err(Stale::Changed { what: "result.json".into() });
    }
    if let Some(what) = list.changed_folder(root) {
        return Err(Stale::Changed { what });
    }
    let now = now_ns();
    let mut hashed = false;
    for file in &mut list.files {
        let path = root.join(&file.file);
        let changed = || Stale::Changed { what: file.file.clone() };
        let look = Look::at(&path).map_err(|_| changed())?;
        if look == file.look && list.looked_ns - look.last_ns() >= SETTLE_NS {
            continue;
        }
        if look.bytes != file.look.bytes || hash_file(&path).map_err(|_| changed())? != file.hash {
            return Err(changed());
        }
        (file.look, hashed) = (look, true);
    }
    list.looked_ns = now;
    Ok(if hashed { Holds::Hashed(Box::new(list)) } else { Holds::AtOnce })
}

/// Everything that the analysis reads, relative to the session folder.
fn files_of(session: &Session) -> BTreeSet<PathBuf> {
    let m = &session.manifest;
    let mut files: BTreeSet<PathBuf> = session.takes.iter().map(|t| t.file.clone()).collect();
    files.insert(manifest::MANIFEST_FILE.into());
    files.insert(m.sweep.file.clone());
    files.extend(m.recording.calibration_file.clone());
    files.extend(m.handover.logo.clone());
    if let Ok(Some(readings)) = session.readings_file() {
        files.extend(readings.strip_prefix(&session.root).map(Path::to_owned));
    }
    if let Some(lent) = &session.without_from {
        files.insert(lent.folder.join(manifest::MANIFEST_FILE));
        if let Ok((other, _)) = manifest::load(&session.root.join(&lent.folder)) {
            files.insert(lent.folder.join(other.sweep.file));
            files.extend(other.recording.calibration_file.map(|f| lent.folder.join(f)));
        }
    }
    files
}

/// Names in a folder, but for hidden ones and the report.
fn names_in(folder: &Path) -> BTreeSet<String> {
    let entries = fs::read_dir(folder).into_iter().flatten().flatten();
    entries
        .map(|entry| entry.file_name().to_string_lossy().into_owned())
        .filter(|name| !name.starts_with('.') && name != "report")
        .collect()
}

/// Inside the session, or inside the folder of one beside it.
fn is_inside(path: &Path) -> bool {
    let mut steps = path.components().peekable();
    if steps.peek() == Some(&Component::ParentDir) {
        steps.next();
    }
    steps.peek().is_some() && steps.all(|s| matches!(s, Component::Normal(_)))
}

fn slashed(path: &Path) -> String {
    path.to_string_lossy().replace('\\', "/")
}

impl Look {
    fn at(path: &Path) -> io::Result<Self> {
        let data = fs::metadata(path)?;
        if !data.is_file() {
            return Err(io::Error::other("no file"));
        }
        let (changed_ns, number) = of_system(&data);
        Ok(Self {
            bytes: data.len(),
            modified_ns: since_1970_ns(data.modified()?),
            changed_ns,
            number,
        })
    }

    /// When the file was last touched, ns since 1970.
    fn last_ns(&self) -> i64 {
        self.changed_ns.unwrap_or(self.modified_ns)
    }
}

/// Time of change in ns, and number in the file system.
#[cfg(unix)]
fn of_system(data: &Metadata) -> (Option<i64>, Option<u64>) {
    use std::os::unix::fs::MetadataExt;
    let changed = data.ctime() * 1_000_000_000 + data.ctime_nsec();
    (Some(changed), Some(data.ino()))
}

#[cfg(not(unix))]
fn of_system(_: &Metadata) -> (Option<i64>, Option<u64>) {
    (None, None)
}

fn now_ns() -> i64 {
    since_1970_ns(SystemTime::now())
}

fn since_1970_ns(time: SystemTime) -> i64 {
    match time.duration_since(UNIX_EPOCH) {
        Ok(after) => after.as_nanos() as i64,
        Err(before) => -(before.duration().as_nanos() as i64),
    }
}

fn hash_file(path: &Path) -> io::Result<String> {
    let mut file = File::open(path)?;
    let mut hasher = SipHasher13::new();
    let mut block = vec![0; 1 << 16];
    loop {
        match file.read(&mut block)? {
            0 => return Ok(in_hex(&hasher)),
            n => hasher.write(&block[..n]),
        }
    }
}

fn hash_bytes(bytes: &[u8]) -> String {
    let mut hasher = SipHasher13::new();
    hasher.write(bytes);
    in_hex(&hasher)
}

fn in_hex(hasher: &SipHasher13) -> String {
    format!("{:032x}", hasher.finish128().as_u128())
}

#[cfg(test)]
#[path = "inputs/tests.rs"]
mod tests;
