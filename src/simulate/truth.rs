//! What a perfect measurement would find.

use super::scenario::Scenario;
use super::sheet::HungSheet;
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
    let cosines: Vec<f64> = (0..scenario.seats.len()).map(|i| scenario.seat_cosine(i)).collect();
    let mut seats = vec![Vec::new(); cosines.len()];
    for band in &bands {
        append_band(scenario, &cosines, [band.lower_hz(), band.upper_hz()], PER_BAND, &mut seats);
    }
    let mut fine_seats = vec![Vec::new(); cosines.len()];
    for f in &fine_hz {
        append_band(scenario, &cosines, [f / half, f * half], PER_FINE_BAND, &mut fine_seats);
    }
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

/// Appends to every seat its loss between two frequencies; the sheet is worked out once for all.
fn append_band(
    scenario: &Scenario,
    cosines: &[f64],
    [low_hz, high_hz]: [f64; 2],
    points: usize,
    seats: &mut [Vec<f64>],
) {
    let grid: Vec<f64> = (0..points)
        .map(|p| low_hz + (high_hz - low_hz) * (p as f64 + 0.5) / points as f64)
        .collect();
    let c = scenario.speed_of_sound_m_s()[1];
    let sheet = HungSheet::new(&scenario.sheet, scenario.front, scenario.gap_m, c, &grid);
    for (i, (seat, &cosine)) in seats.iter_mut().zip(cosines).enumerate() {
        let total = |k: usize| sheet.total_with(k, cosine, scenario.scattered(i, grid[k]));
        let mean = (0..points).map(|k| total(k).norm_sqr()).sum::<f64>() / points as f64;
        seat.push(LossDb::from_power_ratio(mean).0);
    }
}

fn mean_over_seats(seats: &[Vec<f64>]) -> Vec<f64> {
    let n_bands = seats.first().map_or(0, Vec::len);
    (0..n_bands).map(|b| seats.iter().map(|s| s[b]).sum::<f64>() / seats.len() as f64).collect()
}
