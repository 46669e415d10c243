//! Everything that the page says, in one file for each language.

use std::collections::BTreeMap;
use std::sync::OnceLock;

/// The English words; the scripts get the same file.
pub(super) const ENGLISH: &str = include_str!("words/en.json");

fn words() -> &'static BTreeMap<String, String> {
    static WORDS: OnceLock<BTreeMap<String, String>> = OnceLock::new();
    // UNWRAP: the file is part of the program, and the tests read it.
    WORDS.get_or_init(|| serde_json::from_str(ENGLISH).expect("words/en.json is a flat object"))
}

/// The word of a key; the key itself where there is none, which a test rules out.
pub(super) fn word(key: &str) -> &str {
    words().get(key).map_or(key, String::as_str)
}

/// The word of a key with `{name}` replaced by values.
pub(super) fn fill(key: &str, values: &[(&str, &str)]) -> String {
    values.iter().fold(word(key).to_owned(), |text, (name, value)| {
        text.replace(&format!("{{{name}}}"), value)
    })
}

#[cfg(test)]
mod tests;
