//! What a new session is made from.

use crate::ingest::manifest::SeatInfo;
use crate::ingest::sweep::SweepParams;
use std::path::PathBuf;

/// What a new session holds.
#[derive(Debug, Clone, PartialEq)]
pub struct StartOptions {
    /// Replace manifest, signal and take sheet in a folder that is not empty.
    /// Recordings are never touched.
    pub force: bool,
    /// Title for manifest and take sheet; `None` writes the folder's name.
    pub title: Option<String>,
    /// The signal.
    pub sweep: SweepParams,
    /// Microphone placements per seat and condition on the take sheet, 1-6.
    pub n_spots: u32,
    /// The session whose takes without a screen are used.
    pub like: Option<Like>,
}

/// A session whose room, seats and takes without a screen a new one shares.
#[derive(Debug, Clone, PartialEq)]
pub struct Like {
    /// Its folder as the new manifest names it: `../NAME`.
    pub folder: PathBuf,
    /// Its sweep, full scale = 1.
    pub sweep: Vec<f64>,
    /// Its seats, with names and positions.
    pub seats: Vec<SeatInfo>,
    /// Channel of the microphone, and of the electrical reference.
    pub channels: (u16, Option<u16>),
    /// Its calibration file: path relative to the session, and contents.
    pub calibration: Option<(PathBuf, Vec<u8>)>,
}

impl Default for StartOptions {
    fn default() -> Self {
        Self { force: false, title: None, sweep: SweepParams::default(), n_spots: 2, like: None }
    }
}

/// What template and sheet are made from.
pub(super) struct Plan<'a> {
    pub(super) title: &'a str,
    pub(super) seats: &'a [String],
    pub(super) options: &'a StartOptions,
}
