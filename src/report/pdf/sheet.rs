//! Sheets of paper.

/// Size of a sheet of paper and of what is left white, pt.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sheet {
    /// Width.
    pub width: f32,
    /// Height.
    pub height: f32,
    /// White on the left and on the right.
    pub side: f32,
    /// White above.
    pub top: f32,
    /// White below, in which the footer stands.
    pub bottom: f32,
}

impl Sheet {
    /// 210 mm x 297 mm (ISO 216).
    pub const A4: Self =
        Self { width: 595.28, height: 841.89, side: 56.0, top: 52.0, bottom: 62.0 };
    /// 8.5 in x 11 in (ANSI/ASME Y14.1 size A).
    pub const LETTER: Self =
        Self { width: 612.0, height: 792.0, side: 60.0, top: 50.0, bottom: 60.0 };

    /// Width of the column.
    pub fn column(&self) -> f32 {
        self.width - 2.0 * self.side
    }

    pub(super) fn column_height(&self) -> f32 {
        self.height - self.top - self.bottom
    }
}
