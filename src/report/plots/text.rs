//! The fonts of the plots and papers, and how wide text in them is.

use std::sync::LazyLock;
use ttf_parser::Face;

/// Open Sans Regular (Apache License 2.0, see `assets/fonts/README.md`).
pub const REGULAR: &[u8] = include_bytes!("../../../assets/fonts/OpenSans-Regular.ttf");

/// Open Sans Semibold.
pub const SEMIBOLD: &[u8] = include_bytes!("../../../assets/fonts/OpenSans-Semibold.ttf");

/// Families for viewers that show the SVG with their own fonts.
pub const FAMILY: &str = "Open Sans, sans-serif";

fn face(bold: bool) -> Option<&'static Face<'static>> {
    static FACES: LazyLock<[Option<Face<'static>>; 2]> =
        LazyLock::new(|| [REGULAR, SEMIBOLD].map(|font| Face::parse(font, 0).ok()));
    FACES[usize::from(bold)].as_ref()
}

/// Width of a line of text, px: the sum of the glyphs' advances (no kerning,
/// which only makes it narrower). A character that the font has not counts as
/// one em, the widest a viewer's own font will be.
pub fn text_width(text: &str, size: f64, bold: bool) -> f64 {
    let Some(face) = face(bold) else { return text.chars().count() as f64 * size };
    let em = f64::from(face.units_per_em());
    let advance = |c| face.glyph_index(c).and_then(|g| face.glyph_hor_advance(g));
    text.chars().map(|c| advance(c).map_or(1.0, |a| f64::from(a) / em) * size).sum()
}

/// Text cut to a width, with an ellipsis where something was cut.
pub fn fit(text: &str, size: f64, bold: bool, width: f64) -> String {
    if text_width(text, size, bold) <= width {
        return text.to_owned();
    }
    let mut kept: String = text.to_owned();
    while kept.pop().is_some() {
        let cut = format!("{}…", kept.trim_end());
        if text_width(&cut, size, bold) <= width {
            return cut;
        }
    }
    "…".to_owned()
}

/// Text broken at spaces (not at no-break spaces) into lines of at most `width`; at most `n_lines`,
/// the last one cut if need be.
pub fn wrap(text: &str, size: f64, bold: bool, width: f64, n_lines: usize) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    for word in text.split(' ').filter(|w| !w.is_empty() && n_lines > 0) {
        let joined = match lines.last() {
            Some(line) => format!("{line} {word}"),
            None => word.to_owned(),
        };
        let full = lines.len() >= n_lines;
        match lines.last_mut() {
            Some(line) if full || text_width(&joined, size, bold) <= width => *line = joined,
            _ => lines.push(word.to_owned()),
        }
    }
    lines.iter().map(|line| fit(line, size, bold, width)).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn widths_are_those_of_the_font() {
        // Advance widths in the hmtx tables of the two files, 2048 units per em,
        // read with an own table walk in Python: regular digits 1171, space 532,
        // L 1063, o 1237, s 977; semibold 1169, 532, 1110, 1251, 997.
        assert!((text_width("0123456789 ", 2048.0, false) - 12_242.0).abs() < 1e-6);
        assert!((text_width("Loss", 2048.0, false) - 4254.0).abs() < 1e-6);
        assert!((text_width("Loss ", 2048.0, true) - 4887.0).abs() < 1e-6);
        assert!(text_width("Loss", 20.0, true) > text_width("Loss", 20.0, false));
        assert_eq!(text_width("席", 20.0, false), 20.0);
    }

    #[test]
    fn long_text_is_cut_and_short_text_kept() {
        assert_eq!(fit("R1C", 20.0, false, 100.0), "R1C");
        let cut = fit("A seat with a very long name", 20.0, false, 100.0);
        assert!(cut.ends_with('…') && text_width(&cut, 20.0, false) <= 100.0, "{cut}");
        assert_eq!(fit("abc", 20.0, false, 0.0), "…");
    }

    #[test]
    fn lines_break_between_words() {
        let lines = wrap("one two three four", 20.0, false, 90.0, 3);
        assert!(lines.len() > 1 && lines.len() <= 3);
        assert_eq!(lines.join(" "), "one two three four");
        for line in &lines {
            assert!(text_width(line, 20.0, false) <= 90.0);
        }
        let cut = wrap("one two three four five six", 20.0, false, 90.0, 1);
        assert_eq!(cut.len(), 1);
        assert!(cut[0].ends_with('…'));
    }
}
