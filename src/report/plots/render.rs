//! Figures as files: SVG text and PNG pictures, drawn on all cores.

use super::drawing::Drawing;
use super::layout::{HEIGHT, WIDTH};
use super::text::{REGULAR, SEMIBOLD};
use crate::report::error::ReportError;
use rayon::prelude::*;
use resvg::usvg::{self, fontdb};
use resvg::{tiny_skia, usvg::Tree};
use std::sync::{Arc, OnceLock};

/// A finished file: name inside the report folder, and contents.
pub type NamedFile = (String, Vec<u8>);

/// SVG, PNG at 1600 x 1000 and PNG at twice that (`@2x`) of every drawing, under
/// `plots/`, in the order of the drawings.
///
/// # Errors
/// [`ReportError::Plot`] when a picture cannot be drawn: a mistake of this program.
pub fn plot_files(drawings: &[Drawing]) -> Result<Vec<NamedFile>, ReportError> {
    let pictures: Vec<[Vec<u8>; 2]> =
        drawings.par_iter().map(|d| pngs(d.id, &d.svg)).collect::<Result<_, _>>()?;
    let mut files = Vec::new();
    for (drawing, [once, twice]) in drawings.iter().zip(pictures) {
        let name = |ending: &str| format!("plots/{}{ending}", drawing.id);
        files.push((name(".svg"), drawing.svg.clone().into_bytes()));
        files.push((name(".png"), once));
        files.push((name("@2x.png"), twice));
    }
    Ok(files)
}

/// An SVG of this program, parsed with the fonts built into it and no others.
///
/// # Errors
/// [`ReportError::Plot`] when the text is no SVG.
pub fn parse(plot: &str, svg: &str) -> Result<Tree, ReportError> {
    let options =
        usvg::Options { fontdb: fonts(), font_family: "Open Sans".into(), ..Default::default() };
    Tree::from_str(svg, &options)
        .map_err(|e| ReportError::Plot { plot: plot.to_owned(), reason: e.to_string() })
}

/// The fonts built into the program.
pub fn fonts() -> Arc<fontdb::Database> {
    static FONTS: OnceLock<Arc<fontdb::Database>> = OnceLock::new();
    let load = || {
        let mut fonts = fontdb::Database::new();
        fonts.load_font_data(REGULAR.to_vec());
        fonts.load_font_data(SEMIBOLD.to_vec());
        fonts.set_sans_serif_family("Open Sans");
        Arc::new(fonts)
    };
    FONTS.get_or_init(load).clone()
}

/// The pictures of an SVG at 1600 x 1000 px and at twice that, RGB on white. It is drawn once, at
/// the larger size; a pixel of the smaller picture is the mean of four.
///
/// # Errors
/// [`ReportError::Plot`] when it cannot be drawn.
pub fn pngs(plot: &str, svg: &str) -> Result<[Vec<u8>; 2], ReportError> {
    let failed = |reason: String| ReportError::Plot { plot: plot.to_owned(), reason };
    let tree = parse(plot, svg)?;
    let (width, height) = (WIDTH as usize, HEIGHT as usize);
    let mut canvas = tiny_skia::Pixmap::new(2 * width as u32, 2 * height as u32)
        .ok_or_else(|| failed(format!("no canvas of {} x {}", 2 * width, 2 * height)))?;
    canvas.fill(tiny_skia::Color::WHITE);
    resvg::render(&tree, tiny_skia::Transform::from_scale(2.0, 2.0), &mut canvas.as_mut());
    // On a white ground every pixel is opaque, so that alpha can be dropped.
    let twice: Vec<u8> = canvas.data().chunks_exact(4).flat_map(|p| [p[0], p[1], p[2]]).collect();
    let row = 6 * width;
    let mut once = Vec::with_capacity(3 * width * height);
    for pair in twice.chunks_exact(2 * row) {
        let (upper, lower) = pair.split_at(row);
        for (a, b) in upper.chunks_exact(6).zip(lower.chunks_exact(6)) {
            for c in 0..3 {
                let sum: u16 = [a[c], a[c + 3], b[c], b[c + 3]].map(u16::from).iter().sum();
                once.push(((sum + 2) / 4) as u8);
            }
        }
    }
    let encode = |rgb: &[u8], zoom: u32| encoded(rgb, [zoom * WIDTH as u32, zoom * HEIGHT as u32]);
    Ok([encode(&once, 1).map_err(failed)?, encode(&twice, 2).map_err(failed)?])
}

fn encoded(rgb: &[u8], [width, height]: [u32; 2]) -> Result<Vec<u8>, String> {
    let mut bytes = Vec::new();
    let mut encoder = png::Encoder::new(&mut bytes, width, height);
    encoder.set_color(png::ColorType::Rgb);
    encoder.set_depth(png::BitDepth::Eight);
    // The pictures are made while somebody waits; larger files are the lesser evil. Most of a
    // plot is as the row above, so the best filter need not be looked for row by row.
    encoder.set_compression(png::Compression::Fast);
    encoder.set_filter(png::Filter::Up);
    let mut writer = encoder.write_header().map_err(|e| e.to_string())?;
    writer.write_image_data(rgb).map_err(|e| e.to_string())?;
    writer.finish().map_err(|e| e.to_string())?;
    Ok(bytes)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::ingest::manifest::DisplayUnits;
    use crate::report::example::example_result;
    use crate::report::plots::layout::Format;
    use crate::report::plots::{drawings, figures};

    #[test]
    fn every_plot_is_drawn_for_any_number_of_seats() {
        for n_seats in [1, 3, 6, 12, 40] {
            let drawings = drawings(&example_result(n_seats), DisplayUnits::Metric);
            assert_eq!(drawings.len(), if n_seats == 1 { 2 } else { 3 });
            let files = plot_files(&drawings).unwrap();
            assert_eq!(files.len(), 3 * drawings.len());
            for (name, bytes) in &files {
                if let Some(zoom) =
                    name.ends_with(".png").then(|| 1 + u32::from(name.contains("@2x")))
                {
                    // Width and height stand at bytes 16 to 24 of every PNG (ISO/IEC 15948, 11.2.2).
                    assert_eq!(bytes[16..20], (1600 * zoom).to_be_bytes(), "{name}");
                    assert_eq!(bytes[20..24], (1000 * zoom).to_be_bytes(), "{name}");
                }
            }
            if let Ok(folder) = std::env::var("SCRIMCHECK_KEEP_PLOTS") {
                for (name, bytes) in files {
                    let name = name.replace("plots/", &format!("{n_seats}-"));
                    std::fs::write(std::path::Path::new(&folder).join(name), bytes).unwrap();
                }
            }
        }
    }

    #[test]
    fn a_hostile_seat_name_stays_text() {
        let mut result = example_result(2);
        result.seats[0].id = "</text><script>&\"'\u{7}".into();
        result.title = "<!-- \u{0} ]]> &amp;".into();
        for figure in figures(&result) {
            let svg = figure.to_svg(Format::File);
            assert!(!svg.contains("<script>") && !svg.contains("<!--"));
            parse(figure.id, &svg).expect("well-formed");
        }
    }
}
