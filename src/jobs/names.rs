//! Which names mean the same sheet.
//!
//! Small and capital letters, blanks at the ends and runs of blanks make no difference, nor does
//! the way an accent is written. Anything else does: names that are merely alike are asked about,
//! never put together.

use std::collections::BTreeMap;
use unicode_normalization::UnicodeNormalization;

/// So alike (1 = equal) are two names that one may be a slip of the other; own choice.
const ALIKE: f64 = 0.8;

/// Why a pair of names cannot be used.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum NameError {
    /// Not two names with `=` between.
    #[error("\"{text}\" is no pair of names; write it as \"one name=other name\"")]
    NoPair {
        /// What was given.
        text: String,
    },
    /// A name that no job uses.
    #[error("no job has a sheet called \"{name}\"; known are {known}")]
    Unknown {
        /// The name.
        name: String,
        /// Names that there are.
        known: String,
    },
}

/// Two names, as they were typed.
#[derive(Debug, Clone, PartialEq, Eq, serde::Deserialize)]
#[serde(from = "[String; 2]")]
pub struct NamePair(pub String, pub String);

impl From<[String; 2]> for NamePair {
    fn from([a, b]: [String; 2]) -> Self {
        Self(a, b)
    }
}

impl NamePair {
    /// Reads `one name=other name`.
    ///
    /// # Errors
    /// [`NameError::NoPair`].
    pub fn parse(text: &str) -> Result<Self, NameError> {
        match text.split_once('=') {
            Some((a, b)) if !a.trim().is_empty() && !b.trim().is_empty() => {
                Ok(Self(a.trim().to_owned(), b.trim().to_owned()))
            }
            _ => Err(NameError::NoPair { text: text.to_owned() }),
        }
    }
}

/// What is compared of a name.
pub fn name_key(name: &str) -> String {
    let words: Vec<&str> = name.split_whitespace().collect();
    // Up and down: letters that have no single small form become alike too.
    words.join(" ").nfc().collect::<String>().to_uppercase().to_lowercase().nfc().collect()
}

/// Names of sheets, each with the one it is told under.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct SheetNames {
    /// From key to the key of the sheet that it stands for.
    stands_for: BTreeMap<String, String>,
    /// Spelling shown for a key: the one that most jobs use.
    shown: BTreeMap<String, String>,
    /// Alike and not settled: two spellings each.
    pub asked: Vec<[String; 2]>,
}

impl SheetNames {
    /// Sorts the names of all jobs, one entry a job. `same` are pairs that mean one sheet (told
    /// under the first name), `distinct` pairs that do not.
    ///
    /// # Errors
    /// [`NameError::Unknown`] for a name in a pair that no job uses.
    pub fn new(
        names: &[String],
        same: &[NamePair],
        distinct: &[NamePair],
    ) -> Result<Self, NameError> {
        let mut counts: BTreeMap<String, BTreeMap<String, usize>> = BTreeMap::new();
        for name in names {
            let told = name.split_whitespace().collect::<Vec<_>>().join(" ");
            *counts.entry(name_key(name)).or_default().entry(told).or_default() += 1;
        }
        let most = |spellings: &BTreeMap<String, usize>| {
            let best = spellings.iter().max_by(|a, b| a.1.cmp(b.1).then(b.0.cmp(a.0)));
            best.map_or(String::new(), |(name, _)| name.clone())
        };
        let mut out = Self {
            stands_for: counts.keys().map(|k| (k.clone(), k.clone())).collect(),
            shown: counts.iter().map(|(k, s)| (k.clone(), most(s))).collect(),
            asked: Vec::new(),
        };
        let known = |name: &String| {
            let key = name_key(name);
            if counts.contains_key(&key) { Ok(key) } else { Err(out.unknown(name)) }
        };
        let keys = |pairs: &[NamePair]| -> Result<Vec<[String; 2]>, NameError> {
            pairs.iter().map(|p| Ok([known(&p.0)?, known(&p.1)?])).collect()
        };
        let (same, distinct) = (keys(same)?, keys(distinct)?);
        for [first, second] in same {
            let (to, from) = (out.stands_for[&first].clone(), out.stands_for[&second].clone());
            out.stands_for.values_mut().filter(|v| **v == from).for_each(|v| v.clone_from(&to));
        }
        out.asked = out.alike(&distinct);
        Ok(out)
    }

    fn unknown(&self, name: &str) -> NameError {
        let known = self.shown.values().map(|n| format!("\"{n}\"")).collect::<Vec<_>>();
        NameError::Unknown { name: name.to_owned(), known: known.join(", ") }
    }

    /// Names that stand for different sheets and may be one.
    fn alike(&self, distinct: &[[String; 2]]) -> Vec<[String; 2]> {
        let keys: Vec<&String> = self.stands_for.keys().collect();
        let mut out = Vec::new();
        for (i, a) in keys.iter().enumerate() {
            for b in &keys[i + 1..] {
                let settled = self.stands_for[*a] == self.stands_for[*b]
                    || distinct.iter().any(|d| d.contains(a) && d.contains(b));
                if !settled && may_be_one(a, b) {
                    out.push([self.shown[*a].clone(), self.shown[*b].clone()]);
                }
            }
        }
        out
    }

    /// The name under which a job's sheet is told.
    pub fn told(&self, name: &str) -> Option<&str> {
        Some(self.shown.get(self.stands_for.get(&name_key(name))?)?.as_str())
    }

    /// The question about two names that are alike.
    pub fn question([a, b]: &[String; 2]) -> String {
        format!(
            "\"{a}\" and \"{b}\" are counted as two sheets. If they are one, say --same \
             \"{a}={b}\" or write one name into session.toml; if they are two, --distinct \
             \"{a}={b}\" ends this question."
        )
    }
}

/// Whether one key may be a slip of the other. Names with different figures are different products.
fn may_be_one(a: &str, b: &str) -> bool {
    let digits = |s: &str| s.chars().filter(char::is_ascii_digit).collect::<String>();
    let letters = |s: &str| s.chars().filter(|c| c.is_alphanumeric()).collect::<String>();
    if digits(a) != digits(b) {
        return false;
    }
    let (a, b) = (letters(a), letters(b));
    // A single letter that differs at the end of short names tells kinds apart: "cloth a", "cloth b".
    let kinds = a.chars().count() == b.chars().count()
        && a.chars().rev().skip(1).eq(b.chars().rev().skip(1))
        && a != b;
    !kinds && strsim::normalized_damerau_levenshtein(&a, &b) >= ALIKE
}

#[cfg(test)]
mod tests {
    use super::*;

    fn names(list: &[&str]) -> Vec<String> {
        list.iter().map(|s| (*s).to_owned()).collect()
    }

    #[test]
    fn spelling_makes_no_difference_where_it_cannot_mean_anything() {
        let list =
            names(&["Feinweber  40", "feinweber 40 ", "Fe\u{69}nweber 40", "STRASSE", "straße"]);
        let sheets = SheetNames::new(&list, &[], &[]).unwrap();
        assert_eq!(sheets.told("FEINWEBER 40"), Some("Feinweber 40"));
        assert_eq!(sheets.told("Straße"), sheets.told("strasse"));
        // An accent as one character and as two.
        assert_eq!(name_key("Bu\u{308}hne"), name_key("B\u{fc}hne"));
        assert!(sheets.asked.is_empty(), "{:?}", sheets.asked);
    }

    #[test]
    fn near_names_are_asked_about_and_never_put_together() {
        let list = names(&[
            "Open weave",
            "Open waeve",
            "Open-weave",
            "Film 5",
            "Film 6",
            "Cloth A",
            "Cloth B",
        ]);
        let sheets = SheetNames::new(&list, &[], &[]).unwrap();
        assert_ne!(sheets.told("Open weave"), sheets.told("Open waeve"));
        assert_eq!(sheets.asked.len(), 3, "{:?}", sheets.asked);
        assert!(sheets.asked.iter().flatten().all(|n| n.starts_with("Open")));
        let question = SheetNames::question(&sheets.asked[0]);
        assert!(question.contains("--same") && question.contains("--distinct"));
    }

    #[test]
    fn a_pair_settles_the_question_either_way() {
        let list = names(&["Open weave", "Open waeve", "Open weave"]);
        let pair = || vec![NamePair::parse("open weave = OPEN WAEVE").unwrap()];
        let one = SheetNames::new(&list, &pair(), &[]).unwrap();
        assert_eq!((one.told("Open waeve"), one.asked.len()), (Some("Open weave"), 0));
        let two = SheetNames::new(&list, &[], &pair()).unwrap();
        assert_eq!((two.told("Open waeve"), two.asked.len()), (Some("Open waeve"), 0));
    }

    #[test]
    fn pairs_that_cannot_be_used_are_refused() {
        for bad in ["", "a", "=b", "a="] {
            assert!(matches!(NamePair::parse(bad), Err(NameError::NoPair { .. })), "{bad}");
        }
        let error = SheetNames::new(&names(&["a"]), &[NamePair("a".into(), "z".into())], &[]);
        assert!(error.unwrap_err().to_string().contains("\"z\""));
    }
}
