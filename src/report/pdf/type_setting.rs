//! Text with the fonts of the papers: shaping, widths, lines, and what happens
//! to characters that the fonts have not.

use crate::report::plots::text::{REGULAR, SEMIBOLD};
use krilla::text::{GlyphId, KrillaGlyph};
use rustybuzz::{Direction, Face, ShapePlan, UnicodeBuffer, script};
use std::sync::LazyLock;

/// Longest text that goes into a property of the document, characters.
pub const MAX_PROPERTY: usize = 4000;

/// Stands for a character that the fonts have not, or that cannot be seen.
pub const SUBSTITUTE: char = '\u{FFFD}';

fn face(bold: bool) -> Option<&'static Face<'static>> {
    static FACES: LazyLock<[Option<Face<'static>>; 2]> =
        LazyLock::new(|| [REGULAR, SEMIBOLD].map(|font| Face::from_slice(font, 0)));
    FACES[usize::from(bold)].as_ref()
}

/// How the fonts shape text: made once, because that takes longer than the shaping.
/// The fonts have Latin, Greek and Cyrillic letters only, which go by the same rules.
fn plan(bold: bool) -> Option<&'static ShapePlan> {
    static PLANS: LazyLock<[Option<ShapePlan>; 2]> = LazyLock::new(|| {
        let make =
            |face| ShapePlan::new(face, Direction::LeftToRight, Some(script::LATIN), None, &[]);
        [false, true].map(|bold| face(bold).map(make))
    });
    PLANS[usize::from(bold)].as_ref()
}

/// Text in which every character can be printed and read: white space becomes a
/// space, typographic signs that the fonts have not their plain relatives,
/// everything else (other scripts, signs without width, control codes) [`SUBSTITUTE`].
pub fn visible(text: &str) -> String {
    text.chars().map(visible_char).collect()
}

fn visible_char(c: char) -> char {
    match c {
        '\t' | '\n' | '\r' | '\u{2028}' | '\u{2029}' => ' ',
        '\u{202F}' => '\u{A0}',
        '\u{2010}' | '\u{2011}' => '-',
        '\u{2080}'..='\u{2089}' => char::from(b'0' + (u32::from(c) - 0x2080) as u8),
        '\u{AD}' | '\u{200B}'..='\u{200F}' | '\u{202A}'..='\u{202E}' | '\u{2060}'..='\u{206F}' => {
            SUBSTITUTE
        }
        // No meaning of its own: forbidden in the archive format.
        '\u{E000}'..='\u{F8FF}' | '\u{FEFF}' | '\u{FFF9}'..='\u{FFFB}' => SUBSTITUTE,
        // Every font has them.
        ' '..='~' => c,
        c if c.is_control() => SUBSTITUTE,
        c if [false, true]
            .iter()
            .all(|&bold| face(bold).is_some_and(|f| f.glyph_index(c).is_some())) =>
        {
            c
        }
        _ => SUBSTITUTE,
    }
}

/// Text for the properties of the document, which no font limits: only what may
/// not stand in XML 1.0 (production 2) is replaced, and it is cut at `n_max`
/// characters (a string in an archive file holds at most 32 767 bytes).
pub fn property(text: &str, n_max: usize) -> String {
    let allowed = |c: char| {
        let is_mark = matches!(c, '\u{FEFF}' | '\u{FFFE}' | '\u{FFFF}');
        if c.is_whitespace() {
            ' '
        } else if c.is_control() || is_mark {
            SUBSTITUTE
        } else {
            c
        }
    };
    text.chars().take(n_max).map(allowed).collect()
}

/// Title of a document or heading in the properties; PDF/UA-1 asks for one even where there are no
/// words.
pub fn title(text: &str) -> String {
    let title = property(text.trim(), MAX_PROPERTY);
    if title.is_empty() { "Untitled".to_owned() } else { title }
}

/// Glyphs of a line of printable text, left to right, and its width in em.
pub fn shape(text: &str, bold: bool) -> (Vec<KrillaGlyph>, f32) {
    let (Some(face), Some(plan)) = (face(bold), plan(bold)) else { return (Vec::new(), 0.0) };
    let em = face.units_per_em() as f32;
    let mut buffer = UnicodeBuffer::new();
    buffer.push_str(text);
    buffer.set_script(script::LATIN);
    buffer.set_direction(Direction::LeftToRight);
    let shaped = rustybuzz::shape_with_plan(face, plan, buffer);
    let (infos, positions) = (shaped.glyph_infos(), shaped.glyph_positions());
    let mut glyphs = Vec::with_capacity(infos.len());
    let mut width = 0;
    for (i, (info, position)) in infos.iter().zip(positions).enumerate() {
        // A cluster ends where the next one begins; its glyphs share one range.
        let start = info.cluster as usize;
        let later = infos[i..].iter().map(|next| next.cluster as usize).find(|&next| next > start);
        width += position.x_advance;
        glyphs.push(KrillaGlyph::new(
            GlyphId::new(info.glyph_id),
            position.x_advance as f32 / em,
            position.x_offset as f32 / em,
            position.y_offset as f32 / em,
            position.y_advance as f32 / em,
            start..later.unwrap_or(text.len()),
            None,
        ));
    }
    (glyphs, width as f32 / em)
}

/// Width of a line of text, pt.
pub fn line_width(text: &str, size: f32, bold: bool) -> f32 {
    shape(text, bold).1 * size
}

/// Text made [`visible`] and broken into lines of at most `width`, pt, at
/// spaces; a word that is wider than a line is broken where the line is full.
/// At least one line.
pub fn lines(text: &str, size: f32, bold: bool, width: f32) -> Vec<String> {
    // A percent sign does not begin a line.
    let text = visible(text).replace(" %", "\u{A0}%");
    let space = line_width(" ", size, bold);
    let mut lines: Vec<String> = Vec::new();
    let mut used = 0.0;
    for word in text.split(' ').filter(|w| !w.is_empty()) {
        let mut word = word;
        let mut word_width = line_width(word, size, bold);
        match lines.last_mut() {
            Some(line) if used + space + word_width <= width => {
                line.push(' ');
                line.push_str(word);
                used += space + word_width;
                continue;
            }
            _ => {}
        }
        // Rounding may leave a little width where no letter is left.
        while word_width > width && !word.is_empty() {
            let cut = fitting(word, size, bold, width);
            lines.push(word[..cut].to_owned());
            // Shaping the rest again for every line would take the square of its length.
            word_width -= line_width(&word[..cut], size, bold);
            word = &word[cut..];
        }
        if !word.is_empty() {
            lines.push(word.to_owned());
        }
        used = word_width;
    }
    if lines.is_empty() {
        lines.push(String::new());
    }
    lines
}

/// Bytes of the longest beginning of `word` that fits, at least one character.
fn fitting(word: &str, size: f32, bold: bool, width: f32) -> usize {
    // No letter is narrower than a fifth of the font size: the rest cannot fit.
    let n_most = (width / (0.2 * size)).clamp(1.0, 1e4) as usize + 1;
    let end = word.char_indices().nth(n_most).map_or(word.len(), |(i, _)| i);
    let ends: Vec<usize> = word[..end].char_indices().map(|(i, c)| i + c.len_utf8()).collect();
    let n_fit = ends.partition_point(|&end| line_width(&word[..end], size, bold) <= width);
    ends.get(n_fit.max(1) - 1).copied().unwrap_or(word.len())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn widths_are_those_of_the_font() {
        // Advance widths in the hmtx tables of the two files, 2048 units per em,
        // read with an own table walk in Python: regular digits 1171, space 532;
        // semibold 1169, 532. Digits and spaces have no kerning.
        assert!((line_width("0123456789 ", 2048.0, false) - 12_242.0).abs() < 0.01);
        assert!((line_width("0 1", 2048.0, true) - 2870.0).abs() < 0.01);
        // With kerning a line is not wider than the sum of its glyphs.
        let sum = crate::report::plots::text::text_width("AVATAR To", 10.0, false) as f32;
        assert!(line_width("AVATAR To", 10.0, false) < sum);
    }

    #[test]
    fn lines_fit_and_lose_nothing() {
        let text = "The screen takes 2.1 dB from the centre loudspeaker at the middle seat.";
        let broken = lines(text, 10.0, false, 120.0);
        assert!(broken.len() > 2);
        assert!(broken.iter().all(|l| line_width(l, 10.0, false) <= 120.0));
        assert_eq!(broken.join(" "), text);
        let long = "x".repeat(200);
        let broken = lines(&long, 10.0, false, 60.0);
        assert!(broken.iter().all(|l| line_width(l, 10.0, false) <= 60.0));
        assert_eq!(broken.concat(), long);
        assert_eq!(lines("  ", 10.0, false, 60.0), [""]);
        let with = line_width("Humidity: 45", 10.0, false) + 1.0;
        assert_eq!(lines("Humidity: 45 %.", 10.0, false, with), ["Humidity:", "45\u{A0}%."]);
        // Nothing fits, yet it ends.
        assert_eq!(lines("ab", 10.0, false, 0.0).concat(), "ab");
    }

    #[test]
    fn what_cannot_be_printed_is_seen_to_be_missing() {
        assert_eq!(visible("Süd ≥ 3 dB − Ω"), "Süd ≥ 3 dB − Ω");
        assert_eq!(visible("a\nb\tc"), "a b c");
        let plain = (' '..='~').collect::<String>();
        let (glyphs, _) = shape(&plain, false);
        assert!(glyphs.iter().chain(&shape(&plain, true).0).all(|g| g.glyph_id.to_u32() != 0));
        assert_eq!(visible("席🎬א\u{202E}\u{0}\u{E001}\u{FEFF}"), "\u{FFFD}".repeat(7));
        assert_eq!(visible("L₂ 3\u{202F}m"), "L2 3\u{A0}m");
        // Nothing in it has the glyph of a missing character (number 0).
        let (glyphs, _) = shape(&visible("席🎬 abc fi e\u{301}"), false);
        assert!(glyphs.iter().all(|g| g.glyph_id.to_u32() != 0));
        assert_eq!(property("席\u{0}\n", 9), "席\u{FFFD} ");
        assert_eq!(property("abcdef", 3), "abc");
    }
}
