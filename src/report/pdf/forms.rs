//! What is filled in by hand: boxes to tick, lines to write and to sign on.

use super::blocks::{DIM, Measures, Setter, Style, text_mark};
use super::flow::{Element, Ink, Leaf, Mark, Strip};
use super::type_setting::lines;
use crate::report::paper::sign::Sign;
use krilla::tagging::{ListNumbering, Tag};

impl Setter<'_> {
    /// A list with a sign before each point; the words say the same.
    pub(super) fn verdicts(&mut self, verdicts: &[(Sign, String)]) {
        let body = self.measures.body;
        self.marked(verdicts.iter().map(|(sign, text)| {
            let ink = Ink::Sign { sign: *sign, side: body * 0.8 };
            (Mark { x: 1.0, y: body * 0.3, ink, leaf: None }, text)
        }));
    }

    /// A list with a box to tick before each point.
    pub(super) fn ticks(&mut self, points: &[String]) {
        let body = self.measures.body;
        // Decoration: a reader's program says "list", the box is for the pen.
        let ink = Ink::Square { side: body * 0.95 };
        let square = Mark { x: 1.0, y: body * 0.22, ink, leaf: None };
        self.marked(points.iter().map(|text| (square.clone(), text)));
    }

    /// A list with a mark of its own before each point.
    fn marked<'a>(&mut self, points: impl Iterator<Item = (Mark, &'a String)>) {
        let body = self.measures.body;
        let mut items = Vec::new();
        for (i, (mark, text)) in points.enumerate() {
            let space = if i == 0 { body * 0.4 } else { body * 0.25 };
            let first = self.flow.strips.len();
            let style = Style { space, indent: body * 1.7, ..self.body() };
            let leaf = self.text(text, style, self.measures.width, false);
            self.flow.strips[first].marks.insert(0, mark);
            items.push(Element::new(Tag::LI, [Element::new(Tag::LBody, [leaf])]));
        }
        self.push_list(ListNumbering::None, items);
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
                let name = self.small_words(name, x, column, leaf);
                strip.marks.push(Mark { y: height - size * 0.45, ..name });
                let ink = Ink::Rule { length: column, thickness: 0.5, grey: 90 };
                strip.marks.push(Mark { x, y: height, ink, leaf: None });
                self.push(Tag::P, [leaf]);
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
                let words = self.small_words(text, x, length, leaf);
                strip.marks.push(Mark { y: words.y + size * 3.0, ..words });
            }
            self.flow.strips.push(strip);
            self.push(Tag::P, [leaf]);
        }
    }

    /// What fits into one line of a width, small and standing back.
    fn small_words(&self, text: &str, x: f32, width: f32, leaf: Leaf) -> Mark {
        let style = Style { size: self.measures.small, grey: DIM, ..self.body() };
        text_mark(style, x, lines(text, style.size, false, width).swap_remove(0) + " ", leaf)
    }
}
