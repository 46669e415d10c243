//! Reading the manifest: text, syntax, keys and types; then `check` for the meaning.

use super::text::{ManifestText, check_depth, check_values, read_text};
use super::{Manifest, check};
use crate::ingest::error::IngestError;
use crate::ingest::takes::paths::inside;
use std::ops::Range;
use std::path::Path;
use toml::Spanned;
use toml::de::{DeTable, DeValue};

/// Name of the manifest in a session folder.
pub const MANIFEST_FILE: &str = "session.toml";

/// Reads and checks `session.toml` in `root`.
///
/// # Errors
/// [`IngestError`]: no such folder or file, not UTF-8, above 1 MiB, and with line,
/// column and caret every broken rule of syntax, keys, types and ranges.
pub fn load(root: &Path) -> Result<(Manifest, ManifestText), IngestError> {
    match std::fs::metadata(root) {
        Ok(m) if m.is_dir() => {}
        Ok(m) => {
            let found =
                if m.is_file() { "file" } else { crate::ingest::wav::kind_name(m.file_type()) };
            return Err(IngestError::NotAFolder { path: root.to_path_buf(), found });
        }
        Err(source)
            if matches!(
                source.kind(),
                std::io::ErrorKind::NotFound | std::io::ErrorKind::NotADirectory
            ) =>
        {
            return Err(IngestError::NoFolder { path: root.to_path_buf() });
        }
        Err(source) => return Err(IngestError::Read { path: root.to_path_buf(), source }),
    }
    let path = root.join(MANIFEST_FILE);
    match inside(root, Path::new(MANIFEST_FILE), "") {
        Err(IngestError::NoFile { .. }) => {
            return Err(IngestError::NoManifest { path: root.to_path_buf() });
        }
        other => other?,
    };
    let text = read_text(&path, "")?;
    let text = ManifestText { path, text };
    let manifest = parse(&text)?;
    Ok((manifest, text))
}

/// Parses and checks the text of a manifest.
///
/// # Errors
/// [`IngestError::Manifest`] with the place.
pub fn parse(text: &ManifestText) -> Result<Manifest, IngestError> {
    if text.text.trim().is_empty() {
        return Err(text.refuse_span(
            0..0,
            "the manifest is empty",
            "`scrimcheck start` writes one with every key explained",
        ));
    }
    check_depth(text)?;
    let document = DeTable::parse(&text.text).map_err(|error| {
        text.refuse_span(
            error.span().unwrap_or(0..0),
            format!("this is not valid TOML: {}", error.message()),
            "",
        )
    })?;
    check_values(text, document.get_ref())?;
    let manifest: Manifest =
        toml::from_str(&text.text).map_err(|error| translate(text, document.get_ref(), &error))?;
    check::check(&manifest, text)?;
    Ok(manifest)
}

/// Turns the deserialiser's message into one for the installer: names the table,
/// the nearest known key, what was expected and found.
fn translate(text: &ManifestText, document: &DeTable<'_>, error: &toml::de::Error) -> IngestError {
    let message = error.message();
    let span = error.span().unwrap_or(0..0);
    let (table, key) = owner(document, &span);
    let names = backquoted(message);
    if message.starts_with("unknown field") {
        let (found, known) = names.split_first().map_or(("", &names[..]), |(f, k)| (*f, k));
        let table = key_table(document, &span).unwrap_or(table);
        return text.refuse_span(
            span,
            format!("unknown key `{found}` {table}"),
            suggest(found, known),
        );
    }
    if message.starts_with("unknown variant") {
        let (found, known) = names.split_first().map_or(("", &names[..]), |(f, k)| (*f, k));
        return text.refuse_span(
            span,
            format!("`{found}` is no word for {}", key.as_deref().unwrap_or("this key")),
            suggest(found, known),
        );
    }
    if message.starts_with("missing field") {
        let missing = names.first().copied().unwrap_or("");
        // No table has keys of these names, so one of the three tables is missing.
        return if matches!(missing, "session" | "sweep" | "screen") {
            let whole = text.text.len();
            text.refuse_span(
                whole..whole,
                format!("the table [{missing}] is missing"),
                format!(
                    "add a line [{missing}] and its keys; `scrimcheck start` writes an example"
                ),
            )
        } else {
            let place = span.start..span.start + first_line(text, &span);
            text.refuse_span(
                place,
                format!("the key `{missing}` is missing {table}"),
                format!("add a line {missing} = ..."),
            )
        };
    }
    let subject = key.map_or_else(String::new, |k| format!("{k}: "));
    for intro in ["invalid type: ", "invalid value: ", "invalid length "] {
        if let Some((found, expected)) =
            message.strip_prefix(intro).and_then(|rest| rest.split_once(", expected "))
        {
            let found = if intro == "invalid length " {
                format!("{found} values")
            } else {
                found_words(found)
            };
            let expected = expected_words(expected);
            return text.refuse_span(
                span,
                format!("{subject}expected {expected}, found {found}"),
                "",
            );
        }
    }
    text.refuse_span(span, format!("{subject}{message}"), "")
}

const AT_TOP: &str = "at the top of the manifest";

/// Bytes of the first line of `span`.
fn first_line(text: &ManifestText, span: &Range<usize>) -> usize {
    text.text.get(span.clone()).map_or(1, |s| s.lines().next().unwrap_or("").len().max(1))
}

/// The innermost table around `span`, in words, and the key whose value holds it.
fn owner(document: &DeTable<'_>, span: &Range<usize>) -> (String, Option<String>) {
    let mut words = AT_TOP.to_owned();
    let mut key = None;
    descend(document, "", span, &mut words, &mut key);
    (words, key)
}

fn descend(
    table: &DeTable<'_>,
    prefix: &str,
    span: &Range<usize>,
    words: &mut String,
    key: &mut Option<String>,
) {
    for (name, value) in table.iter() {
        let path = if prefix.is_empty() {
            name.get_ref().to_string()
        } else {
            format!("{prefix}.{}", name.get_ref())
        };
        match value.get_ref() {
            DeValue::Table(inner) if holds(value, span) => {
                *words = format!("in [{path}]");
                *key = (value.span() == *span).then(|| path.clone());
                descend(inner, &path, span, words, key);
            }
            DeValue::Array(list) if list.iter().any(|i| i.get_ref().is_table()) => {
                for (i, item) in list.iter().enumerate() {
                    if let DeValue::Table(inner) = item.get_ref()
                        && holds(item, span)
                    {
                        *words = format!("in [[{path}]] number {}", i + 1);
                        *key = None;
                        descend(inner, &path, span, words, key);
                    }
                }
                if value.span() == *span {
                    *key = Some(path);
                }
            }
            _ if value.span().start <= span.start && span.end <= value.span().end => {
                *key = Some(path);
            }
            _ => {}
        }
    }
}

/// Whether a table's own header or any of its keys or values holds `span`. A table's
/// span covers its header only, so its content is asked too.
fn holds(value: &Spanned<DeValue<'_>>, span: &Range<usize>) -> bool {
    let covers = |outer: Range<usize>| outer.start <= span.start && span.end <= outer.end;
    covers(value.span())
        || match value.get_ref() {
            DeValue::Table(table) => {
                table.iter().any(|(name, inner)| covers(name.span()) || holds(inner, span))
            }
            DeValue::Array(list) => list.iter().any(|item| holds(item, span)),
            _ => false,
        }
}

/// The table that has a key at exactly `span`, in words.
fn key_table(document: &DeTable<'_>, span: &Range<usize>) -> Option<String> {
    let at_top = document.keys().any(|name| name.span() == *span);
    at_top.then(|| AT_TOP.to_owned())
}

/// The names between backquotes, in order.
fn backquoted(message: &str) -> Vec<&str> {
    message.split('`').skip(1).step_by(2).collect()
}

/// "did you mean" the nearest known word, and all known words where they are few.
pub(crate) fn suggest(found: &str, known: &[&str]) -> String {
    let all = known.iter().map(|k| format!("`{k}`")).collect::<Vec<_>>().join(", ");
    match nearest(found, known) {
        Some(near) if known.len() > 6 => format!("did you mean `{near}`? known here: {all}"),
        Some(near) => format!("did you mean `{near}`? expected one of {all}"),
        None if known.len() == 1 => format!("expected {all}"),
        None if known.is_empty() => "remove it".into(),
        None => format!("expected one of {all}"),
    }
}

/// The known word most like `found`, where one is like it at all.
pub(crate) fn nearest<'a>(found: &str, known: &[&'a str]) -> Option<&'a str> {
    let lower = found.to_lowercase();
    known
        .iter()
        .map(|k| (strsim::jaro_winkler(&lower, &k.to_lowercase()), *k))
        .filter(|(likeness, _)| *likeness > 0.75)
        .max_by(|a, b| a.0.total_cmp(&b.0))
        .map(|(_, k)| k)
}

/// The deserialiser's word for a type, as an installer would say it.
fn expected_words(expected: &str) -> String {
    match expected {
        "f64" => "a number".into(),
        "u8" | "u16" | "u32" | "u64" | "usize" => "a whole number, not negative".into(),
        "a string" | "string" => "text in quotes".into(),
        "path string" => "a file name in quotes".into(),
        "a boolean" => "true or false".into(),
        "a sequence" => "a list in [ ]".into(),
        "a TOML datetime" => "a date as 2026-03-14, without quotes".into(),
        "an array of length 2" => "a list of 2 numbers".into(),
        "an array of length 3" => "a list of 3 numbers".into(),
        other if other.starts_with("struct ") => "a table".into(),
        other => other.into(),
    }
}

/// What was found, without the deserialiser's type names.
fn found_words(found: &str) -> String {
    for (theirs, ours) in [
        ("string ", "the text "),
        ("integer ", "the number "),
        ("floating point ", "the number "),
        ("boolean ", ""),
    ] {
        if let Some(value) = found.strip_prefix(theirs) {
            return format!("{ours}{}", value.trim_matches('`'));
        }
    }
    match found {
        "map" => "a table".into(),
        "sequence" => "a list".into(),
        other => other.into(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const GOOD: &str = r#"
[session]
title = "Barn"
date = 2026-03-14
temperature_c = { without = 20.5, with = 21 }
[sweep]
file = "sweep.wav"
start_hz = 20
stop_hz = 20000.0
duration_s = 5.0
[screen]
construction = "woven"
gap_m = 0.065
[[claim]]
quantity = "maximum_loss"
band_hz = [500, 16000]
limit_db = 3.0
[[claim]]
quantity = "loss_curve"
points = [{ hz = 1000, loss_db = 0.5 }, { hz = 10000, loss_db = 2 }]
tolerance_db = 1
[[claim]]
quantity = "gain_at_angle"
angle_deg = 45
minimum = 0.8
[[seat]]
id = "R1C"
position_m = [3.15, 0.0, 1.1]
[[seat]]
id = "R1L"
weight = 0
[correction]
frequency_step = "iso_1_12"
[handover]
units = "imperial"
"#;

    fn parsed(text: &str) -> Result<Manifest, String> {
        let text = ManifestText { path: "session.toml".into(), text: text.into() };
        parse(&text).map_err(|e| e.to_string())
    }

    /// Replaces `from` once and returns the refusal, its line and what is underlined.
    fn refusal(from: &str, to: &str) -> (String, usize, String) {
        assert_eq!(GOOD.matches(from).count(), 1, "{from}");
        let text = GOOD.replacen(from, to, 1);
        let message = parsed(&text).map(|_| ()).expect_err(to);
        let lines: Vec<&str> = message.lines().collect();
        let number = lines[0].split("line ").nth(1).unwrap().split(',').next().unwrap();
        let caret = lines[3];
        let first = caret.chars().position(|c| c == '^').unwrap();
        let n = caret.chars().filter(|&c| c == '^').count();
        let marked = lines[2].chars().skip(first).take(n).collect();
        (message.clone(), number.parse().unwrap(), marked)
    }

    #[test]
    fn a_good_manifest_is_taken_whatever_its_line_ends() {
        let manifest = parsed(GOOD).unwrap();
        assert_eq!(manifest.screen.gap_m, Some(0.065));
        assert_eq!(manifest.claim.len(), 3);
        assert_eq!(manifest.seat[1].weight, 0.0);
        parsed(&GOOD.replace('\n', "\r\n")).unwrap();
    }

    #[test]
    fn keys_types_and_words_are_refused_at_their_place() {
        for (from, to, part, line, marked) in [
            ("gap_m = 0.065", "gap_mm = 65", "unknown key `gap_mm` in [screen]", 13, "gap_mm"),
            ("gap_m = 0.065", "gap_mm = 65", "did you mean `gap_m`?", 13, "gap_mm"),
            ("weight = 0", "wait = 0", "unknown key `wait` in [[seat]] number 2", 31, "wait"),
            ("[handover]", "[hanover]", "did you mean `handover`?", 34, "hanover"),
            ("[handover]", "[hanover]", "unknown key `hanover` at the top", 34, "hanover"),
            (
                "gap_m = 0.065",
                "gap_m = \"65 mm\"",
                "screen.gap_m: expected a number, found the text \"65 mm\"",
                13,
                "\"65 mm\"",
            ),
            (
                "id = \"R1L\"",
                "id = 7",
                "seat.id: expected text in quotes, found the number 7",
                30,
                "7",
            ),
            ("file = \"sweep.wav\"", "file = 3", "expected a file name in quotes", 7, "3"),
            ("\"woven\"", "\"wowen\"", "did you mean `woven`?", 12, "\"wowen\""),
            (
                "\"maximum_loss\"",
                "\"max_loss\"",
                "did you mean `maximum_loss`?",
                15,
                "\"max_loss\"",
            ),
            (
                "[500, 16000]",
                "[500]",
                "claim.band_hz: expected a list of 2 numbers, found 1 values",
                16,
                "[500]",
            ),
            (
                "[500, 16000]",
                "[500, \"16k\"]",
                "expected a number, found the text \"16k\"",
                16,
                "\"16k\"",
            ),
            ("title = \"Barn\"\n", "", "the key `title` is missing in [session]", 2, "[session]"),
            ("id = \"R1L\"\n", "", "the key `id` is missing in [[seat]] number 2", 29, "[[seat]]"),
            (
                "{ hz = 1000, loss_db = 0.5 }",
                "{ hz = 1000 }",
                "the key `loss_db` is missing",
                20,
                "{ hz = 1000 }",
            ),
            (
                "{ without = 20.5, with = 21 }",
                "\"warm\"",
                "a number for each condition",
                5,
                "\"warm\"",
            ),
            ("2026-03-14", "\"14.3.26\"", "session.date", 4, "\"14.3.26\""),
            ("gap_m = 0.065", "gap_m = ", "not valid TOML", 13, " "),
            ("gap_m = 0.065", "gap_m = 1\ngap_m = 2", "duplicate key", 14, "gap_m"),
        ] {
            let (message, found_line, found_marked) = refusal(from, to);
            assert!(message.contains(part), "{to}:\n{message}\nlacks {part}");
            assert_eq!(found_line, line, "{message}");
            assert!(found_marked == marked || marked == " ", "{message}");
        }
        let message = parsed(&GOOD.replace("[screen]", "[other]")).err().unwrap();
        assert!(
            message.contains("did you mean `sweep`") || message.contains("unknown key `other`"),
            "{message}"
        );
        let without_screen =
            GOOD.replace("[screen]\nconstruction = \"woven\"\ngap_m = 0.065\n", "");
        let message = parsed(&without_screen).err().unwrap();
        assert!(message.contains("the table [screen] is missing"), "{message}");
    }

    #[test]
    fn meanings_are_refused_at_their_place() {
        for (from, to, part, line, marked) in [
            ("gap_m = 0.065", "gap_m = 0.0", "gap_m is 0, expected above 0 to 5 m", 13, "0.0"),
            ("gap_m = 0.065", "gap_m = 5.001", "gap_m is 5.001", 13, "5.001"),
            ("gap_m = 0.065", "gap_m = nan", "expected a finite number, found nan", 13, "nan"),
            ("gap_m = 0.065", "gap_m = -inf", "found -inf", 13, "-inf"),
            ("gap_m = 0.065", "gap_m = 1e999", "found 1e999", 13, "1e999"),
            ("3.15, 0.0, 1.1", "3.15, nan, 1.1", "finite", 28, "nan"),
            ("3.15, 0.0, 1.1", "3.15, 0.0, 1100", "position_m, value 3, is 1100", 28, "1100"),
            (
                "id = \"R1L\"",
                "id = \"R1C\"",
                "seat R1C is already there, in line 27",
                30,
                "\"R1C\"",
            ),
            ("id = \"R1L\"", "id = \"\"", "at least one visible character", 30, "\"\""),
            ("id = \"R1L\"", "id = \"a\\u202eb\"", "\\u{202e}", 30, "\"a\\u202eb\""),
            (
                "title = \"Barn\"",
                "title = \"a\\u001b[2J\"",
                "control character",
                3,
                "\"a\\u001b[2J\"",
            ),
            ("weight = 0", "weight = -1", "weight is -1", 31, "-1"),
            ("[500, 16000]", "[16000, 500]", "lower value first", 16, "[16000, 500]"),
            ("limit_db = 3.0\n", "", "needs the key `limit_db`", 15, "\"maximum_loss\""),
            (
                "limit_db = 3.0",
                "limit_db = 3.0\nminimum = 1",
                "does not use the key `minimum`",
                18,
                "1",
            ),
            ("angle_deg = 45\n", "", "needs the key `angle_deg`", 23, "\"gain_at_angle\""),
            ("minimum = 0.8\n", "", "needs `minimum` or `maximum`", 23, "\"gain_at_angle\""),
            ("minimum = 0.8\n", "limit_db = 1\n", "does not use the key `limit_db`", 25, "1"),
            ("hz = 10000", "hz = 1000.0", "expected rising frequencies", 20, "1000.0"),
            ("tolerance_db = 1\n", "", "needs the key `tolerance_db`", 19, "\"loss_curve\""),
            ("start_hz = 20\n", "start_hz = 15000\n", "at least one octave", 9, "20000.0"),
            ("stop_hz = 20000.0", "stop_hz = 96001", "stop_hz is 96001", 9, "96001"),
            ("duration_s = 5.0", "duration_s = 0.1", "duration_s is 0.1", 10, "0.1"),
            ("\"sweep.wav\"", "\"../sweep.wav\"", "leads out of the folder", 7, "\"../sweep.wav\""),
            ("\"sweep.wav\"", "\"/sweep.wav\"", "absolute", 7, "\"/sweep.wav\""),
            ("\"iso_1_12\"", "\"iso_1_13\"", "did you mean `iso_1_", 33, "\"iso_1_13\""),
        ] {
            let (message, found_line, found_marked) = refusal(from, to);
            assert!(message.contains(part), "{to}:\n{message}\nlacks {part}");
            assert_eq!((found_line, found_marked.as_str()), (line, marked), "{message}");
        }
        // The other side of the limits.
        for (from, to) in [
            ("gap_m = 0.065", "gap_m = 5"),
            ("[500, 16000]", "[500, 500]"),
            ("duration_s = 5.0", "duration_s = 0.2"),
        ] {
            parsed(&GOOD.replacen(from, to, 1)).unwrap();
        }
    }

    #[test]
    fn a_listed_take_needs_a_known_seat() {
        let text =
            format!("{GOOD}\n[[take]]\nseat = \"R1c\"\ncondition = \"with\"\nfile = \"a.wav\"\n");
        let message = parsed(&text).err().unwrap();
        assert!(
            message.contains("no seat is called `R1c`") && message.contains("`R1C`"),
            "{message}"
        );
    }

    #[test]
    fn deep_nesting_and_huge_counts_are_refused_before_they_hurt() {
        for deep in [
            format!("a = {}1{}", "[".repeat(10_000), "]".repeat(10_000)),
            format!("a = {}1{}", "{ a = ".repeat(10_000), "}".repeat(10_000)),
            format!("{}a = 1", "a.".repeat(10_000)),
            format!("[{}a]", "a.".repeat(10_000)),
            format!("a = {}", "[".repeat(500_000)),
        ] {
            let message = parsed(&deep).err().unwrap();
            assert!(message.contains("nested more than 32"), "{}", &message[..200]);
        }
        // Brackets and dots inside text and comments are no nesting.
        let harmless =
            format!("# {0}\n{GOOD}\n", "[.".repeat(100)).replacen("Barn", &"[.{".repeat(100), 1);
        parsed(&harmless).unwrap();
        let seats: String = (0..1001).map(|i| format!("[[seat]]\nid = \"S{i}\"\n")).collect();
        assert!(parsed(&format!("{GOOD}{seats}")).err().unwrap().contains("at most 1000"));
        assert!(parsed("").err().unwrap().contains("empty"));
        let long = format!("id = \"{}\"", "x".repeat(65));
        assert!(refusal("id = \"R1L\"", &long).0.contains("at most 64"));
    }
}
