//! What a perfect measurement would find.

use super::response::true_transmission;
use super::scenario::Scenario;
use crate::units::{LossDb, ThirdOctave, fine_grid_hz};

/// True losses of the direct sound.
#[derive(Debug, Clone, PartialEq)]
pub struct Truth {
    /// Bands of the vectors below, 100 Hz up.
    pub bands: Vec<ThirdOctave>,
    /// Loss per seat and band, dB: `-10 lg` of the mean over the band (uniform in Hz) of
    /// `|T_total|^2` at the seat's angle.
    pub seats: Vec<Vec<f64>>,
    /// Arithmetic mean of the seats' losses, dB.
    pub mean: Vec<f64>,
    /// Loss per seat and band of everything that reaches the seat, dB: power ratio of the
    /// whole responses at the nominal place, no noise. Other paths pass the sheet at other
    /// angles, so this is not the loss of the direct sound.
    pub in_room_seats: Vec<Vec<f64>>,
    /// Mid-bands of the 1/24-octave grid, Hz.
    pub fine_hz: Vec<f64>,
    /// Loss per seat on that grid (mean power inside each 1/24 octave), dB.
    pub fine_seats: Vec<Vec<f64>>,
    /// Their arithmetic mean, dB.
    pub fine_mean: Vec<f64>,
}

/// Frequencies per third-octave band; the ripple of a gap of 0.5 m has ten periods in the
/// 16 kHz band, so 400 is 40 points a period.
const PER_BAND: usize = 400;
const PER_FINE_BAND: usize = 60;

/// Computes the truth of a scenario, given the losses in the room.
pub(crate) fn truth(scenario: &Scenario, in_room_seats: Vec<Vec<f64>>) -> Truth {
    let bands = ThirdOctave::report_bands(scenario.sweep.stop_hz);
    let fine_hz = fine_grid_hz(100.0, scenario.sweep.stop_hz.min(20_000.0));
    let half = 10f64.powf(0.3 / 48.0);
    let of_seat = |edges: &dyn Fn(usize) -> (f64, f64), count: usize, points: usize, seat| {
        (0..count)
            .map(|i| {
                let (low, high) = edges(i);
                let f: Vec<f64> = (0..points)
                    .map(|p| low + (high - low) * (p as f64 + 0.5) / points as f64)
                    .collect();
                let t = true_transmission(scenario, seat, &f);
                let mean = t.iter().map(|t| t.norm_sqr()).sum::<f64>() / points as f64;
                LossDb::from_power_ratio(mean).0
            })
            .collect::<Vec<f64>>()
    };
    let coarse = |i: usize| (bands[i].lower_hz(), bands[i].upper_hz());
    let fine = |i: usize| (fine_hz[i] / half, fine_hz[i] * half);
    let all = 0..scenario.seats.len();
    let seats: Vec<_> = all.clone().map(|s| of_seat(&coarse, bands.len(), PER_BAND, s)).collect();
    let fine_seats: Vec<_> = all.map(|s| of_seat(&fine, fine_hz.len(), PER_FINE_BAND, s)).collect();
    Truth {
        mean: mean_over_seats(&seats),
        fine_mean: mean_over_seats(&fine_seats),
        bands,
        seats,
        in_room_seats,
        fine_hz,
        fine_seats,
    }
}

fn mean_over_seats(seats: &[Vec<f64>]) -> Vec<f64> {
    let n_bands = seats.first().map_or(0, Vec::len);
    (0..n_bands).map(|b| seats.iter().map(|s| s[b]).sum::<f64>() / seats.len() as f64).collect()
}
