//! What was meant where the manifest is no TOML: slips of those who write it by hand.

use std::ops::Range;

/// What to write instead in the line of `span`; empty where nothing comes to mind.
pub(super) fn slip(text: &str, span: &Range<usize>) -> String {
    // An error at the end of a line may be told at the start of the next.
    let at = span.start.min(text.len());
    let before = text.get(..at).unwrap_or_default().trim_end();
    let start = before.rfind('\n').map_or(0, |i| i + 1);
    let line = text.get(start..).unwrap_or_default().lines().next().unwrap_or_default();
    let line = line.split(" #").next().unwrap_or_default();
    let value = line.split_once('=').map_or(line, |(_, value)| value).trim();
    if let Some(quote) = value.chars().find(|c| CURLY.contains(c)) {
        return format!("put text into plain quotes \" \", not {quote}");
    }
    if let Some(date) = date(value) {
        return format!("write the date as {date}, without quotes");
    }
    if let Some(number) = decimal_comma(value) {
        return format!("write {number}, with a decimal point");
    }
    if value.starts_with('"') && value.contains('\\') {
        return "in quotes \" \" a backslash starts a special character: write paths with /, as \
                takes/R1C_with_1.wav"
            .into();
    }
    String::new()
}

/// Quotes that word processors put in.
const CURLY: [char; 8] =
    ['\u{201c}', '\u{201d}', '\u{201e}', '\u{201f}', '\u{2018}', '\u{2019}', '\u{ab}', '\u{bb}'];

fn digits(text: &str, n: std::ops::RangeInclusive<usize>) -> bool {
    n.contains(&text.len()) && text.bytes().all(|b| b.is_ascii_digit())
}

/// `31.01.2026`, `31/1/2026` or `31-01-2026` as `2026-01-31`. Which of two small numbers is the
/// day nobody knows, so those are shown as a pattern.
fn date(value: &str) -> Option<String> {
    let mut parts = value.split(['.', '/', '-']);
    let [day, month, year] = [parts.next()?, parts.next()?, parts.next()?];
    let plain =
        parts.next().is_none() && digits(day, 1..=2) && digits(month, 1..=2) && digits(year, 4..=4);
    if !plain {
        return None;
    }
    let [d, m]: [u32; 2] = [day.parse().ok()?, month.parse().ok()?];
    let dotted = value.contains('.');
    Some(match (d, m) {
        (1..=31, 1..=12) if dotted || d > 12 => format!("{year}-{m:02}-{d:02}"),
        (1..=12, 13..=31) => format!("{year}-{d:02}-{m:02}"),
        _ => format!("{year}-MM-DD (year, month, day)"),
    })
}

/// `0,065` as `0.065`.
fn decimal_comma(value: &str) -> Option<String> {
    let (whole, part) = value.split_once(',')?;
    let sign = whole.strip_prefix('-').unwrap_or(whole);
    (digits(sign, 1..=9) && digits(part.trim(), 1..=9)).then(|| format!("{whole}.{}", part.trim()))
}

#[cfg(test)]
mod tests {
    use super::super::ManifestText;
    use super::super::load::parse;

    #[test]
    fn slips_are_told_with_what_to_write() {
        for (line, said) in [
            ("gap_m = 0,065", "write 0.065, with a decimal point"),
            ("gap_m = 0,065   # measured", "write 0.065, with a decimal point"),
            ("name = \u{201c}cloth\u{201d}", "plain quotes"),
            ("name = \u{2018}cloth\u{2019}", "plain quotes"),
            ("name = \"takes\\weave.wav\"", "write paths with /"),
            ("name = \"C:\\Users\\me\\x\"", "write paths with /"),
        ] {
            let text = format!(
                "[session]\ntitle = \"t\"\n[sweep]\nfile = \"s.wav\"\nstart_hz = 20.0\n\
                 stop_hz = 20000.0\n[screen]\n{line}\n"
            );
            let error = parse(&ManifestText { path: "session.toml".into(), text }).unwrap_err();
            assert!(error.to_string().contains(said), "{line}: {error}");
        }
        for (date, said) in [
            ("31.01.2026", "2026-01-31"),
            ("1.2.2026", "2026-02-01"),
            ("12/31/2026", "2026-12-31"),
            ("1/2/2026", "2026-MM-DD"),
        ] {
            let text = format!("[session]\ntitle = \"t\"\ndate = {date}\n");
            let error = parse(&ManifestText { path: "session.toml".into(), text }).unwrap_err();
            assert!(error.to_string().contains(said), "{date}: {error}");
        }
    }

    #[test]
    fn decimal_commas_in_a_list_are_told() {
        let text = "[session]\ntitle = \"t\"\n[sweep]\nfile = \"s.wav\"\nstart_hz = 20.0\n\
                    stop_hz = 20000.0\n[screen]\n[[seat]]\nid = \"A\"\n\
                    position_m = [3,1, 0,0, 1,1]\n";
        let error =
            parse(&ManifestText { path: "session.toml".into(), text: text.into() }).unwrap_err();
        assert!(error.to_string().contains("decimal points"), "{error}");
    }
}
