//! Distortion, in sentences.

use crate::transfer::distortion::DriveRise;
use crate::warning::{Topic, Warning};

/// The equaliser drives the high-frequency driver into more distortion.
pub fn drive_warning(rise: DriveRise) -> Warning {
    let DriveRise { order, fundamental_hz, rise_db, level_db } = rise;
    Warning::of_session(
        Topic::Distortion,
        format!(
            "With the equaliser active the harmonic of order {order} rises by {rise_db:.0} dB to \
             {:.1} % near {:.1} kHz: the high-frequency driver is driven harder than it likes.",
            100.0 * 10f64.powf(level_db / 20.0),
            fundamental_hz / 1000.0
        ),
        "Lower the playback level or take back the boost there; check the driver's power \
                 limit before the system is used loud.",
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_rise_is_told_in_decibels_and_percent() {
        let rise = DriveRise { order: 2, fundamental_hz: 3150.0, rise_db: 7.2, level_db: -34.0 };
        let told = drive_warning(rise).message;
        // 10^(-34/20) = 2.0 %.
        assert!(told.contains("order 2 rises by 7 dB to 2.0 % near 3.1 kHz"), "{told}");
    }
}
