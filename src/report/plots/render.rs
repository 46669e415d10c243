//! Figures as files: SVG text and PNG pictures, drawn on all cores.

use super::canvas::Canvas;
use super::drawing::Drawing;
use super::layout::{HEIGHT, WIDTH};
use super::paint::areas;
use super::picture::Pictures;
use super::text::{REGULAR, SEMIBOLD};
use crate::report::error::ReportError;
use rayon::prelude::*;
use resvg::usvg::{self, Tree, fontdb};
use std::sync::{Arc, OnceLock};

/// A finished file: name inside the report folder, and contents.
pub type NamedFile = (String, Vec<u8>);

/// SVG, PNG at 1600 x 1000 and PNG at twice that (`@2x`) of every drawing, under
/// `plots/`, in the order of the drawings.
///
/// # Errors
/// [`ReportError::Plot`] when a picture cannot be drawn: a mistake of this program.
pub fn plot_files(drawings: &[Drawing]) -> Result<Vec<NamedFile>, ReportError> {
    let picture = |d: &Drawing| pngs(d.id, &d.svg);
    let pictures: Vec<[Vec<u8>; 2]> = drawings.par_iter().map(picture).collect::<Result<_, _>>()?;
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

/// Sizes of the larger picture and of the strips in which it is painted, px: a strip stays in the
/// memory closest to the processor until its rows are in the files.
const SIZE: [usize; 2] = [2 * WIDTH as usize, 2 * HEIGHT as usize];
const STRIP_HEIGHT: usize = 50;

/// The pictures of an SVG at 1600 x 1000 px and at twice that, RGB on white. It is drawn once, at
/// the larger size; a pixel of the smaller picture is the mean of four.
///
/// # Errors
/// [`ReportError::Plot`] when it cannot be drawn.
pub fn pngs(plot: &str, svg: &str) -> Result<[Vec<u8>; 2], ReportError> {
    let tree = parse(plot, svg)?;
    let failed = |reason: String| ReportError::Plot { plot: plot.to_owned(), reason };
    let areas = areas(&tree, 2.0).map_err(failed)?;
    let mut canvas = Canvas::new(SIZE[0], STRIP_HEIGHT);
    let mut pictures = Pictures::new(SIZE);
    for top in (0..SIZE[1]).step_by(STRIP_HEIGHT) {
        // Every page begins with its paper, white and without a hole: what the strip above left
        // here lies under it.
        canvas.paint(&areas, top);
        let mut rows = canvas.rows();
        while let (Some(upper), Some(lower)) = (rows.next(), rows.next()) {
            pictures.push(upper, lower);
        }
    }
    pictures.finish().map_err(|e| failed(e.to_string()))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::ingest::manifest::DisplayUnits;
    use crate::report::example::example_result;
    use crate::report::plots::layout::Format;
    use crate::report::plots::{drawings, figures};
    use resvg::tiny_skia::{Pixmap, Transform};

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

    /// A general renderer draws the same, but for the edges, of which it takes four samples in a
    /// column: at a level edge it is off by up to half the way from one colour to the other.
    #[test]
    fn a_general_renderer_draws_the_same() {
        for drawing in drawings(&example_result(3), DisplayUnits::Metric) {
            let tree = parse(drawing.id, &drawing.svg).unwrap();
            let [width, height] = SIZE.map(|px| px as u32);
            let mut page = Pixmap::new(width, height).unwrap();
            resvg::render(&tree, Transform::from_scale(2.0, 2.0), &mut page.as_mut());
            let [_, twice] = pngs(drawing.id, &drawing.svg).unwrap();
            let mut reader = png::Decoder::new(std::io::Cursor::new(twice)).read_info().unwrap();
            let mut rgb = vec![0; reader.output_buffer_size().unwrap()];
            reader.next_frame(&mut rgb).unwrap();
            let pixels = page.data().as_chunks::<4>().0.iter().zip(rgb.as_chunks::<3>().0);
            let off: Vec<u8> = pixels
                .map(|(want, got)| (0..3).map(|c| want[c].abs_diff(got[c])).max().unwrap())
                .collect();
            let worst = off.iter().max().unwrap();
            let mean = off.iter().map(|&x| f64::from(x)).sum::<f64>() / off.len() as f64;
            println!("{}: off by {worst} at most, {mean:.4} on average, of 255", drawing.id);
            assert!(*worst <= 128 && mean < 0.3, "{}: {worst}, {mean}", drawing.id);
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
