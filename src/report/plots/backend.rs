//! What plotters draws, written as SVG. plotters counts in whole numbers: here they are hundredths
//! of a px, so that nothing is rounded that an eye or a printer could see.

use super::svg::{Svg, hex, px};
use plotters::drawing::IntoDrawingArea;
use plotters::element::{Drawable, PointCollection};
use plotters::style::{Color, RGBColor, ShapeStyle};
use plotters_backend::{
    BackendColor, BackendCoord, BackendStyle, DrawingBackend, DrawingErrorKind,
};
use std::convert::Infallible;

/// Backend units of a px.
const PER_PX: f64 = 100.0;

type Drawn = Result<(), DrawingErrorKind<Infallible>>;

/// A length as plotters counts it.
pub fn units(px: f64) -> i32 {
    (px * PER_PX).round() as i32
}

/// A line for plotters.
pub fn stroke(color: RGBColor, width: f64) -> ShapeStyle {
    Color::stroke_width(&color, units(width) as u32)
}

/// A place on the page, px, as plotters counts it.
pub fn pair(at: [f64; 2]) -> BackendCoord {
    (units(at[0]), units(at[1]))
}

/// A place on the page, px.
pub fn place((x, y): BackendCoord) -> [f64; 2] {
    [f64::from(x) / PER_PX, f64::from(y) / PER_PX]
}

fn written(color: BackendColor) -> String {
    let (r, g, b) = color.rgb;
    hex(RGBColor(r, g, b))
}

/// Places joined by straight lines, as the data of a path.
fn path_data(points: impl IntoIterator<Item = BackendCoord>) -> String {
    let mut data = String::new();
    for (i, at) in points.into_iter().enumerate() {
        let [x, y] = place(at).map(px);
        data.extend([if i == 0 { "M" } else { "L" }, &x, " ", &y]);
    }
    data
}

impl Svg {
    /// Draws an element of plotters anywhere on the page. Writing SVG cannot fail.
    pub(super) fn put<E: Drawable<Self>>(&self, element: E)
    where
        for<'e> &'e E: PointCollection<'e, BackendCoord>,
    {
        let _ = self.clone().into_drawing_area().draw(&element);
    }
}

impl DrawingBackend for Svg {
    type ErrorType = Infallible;

    fn get_size(&self) -> (u32, u32) {
        let [w, h] = self.size.map(|side| units(side) as u32);
        (w, h)
    }

    fn ensure_prepared(&mut self) -> Drawn {
        Ok(())
    }

    fn present(&mut self) -> Drawn {
        Ok(())
    }

    /// Only letters would come as pixels, and these are [`Svg::text`].
    fn draw_pixel(&mut self, _: BackendCoord, _: BackendColor) -> Drawn {
        Ok(())
    }

    fn draw_line<S: BackendStyle>(&mut self, a: BackendCoord, b: BackendCoord, s: &S) -> Drawn {
        self.draw_path([a, b], s)
    }

    fn draw_rect<S: BackendStyle>(
        &mut self,
        a: BackendCoord,
        b: BackendCoord,
        style: &S,
        _fill: bool,
    ) -> Drawn {
        let ([x, y], [right, bottom]) = (place(a), place(b));
        let [x, y, w, h] = [x, y, right - x, bottom - y].map(px);
        let fill = written(style.color());
        self.empty("rect", &[("x", &x), ("y", &y), ("width", &w), ("height", &h), ("fill", &fill)]);
        Ok(())
    }

    fn draw_path<S: BackendStyle, I: IntoIterator<Item = BackendCoord>>(
        &mut self,
        path: I,
        style: &S,
    ) -> Drawn {
        let (color, width) = (style.color(), f64::from(style.stroke_width()) / PER_PX);
        let path = [
            ("d", path_data(path)),
            ("fill", "none".into()),
            ("stroke", written(color)),
            ("stroke-opacity", if color.alpha < 1.0 { px(color.alpha) } else { String::new() }),
            ("stroke-width", px(width)),
            ("stroke-linejoin", "round".into()),
        ];
        self.empty("path", &path.each_ref().map(|(name, value)| (*name, value.as_str())));
        Ok(())
    }

    fn draw_circle<S: BackendStyle>(
        &mut self,
        centre: BackendCoord,
        radius: u32,
        style: &S,
        _fill: bool,
    ) -> Drawn {
        let ([x, y], r) = (place(centre).map(px), px(f64::from(radius) / PER_PX));
        let fill = written(style.color());
        self.empty("circle", &[("cx", &x), ("cy", &y), ("r", &r), ("fill", &fill)]);
        Ok(())
    }

    fn fill_polygon<S: BackendStyle, I: IntoIterator<Item = BackendCoord>>(
        &mut self,
        outline: I,
        style: &S,
    ) -> Drawn {
        let color = style.color();
        let (d, fill, opacity) = (path_data(outline) + "Z", written(color), px(color.alpha));
        self.empty("path", &[("d", &d), ("fill", &fill), ("fill-opacity", &opacity)]);
        Ok(())
    }
}
