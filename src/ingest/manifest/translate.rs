//! The deserialiser's messages in the installer's words.

use super::text::ManifestText;
use crate::ingest::error::IngestError;
use std::ops::Range;
use toml::Spanned;
use toml::de::{DeTable, DeValue};

/// Turns the deserialiser's message into one for the installer: names the table,
/// the nearest known key, what was expected and found.
pub(super) fn translate(
    text: &ManifestText,
    document: &DeTable<'_>,
    error: &toml::de::Error,
) -> IngestError {
    let message = error.message();
    let span = error.span().unwrap_or(0..0);
    let (table, key) = owner(document, &span);
    let names = backquoted(message);
    let (named, known) = names.split_first().map_or(("", &[][..]), |(f, k)| (*f, k));
    if message.starts_with("unknown field") {
        let is_at_top = document.keys().any(|name| name.span() == span);
        let table = if is_at_top { AT_TOP } else { &table };
        let problem = format!("unknown key `{named}` {table}");
        return text.refuse_span(span, problem, suggest(named, known));
    }
    if message.starts_with("unknown variant") {
        let problem = format!("`{named}` is no word for {}", key.as_deref().unwrap_or("this key"));
        return text.refuse_span(span, problem, suggest(named, known));
    }
    if message.starts_with("missing field") {
        return missing(text, &span, named, &table);
    }
    let subject = key.map_or_else(String::new, |k| format!("{k}: "));
    let problem = mismatch(message).unwrap_or_else(|| message.to_owned());
    text.refuse_span(span, format!("{subject}{problem}"), "")
}

/// The key `missing` is not there.
fn missing(text: &ManifestText, span: &Range<usize>, missing: &str, table: &str) -> IngestError {
    // No table has keys of these names, so one of the three tables is missing.
    if matches!(missing, "session" | "sweep" | "screen") {
        let whole = text.text.len();
        return text.refuse_span(
            whole..whole,
            format!("the table [{missing}] is missing"),
            format!("add a line [{missing}] and its keys; `scrimcheck start` writes an example"),
        );
    }
    text.refuse_span(
        span.start..span.start + first_line(text, span),
        format!("the key `{missing}` is missing {table}"),
        format!("add a line {missing} = ..."),
    )
}

/// A value of another type, range or length than is expected; `None` for other messages.
fn mismatch(message: &str) -> Option<String> {
    ["invalid type: ", "invalid value: ", "invalid length "].into_iter().find_map(|intro| {
        let (found, expected) = message.strip_prefix(intro)?.split_once(", expected ")?;
        let found = match intro {
            "invalid length " => format!("{found} values"),
            _ => found_words(found),
        };
        Some(format!("expected {}, found {found}", expected_words(expected)))
    })
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
