//! The room that a sheet is chosen for.

use crate::ingest::manifest::{Manifest, SpeakerInfo};
use serde::Serialize;

/// What is known of the next room.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct Room {
    /// Air between loudspeaker front and sheet, m; without it no echo is worked out.
    pub gap_m: Option<f64>,
    /// Seats.
    pub seats: Vec<RoomSeat>,
    /// Width of the picture, m.
    pub width_m: Option<f64>,
    /// Height of the picture, m.
    pub height_m: Option<f64>,
    /// Output of the projector, lm.
    pub projector_lm: Option<f64>,
    /// Distance of the nearest seat from the sheet, m, where no seat is placed.
    pub nearest_m: Option<f64>,
    /// Amplifier and driver.
    pub power: RoomPower,
}

/// A seat of the next room.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct RoomSeat {
    /// Id.
    pub id: String,
    /// Distance from the sheet, m; absent where the seat has no place.
    pub distance_m: Option<f64>,
    /// Cosine of the angle to the sheet's normal, as seen from the loudspeaker.
    pub cosine: f64,
}

/// Limits of amplifier and driver; as `[speaker]` in `session.toml`.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize)]
pub struct RoomPower {
    /// Power at reference level without a screen, W.
    pub power_w: Option<f64>,
    /// Power of the amplifier, W.
    pub amplifier_w: Option<f64>,
    /// Power that the high-frequency driver stands, W.
    pub driver_limit_w: Option<f64>,
    /// Its band, Hz.
    pub driver_band_hz: Option<[f64; 2]>,
}

/// Why a room cannot be used.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[error("{what} is {found}, expected {expected}")]
pub struct RoomError {
    /// What.
    pub what: &'static str,
    /// Number found.
    pub found: f64,
    /// What would do.
    pub expected: &'static str,
}

impl Room {
    /// The room of a session folder, finished or only begun.
    pub fn of_manifest(manifest: &Manifest) -> Self {
        let screen = &manifest.screen;
        let seats = manifest.seat.iter().enumerate().map(|(i, seat)| RoomSeat {
            id: seat.id.clone(),
            distance_m: seat.position_m.map(|[ahead, ..]| ahead - screen.gap_m.unwrap_or(0.0)),
            cosine: manifest.seat_cosine(i),
        });
        let picture = manifest.picture.as_ref();
        let by_aspect =
            || screen.width_m.zip(picture.and_then(|p| p.aspect)).map(|(w, aspect)| w / aspect);
        Self {
            gap_m: screen.gap_m,
            seats: seats.collect(),
            width_m: screen.width_m,
            height_m: screen.height_m.or_else(by_aspect),
            projector_lm: picture.and_then(|p| p.projector_lm),
            nearest_m: None,
            power: manifest.speaker.as_ref().map_or_else(RoomPower::default, RoomPower::of),
        }
    }

    /// The room with what is typed of it in the place of what is known otherwise, checked. Typed
    /// seats are metres from the sheet and metres beside its axis; any take the place of all others.
    ///
    /// # Errors
    /// As [`Room::check`].
    pub fn with_typed(mut self, typed: &Self, seats_m: &[[f64; 2]]) -> Result<Self, RoomError> {
        self.gap_m = typed.gap_m.or(self.gap_m);
        self.width_m = typed.width_m.or(self.width_m);
        self.height_m = typed.height_m.or(self.height_m);
        self.projector_lm = typed.projector_lm.or(self.projector_lm);
        self.nearest_m = typed.nearest_m.or(self.nearest_m);
        let (new, known) = (typed.power, self.power);
        self.power = RoomPower {
            power_w: new.power_w.or(known.power_w),
            amplifier_w: new.amplifier_w.or(known.amplifier_w),
            driver_limit_w: new.driver_limit_w.or(known.driver_limit_w),
            driver_band_hz: new.driver_band_hz.or(known.driver_band_hz),
        };
        if !seats_m.is_empty() {
            self.seats.clear();
            seats_m.iter().for_each(|&[distance, beside]| self.add_seat(distance, beside));
        }
        self.check()?;
        Ok(self)
    }

    /// A typed seat: metres from the sheet, metres beside its axis.
    pub fn add_seat(&mut self, distance_m: f64, beside_m: f64) {
        let from_speaker_m = distance_m + self.gap_m.unwrap_or(0.0);
        self.seats.push(RoomSeat {
            id: format!("{}", self.seats.len() + 1),
            distance_m: Some(distance_m),
            cosine: (from_speaker_m / from_speaker_m.hypot(beside_m)).clamp(0.1, 1.0),
        });
    }

    /// Checks every number.
    ///
    /// # Errors
    /// [`RoomError`] for the first that cannot be meant.
    pub fn check(&self) -> Result<(), RoomError> {
        const FROM_SHEET: &str = "0.3 to 100 m from the sheet";
        const POWER: &str = "0.001 to 1000000 W";
        let p = &self.power;
        let [low, high] = p.driver_band_hz.unwrap_or([20.0, 20_000.0]);
        let (low_end, high_end) = ("1 Hz up to its upper end", "its lower end to 100 kHz");
        let figures = [
            ("the gap", self.gap_m, [0.005, 3.0], "0.005 to 3 m"),
            ("the width of the picture", self.width_m, [0.2, 50.0], "0.2 to 50 m"),
            ("the height of the picture", self.height_m, [0.1, 50.0], "0.1 to 50 m"),
            ("the projector's output", self.projector_lm, [1.0, 1e6], "1 to 1000000 lm"),
            ("the nearest seat", self.nearest_m, [0.3, 100.0], FROM_SHEET),
            ("the power at reference level", p.power_w, [1e-3, 1e6], POWER),
            ("the amplifier's power", p.amplifier_w, [1e-3, 1e6], POWER),
            ("the driver's limit", p.driver_limit_w, [1e-3, 1e6], POWER),
            ("the lower end of the driver's band", Some(low), [1.0, high], low_end),
            ("the upper end of the driver's band", Some(high), [low, 1e5], high_end),
        ];
        let seat =
            |s: &RoomSeat| ("the distance of a seat", s.distance_m, [0.3, 100.0], FROM_SHEET);
        for (what, value, [low, high], expected) in
            figures.into_iter().chain(self.seats.iter().map(seat))
        {
            if let Some(found) = value.filter(|value| !(low..=high).contains(value)) {
                return Err(RoomError { what, found, expected });
            }
        }
        Ok(())
    }

    /// Distance of the nearest seat from the sheet, m.
    pub fn nearest_seat_m(&self) -> Option<f64> {
        self.nearest_m.or_else(|| self.seats.iter().filter_map(|s| s.distance_m).reduce(f64::min))
    }

    /// Cosines of all seats; one seat straight ahead where none is known.
    pub fn cosines(&self) -> Vec<f64> {
        let all: Vec<f64> = self.seats.iter().map(|s| s.cosine).collect();
        if all.is_empty() { vec![1.0] } else { all }
    }

    /// Area of the picture, m2; 16:9 where no height is known.
    pub fn area_m2(&self) -> Option<f64> {
        let width = self.width_m?;
        Some(width * self.height_m.unwrap_or(width * 9.0 / 16.0))
    }
}

impl RoomPower {
    fn of(speaker: &SpeakerInfo) -> Self {
        Self {
            power_w: speaker.power_w,
            amplifier_w: speaker.amplifier_w,
            driver_limit_w: speaker.driver_limit_w,
            driver_band_hz: speaker.driver_band_hz,
        }
    }

    /// As the manifest has it.
    pub fn speaker(&self) -> SpeakerInfo {
        SpeakerInfo {
            height_m: None,
            power_w: self.power_w,
            amplifier_w: self.amplifier_w,
            driver_limit_w: self.driver_limit_w,
            driver_band_hz: self.driver_band_hz,
            sensitivity_db: None,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn typed_seats_give_angles_and_the_nearest() {
        let mut room = Room { gap_m: Some(0.1), width_m: Some(3.2), ..Room::default() };
        assert_eq!((room.cosines(), room.nearest_seat_m()), (vec![1.0], None));
        room.add_seat(2.9, 3.0);
        room.add_seat(4.0, 0.0);
        // 3 m ahead and 3 m beside: 45 degrees.
        assert!((room.cosines()[0] - 0.5f64.sqrt()).abs() < 1e-12);
        assert_eq!(room.nearest_seat_m(), Some(2.9));
        assert!((room.area_m2().unwrap() - 3.2 * 1.8).abs() < 1e-12);
        assert_eq!(room.check(), Ok(()));
    }

    #[test]
    fn numbers_that_cannot_be_meant_are_named() {
        let room = Room { gap_m: Some(30.0), ..Room::default() };
        assert!(room.check().unwrap_err().to_string().contains("the gap is 30"));
        let power = RoomPower { driver_band_hz: Some([9000.0, 2000.0]), ..RoomPower::default() };
        assert!(Room { power, ..Room::default() }.check().is_err());
    }
}
