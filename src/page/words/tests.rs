use super::*;
use std::collections::BTreeSet;
use std::fs;
use std::path::Path;

/// Keys that stand in quotes after one of these in scripts, templates and sources.
const BEFORE: [&str; 8] =
    ["say(\"", "word(\"", "fill(\"", "Refusal::say(StatusCode::", "{{", "words: \"", "key: \"", "SAY:"];

/// Every key that is used has a word, and every word is used.
#[test]
fn keys_and_words_belong_together() {
    let mut text = String::new();
    let mut folders = vec![Path::new(env!("CARGO_MANIFEST_DIR")).join("src/page")];
    while let Some(folder) = folders.pop() {
        for entry in fs::read_dir(folder).unwrap() {
            let path = entry.unwrap().path();
            if path.is_dir() {
                folders.push(path);
            } else if !path.ends_with("words/en.json") && !path.ends_with("words/tests.rs") {
                text += &String::from_utf8_lossy(&fs::read(path).unwrap());
            }
        }
    }
    let known: BTreeSet<&str> = words().keys().map(String::as_str).collect();
    let asked: BTreeSet<&str> = BEFORE
        .iter()
        .flat_map(|before| text.split(before).skip(1))
        .filter_map(|rest| rest.split(['"', '}', ')', '`', '$']).next())
        .filter(|key| key.contains('.') && key.bytes().all(|b| b.is_ascii_graphic()))
        .filter(|key| !key.ends_with('.'))
        .collect();
    let missing: Vec<_> = asked.difference(&known).collect();
    assert!(missing.is_empty(), "no word for {missing:?}");
    let quoted = |key: &&&str| {
        let family = key.split_once('.').map_or(**key, |(family, _)| family);
        text.contains(&format!("\"{key}\""))
            || text.contains(&format!("{{{{{key}}}}}"))
            || text.contains(&format!("`{family}.$"))
            || text.contains(&format!("\"{family}.\""))
    };
    let unused: Vec<_> = known.iter().filter(|key| !quoted(key)).collect();
    assert!(unused.is_empty(), "nobody says {unused:?}");
}

#[test]
fn values_go_in() {
    assert_eq!(fill("nothing.{a}", &[("a", "b")]), "nothing.b");
}
