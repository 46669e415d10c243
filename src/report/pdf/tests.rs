//! The finished document, read by programs that had no part in making it.

use super::*;
use crate::ingest::manifest::DisplayUnits;
use crate::report::example::example_result;
use crate::report::paper::{Block, Detail, Logo, Paper, Table};
use crate::report::plots::drawing::Drawing;
use crate::report::plots::figures;

fn text(s: &str) -> String {
    s.to_owned()
}

/// A paper with every kind of block.
fn paper() -> Paper {
    let mut blocks = vec![
        Block::Heading { level: 1, text: text("What was found") },
        Block::Paragraph(text(
            "The screen takes 2.1 ± 0.3 dB from the centre loudspeaker on average over the six \
             seats. At 10 kHz the middle seat loses 3.4 dB, which is more than the data sheet \
             promises; the difference is larger than what could come from the measurement.",
        )),
        Block::List(vec![
            text("Largest loss: 2.0 dB promised, 3.4 dB measured. Not met."),
            text("Seat to seat: 1.0 dB promised, 0.6 dB measured. Met."),
        ]),
    ];
    for figure in figures(&example_result(6), DisplayUnits::Metric) {
        let drawing = Drawing {
            caption: figure.caption.clone(),
            description: format!("Plot: {}", figure.title),
            ..Drawing::from(&figure)
        };
        blocks.push(Block::Figure { drawing, detail: Detail::Main });
    }
    blocks.push(Block::Facts(vec![
        (text("Client"), text("Invented household")),
        (text("Instruments"), text("measurement microphone, serial number 1; interface, serial 2")),
    ]));
    blocks.push(Block::PageBreak);
    blocks.push(Block::Heading { level: 1, text: text("For the engineer") });
    blocks.push(Block::Heading { level: 2, text: text("Loss in third octaves") });
    let head = ["Band, Hz", "R1L, dB", "R1C, dB", "R1R, dB", "Mean, dB", "U, dB", "Remark"];
    blocks.push(Block::Table(Table {
        caption: text("Loss at each seat"),
        head: head.map(text).to_vec(),
        rows: (0..70)
            .map(|i| {
                let mut row: Vec<String> = (0..6).map(|j| format!("{}.{j}", i * 20)).collect();
                row.push(text(if i % 9 == 0 { "echo inside the window" } else { "" }));
                row
            })
            .collect(),
        detail: Detail::Main,
    }));
    blocks.push(Block::Heading { level: 1, text: text("Cautions") });
    blocks.push(Block::Caution(text("Hearing: begin far down and raise slowly.")));
    blocks.push(Block::Caution(text("Mains: fixed wiring is work for a licensed electrician.")));
    blocks.push(Block::Signatures(vec![text("Installer"), text("Client")]));
    Paper { title: text("Screen check"), subtitle: text("Invented"), logo: None, blocks }
}

fn made(paper: &Paper) -> Vec<u8> {
    pdf(paper, None, &Sheet::A4).expect("accepted as PDF/A-2a and PDF/UA-1")
}

/// What a program of poppler-utils says about the document.
fn poppler(program: &str, options: &[&str], bytes: &[u8]) -> String {
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("paper.pdf");
    std::fs::write(&path, bytes).unwrap();
    crate::support::poppler(program, options, &path)
}

#[test]
fn other_programs_read_it() {
    let bytes = made(&paper());
    if let Ok(folder) = std::env::var("SCRIMCHECK_KEEP_PLOTS") {
        std::fs::write(std::path::Path::new(&folder).join("paper.pdf"), &bytes).unwrap();
    }
    let info = poppler("pdfinfo", &[], &bytes);
    let n_pages: usize =
        info.lines().find_map(|l| l.strip_prefix("Pages:")).unwrap().trim().parse().unwrap();
    assert!((4..=8).contains(&n_pages), "{info}");
    for expected in ["Title:           Screen check", "Tagged:          yes", "JavaScript:      no"]
    {
        assert!(info.contains(expected), "{expected:?} in {info}");
    }
    assert!(info.contains("(A4)") && !info.contains("Thu Jan  2"), "{info}");

    let fonts = poppler("pdffonts", &[], &bytes);
    let rows: Vec<&str> = fonts.lines().skip(2).collect();
    assert!(rows.len() >= 2, "{fonts}");
    for row in rows {
        // Columns before the object number: embedded, subset, with a Unicode table.
        let columns: Vec<&str> = row.split_whitespace().collect();
        let n = columns.len();
        assert_eq!(columns[n - 5..n - 2], ["yes", "yes", "yes"], "{fonts}");
        assert!(row.contains("OpenSans"), "{fonts}");
    }

    let words = poppler("pdftotext", &["-layout"], &bytes);
    for expected in ["2.1 ± 0.3 dB", "Largest loss", "Invented household", "licensed electrician"]
    {
        assert!(words.contains(expected), "{expected:?} in {words}");
    }
    assert!(words.contains(&format!("page 1 of {n_pages}")));
    assert!(words.matches("Remark").count() >= 2, "the head of the table on each of its pages");

    let tags = poppler("pdfinfo", &["-struct-text"], &bytes);
    for expected in
        ["H1", "H2", "H3", "L (block)", "LBody", "Table", "TH", "TD", "Figure", "Caption"]
    {
        assert!(tags.contains(expected), "{expected} in {tags}");
    }
    assert!(!tags.contains("page 1 of"), "the footer is no content");
}

#[test]
fn equal_content_gives_equal_bytes() {
    let date = UtcDateTime::from_unix_timestamp(1_700_000_000).unwrap();
    let once = pdf(&paper(), Some(date), &Sheet::LETTER).unwrap();
    assert_eq!(once, pdf(&paper(), Some(date), &Sheet::LETTER).unwrap());
    let info = poppler("pdfinfo", &["-isodates"], &once);
    assert!(info.contains("2023-11-14T22:13:20") && info.contains("(letter)"), "{info}");
}

#[test]
fn hostile_text_stays_text_and_the_file_valid() {
    let nasty =
        "<b>&\"'\u{0}\u{7}\u{1b}[31m 席番号 🎬 א\u{202e}abc\u{feff}\u{e001}\u{fffe}\u{ad} \u{301}x";
    let long = "unbreakable".repeat(60);
    let mut result = example_result(3);
    result.seats[0].id = text(nasty);
    let mut content = paper();
    content.title = text(nasty);
    content.subtitle = long.clone();
    content.logo = Some(Logo::Svg(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"80\" height=\"40\">\
         <rect width=\"80\" height=\"40\" fill=\"#246\" opacity=\"0.5\"/>\
         <text x=\"4\" y=\"20\" font-size=\"9\">&#x1F3AC; &#xE001; A</text></svg>"
            .to_owned(),
    ));
    content.blocks.extend([
        Block::Heading { level: 9, text: text(nasty) },
        Block::Heading { level: 0, text: long.clone() },
        Block::Paragraph(text(nasty)),
        Block::Paragraph(String::new()),
        Block::List(vec![text(nasty), long.clone(), String::new()]),
        Block::List(vec![]),
        Block::Facts(vec![(text(nasty), text(nasty)), (long.clone(), long.clone())]),
        Block::Facts(vec![]),
        Block::Table(Table {
            caption: text(nasty),
            head: vec![text(nasty); 40],
            rows: vec![vec![text(nasty); 40], vec![], vec![long.clone(); 3]],
            detail: Detail::Main,
        }),
        Block::Table(Table {
            caption: String::new(),
            head: vec![],
            rows: vec![],
            detail: Detail::Main,
        }),
        Block::Caution(text(nasty)),
        Block::Caution(long.clone()),
        Block::Signatures(vec![text(nasty), long]),
        Block::PageBreak,
        Block::PageBreak,
    ]);
    for figure in figures(&result, DisplayUnits::Metric) {
        let drawing = Drawing {
            title: text(nasty),
            subtitle: text(nasty),
            caption: text(nasty),
            description: text(nasty),
            ..Drawing::from(&figure)
        };
        content.blocks.push(Block::Figure { drawing, detail: Detail::Main });
    }
    let bytes = made(&content);
    let words = poppler("pdftotext", &[], &bytes);
    assert!(words.contains("<b>&\"'") && words.contains('\u{fffd}'), "{words}");
    poppler("pdfinfo", &["-struct-text"], &bytes);
    // Nothing at all is a page too.
    let empty = Paper { title: String::new(), subtitle: String::new(), logo: None, blocks: vec![] };
    assert!(poppler("pdfinfo", &[], &made(&empty)).contains("Pages:           1"));
}

#[test]
fn png_and_jpeg_logos_are_shown() {
    let mut png = Vec::new();
    let mut encoder = png::Encoder::new(&mut png, 4, 2);
    encoder.set_color(png::ColorType::Rgba);
    encoder.write_header().unwrap().write_image_data(&[128; 32]).unwrap();
    let mut content = paper();
    content.logo = Some(Logo::Png(png));
    let tags = poppler("pdfinfo", &["-struct"], &made(&content));
    let place = |tag| tags.find(tag).unwrap_or_else(|| panic!("{tag} in {tags}"));
    assert!(place("Figure") < place("H1"), "the logo stands first: {tags}");
    content.logo = Some(Logo::Jpeg(include_bytes!("../../../fixtures/logo_rgb.jpg").to_vec()));
    assert!(poppler("pdfinfo", &["-struct"], &made(&content)).contains("Figure"));
    content.logo = Some(Logo::Png(vec![1, 2, 3]));
    assert!(pdf(&content, None, &Sheet::A4).is_err());
}
