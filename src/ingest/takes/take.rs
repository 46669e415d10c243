//! One recording in the list of a session.

use crate::ingest::manifest::{Condition, SoundSource};
use std::path::PathBuf;

/// One recording in the list of the session; its samples stay on disk.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Take {
    /// Index into `manifest.seat`.
    pub seat: usize,
    /// Screen state.
    pub condition: Condition,
    /// Microphone placement.
    pub spot: u32,
    /// Loudspeaker that played.
    pub source: SoundSource,
    /// Whether the sweep was played 10 dB lower: it shows that the chain is linear, and no loss
    /// rests on it.
    pub quiet: bool,
    /// File relative to the session folder, as shown to people.
    pub file: PathBuf,
}

/// Order of a session's takes: seat, condition, source, quiet, spot, file.
pub(super) fn sort(takes: &mut [Take]) {
    let key = |t: &Take| (t.seat, t.condition, t.source, t.quiet, t.spot);
    takes.sort_by(|a, b| key(a).cmp(&key(b)).then_with(|| a.file.cmp(&b.file)));
}
