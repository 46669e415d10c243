//! The handover paper as one web page: no file beside it, no network, no framework.
//!
//! The template escapes every text. A content policy in the page forbids everything
//! from elsewhere, and scripts other than the one written here, whose hash it names.

use super::paper::content::DOUBTFUL;
use super::paper::{Block, Logo, Paper, PaperFigure, Table};
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
    let is_drawn = paper.blocks.iter().any(|block| matches!(block, Block::Figure(_)));
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

/// Headings with their number, which is also their anchor.
fn headings(blocks: &[Block]) -> impl Iterator<Item = (usize, u8, &str)> {
    let headings = blocks.iter().filter_map(|block| match block {
        Block::Heading { level, text } => Some((*level, text.as_str())),
        _ => None,
    });
    headings.enumerate().map(|(i, (level, text))| (i, level, text))
}

fn contents(paper: &Paper) -> Markup {
    let listed: Vec<_> = headings(&paper.blocks)
        .filter(|(_, level, text)| *level == 1 || *text == DOUBTFUL)
        .collect();
    html! {
        @if !listed.is_empty() {
            nav aria-label="Contents" {
                ol { @for (i, _, text) in listed { li { a href={ "#part-" (i) } { (text) } } } }
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
            Block::Figure(figure) => figure_markup(figure),
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

fn figure_markup(figure: &PaperFigure) -> Markup {
    // Only plots with an axis hold values to be read.
    let has_values = figure.svg.contains("data-stops=");
    let kind = if has_values { "Plot, read values with the arrow keys" } else { "Drawing" };
    html! {
        figure id={ "plot-" (figure.name) } {
            figcaption { p.finding { (figure.title) } p.shows { (figure.subtitle) } }
            (sideways())
            div.scroll.plot role="group" tabindex="0" aria-label={ (kind) ": " (figure.title) } {
                // Drawn here, every text in it escaped.
                (PreEscaped(&figure.svg))
            }
            p.how { (figure.caption) }
            p.readout role="status" aria-live="polite" {}
            details {
                summary { "This plot in words" span.aside { ": " (figure.title) } }
                p { (figure.alternative) }
            }
        }
    }
}

#[cfg(test)]
mod tests {
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
        for part in ["<html lang=\"en\">", "<header>", "<main ", "<nav ", "<h1>", "<dt>Client</dt>"]
        {
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
        let primes: Vec<u32> =
            (2..312u32).filter(|n| (2..*n).all(|d| n % d != 0)).take(64).collect();
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
}
