//! The flow of a paper: strips over the width of the column, cut into pages.

use crate::report::paper::sign::Sign;
use krilla::tagging::TagKind;
use std::sync::Arc;

/// A piece of the tag tree that stands for marks on the pages.
pub type Leaf = usize;

/// Something drawn.
#[derive(Debug, Clone)]
pub enum Ink {
    /// A line of printable text; the mark's place is the start of its baseline.
    Text {
        /// Printable text.
        text: String,
        /// Font size, pt.
        size: f32,
        /// Semibold.
        bold: bool,
        /// Lightness, 0 black to 255 white.
        grey: u8,
    },
    /// A level line to the right of the mark's place.
    Rule {
        /// Length, pt.
        length: f32,
        /// Thickness, pt.
        thickness: f32,
        /// Lightness.
        grey: u8,
    },
    /// A sign, the upper left corner of its square at the mark's place.
    Sign {
        /// Which.
        sign: Sign,
        /// Side of the square, pt.
        side: f32,
    },
    /// An empty box, its upper left corner at the mark's place.
    Square {
        /// Side, pt.
        side: f32,
    },
    /// A drawing by its number in [`Flow::drawings`], upper left corner at the mark's place.
    Drawing {
        /// Index.
        number: usize,
        /// Width and height, pt.
        size: [f32; 2],
    },
}

/// Ink at a place inside a strip: x from the left edge of the column, y down
/// from the top of the strip, pt.
#[derive(Debug, Clone)]
pub struct Mark {
    /// Right, pt.
    pub x: f32,
    /// Down, pt.
    pub y: f32,
    /// What is drawn.
    pub ink: Ink,
    /// What it belongs to; `None` for decoration.
    pub leaf: Option<Leaf>,
}

/// A piece of the column that is not cut.
#[derive(Debug, Clone, Default)]
pub struct Strip {
    /// White space above, pt; dropped at the top of a page.
    pub space: f32,
    /// Height, pt.
    pub height: f32,
    pub marks: Vec<Mark>,
    /// Stays on the page of the next strip.
    pub keep: bool,
    /// Begins a page.
    pub new_page: bool,
    /// May be drawn this much smaller, 0 to 1, where it would else leave a page half empty.
    pub least_scale: Option<f32>,
    /// Number of the frame around it; strips of one frame follow each other.
    pub frame: Option<usize>,
    /// Number in [`Flow::heads`] of what is repeated where this begins a page.
    pub head: Option<usize>,
    /// Level and text for the outline.
    pub outline: Option<(u8, String)>,
}

/// An element of the tag tree.
#[derive(Debug)]
pub struct Element {
    /// Kind and properties.
    pub tag: TagKind,
    /// Content in reading order.
    pub children: Vec<Child>,
}

/// Content of an element.
#[derive(Debug)]
pub enum Child {
    /// An element inside.
    Element(Element),
    /// Marks.
    Leaf(Leaf),
}

/// A drawing: parsed SVG, or a decoded picture.
#[derive(Debug)]
pub enum Artwork {
    /// Vector drawing.
    Svg(Arc<resvg::usvg::Tree>),
    /// Raster picture.
    Picture(krilla::image::Image),
}

/// A paper, not yet cut into pages.
#[derive(Debug, Default)]
pub struct Flow {
    /// Strips from top to bottom.
    pub strips: Vec<Strip>,
    /// Rows repeated at the top of a page.
    pub heads: Vec<Strip>,
    pub drawings: Vec<Artwork>,
    /// Tag tree.
    pub elements: Vec<Element>,
    /// Leaves handed out so far.
    pub n_leaves: usize,
    /// Frames handed out so far.
    pub n_frames: usize,
}

impl Flow {
    /// A new leaf of the tag tree.
    pub fn leaf(&mut self) -> Leaf {
        self.n_leaves += 1;
        self.n_leaves - 1
    }

    /// A strip, or a head that is repeated.
    pub fn strip(&self, which: Which) -> &Strip {
        match which {
            Which::Strip(number) => &self.strips[number],
            Which::Head(number) => &self.heads[number],
        }
    }
}

impl Element {
    /// An element of a kind with content.
    pub fn new<C: Into<Child>>(
        tag: impl Into<TagKind>,
        children: impl IntoIterator<Item = C>,
    ) -> Self {
        Self { tag: tag.into(), children: children.into_iter().map(Into::into).collect() }
    }
}

impl From<Element> for Child {
    fn from(element: Element) -> Self {
        Self::Element(element)
    }
}

impl From<Leaf> for Child {
    fn from(leaf: Leaf) -> Self {
        Self::Leaf(leaf)
    }
}

/// A strip on its page.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Placed {
    /// Down from the top of the column, pt.
    pub y: f32,
    /// Which strip.
    pub which: Which,
    /// Size of its drawings against that in the strip.
    pub scale: f32,
}

/// A strip of the flow or a repeated head, by number.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Which {
    /// In [`Flow::strips`].
    Strip(usize),
    /// In [`Flow::heads`].
    Head(usize),
}

/// Cuts a flow into pages with a column of `height`, pt. Strips that are kept
/// together stay together where they fit on a page at all.
pub fn pages(flow: &Flow, height: f32) -> Vec<Vec<Placed>> {
    let mut cutter = Cutter { flow, height, pages: vec![Vec::new()], y: 0.0 };
    let mut first = 0;
    while first < flow.strips.len() {
        let kept = flow.strips[first..].iter().take_while(|s| s.keep).count();
        let end = (first + kept + 1).min(flow.strips.len());
        let group = &flow.strips[first..end];
        let room: f32 = group.iter().map(|s| s.space + s.height).sum();
        let lacking = cutter.y + room - height;
        let is_full = cutter.y > 0.0 && lacking > 0.0;
        let scale = if is_full { smaller(group, lacking) } else { None };
        if (is_full && scale.is_none()) || (group[0].new_page && cutter.y > 0.0) {
            cutter.turn();
        }
        for number in first..end {
            cutter.place(number, scale.unwrap_or(1.0));
        }
        first = end;
    }
    cutter.pages
}

/// The scale of a group's drawings that saves a height, pt; `None` where they may not be that
/// small.
fn smaller(group: &[Strip], lacking: f32) -> Option<f32> {
    let drawings = group.iter().filter(|s| s.least_scale.is_some());
    let least = drawings.clone().filter_map(|s| s.least_scale).reduce(f32::max)?;
    // A little less, so that the group fits in spite of rounding.
    let scale = 1.0 - (lacking + 0.1) / drawings.map(|s| s.height).sum::<f32>();
    (scale >= least).then_some(scale)
}

struct Cutter<'a> {
    flow: &'a Flow,
    height: f32,
    pages: Vec<Vec<Placed>>,
    y: f32,
}

impl Cutter<'_> {
    fn turn(&mut self) {
        self.pages.push(Vec::new());
        self.y = 0.0;
    }

    fn put(&mut self, y: f32, which: Which, scale: f32) {
        if let Some(page) = self.pages.last_mut() {
            page.push(Placed { y, which, scale });
        }
    }

    fn place(&mut self, number: usize, scale: f32) {
        let strip = &self.flow.strips[number];
        let scale = if strip.least_scale.is_some() { scale } else { 1.0 };
        let height = strip.height * scale;
        if self.y > 0.0 && self.y + strip.space + height > self.height {
            self.turn();
        }
        if self.y == 0.0 {
            if let Some(head) = strip.head {
                self.put(0.0, Which::Head(head), 1.0);
                self.y = self.flow.heads[head].height;
            }
        } else {
            self.y += strip.space;
        }
        self.put(self.y, Which::Strip(number), scale);
        self.y += height;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn strip(height: f32, keep: bool) -> Strip {
        Strip { space: 2.0, height, keep, ..Strip::default() }
    }

    fn numbers(flow: &Flow, height: f32) -> Vec<Vec<Which>> {
        pages(flow, height).iter().map(|p| p.iter().map(|s| s.which).collect()).collect()
    }

    #[test]
    fn a_heading_goes_with_what_follows() {
        use Which::Strip as S;
        let strips = vec![strip(50.0, false), strip(20.0, true), strip(20.0, false)];
        let flow = Flow { strips, ..Flow::default() };
        // 50 + 2 + 20 + 2 + 20 = 94.
        assert_eq!(numbers(&flow, 94.0), [vec![S(0), S(1), S(2)]]);
        assert_eq!(numbers(&flow, 93.0), [vec![S(0)], vec![S(1), S(2)]]);
        // What does not fit on any page is cut rather than lost.
        assert_eq!(numbers(&flow, 30.0), [[S(0)], [S(1)], [S(2)]]);
        assert_eq!(pages(&flow, 94.0)[0][1].y, 52.0);
        assert_eq!(pages(&flow, 93.0)[1][0].y, 0.0, "no space at the top of a page");
    }

    #[test]
    fn a_drawing_gets_a_little_smaller_before_it_leaves_a_page_empty() {
        let plot = Strip { keep: true, least_scale: Some(0.8), ..strip(40.0, true) };
        let flow = Flow {
            strips: vec![strip(50.0, false), strip(10.0, true), plot, strip(10.0, false)],
            ..Flow::default()
        };
        // 50 + 2 + 10 + 2 + 40 + 2 + 10 = 116; the plot at 0.8 of its size saves 8.
        assert_eq!(pages(&flow, 117.0)[0][2].scale, 1.0);
        let cut = pages(&flow, 109.0);
        assert_eq!(cut.len(), 1);
        let [plot, caption] = [cut[0][2], cut[0][3]];
        assert!((0.8..0.83).contains(&plot.scale), "{}", plot.scale);
        assert!((caption.y - (plot.y + 40.0 * plot.scale + 2.0)).abs() < 1e-3);
        assert!(caption.y + 10.0 <= 109.0 && caption.scale == 1.0);
        let cut = pages(&flow, 107.0);
        assert_eq!((cut.len(), cut[1][1].scale), (2, 1.0), "too small to read");
    }

    #[test]
    fn the_head_of_a_table_is_repeated_on_every_page() {
        use Which::{Head as H, Strip as S};
        let row = Strip { height: 10.0, head: Some(0), ..Strip::default() };
        let head = Strip { height: 10.0, keep: true, ..Strip::default() };
        let mut flow = Flow { heads: vec![head.clone()], ..Flow::default() };
        flow.strips = vec![head, row.clone(), row.clone(), row];
        assert_eq!(numbers(&flow, 30.0), [vec![S(0), S(1), S(2)], vec![H(0), S(3)]]);
        assert_eq!(pages(&flow, 30.0)[1][1].y, 10.0);
    }

    #[test]
    fn a_new_page_begins_once() {
        let mut flow =
            Flow { strips: vec![strip(5.0, false), strip(5.0, false)], ..Flow::default() };
        flow.strips[0].new_page = true;
        flow.strips[1].new_page = true;
        assert_eq!(pages(&flow, 100.0).len(), 2, "no empty page in front");
    }
}
