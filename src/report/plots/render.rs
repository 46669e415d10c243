//! Figures as files: SVG text and PNG pictures, drawn on all cores.

use super::drawing::Drawing;
use super::layout::{HEIGHT, WIDTH};
use super::text::{REGULAR, SEMIBOLD};
use crate::report::error::ReportError;
use rayon::prelude::*;
use resvg::usvg::{self, fontdb};
use resvg::{tiny_skia, usvg::Tree};
use std::io::Write;
use std::sync::{Arc, LazyLock, Mutex, PoisonError};

/// A finished file: name inside the report folder, and contents.
pub type NamedFile = (String, Vec<u8>);

/// SVG, PNG at 1600 px of width and PNG at twice that (`@2x`) of every drawing, under
/// `plots/`, in the order of the drawings.
///
/// # Errors
/// [`ReportError::Plot`] when a picture cannot be drawn: a mistake of this program.
pub fn plot_files(drawings: &[Drawing]) -> Result<Vec<NamedFile>, ReportError> {
    // A canvas that is free is drawn on again: fresh memory costs as much as the drawing.
    let free = Mutex::new(Vec::new());
    let take = || free.lock().unwrap_or_else(PoisonError::into_inner).pop();
    let picture = |d: &Drawing| {
        let mut canvas = take().map_or_else(Canvas::new, Ok).map_err(|r| failed(d.id, r))?;
        let pictures = canvas.pngs(d.id, &d.svg);
        free.lock().unwrap_or_else(PoisonError::into_inner).push(canvas);
        pictures
    };
    let pictures: Vec<[Vec<u8>; 2]> = drawings.par_iter().map(picture).collect::<Result<_, _>>()?;
    let mut files = Vec::new();
    for (drawing, [once, twice]) in drawings.iter().zip(pictures) {
        let name = |ending: &str| format!("plots/{}{ending}", drawing.id);
        files.push((name(".svg"), drawing.svg.as_bytes().to_vec()));
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
    static FONTS: LazyLock<Arc<fontdb::Database>> = LazyLock::new(|| {
        let mut fonts = fontdb::Database::new();
        fonts.load_font_data(REGULAR.to_vec());
        fonts.load_font_data(SEMIBOLD.to_vec());
        fonts.set_sans_serif_family("Open Sans");
        Arc::new(fonts)
    });
    Arc::clone(&FONTS)
}

/// The pictures of an SVG, 1600 px wide and twice that, RGB on white. It is drawn once, at the
/// larger size; a pixel of the smaller picture is the mean of four.
///
/// # Errors
/// [`ReportError::Plot`] when it cannot be drawn.
pub fn pngs(plot: &str, svg: &str) -> Result<[Vec<u8>; 2], ReportError> {
    Canvas::new().map_err(|reason| failed(plot, reason))?.pngs(plot, svg)
}

fn failed(plot: &str, reason: String) -> ReportError {
    ReportError::Plot { plot: plot.to_owned(), reason }
}

/// Memory in which pictures are drawn at the larger size, one after another.
struct Canvas(tiny_skia::Pixmap);

impl Canvas {
    fn new() -> Result<Self, String> {
        let pixels = tiny_skia::Pixmap::new(2 * WIDTH as u32, 2 * HEIGHT as u32);
        pixels.map(Self).ok_or_else(|| format!("no canvas of {WIDTH} x {HEIGHT}, twice"))
    }

    fn pngs(&mut self, plot: &str, svg: &str) -> Result<[Vec<u8>; 2], ReportError> {
        let tree = parse(plot, svg)?;
        // Every page begins with its paper, white and without a hole: what was drawn here
        // before lies under it.
        debug_assert!(svg.contains("class=\"paper\""));
        let scale = tiny_skia::Transform::from_scale(2.0, 2.0);
        resvg::render(&tree, scale, &mut self.0.as_mut());
        let height = (tree.size().height() as usize).min(HEIGHT as usize);
        encoded(self.0.data(), height).map_err(|e| failed(plot, e.to_string()))
    }
}

/// Both pictures of a drawing at the larger size, of a height in px at the smaller. Two rows go all the way into both files
/// before the next are looked at: how fast memory gives them is what limits this.
fn encoded(rgba: &[u8], height: usize) -> Result<[Vec<u8>; 2], png::EncodingError> {
    let (mut file_once, mut file_twice) = (Vec::new(), Vec::new());
    let width = WIDTH as usize;
    let mut png_once = png_of(&mut file_once, [width, height])?;
    let mut png_twice = png_of(&mut file_twice, [2 * width, 2 * height])?;
    let mut once = png_once.stream_writer_with_size(CHUNK)?;
    let mut twice = png_twice.stream_writer_with_size(CHUNK)?;
    let (mut row_once, mut row_twice) = (vec![0; 3 * width], vec![0; 6 * width]);
    let row = 8 * width;
    for pair in rgba.chunks_exact(2 * row).take(height) {
        let (upper, lower) = pair.split_at(row);
        for rgba in [upper, lower] {
            drop_alpha(rgba, &mut row_twice);
            twice.write_all(&row_twice)?;
        }
        halve(upper, lower, &mut row_once);
        once.write_all(&row_once)?;
    }
    once.finish()?;
    twice.finish()?;
    png_once.finish()?;
    png_twice.finish()?;
    Ok([file_once, file_twice])
}

/// A PNG to be filled row by row.
fn png_of(
    file: &mut Vec<u8>,
    [width, height]: [usize; 2],
) -> Result<png::Writer<&mut Vec<u8>>, png::EncodingError> {
    let mut encoder = png::Encoder::new(file, width as u32, height as u32);
    encoder.set_color(png::ColorType::Rgb);
    encoder.set_depth(png::BitDepth::Eight);
    // The pictures are made while somebody waits; larger files are the lesser evil. Most of a
    // plot is as the row above, so the best filter need not be looked for row by row.
    encoder.set_compression(png::Compression::Fast);
    encoder.set_filter(png::Filter::Up);
    encoder.write_header()
}

/// Bytes of compressed picture in one chunk of a PNG.
const CHUNK: usize = 1 << 17;

/// RGB of a row on a white ground: every pixel of it is opaque.
fn drop_alpha(rgba: &[u8], rgb: &mut [u8]) {
    let pixels = rgba.as_chunks::<4>().0;
    for (to, [colour @ .., _]) in rgb.as_chunks_mut::<3>().0.iter_mut().zip(pixels) {
        *to = *colour;
    }
}

/// RGB of a row at half the size: a pixel is the mean of four.
fn halve(upper: &[u8], lower: &[u8], rgb: &mut [u8]) {
    let twos = upper.as_chunks::<8>().0.iter().zip(lower.as_chunks::<8>().0);
    for (to, (upper, lower)) in rgb.as_chunks_mut::<3>().0.iter_mut().zip(twos) {
        for (c, to) in to.iter_mut().enumerate() {
            let four = [upper[c], upper[c + 4], lower[c], lower[c + 4]];
            *to = ((four.map(u16::from).iter().sum::<u16>() + 2) / 4) as u8;
        }
    }
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
                    let svg = name.replace("@2x", "").replace(".png", "");
                    let drawing = drawings.iter().find(|d| svg.ends_with(d.id)).unwrap();
                    let height = parse(drawing.id, &drawing.svg).unwrap().size().height() as u32;
                    assert!((500..=1000).contains(&height), "{name}: {height}");
                    assert_eq!(bytes[20..24], (height * zoom).to_be_bytes(), "{name}");
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
    fn what_a_canvas_held_before_leaves_nothing() {
        let drawings = drawings(&example_result(3), DisplayUnits::Metric);
        let mut canvas = Canvas::new().unwrap();
        for drawing in &drawings {
            canvas.0.data_mut().iter_mut().step_by(7).for_each(|x| *x = 93);
            let used = canvas.pngs(drawing.id, &drawing.svg).unwrap();
            let height = parse(drawing.id, &drawing.svg).unwrap().size().height() as usize;
            let mut drawn = canvas.0.data().chunks_exact(4).take(4 * height * WIDTH as usize);
            assert!(drawn.all(|p| p[3] == u8::MAX), "{}", drawing.id);
            assert!(used == pngs(drawing.id, &drawing.svg).unwrap(), "{}", drawing.id);
        }
    }

    #[test]
    fn a_hostile_seat_name_stays_text() {
        let mut result = example_result(2);
        result.seats[0].id = "</text><script>&\"'\u{7}".into();
        result.title = "<!-- \u{0} ]]> &amp;".into();
        for figure in figures(&result, DisplayUnits::Metric) {
            let svg = figure.to_svg(Format::File);
            assert!(!svg.contains("<script>") && !svg.contains("<!--"));
            parse(figure.id, &svg).expect("well-formed");
        }
    }
}
