//! The manifest as text: safe to parse, and able to point at any key.

use super::refusal::ManifestRefusal;
use crate::ingest::error::IngestError;
use crate::ingest::regular::{NotOpened, open_regular};
use std::io::Read;
use std::ops::Range;
use std::path::{Path, PathBuf};
use toml::Spanned;
use toml::de::{DeTable, DeValue};

/// Largest text file of a session, bytes.
pub(crate) const MAX_TEXT_BYTES: u64 = 1 << 20;

/// Deepest nesting of lists and tables. The deepest of the manifest is 4.
const MAX_DEPTH: usize = 32;

/// The manifest's text, kept so that a refusal can show the line.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ManifestText {
    /// The file, as shown to people.
    pub path: PathBuf,
    /// Its text, without a byte-order mark.
    pub text: String,
}

impl ManifestText {
    /// A refusal at `place`, a path of keys and positions such as
    /// `seat[2].position_m` (positions count from 0). Where the place is not written
    /// in the manifest, the caret stands at the nearest table around it.
    pub fn refuse(
        &self,
        place: &str,
        problem: impl Into<String>,
        advice: impl Into<String>,
    ) -> IngestError {
        self.refuse_span(self.span_of(place), problem, advice)
    }

    /// A refusal at the bytes `span` of the text.
    pub(super) fn refuse_span(
        &self,
        span: Range<usize>,
        problem: impl Into<String>,
        advice: impl Into<String>,
    ) -> IngestError {
        Box::new(ManifestRefusal::at(self.path.clone(), &self.text, span, problem, advice)).into()
    }

    /// Line of `place`, counted from 1.
    pub(crate) fn line_of(&self, place: &str) -> usize {
        self.text[..self.span_of(place).start].matches('\n').count() + 1
    }

    /// Bytes of the value at `place`, or of the nearest table around it.
    fn span_of(&self, place: &str) -> Range<usize> {
        // Parsed again only when something is wrong: the tree borrows from the text.
        let Ok(document) = DeTable::parse(&self.text) else { return 0..0 };
        let mut table = Some(document.get_ref());
        let mut list = None;
        let mut span = 0..0;
        for step in place.split(['.', '[']).filter(|s| !s.is_empty()) {
            let found: Option<&Spanned<DeValue<'_>>> = match step.strip_suffix(']') {
                Some(index) => index
                    .parse::<usize>()
                    .ok()
                    .and_then(|i| list.and_then(|l: &toml::de::DeArray<'_>| l.get(i))),
                None => table.and_then(|t| t.get(step)),
            };
            let Some(value) = found else { break };
            span = value.span();
            table = value.get_ref().as_table();
            list = value.get_ref().as_array();
        }
        span
    }
}

/// Reads a text file of a session: regular, at most 1 MiB, UTF-8 with or without a
/// byte-order mark (which is taken off).
///
/// # Errors
/// [`IngestError`] that says what the file is instead; for a missing file
/// [`IngestError::NoFile`] with `advice`.
pub(crate) fn read_text(path: &Path, advice: &str) -> Result<String, IngestError> {
    let read = |source| IngestError::Read { path: path.to_path_buf(), source };
    let unfit = |problem, advice| IngestError::Unfit { path: path.to_path_buf(), problem, advice };
    let (file, n_bytes) = open_regular(path).map_err(|why| match why {
        NotOpened::Missing => {
            IngestError::NoFile { path: path.to_path_buf(), advice: advice.into() }
        }
        NotOpened::NotRegular(found) => IngestError::NotRegular { path: path.to_path_buf(), found },
        NotOpened::Io(source) => read(source),
    })?;
    let mut bytes = Vec::with_capacity(n_bytes.min(MAX_TEXT_BYTES) as usize);
    file.take(MAX_TEXT_BYTES + 1).read_to_end(&mut bytes).map_err(read)?;
    let bytes_read = n_bytes.max(bytes.len() as u64);
    if bytes_read > MAX_TEXT_BYTES {
        let problem = format!("the file has {bytes_read} bytes, at most {MAX_TEXT_BYTES} are read");
        return Err(unfit(problem, "is this the right file?"));
    }
    decode_utf8(bytes).map_err(|problem| unfit(problem, "save the file as UTF-8 text"))
}

fn decode_utf8(mut bytes: Vec<u8>) -> Result<String, String> {
    if bytes.starts_with(&[0xef, 0xbb, 0xbf]) {
        bytes.drain(..3);
    }
    if bytes.starts_with(&[0xff, 0xfe]) || bytes.starts_with(&[0xfe, 0xff]) {
        return Err("this is UTF-16 text, expected UTF-8".into());
    }
    if bytes.contains(&0) {
        return Err("there are zero bytes in this text, as in UTF-16 or a binary file".into());
    }
    String::from_utf8(bytes).map_err(|error| {
        let at = error.utf8_error().valid_up_to();
        let bytes = error.as_bytes();
        let line_start = bytes[..at].iter().rposition(|&b| b == b'\n').map_or(0, |i| i + 1);
        let line = bytes[..at].iter().filter(|&&b| b == b'\n').count() + 1;
        // Up to `at` the bytes are valid.
        let column = String::from_utf8_lossy(&bytes[line_start..at]).chars().count() + 1;
        format!(
            "line {line}, column {column}: byte {:#04x} is not UTF-8, as in text saved in an older encoding (Latin-1, Windows)",
            bytes[at]
        )
    })
}

/// Refuses nesting that no manifest needs, before any parser walks into it.
pub(super) fn check_depth(text: &ManifestText) -> Result<(), IngestError> {
    let bytes = text.text.as_bytes();
    let (mut depth, mut n_dots, mut i) = (0usize, 0usize, 0usize);
    while i < bytes.len() {
        match bytes[i] {
            b'#' => {
                i += bytes[i..].iter().position(|&b| b == b'\n').unwrap_or(bytes.len() - i);
                continue;
            }
            quote @ (b'"' | b'\'') => {
                i = after_string(bytes, i, quote);
                continue;
            }
            b'[' | b'{' => depth += 1,
            b']' | b'}' => depth = depth.saturating_sub(1),
            b'.' => n_dots += 1,
            // A dotted key ends at `=`, a number at a comma, both at the line's end.
            b'\n' | b',' | b'=' => n_dots = 0,
            _ => {}
        }
        if depth.max(n_dots) > MAX_DEPTH {
            return Err(text.refuse_span(
                i..i + 1,
                format!("lists, tables or dotted keys are nested more than {MAX_DEPTH} deep here"),
                "no key of the manifest needs this; remove it",
            ));
        }
        i += 1;
    }
    Ok(())
}

/// Position after the string that opens at `i`.
fn after_string(bytes: &[u8], i: usize, quote: u8) -> usize {
    let triple = bytes[i..].starts_with(&[quote; 3]);
    let mut at = i + if triple { 3 } else { 1 };
    while at < bytes.len() {
        match bytes[at] {
            b'\\' if quote == b'"' => at += 1,
            b'\n' if !triple => return at,
            b if b == quote && !triple => return at + 1,
            b if b == quote && bytes[at..].starts_with(&[quote; 3]) => return at + 3,
            _ => {}
        }
        at += 1;
    }
    bytes.len()
}
