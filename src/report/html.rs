//! The handover paper as one web page: no file beside it, no network, no framework.
//!
//! Every text goes through the same escape as in the plots. A content policy in
//! the page forbids everything from elsewhere, and scripts other than the one
//! written here, whose hash it names.

use super::paper::content::DOUBTFUL;
use super::paper::{Block, Logo, Paper, PaperFigure, Table};
use super::plots::svg::escape;
use super::plots::text::{REGULAR, SEMIBOLD};
use base64::Engine;
use base64::engine::general_purpose::STANDARD as BASE64;
use std::fmt::Write;

const STYLE: &str = include_str!("html/style.css");
const SCRIPT: &str = include_str!("html/script.js");

/// SHA-256 of the script, base64: the only script the page may run.
pub(crate) const SCRIPT_HASH: &str = "/5Luv/osjLfYKaqyQs3QgByRkjBRT2U7cbFUYJwinZk=";

/// The page of a session. `seats` are the ids by which plots and tables name the seats; each
/// gets a box to show or hide it.
pub fn html_page(paper: &Paper, seats: &[String]) -> String {
    page(paper, "Seats shown in plots and tables", seats)
}

/// Stands before what is wider than a phone; the style shows it there alone.
const SIDEWAYS: &str =
    "<p class=\"sideways\" aria-hidden=\"true\">Wider than the page: move it sideways.</p>\n";

/// Tables of so many columns fit on a phone.
const NARROW: usize = 3;

/// A page with boxes to show or hide what `names` name, under the words `legend`.
pub fn page(paper: &Paper, legend: &str, names: &[String]) -> String {
    let mut page =
        Page { out: String::with_capacity(1 << 20), n_headings: 0, n_parts: 0, n_tables: 0 };
    page.head(paper);
    page.banner(paper);
    page.contents(paper);
    page.put("<main id=\"paper\">\n");
    page.boxes(legend, names);
    let mut open = false;
    for block in &paper.blocks {
        if let Block::Heading { level: 1, .. } = block {
            page.put(if open { "</section>\n" } else { "" });
            let _ = writeln!(page.out, "<section aria-labelledby=\"part-{}\">", page.n_headings);
            open = true;
        }
        page.block(block);
    }
    page.put(if open { "</section>\n" } else { "" });
    page.put("</main>\n<script>");
    page.put(SCRIPT);
    page.put("</script>\n</body>\n</html>\n");
    page.out
}

/// The page in the making.
struct Page {
    out: String,
    /// Headings so far: their anchors are numbered.
    n_headings: usize,
    /// Parts among them.
    n_parts: usize,
    n_tables: usize,
}

impl Page {
    fn put(&mut self, text: &str) {
        self.out += text;
    }

    fn element(&mut self, tag: &str, text: &str) {
        // Writing to a String cannot fail.
        let _ = writeln!(self.out, "<{tag}>{}</{tag}>", escape(text));
    }

    fn head(&mut self, paper: &Paper) {
        let _ = write!(
            self.out,
            "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n\
             <meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; \
             img-src data:; font-src data:; style-src 'unsafe-inline'; \
             script-src 'sha256-{SCRIPT_HASH}'; base-uri 'none'; form-action 'none'\">\n\
             <meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n\
             <meta name=\"color-scheme\" content=\"light dark\">\n\
             <title>{}</title>\n<style>\n",
            escape(&paper.title)
        );
        // The plots are laid out in this font; without it labels would run into each other.
        for (weight, font) in [(400, REGULAR), (600, SEMIBOLD)] {
            let _ = writeln!(
                self.out,
                "@font-face{{font-family:\"Open Sans\";font-weight:{weight};\
                 src:url(data:font/ttf;base64,{})}}",
                BASE64.encode(font)
            );
        }
        self.put(STYLE);
        self.put("</style>\n</head>\n<body>\n<a class=\"skip\" href=\"#paper\">To the paper</a>\n");
    }

    fn banner(&mut self, paper: &Paper) {
        self.put("<header>\n");
        // As an image the drawing can neither run scripts nor fetch anything.
        let image = paper.logo.as_ref().map(|logo| match logo {
            Logo::Png(bytes) => format!("image/png;base64,{}", BASE64.encode(bytes)),
            Logo::Jpeg(bytes) => format!("image/jpeg;base64,{}", BASE64.encode(bytes)),
            Logo::Svg(text) => format!("image/svg+xml;base64,{}", BASE64.encode(text)),
        });
        if let Some(image) = image {
            let _ = writeln!(self.out, "<img class=\"logo\" alt=\"Logo\" src=\"data:{image}\">");
        }
        self.element("h1", &paper.title);
        if !paper.subtitle.is_empty() {
            self.element("p", &paper.subtitle);
        }
        self.put("</header>\n");
    }

    fn contents(&mut self, paper: &Paper) {
        self.put("<nav aria-label=\"Contents\">\n<ol>\n");
        let headings = paper.blocks.iter().filter_map(|block| match block {
            Block::Heading { level, text } => Some((*level, text)),
            _ => None,
        });
        let listed = |level: u8, text: &str| level == 1 || text == DOUBTFUL;
        for (i, (_, text)) in headings.enumerate().filter(|(_, (level, text))| listed(*level, text))
        {
            let _ = writeln!(self.out, "<li><a href=\"#part-{i}\">{}</a></li>", escape(text));
        }
        self.put("</ol>\n</nav>\n");
    }

    /// Boxes to show and hide, shown by the script, without which they would do nothing.
    fn boxes(&mut self, legend: &str, names: &[String]) {
        if names.len() < 2 {
            return;
        }
        let _ = writeln!(
            self.out,
            "<fieldset id=\"seats\" hidden>\n<legend>{}</legend>",
            escape(legend)
        );
        for name in names {
            let id = escape(name);
            let _ = writeln!(
                self.out,
                "<label><input type=\"checkbox\" checked data-seat=\"{id}\"> {id}</label>"
            );
        }
        self.put(
            "<button type=\"button\" id=\"all-seats\">All</button>\n\
             <button type=\"button\" id=\"no-seats\">None</button>\n</fieldset>\n",
        );
    }

    fn block(&mut self, block: &Block) {
        match block {
            Block::Heading { level, text } => {
                // No level is skipped after the title, whatever the size of the letters.
                let tag = if *level <= 1 || self.n_parts == 0 { "h2" } else { "h3" };
                self.n_parts += usize::from(*level <= 1);
                let id = self.n_headings;
                self.n_headings += 1;
                let _ = writeln!(self.out, "<{tag} id=\"part-{id}\">{}</{tag}>", escape(text));
            }
            Block::Paragraph(text) => self.element("p", text),
            Block::List(points) => {
                self.put("<ul>\n");
                points.iter().for_each(|point| self.element("li", point));
                self.put("</ul>\n");
            }
            Block::Facts(facts) => {
                self.put("<dl>\n");
                for (name, value) in facts {
                    let (name, value) = (escape(name), escape(value));
                    let _ = writeln!(self.out, "<div><dt>{name}</dt><dd>{value}</dd></div>");
                }
                self.put("</dl>\n");
            }
            Block::Table(table) => self.table(table),
            Block::Figure(figure) => self.figure(figure),
            Block::Caution(text) => {
                let _ = writeln!(
                    self.out,
                    "<p class=\"caution\"><strong>Caution.</strong> {}</p>",
                    escape(text)
                );
            }
            Block::Signatures(lines) => {
                self.put("<ul class=\"signatures\">\n");
                for line in lines {
                    let _ = writeln!(
                        self.out,
                        "<li><span>{}</span><span>Place, date, signature</span></li>",
                        escape(line)
                    );
                }
                self.put("</ul>\n");
            }
            Block::Verdicts(verdicts) => {
                self.put("<ul class=\"signs\">\n");
                for (sign, text) in verdicts {
                    let _ = writeln!(
                        self.out,
                        "<li><svg viewBox=\"0 0 12 12\" aria-hidden=\"true\"><path d=\"{}\"/></svg>\
                         {}</li>",
                        sign.path([1.0, 1.0], 10.0),
                        escape(text)
                    );
                }
                self.put("</ul>\n");
            }
            Block::Ticks(points) => {
                self.put("<ul class=\"ticks\">\n");
                points.iter().for_each(|point| self.element("li", point));
                self.put("</ul>\n");
            }
            Block::Fields(names) => {
                self.put("<ul class=\"fields\">\n");
                names.iter().for_each(|name| self.element("li", name));
                self.put("</ul>\n");
            }
            Block::PageBreak => self.put("<div class=\"page-break\"></div>\n"),
        }
    }

    fn table(&mut self, table: &Table) {
        let id = self.n_tables;
        self.n_tables += 1;
        // Row headings of several words need room to stay readable on a phone.
        let is_wide = table.rows.iter().filter_map(|r| r.first()).any(|c| c.chars().count() > 14);
        let _ = write!(
            self.out,
            "{}<div class=\"scroll\" role=\"group\" tabindex=\"0\" aria-labelledby=\"table-{id}\">\n\
             <table{}>\n<caption id=\"table-{id}\">{}</caption>\n<thead><tr>",
            if table.head.len() > NARROW { SIDEWAYS } else { "" },
            if is_wide { " class=\"wide\"" } else { "" },
            escape(&table.caption)
        );
        let classes: Vec<&str> = (0..table.head.len())
            .map(|c| if c == 0 || table.is_figures(c) { "" } else { " class=\"word\"" })
            .collect();
        let class = |column: usize| classes.get(column).copied().unwrap_or_default();
        for (column, cell) in table.head.iter().enumerate() {
            let _ = write!(self.out, "<th scope=\"col\"{}>{}</th>", class(column), escape(cell));
        }
        self.put("</tr></thead>\n<tbody>\n");
        for row in &table.rows {
            self.put("<tr>");
            for (column, cell) in row.iter().enumerate() {
                let (open, close) =
                    if column == 0 { ("th scope=\"row\"", "th") } else { ("td", "td") };
                let _ = write!(self.out, "<{open}{}>{}</{close}>", class(column), escape(cell));
            }
            self.put("</tr>\n");
        }
        self.put("</tbody>\n</table>\n</div>\n");
    }

    fn figure(&mut self, figure: &PaperFigure) {
        let (name, title) = (escape(&figure.name), escape(&figure.title));
        // Only plots with an axis hold values to be read.
        let has_values = figure.svg.contains("data-stops=");
        let kind = if has_values { "Plot, read values with the arrow keys" } else { "Drawing" };
        let _ = writeln!(
            self.out,
            "<figure id=\"plot-{name}\">\n<figcaption><p class=\"finding\">{title}</p>\
             <p class=\"shows\">{}</p></figcaption>\n{SIDEWAYS}\
             <div class=\"scroll plot\" role=\"group\" tabindex=\"0\" \
             aria-label=\"{kind}: {title}\">\n{}</div>\n\
             <p class=\"how\">{}</p>\n\
             <p class=\"readout\" role=\"status\" aria-live=\"polite\"></p>\n\
             <details><summary>This plot in words<span class=\"aside\">: {title}</span>\
             </summary>\n<p>{}</p></details>\n</figure>",
            escape(&figure.subtitle),
            figure.svg,
            escape(&figure.caption),
            escape(&figure.alternative)
        );
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
