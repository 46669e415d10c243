//! What the model of a sheet gives in a room, and what the room's measured losses add to it.

use super::figures::gap_m;
use super::mean::RoomFigure;
use super::stored::StoredResult;
use crate::analysis::predict::FRONT_REFLECTION;
use crate::analysis::sheet::air::Air;
use crate::analysis::sheet::models::{Gap, Hanging, Sheet};
use crate::units::ThirdOctave;

/// What the model gives by band, mean over the seats.
pub(super) struct Base {
    /// The sheet, with what hangs behind it and how far away, m.
    pub sheet: Option<(Sheet, Option<(Sheet, f64)>)>,
}

impl Base {
    /// Loss of a band, dB; 0 where there is no model.
    pub fn band_db(&self, exact_hz: f64, gap_m: Option<f64>, cosines: &[f64]) -> f64 {
        let Some((front, backing)) = self.sheet else { return 0.0 };
        let gap = gap_m.map(|gap_m| Gap { gap_m, front_reflection: FRONT_REFLECTION });
        let hanging = Hanging { front, backing, gap };
        let Some(band) = ThirdOctave::nearest(exact_hz) else { return 0.0 };
        let one = |cosine: &f64| hanging.band_loss(band, *cosine, &Air::AT_20_C).0;
        if cosines.is_empty() {
            return one(&1.0);
        }
        cosines.iter().map(one).sum::<f64>() / cosines.len() as f64
    }
}

/// What a room adds to its model, by band: value and standard uncertainty, dB.
pub(super) struct Residuals {
    bands: Vec<(f64, RoomFigure)>,
}

impl Residuals {
    /// Of a finished job.
    pub fn of(result: &StoredResult, base: &Base) -> Self {
        let (gap, cosines) = (gap_m(result), result.cosines());
        let bands = result.bands.iter().filter_map(|b| {
            let loss = result.band(b.nominal_hz)?;
            let value = loss.value - base.band_db(b.exact_hz, gap, &cosines);
            Some((b.nominal_hz, RoomFigure { value, u: loss.u }))
        });
        Self { bands: bands.collect() }
    }

    /// Of one band.
    pub fn band(&self, nominal_hz: f64) -> Option<RoomFigure> {
        self.bands.iter().find(|(hz, _)| *hz == nominal_hz).map(|(_, f)| *f)
    }

    /// Mean over the bands `wanted`, nominal Hz; `None` where one of them is absent.
    pub fn mean(&self, wanted: &[f64]) -> Option<RoomFigure> {
        let all: Option<Vec<RoomFigure>> = wanted.iter().map(|hz| self.band(*hz)).collect();
        RoomFigure::mean(&all?)
    }
}
