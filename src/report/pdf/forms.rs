//! What is filled in by hand: boxes to tick, lines to write and to sign on.

use super::blocks::{DIM, Measures, Setter, Style, text_mark};
use super::flow::{Child, Element, Ink, Mark, Strip};
use super::type_setting::lines;
use crate::report::paper::sign::Sign;
use krilla::tagging::{ListNumbering, Tag};

impl Setter {
    /// A list with a sign before each point; the words say the same.
    pub(super) fn verdicts(&mut self, verdicts: &[(Sign, String)]) {
        let body = self.measures.body;
        let mut items = Vec::new();
        for (i, (sign, text)) in verdicts.iter().enumerate() {
            let space = if i == 0 { body * 0.4 } else { body * 0.25 };
            let first = self.flow.strips.len();
            let style = Style { space, indent: body * 1.7, ..self.body() };
            let leaf = self.text(text, style, self.measures.width, false);
            let ink = Ink::Sign { sign: *sign, side: body * 0.8 };
            let mark = Mark { x: 1.0, y: body * 0.3, ink, leaf: None };
            self.flow.strips[first].marks.insert(0, mark);
            let content = Element::new(Tag::LBody, vec![Child::Leaf(leaf)]);
            items.push(Child::Element(Element::new(Tag::LI, vec![Child::Element(content)])));
        }
        if !items.is_empty() {
            self.push(Element::new(Tag::L(ListNumbering::None), items));
        }
    }

    /// A list with a box to tick before each point.
    pub(super) fn ticks(&mut self, points: &[String]) {
        let body = self.measures.body;
        let mut items = Vec::new();
        for (i, point) in points.iter().enumerate() {
            let space = if i == 0 { body * 0.4 } else { body * 0.25 };
            let first = self.flow.strips.len();
            let style = Style { space, indent: body * 1.7, ..self.body() };
            let leaf = self.text(point, style, self.measures.width, false);
            // Decoration: a reader's program says "list", the box is for the pen.
            let ink = Ink::Square { side: body * 0.95 };
            let square = Mark { x: 1.0, y: body * 0.22, ink, leaf: None };
            self.flow.strips[first].marks.insert(0, square);
            let content = Element::new(Tag::LBody, vec![Child::Leaf(leaf)]);
            items.push(Child::Element(Element::new(Tag::LI, vec![Child::Element(content)])));
        }
        if !items.is_empty() {
            self.push(Element::new(Tag::L(ListNumbering::None), items));
        }
    }

    /// Names with room to write beside them, three in a row.
    pub(super) fn fields(&mut self, names: &[String]) {
        const ACROSS: usize = 3;
        let (size, width) = (self.measures.small, self.measures.width);
        let gap = size * 1.6;
        let column = (width - gap * (ACROSS - 1) as f32) / ACROSS as f32;
        for row in names.chunks(ACROSS) {
            let height = size * 2.5;
            let mut strip = Strip { space: size * 0.1, height, ..Strip::default() };
            for (i, name) in row.iter().enumerate() {
                let x = i as f32 * (column + gap);
                let leaf = self.flow.leaf();
                let style = Style { size, grey: DIM, ..self.body() };
                let line = lines(name, size, false, column).swap_remove(0) + " ";
                let mut mark = text_mark(style, x, line, Some(leaf));
                mark.y = height - size * 0.45;
                strip.marks.push(mark);
                let ink = Ink::Rule { length: column, thickness: 0.5, grey: 90 };
                strip.marks.push(Mark { x, y: height, ink, leaf: None });
                self.push(Element::new(Tag::P, vec![Child::Leaf(leaf)]));
            }
            self.flow.strips.push(strip);
        }
    }

    /// Lines to sign on, with room for a date.
    pub(super) fn signatures(&mut self, who: &[String]) {
        let (size, width) = (self.measures.small, self.measures.width);
        for name in who {
            let mut strip = Strip {
                space: size * 0.8,
                height: size * 3.0 + Measures::leading(size),
                ..Strip::default()
            };
            let leaf = self.flow.leaf();
            let date_x = width * 0.7;
            for (x, length, text) in
                [(0.0, width * 0.62, name.as_str()), (date_x, width - date_x, "Date")]
            {
                let ink = Ink::Rule { length, thickness: 0.6, grey: 0 };
                strip.marks.push(Mark { x, y: size * 2.8, ink, leaf: None });
                let style = Style { size, grey: DIM, ..self.body() };
                let line = lines(text, size, false, length).swap_remove(0) + " ";
                let mut mark = text_mark(style, x, line, Some(leaf));
                mark.y += size * 3.0;
                strip.marks.push(mark);
            }
            self.flow.strips.push(strip);
            self.push(Element::new(Tag::P, vec![Child::Leaf(leaf)]));
        }
    }
}
