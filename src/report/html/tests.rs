//! Tests of `html`.

use super::*;
use crate::ingest::manifest::DisplayUnits;
use crate::report::example::{example_losses, example_result};
use crate::report::paper::content::paper;
use crate::report::plots::drawings;

#[test]
fn every_colour_of_words_and_curves_has_its_counterpart_in_the_dark() {
    use crate::report::plots::colors::{ALARM, INK, MUTED_INK, PALETTE};
    // Relative luminance and contrast after WCAG 2.2, "relative luminance".
    let luminance = |hex: &str| {
        let part = |at: usize| {
            let v = f64::from(u8::from_str_radix(&hex[at..at + 2], 16).unwrap()) / 255.0;
            if v <= 0.04045 { v / 12.92 } else { ((v + 0.055) / 1.055).powf(2.4) }
        };
        0.2126 * part(1) + 0.7152 * part(3) + 0.0722 * part(5)
    };
    let ground = luminance("#15191e") + 0.05;
    let curves = PALETTE.iter().map(|color| (color, 3.0));
    let words = [ALARM, INK, MUTED_INK];
    for (color, least) in curves.chain(words.iter().map(|color| (color, 4.5))) {
        let hex = format!("#{:02X}{:02X}{:02X}", color.0, color.1, color.2);
        for part in ["fill", "stroke"] {
            let rule = format!("[{part}=\"{hex}\"]{{{part}:");
            let Some((_, rest)) = STYLE.split_once(&rule) else {
                assert_eq!((part, *color), ("stroke", MUTED_INK), "no rule for it");
                continue;
            };
            let contrast = (luminance(&rest[..7]) + 0.05) / ground;
            assert!(contrast >= least, "{hex} becomes {}: {contrast:.1} to 1", &rest[..7]);
        }
    }
}

const HOSTILE: &str = "</script><img src=x onerror=alert(1)>\"'&";

fn page(seat: &str, client: &str) -> String {
    let mut result = example_result(3);
    let (mut session, _) = example_losses(3);
    result.seats[0].id = seat.to_owned();
    session.manifest.handover.client = Some(client.to_owned());
    let seats: Vec<String> = result.seats.iter().map(|s| s.id.clone()).collect();
    html_page(&paper(&result, &session, &drawings(&result, DisplayUnits::Metric), None), &seats)
}

#[test]
fn names_stay_text_wherever_they_stand() {
    let page = page(HOSTILE, HOSTILE);
    assert!(!page.contains("<img") && !page.contains("onerror=alert(1)>\""), "markup got in");
    assert_eq!(page.matches("</script>").count(), 1);
    assert!(page.contains("&lt;/script&gt;&lt;img src=x"));
}

#[test]
fn the_page_has_landmarks_headings_and_table_headers() {
    let page = page("R1L", "Invented client");
    for part in ["<html lang=\"en\">", "<header>", "<main ", "<nav ", "<h1>", "<dt>Client</dt>"] {
        assert_eq!(page.matches(part).count(), 1, "{part}");
    }
    let tables = page.matches("<table>").count();
    assert!(tables >= 2, "{tables}");
    assert_eq!(page.matches("<caption ").count(), tables);
    assert_eq!(page.matches("<th scope=\"col\">R1C</th>").count(), 1);
    assert_eq!(page.matches("type=\"checkbox\"").count(), 3);
    // The mean's figure of 1 kHz as the result holds it, in the plot's words and in the table.
    let result = example_result(3);
    let b = result.bands.iter().position(|b| b.nominal_hz == 1000.0).unwrap();
    let (loss, u) = (result.mean.loss_db[b].unwrap(), result.mean.u95_db[b].unwrap());
    assert!(page.contains(&format!("<td>{loss:.2} \u{b1} {u:.2}</td>")));
    assert!(page.contains(&format!("1 kHz: {loss:.2} \u{b1} {u:.2} dB")));
}

#[test]
fn nothing_comes_from_elsewhere() {
    let page = page("R1L", "Invented client");
    let addresses = page.match_indices("http").map(|(i, _)| &page[i..(i + 26).min(page.len())]);
    for address in addresses.filter(|a| !a.starts_with("http-equiv")) {
        assert_eq!(address, "http://www.w3.org/2000/svg", "only the name of the SVG language");
    }
    assert!(page.contains(&format!("script-src 'sha256-{SCRIPT_HASH}'")));
}

/// SHA-256 (FIPS 180-4), to see that the hash in the policy is that of the script.
fn sha256(message: &[u8]) -> Vec<u8> {
    // Fractional parts of the square and cube roots of the first primes (4.2.2, 5.3.3).
    let primes: Vec<u32> = (2..312u32).filter(|n| (2..*n).all(|d| n % d != 0)).take(64).collect();
    let root = |p: u32, cube: bool| -> u32 {
        // Integer root of p scaled, so that no rounding of floats enters.
        let (mut low, mut high) = (0u128, 1u128 << 36);
        while high - low > 1 {
            let middle = (low + high) / 2;
            let fits = if cube {
                middle * middle * middle <= u128::from(p) << 96
            } else {
                middle * middle <= u128::from(p) << 64
            };
            if fits { low = middle } else { high = middle }
        }
        low as u32
    };
    let k: Vec<u32> = primes.iter().map(|&p| root(p, true)).collect();
    let mut h: Vec<u32> = primes[..8].iter().map(|&p| root(p, false)).collect();
    let mut padded = message.to_vec();
    padded.push(0x80);
    while padded.len() % 64 != 56 {
        padded.push(0);
    }
    padded.extend((message.len() as u64 * 8).to_be_bytes());
    for chunk in padded.chunks(64) {
        let mut w: Vec<u32> =
            chunk.chunks(4).map(|b| u32::from_be_bytes([b[0], b[1], b[2], b[3]])).collect();
        for i in 16..64 {
            let (a, b) = (w[i - 15], w[i - 2]);
            let s0 = a.rotate_right(7) ^ a.rotate_right(18) ^ (a >> 3);
            let s1 = b.rotate_right(17) ^ b.rotate_right(19) ^ (b >> 10);
            w.push(w[i - 16].wrapping_add(s0).wrapping_add(w[i - 7]).wrapping_add(s1));
        }
        let mut v = h.clone();
        for i in 0..64 {
            let s1 = v[4].rotate_right(6) ^ v[4].rotate_right(11) ^ v[4].rotate_right(25);
            let choice = (v[4] & v[5]) ^ (!v[4] & v[6]);
            let t1 = [s1, choice, k[i], w[i]].iter().fold(v[7], |a, b| a.wrapping_add(*b));
            let s0 = v[0].rotate_right(2) ^ v[0].rotate_right(13) ^ v[0].rotate_right(22);
            let majority = (v[0] & v[1]) ^ (v[0] & v[2]) ^ (v[1] & v[2]);
            v.rotate_right(1);
            v[4] = v[4].wrapping_add(t1);
            v[0] = t1.wrapping_add(s0).wrapping_add(majority);
        }
        h.iter_mut().zip(v).for_each(|(h, v)| *h = h.wrapping_add(v));
    }
    h.iter().flat_map(|word| word.to_be_bytes()).collect()
}

#[test]
fn the_policy_names_the_script() {
    // FIPS 180 example "abc", first bytes (from memory).
    assert_eq!(sha256(b"abc")[..4], [0xba, 0x78, 0x16, 0xbf]);
    assert_eq!(BASE64.encode(sha256(SCRIPT.as_bytes())), SCRIPT_HASH);
}
