//! Licences, sources and duplicates of all dependencies, held to `deny.toml`.
//!
//! `cargo deny` says the same and more; this runs where that tool is not installed, from
//! what cargo itself knows, without a network.

use std::collections::{BTreeMap, BTreeSet};
use std::process::Command;

/// The packages of this repository that the lock file knows.
const OF_HERE: [&str; 2] = ["scrimcheck", "scrimcheck-benches"];

fn deny() -> toml::Table {
    include_str!("../deny.toml").parse().expect("deny.toml is TOML")
}

fn strings(table: &toml::Table, place: [&str; 2]) -> Vec<String> {
    let list = table[place[0]][place[1]].as_array().expect("a list");
    list.iter().map(|v| v.as_str().expect("text").to_owned()).collect()
}

/// One package a line, as `cargo tree` prints it with the format, each once: of all platforms
/// where their packages were fetched (`cargo fetch`), else of this one, whose were needed to
/// build this test.
fn tree(format: &str) -> BTreeSet<String> {
    let of = |target: &[&str]| {
        let mut command = Command::new(env!("CARGO"));
        command.current_dir(env!("CARGO_MANIFEST_DIR"));
        command
            .args(["tree", "--workspace", "--locked", "--offline", "--all-features"])
            .args(target);
        command.args(["--edges", "normal,build,dev", "--prefix", "none", "--format", format]);
        command.output().expect("cargo")
    };
    let mut output = of(&["--target", "all"]);
    if !output.status.success() {
        eprintln!("packages of other platforms were not fetched and are not looked at");
        output = of(&[]);
    }
    let said = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success(), "{said}");
    let lines: BTreeSet<String> = String::from_utf8_lossy(&output.stdout)
        .lines()
        .filter(|l| !l.is_empty())
        .map(|l| l.replace(" (*)", "").replace(" (proc-macro)", ""))
        .collect();
    assert!(lines.len() > 50, "only {} packages", lines.len());
    lines
}

/// Whether the SPDX expression can be met by allowed licences: any side of an `OR` (also
/// written `/`), all sides of an `AND`.
fn is_allowed(expression: &str, allowed: &[String]) -> bool {
    let text = expression.replace('/', " OR ").replace('(', " ( ").replace(')', " ) ");
    let words: Vec<&str> = text.split_whitespace().collect();
    let (result, rest) = any(&words, allowed);
    assert!(rest.is_empty(), "cannot read the licence {expression:?}");
    result
}

fn any<'a, 'w>(words: &'w [&'a str], allowed: &[String]) -> (bool, &'w [&'a str]) {
    let (mut result, mut rest) = all(words, allowed);
    while let [word, more @ ..] = rest
        && *word == "OR"
    {
        let (side, after) = all(more, allowed);
        (result, rest) = (result || side, after);
    }
    (result, rest)
}

fn all<'a, 'w>(words: &'w [&'a str], allowed: &[String]) -> (bool, &'w [&'a str]) {
    let (mut result, mut rest) = one(words, allowed);
    while let [word, more @ ..] = rest
        && *word == "AND"
    {
        let (side, after) = one(more, allowed);
        (result, rest) = (result && side, after);
    }
    (result, rest)
}

fn one<'a, 'w>(words: &'w [&'a str], allowed: &[String]) -> (bool, &'w [&'a str]) {
    match words {
        ["(", more @ ..] => {
            let (result, rest) = any(more, allowed);
            (result, rest.strip_prefix(&[")"]).unwrap_or(rest))
        }
        [licence, "WITH", exception, rest @ ..] => {
            (allowed.contains(&format!("{licence} WITH {exception}")), rest)
        }
        [licence, rest @ ..] => (allowed.iter().any(|a| a == licence), rest),
        [] => (false, words),
    }
}

#[test]
fn expressions_are_read_as_they_are_meant() {
    let allowed = ["MIT".to_owned(), "Apache-2.0 WITH LLVM-exception".to_owned()];
    for good in [
        "MIT",
        "MIT OR GPL-3.0",
        "GPL-3.0/MIT",
        "(MIT OR GPL-3.0) AND MIT",
        "Apache-2.0 WITH LLVM-exception",
    ] {
        assert!(is_allowed(good, &allowed), "{good}");
    }
    for bad in ["", "GPL-3.0", "MIT AND GPL-3.0", "Apache-2.0", "(MIT AND GPL-3.0) OR GPL-2.0"] {
        assert!(!is_allowed(bad, &allowed), "{bad}");
    }
}

/// Licences that deny.toml allows to single crates.
fn exceptions() -> BTreeMap<String, Vec<String>> {
    let deny = deny();
    let list = deny["licenses"]["exceptions"].as_array().expect("a list");
    list.iter()
        .map(|entry| {
            let allow = entry["allow"].as_array().expect("a list");
            let allow = allow.iter().map(|l| l.as_str().expect("text").to_owned()).collect();
            (entry["crate"].as_str().expect("a crate").to_owned(), allow)
        })
        .collect()
}

#[test]
fn every_licence_is_permissive_but_for_the_stated_exceptions() {
    let allowed = strings(&deny(), ["licenses", "allow"]);
    let mut exceptions = exceptions();
    let mut not: Vec<String> = Vec::new();
    for line in tree("{p}\t{l}") {
        let (package, licence) = line.split_once('\t').unwrap_or((&line, ""));
        if is_allowed(licence, &allowed) {
            continue;
        }
        let name = package.split(' ').next().unwrap_or_default();
        if !exceptions.remove(name).is_some_and(|more| is_allowed(licence, &more)) {
            not.push(line);
        }
    }
    assert!(exceptions.is_empty(), "exceptions of deny.toml that are none: {exceptions:?}");
    // No one family but the decoder's.
    assert!(deny()["licenses"]["exceptions"].as_array().is_some_and(|list| {
        list.iter().all(|e| e["crate"].as_str().is_some_and(|c| c.starts_with("symphonia")))
    }));
    assert!(not.is_empty(), "not allowed by deny.toml: {not:#?}");
}

#[test]
fn everything_comes_from_the_registry_or_from_here() {
    let lock = include_str!("../Cargo.lock").parse::<toml::Table>().expect("Cargo.lock");
    let registry = format!("registry+{}", strings(&deny(), ["sources", "allow-registry"])[0]);
    let packages = lock["package"].as_array().expect("packages");
    let elsewhere: Vec<_> = packages
        .iter()
        .filter(|p| {
            let of_here = p["name"].as_str().is_some_and(|name| OF_HERE.contains(&name));
            p.get("source").map_or(!of_here, |s| s.as_str() != Some(&registry))
        })
        .map(|p| p["name"].to_string())
        .collect();
    assert!(elsewhere.is_empty(), "{elsewhere:?}");
    // A checksum for each, so that what is built is what was looked at.
    assert!(packages.iter().all(|p| p.get("source").is_none() || p.get("checksum").is_some()));
}

#[test]
fn only_the_stated_duplicates_are_there() {
    let mut versions: BTreeMap<String, BTreeSet<String>> = BTreeMap::new();
    for line in tree("{p}") {
        let mut words = line.split_whitespace();
        if let (Some(name), Some(version)) = (words.next(), words.next()) {
            let version = version.trim_start_matches('v').to_owned();
            versions.entry(name.to_owned()).or_default().insert(version);
        }
    }
    let deny = deny();
    let skipped: BTreeSet<&str> = deny["bans"]["skip"]
        .as_array()
        .expect("a list")
        .iter()
        .map(|entry| entry["crate"].as_str().expect("a crate"))
        .collect();
    let is_skipped =
        |name: &str, version: &str| skipped.contains(format!("{name}@{version}").as_str());
    for (name, versions) in &versions {
        let left: Vec<_> = versions.iter().filter(|v| !is_skipped(name, v)).collect();
        assert!(left.len() <= 1, "{name} is there in versions {left:?}, not stated in deny.toml");
    }
    for entry in skipped {
        let (name, version) = entry.split_once('@').expect("crate@version");
        let there = versions.get(name).is_some_and(|v| v.len() > 1 && v.contains(version));
        assert!(there, "{entry} in deny.toml is no duplicate any more");
    }
}
