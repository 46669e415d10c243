//! The handover paper as one web page: no file beside it, no network, no framework.
//!
//! The template escapes every text. A content policy in the page forbids everything
//! from elsewhere, and scripts other than the one written here, whose hash it names.

use super::paper::writer::DOUBTFUL;
use super::paper::{Block, Logo, Paper, Table};
use super::plots::drawing::Drawing;
use super::plots::text::{REGULAR, SEMIBOLD};
use base64::Engine;
use base64::engine::general_purpose::STANDARD as BASE64;
use maud::{DOCTYPE, Markup, PreEscaped, html};

const STYLE: &str = include_str!("html/style.css");
const SCRIPT: &str = include_str!("html/script.js");

/// SHA-256 of the script, base64: the only script the page may run.
pub(crate) const SCRIPT_HASH: &str = "/5Luv/osjLfYKaqyQs3QgByRkjBRT2U7cbFUYJwinZk=";

/// The page of a session. `seats` are the ids by which plots and tables name the seats; each
/// gets a box to show or hide it.
pub fn html_page(paper: &Paper, seats: &[String]) -> String {
    page(paper, "Seats shown in plots and tables", seats)
}

/// A page with boxes to show or hide what `names` name, under the words `legend`. One without
/// plots and names needs neither script nor fonts.
pub fn page(paper: &Paper, legend: &str, names: &[String]) -> String {
    let is_drawn = paper.blocks.iter().any(|block| matches!(block, Block::Figure { .. }));
    let is_live = is_drawn || names.len() > 1;
    let script = if is_live { format!("'sha256-{SCRIPT_HASH}'") } else { "'none'".to_owned() };
    let policy = format!(
        "default-src 'none'; img-src data:; font-src data:; style-src 'unsafe-inline'; \
         script-src {script}; base-uri 'none'; form-action 'none'"
    );
    let page = html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta http-equiv="Content-Security-Policy" content=(policy);
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta name="color-scheme" content="light dark";
                title { (paper.title) }
                style { @if is_drawn { (fonts()) } (PreEscaped(STYLE)) }
            }
            body {
                a.skip href="#paper" { "To the paper" }
                (banner(paper))
                (contents(paper))
                main #paper {
                    @if names.len() > 1 { (boxes(legend, names)) }
                    (parts(&paper.blocks))
                }
                @if is_live { script { (PreEscaped(SCRIPT)) } }
            }
        }
    };
    page.into_string()
}

/// The plots are laid out in this font; without it labels would run into each other.
fn fonts() -> PreEscaped<String> {
    let font = |weight: u16, font: &[u8]| {
        format!(
            "@font-face{{font-family:\"Open Sans\";font-weight:{weight};\
             src:url(data:font/ttf;base64,{})}}\n",
            BASE64.encode(font)
        )
    };
    PreEscaped(font(400, REGULAR) + &font(600, SEMIBOLD))
}

fn banner(paper: &Paper) -> Markup {
    // As an image the drawing can neither run scripts nor fetch anything.
    let image = paper.logo.as_ref().map(|logo| match logo {
        Logo::Png(bytes) => format!("data:image/png;base64,{}", BASE64.encode(bytes)),
        Logo::Jpeg(bytes) => format!("data:image/jpeg;base64,{}", BASE64.encode(bytes)),
        Logo::Svg(text) => format!("data:image/svg+xml;base64,{}", BASE64.encode(text)),
    });
    html! {
        header {
            @if let Some(image) = image { img.logo alt="Logo" src=(image); }
            h1 { (paper.title) }
            @if !paper.subtitle.is_empty() { p { (paper.subtitle) } }
        }
    }
}

/// Links to the headings of the parts, by their numbers.
fn contents(paper: &Paper) -> Markup {
    let headings = paper.blocks.iter().filter_map(|block| match block {
        Block::Heading { level, text } => Some((*level, text.as_str())),
        _ => None,
    });
    let listed: Vec<_> = headings
        .enumerate()
        .filter(|(_, (level, text))| *level == 1 || *text == DOUBTFUL)
        .collect();
    html! {
        @if !listed.is_empty() {
            nav aria-label="Contents" {
                ol { @for (i, (_, text)) in listed { li { a href={ "#part-" (i) } { (text) } } } }
            }
        }
    }
}

/// Boxes to show and hide, shown by the script, without which they would do nothing.
fn boxes(legend: &str, names: &[String]) -> Markup {
    html! {
        fieldset #seats hidden {
            legend { (legend) }
            @for name in names {
                label { input type="checkbox" checked data-seat=(name); " " (name) }
            }
            button #all-seats type="button" { "All" }
            button #no-seats type="button" { "None" }
        }
    }
}

/// The blocks, those of a part in a section of their own.
fn parts(blocks: &[Block]) -> Markup {
    let is_part = |block: &Block| matches!(block, Block::Heading { level: 1, .. });
    let mut page = Counted::default();
    let first = blocks.iter().position(is_part).unwrap_or(blocks.len());
    let (before, rest) = blocks.split_at(first);
    let mut starts: Vec<usize> = (0..rest.len()).filter(|i| is_part(&rest[*i])).collect();
    starts.push(rest.len());
    html! {
        @for block in before { (page.block(block)) }
        @for ends in starts.windows(2) {
            section aria-labelledby={ "part-" (page.headings) } {
                @for block in &rest[ends[0]..ends[1]] { (page.block(block)) }
            }
        }
    }
}

/// Tables of so many columns fit on a phone.
const NARROW: usize = 3;

/// Stands before what is wider than a phone; the style shows it there alone.
fn sideways() -> Markup {
    html! { p.sideways aria-hidden="true" { "Wider than the page: move it sideways." } }
}

/// What was counted on the way down the page: headings and tables have numbered anchors.
#[derive(Default)]
struct Counted {
    headings: usize,
    /// Parts among the headings.
    parts: usize,
    tables: usize,
}

impl Counted {
    fn block(&mut self, block: &Block) -> Markup {
        let list = |points: &[String]| html! { @for point in points { li { (point) } } };
        match block {
            Block::Heading { level, text } => self.heading(*level, text),
            Block::Paragraph(text) => html! { p { (text) } },
            Block::List(points) => html! { ul { (list(points)) } },
            Block::Facts(facts) => html! {
                dl { @for (name, value) in facts { div { dt { (name) } dd { (value) } } } }
            },
            Block::Table(table) => {
                self.tables += 1;
                table_markup(table, self.tables - 1)
            }
            Block::Figure { drawing, .. } => figure_markup(drawing),
            Block::Caution(text) => html! { p.caution { strong { "Caution." } " " (text) } },
            Block::Signatures(lines) => html! {
                ul.signatures {
                    @for line in lines {
                        li { span { (line) } span { "Place, date, signature" } }
                    }
                }
            },
            Block::Verdicts(verdicts) => html! {
                ul.signs {
                    @for (sign, text) in verdicts {
                        li {
                            svg viewBox="0 0 12 12" aria-hidden="true" {
                                path d=(sign.path([1.0, 1.0], 10.0)) {}
                            }
                            (text)
                        }
                    }
                }
            },
            Block::Ticks(points) => html! { ul.ticks { (list(points)) } },
            Block::Fields(names) => html! { ul.fields { (list(names)) } },
            Block::PageBreak => html! { div.page-break {} },
        }
    }

    fn heading(&mut self, level: u8, text: &str) -> Markup {
        let id = format!("part-{}", self.headings);
        self.headings += 1;
        // No level is skipped after the title, whatever the size of the letters.
        let is_second = level <= 1 || self.parts == 0;
        self.parts += usize::from(level <= 1);
        html! {
            @if is_second { h2 id=(id) { (text) } } @else { h3 id=(id) { (text) } }
        }
    }
}

fn table_markup(table: &Table, number: usize) -> Markup {
    // Row headings of several words need room to stay readable on a phone.
    let is_wide = table.rows.iter().filter_map(|r| r.first()).any(|c| c.chars().count() > 14);
    let classes: Vec<Option<&str>> = (0..table.head.len())
        .map(|c| if c == 0 || table.is_figures(c) { None } else { Some("word") })
        .collect();
    let class = |column: usize| classes.get(column).copied().flatten();
    let id = format!("table-{number}");
    html! {
        @if table.head.len() > NARROW { (sideways()) }
        div.scroll role="group" tabindex="0" aria-labelledby=(id) {
            table class=[is_wide.then_some("wide")] {
                caption id=(id) { (table.caption) }
                thead {
                    tr {
                        @for (c, cell) in table.head.iter().enumerate() {
                            th scope="col" class=[class(c)] { (cell) }
                        }
                    }
                }
                tbody {
                    @for row in &table.rows {
                        tr {
                            @for (c, cell) in row.iter().enumerate() {
                                @if c == 0 { th scope="row" { (cell) } }
                                @else { td class=[class(c)] { (cell) } }
                            }
                        }
                    }
                }
            }
        }
    }
}

fn figure_markup(figure: &Drawing) -> Markup {
    // Only plots with an axis hold values to be read.
    let has_values = figure.paper_svg.contains("data-stops=");
    let kind = if has_values { "Plot, read values with the arrow keys" } else { "Drawing" };
    html! {
        figure id={ "plot-" (figure.id) } {
            figcaption { p.finding { (figure.title) } p.shows { (figure.subtitle) } }
            (sideways())
            div.scroll.plot role="group" tabindex="0" aria-label={ (kind) ": " (figure.title) } {
                // Drawn here, every text in it escaped.
                (PreEscaped(&figure.paper_svg))
            }
            p.how { (figure.caption) }
            p.readout role="status" aria-live="polite" {}
            details {
                summary { "This plot in words" span.aside { ": " (figure.title) } }
                p { (figure.description) }
            }
        }
    }
}

#[cfg(test)]
mod tests;
