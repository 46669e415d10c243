//! What the name of a recording says: seat, screen, loudspeaker, number.

use crate::ingest::manifest::{Condition, SeatInfo, SoundSource};
use crate::ingest::printable::shown;
use std::path::Path;

/// What a name tells, each with the word that it was read from.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Told {
    /// Id of the seat.
    pub seat: Option<String>,
    /// Screen state.
    pub condition: Option<Condition>,
    /// Loudspeaker, where it is the control.
    pub source: Option<SoundSource>,
    /// Number of the take.
    pub number: Option<u32>,
    /// Words that were read, as written.
    pub words: Vec<String>,
}

/// File name of a path, for people.
pub(super) fn name_of(path: &Path) -> String {
    shown(Path::new(path.file_name().unwrap_or(path.as_os_str())))
}

/// Words for the conditions, in the languages of those who may write them.
const WITHOUT: [&str; 16] = [
    "without",
    "before",
    "bare",
    "noscreen",
    "unscreened",
    "ohne",
    "vorher",
    "vor",
    "sans",
    "avant",
    "sin",
    "antes",
    "senza",
    "prima",
    "zonder",
    "uden",
];
const WITH: [&str; 15] = [
    "with", "after", "screen", "screened", "mit", "nachher", "nach", "avec", "apres", "con",
    "despues", "dopo", "met", "med", "hung",
];
const CORRECTED: [&str; 12] = [
    "corrected",
    "equalised",
    "equalized",
    "eq",
    "korrigiert",
    "entzerrt",
    "corrige",
    "egalise",
    "corregido",
    "corretto",
    "gecorrigeerd",
    "verification",
];
const CONTROL: [&str; 5] = ["control", "kontrolle", "kontroll", "controle", "controllo"];

/// Reads the name of a file without its ending. Dates, times and counters are passed over; a
/// number counts only where a seat is told.
pub fn tell(stem: &str, seats: &[SeatInfo]) -> Told {
    let mut told = Told::default();
    let mut rest = fold(stem);
    if let Some((id, at, length)) = seat_in(&rest, seats) {
        told.words.push(original(stem, at, length));
        told.seat = Some(id);
        rest.splice(at..at + length, std::iter::repeat_n(' ', length));
    }
    let tokens = tokens(&rest);
    let word = |token: &Token| original(stem, token.at, token.text.chars().count());
    let mut conditions: Vec<(Condition, &Token)> = Vec::new();
    for token in &tokens {
        let is = |list: &[&str]| list.contains(&token.text.as_str());
        let condition = match () {
            () if is(&CORRECTED) => Some(Condition::Corrected),
            () if is(&WITHOUT) => Some(Condition::Without),
            () if is(&WITH) => Some(Condition::With),
            () => None,
        };
        conditions.extend(condition.map(|c| (c, token)));
        if is(&CONTROL) {
            told.source = Some(SoundSource::Control);
            told.words.push(word(token));
        }
    }
    if let Some((condition, token)) = one_condition(&conditions) {
        told.condition = Some(condition);
        told.words.push(word(token));
    }
    if told.seat.is_some()
        && let Some(token) = number_in(&tokens)
    {
        told.number = token.text.parse().ok();
        told.words.push(word(token));
    }
    told
}

/// The condition that the words agree on. "Without screen" and "before eq" are meant as their
/// first word says, "with eq" as its second; other pairs contradict each other.
fn one_condition<'a>(found: &[(Condition, &'a Token)]) -> Option<(Condition, &'a Token)> {
    let (first, rest) = found.split_first()?;
    let meant = |(condition, token): &(Condition, &Token)| match condition {
        Condition::With => token.text == "screen" || first.0 == Condition::With,
        Condition::Corrected => first.0 == Condition::With,
        Condition::Without => first.0 == Condition::Without,
    };
    let agreed = rest.iter().all(|r| r.0 == first.0 || meant(r));
    let eq = rest.iter().find(|r| r.0 == Condition::Corrected && first.0 == Condition::With);
    agreed.then(|| *eq.unwrap_or(first))
}

/// A run of letters and digits.
struct Token {
    text: String,
    /// Place in the name, characters.
    at: usize,
}

/// Characters in small letters without accents, as many as there were.
fn fold(text: &str) -> Vec<char> {
    text.chars()
        .map(|c| match c.to_lowercase().next().unwrap_or(c) {
            'à' | 'á' | 'â' => 'a',
            'è' | 'é' | 'ê' => 'e',
            'ì' | 'í' => 'i',
            'ò' | 'ó' | 'ô' => 'o',
            'ù' | 'ú' => 'u',
            c => c,
        })
        .collect()
}

fn original(stem: &str, at: usize, length: usize) -> String {
    stem.chars().skip(at).take(length).collect()
}

fn tokens(text: &[char]) -> Vec<Token> {
    let mut tokens: Vec<Token> = Vec::new();
    let mut open = false;
    for (at, &c) in text.iter().enumerate() {
        if c.is_alphanumeric() {
            match tokens.last_mut().filter(|_| open) {
                Some(token) => token.text.push(c),
                None => tokens.push(Token { text: c.to_string(), at }),
            }
        }
        open = c.is_alphanumeric();
    }
    tokens
}

/// The longest seat id or seat name that stands in the text between other words; none where two
/// seats do.
fn seat_in(text: &[char], seats: &[SeatInfo]) -> Option<(String, usize, usize)> {
    let mut found: Vec<(String, usize, usize)> = Vec::new();
    for seat in seats {
        for name in [Some(&seat.id), seat.name.as_ref()].into_iter().flatten() {
            let name = fold(name);
            let is_edge = |c: Option<&char>| c.is_none_or(|c| !c.is_alphanumeric());
            let at = (0..text.len()).find(|&at| {
                text[at..].starts_with(&name)
                    && is_edge(at.checked_sub(1).and_then(|i| text.get(i)))
                    && is_edge(text.get(at + name.len()))
            });
            found.extend(
                at.filter(|_| !name.is_empty()).map(|at| (seat.id.clone(), at, name.len())),
            );
        }
    }
    let best = found.iter().max_by_key(|f| f.2)?.clone();
    let inside = |f: &(String, usize, usize)| f.1 >= best.1 && f.1 + f.2 <= best.1 + best.2;
    let alone = found.iter().all(|f| f.0 == best.0 || (inside(f) && f.2 < best.2));
    alone.then_some(best)
}

/// The one small number that is neither part of a date or time nor a counter.
fn number_in(tokens: &[Token]) -> Option<&Token> {
    let digits = |t: &Token| t.text.bytes().all(|b| b.is_ascii_digit());
    let mut numbers = Vec::new();
    let mut at = 0;
    while at < tokens.len() {
        let run = tokens[at..].iter().take_while(|t| digits(t)).count();
        // Dates and times are three numbers in a row, or a long one and what follows it.
        let is_date = run >= 3 || tokens[at..at + run].iter().any(|t| t.text.len() > 4);
        if !is_date {
            numbers.extend(
                tokens[at..at + run]
                    .iter()
                    .filter(|t| t.text.len() <= 2 && t.text != "0" && t.text != "00"),
            );
        }
        at += run.max(1);
    }
    match numbers[..] {
        [one] => Some(one),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use Condition::{Corrected, With, Without};

    fn seats(ids: &[&str]) -> Vec<SeatInfo> {
        ids.iter()
            .map(|id| SeatInfo { id: (*id).into(), name: None, position_m: None, weight: 1.0 })
            .collect()
    }

    #[test]
    fn names_as_people_write_them() {
        let seats = seats(&["R1L", "R1C", "R1", "row 2"]);
        type Row = (&'static str, Option<&'static str>, Option<Condition>, Option<u32>);
        let rows: [Row; 22] = [
            ("R1L before 2", Some("R1L"), Some(Without), Some(2)),
            ("Sitz R1L ohne 1", Some("R1L"), Some(Without), Some(1)),
            ("r1c_with_03", Some("R1C"), Some(With), Some(3)),
            ("R1L_without_control_1", Some("R1L"), Some(Without), Some(1)),
            ("2026-03-14 R1C nachher 1", Some("R1C"), Some(With), Some(1)),
            ("R1C-mit-2-20260314-0007", Some("R1C"), Some(With), None),
            ("R1C mit 2 REC0007", Some("R1C"), Some(With), Some(2)),
            ("14.3.26 R1 sans écran", Some("R1"), Some(Without), None),
            ("R1C après (2)", Some("R1C"), Some(With), Some(2)),
            ("Row 2 with EQ", Some("row 2"), Some(Corrected), None),
            ("R1L without screen", Some("R1L"), Some(Without), None),
            ("R1L before after", Some("R1L"), None, None),
            ("REC0001", None, None, None),
            ("ZOOM0012_LR", None, None, None),
            ("220314_001", None, None, None),
            ("Track 02", None, None, None),
            ("with screen", None, Some(With), None),
            ("evening 1 without", None, Some(Without), None),
            ("R1L and R1C before", None, Some(Without), None),
            ("R1LX before", None, Some(Without), None),
            ("R1L 2 3 before", Some("R1L"), Some(Without), None),
            ("", None, None, None),
        ];
        for (name, seat, condition, number) in rows {
            let told = tell(name, &seats);
            assert_eq!(told.seat.as_deref(), seat, "{name}");
            assert_eq!(told.condition, condition, "{name}");
            assert_eq!(told.number, number, "{name}");
        }
        assert_eq!(tell("R1L_without_control_1", &seats).source, Some(SoundSource::Control));
        assert_eq!(tell("Sitz R1L ohne 1", &seats).words, ["R1L", "ohne", "1"]);
    }
}
