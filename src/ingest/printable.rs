//! Foreign text as messages show it: nothing in it can drive a terminal or disguise itself.

use std::path::Path;

/// A path for messages: control and direction characters become visible escapes,
/// so that a file name cannot drive the terminal or disguise itself.
pub fn shown(path: &Path) -> String {
    plain(&path.to_string_lossy())
}

/// Text of foreign origin for messages: control, direction and other invisible
/// characters become visible escapes.
pub fn plain(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        if is_invisible(c) { out.extend(c.escape_unicode()) } else { out.push(c) }
    }
    out
}

/// Foreign text for messages, made printable and cut: a cell of a megabyte is no message.
pub fn excerpt(text: &str) -> String {
    const MAX_CHARS: usize = 80;
    let mut out = plain(&text.chars().take(MAX_CHARS).collect::<String>());
    if text.chars().nth(MAX_CHARS).is_some() {
        out.push('…');
    }
    out
}

/// Control characters, direction marks and the like: nothing a name may hold.
pub(crate) fn is_invisible(c: char) -> bool {
    c.is_control()
        || matches!(c,
            '\u{00ad}' | '\u{061c}' | '\u{200b}'..='\u{200f}' | '\u{2028}'..='\u{202e}'
            | '\u{2060}'..='\u{206f}' | '\u{feff}' | '\u{fff9}'..='\u{fffb}'
            | '\u{e0000}'..='\u{e0fff}')
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_file_name_cannot_drive_the_terminal() {
        assert_eq!(shown(Path::new("a\u{1b}[31m\n.wav")), "a\\u{1b}[31m\\u{a}.wav");
        assert_eq!(shown(Path::new("a\u{202e}vaw.exe")), "a\\u{202e}vaw.exe");
        assert_eq!(shown(Path::new("Sofa Süd 1.wav")), "Sofa Süd 1.wav");
    }
}
