//! Findings are data and sentences are made in `report/words`: no sentence stands in what measures.

use std::fs;
use std::path::{Path, PathBuf};

fn sources(folder: &Path) -> Vec<PathBuf> {
    let mut found = Vec::new();
    for entry in fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        let name = path.file_stem().unwrap().to_string_lossy().into_owned();
        // What tests say is said to developers.
        if path.is_dir() {
            found.extend(sources(&path));
        } else if path.extension().is_some_and(|e| e == "rs") && name != "tests" {
            found.push(path);
        }
    }
    found
}

/// Texts between quotes, with line ends and the blanks after them taken out where the line goes
/// on; comments, tests and messages of error types are left out.
fn texts(source: &str) -> Vec<String> {
    let code = source.split("#[cfg(test)]").next().unwrap();
    let mut texts = Vec::new();
    let mut error_message = false;
    let (mut chars, mut text) = (code.chars().peekable(), None::<String>);
    let mut before = String::new();
    while let Some(c) = chars.next() {
        match (&mut text, c) {
            (None, '/') if chars.peek() == Some(&'/') => {
                while chars.next().is_some_and(|c| c != '\n') {}
            }
            (None, '\'') => {
                // A character, which may be a quote, or a lifetime.
                let next = chars.next();
                if next == Some('\\') || chars.peek() == Some(&'\'') {
                    while chars.next().is_some_and(|c| c != '\'') {}
                }
            }
            (None, '"') => {
                error_message = before.trim_end().ends_with("#[error(");
                text = Some(String::new());
            }
            (None, c) => {
                before.push(c);
                if before.len() > 64 {
                    before = before.chars().skip(32).collect();
                }
            }
            (Some(_), '"') => {
                let finished = text.take().unwrap();
                if !error_message {
                    texts.push(finished);
                }
                before.clear();
            }
            (Some(text), '\\') => match chars.next() {
                Some('\n') => {
                    while chars.peek().is_some_and(|c| c.is_whitespace()) {
                        chars.next();
                    }
                }
                Some(escaped) => text.push(escaped),
                None => {}
            },
            (Some(text), c) => text.push(c),
        }
    }
    texts
}

/// A capital or a figure first, a full stop last, and some words between.
fn is_sentence(text: &str) -> bool {
    let text = text.trim();
    let starts = text.starts_with(|c: char| c.is_uppercase() || c == '{');
    let words = text.split_whitespace().filter(|w| w.chars().all(char::is_alphabetic)).count();
    starts && text.ends_with('.') && words >= 3
}

#[test]
fn sentences_are_told_from_parts_and_errors() {
    let source = r##"
        // "A comment is no sentence here."
        #[error("The file {name} cannot be read.")]
        let quote = '"';
        let a = "The screen takes \
                 {loss} at most.";
        let b = "a number above 0";
        #[cfg(test)]
        let c = "This one is said by a test.";
    "##;
    let found: Vec<String> = texts(source).into_iter().filter(|t| is_sentence(t)).collect();
    assert_eq!(found, ["The screen takes {loss} at most."]);
}

#[test]
fn what_measures_makes_no_sentences() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let mut files = sources(&root.join("analysis"));
    files.extend(sources(&root.join("transfer")));
    files.extend(sources(&root.join("ingest/takes")));
    files.push(root.join("ingest/open.rs"));
    files.push(root.join("ingest/session.rs"));
    assert!(files.len() > 50, "only {} files", files.len());
    let mut found = String::new();
    for file in files {
        let source = fs::read_to_string(&file).unwrap();
        for text in texts(&source).into_iter().filter(|t| is_sentence(t)) {
            found += &format!("{}: {text}\n", file.strip_prefix(&root).unwrap().display());
        }
    }
    assert!(found.is_empty(), "these belong to src/report/words:\n{found}");
}
