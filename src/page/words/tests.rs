use super::*;
use std::collections::BTreeSet;
use std::fs;
use std::path::Path;

/// Keys stand in quotes after one of these in scripts, templates and sources.
const BEFORE: [&str; 7] =
    ["say(\"", "word(\"", "fill(\"", "{{", "label: \"", "hint: \"", "blank: \""];
/// Families whose keys also stand alone in quotes.
const FAMILIES: [&str; 5] = ["rec", "error", "level", "next", "terminal"];

/// Scripts, templates and sources of the page as one text.
fn sources() -> String {
    let mut text = String::new();
    let mut folders = vec![Path::new(env!("CARGO_MANIFEST_DIR")).join("src/page")];
    while let Some(folder) = folders.pop() {
        for entry in fs::read_dir(folder).unwrap() {
            let path = entry.unwrap().path();
            if path.is_dir() {
                folders.push(path);
            } else if !path.ends_with("words/en.json") && !path.ends_with("words/tests.rs") {
                text += &fs::read_to_string(path).unwrap();
            }
        }
    }
    text
}

/// Every key that is used has a word, and every word is used.
#[test]
fn keys_and_words_belong_together() {
    let text = sources();
    let known: BTreeSet<&str> = words().keys().map(String::as_str).collect();
    let is_key = |key: &&str| {
        let plain = |b: u8| b.is_ascii_alphanumeric() || b == b'_' || b == b'.';
        key.contains('.') && key.bytes().all(plain) && !key.ends_with('.')
    };
    let until = |rest: &'static str| move |c: char| rest.contains(c);
    let asked = BEFORE.iter().flat_map(|before| text.split(before).skip(1));
    let mut asked: BTreeSet<String> = asked
        .filter_map(|rest| rest.split(until("\"}")).next())
        .filter(is_key)
        .map(str::to_owned)
        .collect();
    for family in FAMILIES {
        let rests =
            text.split(&format!("\"{family}.")).skip(1).map(str::to_owned).collect::<Vec<_>>();
        let keys = rests.iter().filter_map(|rest| rest.split('"').next());
        asked.extend(keys.map(|key| format!("{family}.{key}")).filter(|key| is_key(&key.as_str())));
    }
    assert!(asked.len() > 200, "only {} keys were found", asked.len());
    let missing: Vec<_> = asked.iter().filter(|key| !known.contains(key.as_str())).collect();
    assert!(missing.is_empty(), "no word for {missing:?}");
    let is_used = |key: &str| {
        let family = key.split('.').next().unwrap_or_default();
        // As a part of a template: `verdict.${...}`, `field.wrong_${...}`.
        let mut starts = key.match_indices(['.', '_']).map(|(at, _)| &key[..=at]);
        text.contains(&format!("\"{key}\""))
            || text.contains(&format!("{{{{{key}}}}}"))
            || starts.any(|start| text.contains(&format!("`{start}$")))
            || text.contains(&format!("f(\"{family}\")"))
    };
    let unused: Vec<_> = known.iter().filter(|key| !is_used(key)).collect();
    assert!(unused.is_empty(), "nobody says {unused:?}");
}

#[test]
fn values_go_in() {
    assert_eq!(fill("nothing.{a}", &[("a", "b")]), "nothing.b");
}
