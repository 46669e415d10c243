//! The logo of the papers: read, limited, made harmless.

use super::Logo;
use crate::ingest::session::Session;
use crate::report::error::ReportError;
use crate::report::plots::render::fonts;
use resvg::usvg;
use std::fs::File;
use std::io::{Cursor, Read};
use std::path::Path;
use zune_jpeg::JpegDecoder;
use zune_jpeg::errors::DecodeErrors;
use zune_jpeg::zune_core::colorspace::ColorSpace;

/// Largest logo file, bytes.
const MAX_BYTES: u64 = 512 * 1024;

/// Largest width and height of a PNG or JPEG logo, px: beyond it a small file may
/// unpack into gigabytes.
const MAX_PX: u32 = 4000;

/// Most `use` elements of an SVG logo. They may stand inside each other, so that
/// a few dozen make billions of copies; sixteen make some hundreds at most.
const MAX_USES: usize = 16;

/// The logo that `handover.logo` names, or none where the key is not set.
///
/// An SVG is parsed and written anew: shapes alone survive, no scripts, links,
/// outside files or embedded pictures; its text becomes outlines.
///
/// # Errors
/// [`ReportError::Logo`] when the file cannot be read, leaves the session folder,
/// is too large, or is neither PNG, JPEG nor SVG.
pub fn read_logo(session: &Session) -> Result<Option<Logo>, ReportError> {
    let Some(name) = &session.manifest.handover.logo else { return Ok(None) };
    let advice = "put the logo there, or correct handover.logo";
    let path = session.file(name, advice).map_err(ReportError::LogoFile)?;
    read_from(&path).map(Some).map_err(|reason| ReportError::Logo { path: name.clone(), reason })
}

fn read_from(path: &Path) -> Result<Logo, String> {
    let unreadable = |e: std::io::Error| format!("it cannot be read ({e})");
    let mut bytes = Vec::new();
    let mut file = File::open(path).map_err(unreadable)?.take(MAX_BYTES + 1);
    file.read_to_end(&mut bytes).map_err(unreadable)?;
    if bytes.len() as u64 > MAX_BYTES {
        return Err(format!("it is larger than {} KiB", MAX_BYTES / 1024));
    }
    harmless(bytes)
}

/// A logo from the content of a file, or why it cannot be used.
fn harmless(bytes: Vec<u8>) -> Result<Logo, String> {
    if bytes.starts_with(b"\x89PNG\r\n\x1a\n") {
        return png_logo(bytes);
    }
    if bytes.starts_with(b"\xff\xd8\xff") {
        return jpeg_logo(bytes);
    }
    let text = String::from_utf8(bytes)
        .map_err(|_| "it is neither a PNG or JPEG picture nor SVG text in UTF-8".to_owned())?;
    svg_logo(&text).map(Logo::Svg)
}

fn png_logo(bytes: Vec<u8>) -> Result<Logo, String> {
    let broken = |e: png::DecodingError| format!("the PNG picture is damaged ({e})");
    let mut reader = png::Decoder::new(Cursor::new(&bytes)).read_info().map_err(broken)?;
    let (width, height) = (reader.info().width, reader.info().height);
    fits(width as usize, height as usize)?;
    let size = reader.output_buffer_size().ok_or("the PNG picture is too large")?;
    reader.next_frame(&mut vec![0; size]).map_err(broken)?;
    Ok(Logo::Png(bytes))
}

fn fits(width: usize, height: usize) -> Result<(), String> {
    if width.max(height) > MAX_PX as usize {
        return Err(format!(
            "it has {width} x {height} pixels, at most {MAX_PX} each way are used"
        ));
    }
    Ok(())
}

fn jpeg_logo(bytes: Vec<u8>) -> Result<Logo, String> {
    let broken = |e: DecodeErrors| format!("the JPEG picture is damaged ({e})");
    let mut decoder = JpegDecoder::new(Cursor::new(&bytes));
    decoder.decode_headers().map_err(broken)?;
    let (width, height) = decoder.dimensions().ok_or("the JPEG picture has no size")?;
    fits(width, height)?;
    // An archive file needs a description of the printing colours, and browsers guess them.
    if !matches!(
        decoder.input_colorspace(),
        Some(ColorSpace::YCbCr | ColorSpace::RGB | ColorSpace::Luma)
    ) {
        return Err("it is in printing colours (CMYK); save it in RGB".into());
    }
    decoder.decode().map_err(broken)?;
    Ok(Logo::Jpeg(bytes))
}

fn svg_logo(text: &str) -> Result<String, String> {
    if text.matches("<use").count() + text.matches(":use").count() > MAX_USES {
        return Err(format!("it repeats parts by more than {MAX_USES} \"use\" elements"));
    }
    let options = usvg::Options {
        fontdb: fonts(),
        font_family: "Open Sans".into(),
        resources_dir: None,
        image_href_resolver: usvg::ImageHrefResolver {
            resolve_data: Box::new(|_, _, _| None),
            resolve_string: Box::new(|_, _| None),
        },
        ..Default::default()
    };
    let tree = usvg::Tree::from_str(text, &options)
        .map_err(|e| format!("it is no SVG picture that can be read ({e})"))?;
    let writing =
        usvg::WriteOptions { id_prefix: Some("logo-".into()), ..usvg::WriteOptions::default() };
    Ok(tree.to_string(&writing))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn logo(name: &str, content: &[u8]) -> Result<Logo, String> {
        let folder = tempfile::tempdir().unwrap();
        std::fs::write(folder.path().join(name), content).unwrap();
        read_from(&folder.path().join(name))
    }

    fn png(width: u32, height: u32) -> Vec<u8> {
        let mut bytes = Vec::new();
        let mut encoder = png::Encoder::new(&mut bytes, width, height);
        encoder.set_color(png::ColorType::Grayscale);
        let mut writer = encoder.write_header().unwrap();
        writer.write_image_data(&vec![128; (width * height) as usize]).unwrap();
        writer.finish().unwrap();
        bytes
    }

    #[test]
    fn a_png_is_kept_as_it_is_when_whole_and_small() {
        let bytes = png(20, 10);
        assert_eq!(logo("l.png", &bytes), Ok(Logo::Png(bytes.clone())));
        assert!(logo("l.png", &bytes[..bytes.len() / 2]).unwrap_err().contains("damaged"));
        assert!(logo("l.png", &png(4001, 1)).unwrap_err().contains("4001 x 1"));
        assert!(logo("l.png", &vec![0; 600 * 1024]).unwrap_err().contains("512 KiB"));
        assert!(logo("l.gif", b"GIF89a\xff\xff").unwrap_err().contains("neither"));
    }

    #[test]
    fn a_jpeg_is_kept_as_it_is_when_whole_and_in_rgb() {
        let bytes = include_bytes!("../../../fixtures/logo_rgb.jpg");
        assert_eq!(logo("l.jpg", bytes), Ok(Logo::Jpeg(bytes.to_vec())));
        assert!(logo("l.jpg", &bytes[..40]).unwrap_err().contains("damaged"));
        let print = include_bytes!("../../../fixtures/logo_cmyk.jpg");
        assert!(logo("l.jpg", print).unwrap_err().contains("save it in RGB"));
    }

    #[test]
    fn of_an_svg_only_shapes_survive() {
        let hostile = r##"<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink"
            width="40" height="20" onload="alert(1)"><script>alert(2)</script>
            <image href="https://example.org/pixel.png" width="9" height="9"/>
            <image href="/etc/hostname" width="9" height="9"/>
            <a xlink:href="javascript:alert(3)"><rect width="10" height="10" fill="#123456"/></a>
            <foreignObject width="5" height="5"><b xmlns="http://www.w3.org/1999/xhtml">x</b></foreignObject>
            <style>@import url(https://example.org/x.css);</style></svg>"##;
        let Ok(Logo::Svg(text)) = logo("l.svg", hostile.as_bytes()) else { panic!("refused") };
        assert!(text.contains("#123456"), "{text}");
        for bad in ["script", "alert", "onload", "example.org", "hostname", "foreign", "import"] {
            assert!(!text.contains(bad), "{bad} in {text}");
        }
    }

    #[test]
    fn an_svg_that_multiplies_or_breaks_is_refused() {
        let uses = "<use href='#a'/>".repeat(17);
        let svg =
            format!("<svg xmlns='http://www.w3.org/2000/svg' width='9' height='9'>{uses}</svg>");
        assert!(logo("l.svg", svg.as_bytes()).unwrap_err().contains("use"));
        assert!(logo("l.svg", b"<svg").unwrap_err().contains("no SVG"));
        assert!(read_from(Path::new("/nowhere/l.svg")).is_err());
    }

    #[cfg(unix)]
    #[test]
    fn a_link_that_leaves_the_folder_is_refused() {
        let (inside, outside) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
        std::fs::write(outside.path().join("l.png"), png(3, 3)).unwrap();
        let link = |from: &Path, name: &str| {
            std::os::unix::fs::symlink(from, inside.path().join(name)).unwrap();
        };
        link(&outside.path().join("l.png"), "out.png");
        std::fs::write(inside.path().join("here.png"), png(3, 3)).unwrap();
        let (mut session, _) = crate::report::example::example_losses(1);
        session.root = inside.path().to_owned();
        let mut read = |name: &str| {
            session.manifest.handover.logo = Some(name.into());
            read_logo(&session)
        };
        assert!(matches!(read("out.png"), Err(ReportError::LogoFile(_))));
        assert!(matches!(read("../l.png"), Err(ReportError::LogoFile(_))));
        assert!(matches!(read("none.png"), Err(ReportError::LogoFile(_))));
        assert!(matches!(read("here.png"), Ok(Some(Logo::Png(_)))));
    }
}
