//! SVG text, element by element. All that comes from users goes through
//! [`escape`], so that a seat's name never becomes markup.

use super::text::FAMILY;
use plotters::style::RGBColor;
use std::cell::RefCell;
use std::fmt::Write;
use std::rc::Rc;

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
    text.truncate(text.trim_end_matches('0').trim_end_matches('.').len());
    if text == "-0" { "0".into() } else { text }
}

/// A colour as SVG writes it.
pub fn hex(RGBColor(r, g, b): RGBColor) -> String {
    format!("#{r:02X}{g:02X}{b:02X}")
}

/// How a text is set.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Text {
    /// Height of the font, px.
    pub size: f64,
    /// Semibold instead of regular.
    pub bold: bool,
    /// Colour.
    pub color: RGBColor,
    /// Which point of the text its position is: "start", "middle" or "end".
    pub anchor: &'static str,
    /// Whether it has a white rim, to be readable over lines.
    pub rimmed: bool,
}

impl Text {
    /// Regular text that starts at its position.
    pub fn new(size: f64, color: RGBColor) -> Self {
        Self { size, bold: false, color, anchor: "start", rimmed: false }
    }

    /// The same in semibold.
    pub fn bold(self) -> Self {
        Self { bold: true, ..self }
    }

    /// The same with a white rim.
    pub fn rimmed(self) -> Self {
        Self { rimmed: true, ..self }
    }

    /// The same with its middle at the position.
    pub fn middle(self) -> Self {
        Self { anchor: "middle", ..self }
    }

    /// The same with its end at the position.
    pub fn end(self) -> Self {
        Self { anchor: "end", ..self }
    }
}

/// A drawing in the making; a copy writes into the same drawing.
#[derive(Debug, Clone)]
pub struct Svg {
    out: Rc<RefCell<String>>,
    /// Width and height, px.
    pub(super) size: [f64; 2],
}

impl Svg {
    /// Opens a page: size, white ground, and the words for those who do not see it: id, title and
    /// description. In a paper the title is an attribute, since browsers show the element as a
    /// tooltip, which would cover the plot.
    pub fn page(
        size: [f64; 2],
        in_paper: bool,
        [id, title, description]: [&str; 3],
        more: &[(&str, &str)],
    ) -> Self {
        let svg = Self { out: Rc::default(), size };
        let [w, h] = size.map(px);
        let (view, named_by) = (format!("0 0 {w} {h}"), format!("{id}-title {id}-desc"));
        let named = [("aria-labelledby", named_by.as_str()), ("aria-label", title)];
        let mut attributes = vec![
            ("xmlns", "http://www.w3.org/2000/svg"),
            ("viewBox", view.as_str()),
            ("width", w.as_str()),
            ("height", h.as_str()),
            ("font-family", FAMILY),
            ("role", "img"),
            named[usize::from(in_paper)],
            ("id", id),
        ];
        attributes.extend(more);
        svg.open("svg", &attributes);
        if !in_paper {
            svg.leaf("title", &[("id", &format!("{id}-title"))], title);
            svg.leaf("desc", &[("id", &format!("{id}-desc"))], description);
        }
        svg.tag(
            "rect",
            &[("class", "paper"), ("width", &w), ("height", &h), ("fill", "#FFFFFF")],
            "/>\n",
        );
        svg
    }

    /// The finished text.
    pub fn finish(self) -> String {
        self.close("svg");
        self.out.take()
    }

    /// Opens an element; attribute values are escaped, empty ones left out.
    pub fn open(&self, tag: &str, attributes: &[(&str, &str)]) {
        self.tag(tag, attributes, ">\n");
    }

    /// Closes an element.
    pub fn close(&self, tag: &str) {
        let _ = writeln!(self.out.borrow_mut(), "</{tag}>");
    }

    /// An element without content.
    pub fn empty(&self, tag: &str, attributes: &[(&str, &str)]) {
        self.tag(tag, attributes, "/>\n");
    }

    /// An element that holds only text, which is escaped.
    fn leaf(&self, tag: &str, attributes: &[(&str, &str)], text: &str) {
        self.tag(tag, attributes, ">");
        let _ = writeln!(self.out.borrow_mut(), "{}</{tag}>", escape(text));
    }

    fn tag(&self, tag: &str, attributes: &[(&str, &str)], end: &str) {
        let mut out = self.out.borrow_mut();
        // Writing to a String cannot fail.
        let _ = write!(out, "<{tag}");
        for (name, value) in attributes.iter().filter(|(_, value)| !value.is_empty()) {
            let _ = write!(out, " {name}=\"{}\"", escape(value));
        }
        out.push_str(end);
    }

    /// A line of text with its baseline at a place, px.
    pub fn text(&self, at: [f64; 2], style: Text, text: &str) {
        let ([x, y], size, fill) = (at.map(px), px(style.size), hex(style.color));
        let rim = ["stroke", "#FFFFFF", "6", "round"].map(|of| if style.rimmed { of } else { "" });
        let attributes = [
            ("x", x.as_str()),
            ("y", &y),
            ("font-size", &size),
            ("font-weight", if style.bold { "600" } else { "400" }),
            ("fill", &fill),
            ("text-anchor", style.anchor),
            ("paint-order", rim[0]),
            ("stroke", rim[1]),
            ("stroke-width", rim[2]),
            ("stroke-linejoin", rim[3]),
        ];
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
        let svg = Svg { out: Rc::default(), size: [1.0, 1.0] };
        svg.leaf("text", &[("data-series", "a\" onload=\"x")], "<b>");
        assert_eq!(
            svg.out.take(),
            "<text data-series=\"a&quot; onload=&quot;x\">&lt;b&gt;</text>\n"
        );
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
