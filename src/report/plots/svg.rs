//! SVG text, element by element. All that comes from users goes through
//! [`escape`], so that a seat's name never becomes markup.

use std::fmt::Write;

/// Text made safe for XML content and attribute values: the five special
/// characters as entities, control characters (which XML 1.0 forbids) left out.
pub fn escape(text: &str) -> String {
    let mut safe = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '&' => safe.push_str("&amp;"),
            '<' => safe.push_str("&lt;"),
            '>' => safe.push_str("&gt;"),
            '"' => safe.push_str("&quot;"),
            '\'' => safe.push_str("&#39;"),
            '\t' | '\n' | '\r' => safe.push(' '),
            c if c.is_control() || matches!(c, '\u{fffe}' | '\u{ffff}') => {}
            c => safe.push(c),
        }
    }
    safe
}

/// A coordinate with at most two decimals: finer than any printer, short in the file.
pub fn px(value: f64) -> String {
    let mut text = format!("{value:.2}");
    if text.contains('.') {
        text.truncate(text.trim_end_matches('0').trim_end_matches('.').len());
    }
    if text == "-0" { "0".into() } else { text }
}

/// How a text is set.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TextStyle {
    /// Height of the font, px.
    pub size: f64,
    /// Semibold instead of regular.
    pub bold: bool,
    /// Colour.
    pub color: &'static str,
    /// Which point of the text the position is.
    pub anchor: Anchor,
}

/// Which point of a text its position is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Anchor {
    /// Left end.
    Start,
    /// Middle.
    Middle,
    /// Right end.
    End,
}

/// A drawing in the making.
#[derive(Debug, Default)]
pub struct Svg {
    out: String,
}

impl Svg {
    /// An empty drawing.
    pub fn new() -> Self {
        Self::default()
    }

    /// The text so far.
    pub fn finish(self) -> String {
        self.out
    }

    /// Opens an element; attribute values are escaped.
    pub fn open(&mut self, tag: &str, attributes: &[(&str, &str)]) {
        self.tag(tag, attributes, ">\n");
    }

    /// Closes an element.
    pub fn close(&mut self, tag: &str) {
        let _ = writeln!(self.out, "</{tag}>");
    }

    /// An element without content.
    pub fn empty(&mut self, tag: &str, attributes: &[(&str, &str)]) {
        self.tag(tag, attributes, "/>\n");
    }

    /// An element that holds only text, which is escaped.
    pub fn leaf(&mut self, tag: &str, attributes: &[(&str, &str)], text: &str) {
        self.tag(tag, attributes, ">");
        let _ = writeln!(self.out, "{}</{tag}>", escape(text));
    }

    fn tag(&mut self, tag: &str, attributes: &[(&str, &str)], end: &str) {
        // Writing to a String cannot fail.
        let _ = write!(self.out, "<{tag}");
        for (name, value) in attributes {
            let _ = write!(self.out, " {name}=\"{}\"", escape(value));
        }
        self.out.push_str(end);
    }

    /// A straight line.
    pub fn line(&mut self, from: [f64; 2], to: [f64; 2], stroke: &str, width: f64, class: &str) {
        self.empty(
            "line",
            &[
                ("class", class),
                ("x1", &px(from[0])),
                ("y1", &px(from[1])),
                ("x2", &px(to[0])),
                ("y2", &px(to[1])),
                ("stroke", stroke),
                ("stroke-width", &px(width)),
            ],
        );
    }

    /// A filled rectangle.
    pub fn rect(&mut self, at: [f64; 2], size: [f64; 2], fill: &str, class: &str) {
        self.empty(
            "rect",
            &[
                ("class", class),
                ("x", &px(at[0])),
                ("y", &px(at[1])),
                ("width", &px(size[0].max(0.0))),
                ("height", &px(size[1].max(0.0))),
                ("fill", fill),
            ],
        );
    }

    /// A filled dot.
    pub fn dot(&mut self, at: [f64; 2], radius: f64, fill: &str, class: &str) {
        self.empty(
            "circle",
            &[
                ("class", class),
                ("cx", &px(at[0])),
                ("cy", &px(at[1])),
                ("r", &px(radius)),
                ("fill", fill),
            ],
        );
    }

    /// A line of text with its baseline at `at`.
    pub fn text(&mut self, at: [f64; 2], style: TextStyle, text: &str) {
        self.styled_text(at, style, text, &[]);
    }

    /// The same with a white rim, readable over lines.
    pub fn rimmed_text(&mut self, at: [f64; 2], style: TextStyle, text: &str) {
        let rim = [
            ("paint-order", "stroke"),
            ("stroke", "#FFFFFF"),
            ("stroke-width", "6"),
            ("stroke-linejoin", "round"),
        ];
        self.styled_text(at, style, text, &rim);
    }

    fn styled_text(&mut self, at: [f64; 2], style: TextStyle, text: &str, more: &[(&str, &str)]) {
        let anchor = match style.anchor {
            Anchor::Start => "start",
            Anchor::Middle => "middle",
            Anchor::End => "end",
        };
        let (x, y, size) = (px(at[0]), px(at[1]), px(style.size));
        let mut attributes = vec![
            ("x", x.as_str()),
            ("y", y.as_str()),
            ("font-size", size.as_str()),
            ("font-weight", if style.bold { "600" } else { "400" }),
            ("fill", style.color),
            ("text-anchor", anchor),
        ];
        attributes.extend(more);
        self.leaf("text", &attributes, text);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_name_never_becomes_markup() {
        assert_eq!(
            escape("</text><script>alert('1')</script>&\"\u{0}\u{1b}\n"),
            "&lt;/text&gt;&lt;script&gt;alert(&#39;1&#39;)&lt;/script&gt;&amp;&quot; "
        );
        let mut svg = Svg::new();
        svg.leaf("text", &[("data-series", "a\" onload=\"x")], "<b>");
        assert_eq!(svg.finish(), "<text data-series=\"a&quot; onload=&quot;x\">&lt;b&gt;</text>\n");
    }

    #[test]
    fn coordinates_are_short_and_exact_to_a_hundredth() {
        for (value, want) in
            [(1.0, "1"), (100.0, "100"), (-0.001, "0"), (0.126, "0.13"), (-12.5, "-12.5")]
        {
            assert_eq!(px(value), want);
        }
    }
}
