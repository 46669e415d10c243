//! Loss tables made by hand from closed forms, for tests.

use crate::analysis::estimate::Estimate;
use crate::analysis::loss::{LossTable, MeanLoss, SeatLoss};
use crate::units::{ThirdOctave, fine_grid_hz};

/// Loss of a limp sheet of `areal_mass_kg_m2` with flow resistance `r` Pa s/m in series,
/// dB: `10 lg |1 + (r + j w m) / (2 rho c)|^2` (thin sheet between equal media).
pub(crate) fn sheet_loss_db(hz: f64, areal_mass_kg_m2: f64, r: f64) -> f64 {
    let rho_c = 413.25;
    let x = std::f64::consts::TAU * hz * areal_mass_kg_m2 / (2.0 * rho_c);
    10.0 * ((1.0 + r / (2.0 * rho_c)).powi(2) + x * x).log10()
}

/// Loss of a perforated sheet, inertia only, dB: `10 lg (1 + (pi f t' / (sigma c))^2)`.
pub(crate) fn perforated_loss_db(hz: f64, effective_thickness_m: f64, open_share: f64) -> f64 {
    let x = std::f64::consts::PI * hz * effective_thickness_m / (open_share * 343.2);
    10.0 * (1.0 + x * x).log10()
}

/// Mean of a loss over a band by power, dB, naive sum.
pub(crate) fn band_loss_db(band: ThirdOctave, loss_db: impl Fn(f64) -> f64) -> f64 {
    let n = 200;
    let sum: f64 = (0..n)
        .map(|i| band.lower_hz() + band.width_hz() * (f64::from(i) + 0.5) / f64::from(n))
        .map(|hz| 10f64.powf(-loss_db(hz) / 10.0))
        .sum();
    -10.0 * (sum / f64::from(n)).log10()
}

/// A loss with its uncertainty; `t` for the degrees of freedom given is taken as 2.
pub(crate) fn estimate(value_db: f64, u_db: f64, u_common_db: f64) -> Estimate {
    Estimate { value_db, u_db, u_common_db, dof: 60.0, u95_db: 2.0 * u_db }
}

/// Table of `n_seats` seats whose true loss at seat `s` and frequency `hz` is
/// `loss_db(s, hz)`; `error_db(s, k)` is added to band `k` of seat `s`.
pub(crate) fn table(
    n_seats: usize,
    loss_db: impl Fn(usize, f64) -> f64,
    error_db: impl Fn(usize, usize) -> f64,
    u_db: f64,
    u_common_db: f64,
) -> LossTable {
    let bands = ThirdOctave::report_bands(20_000.0);
    let fine_hz = fine_grid_hz(100.0, 17_700.0);
    let seats: Vec<SeatLoss> = (0..n_seats)
        .map(|s| SeatLoss {
            seat: s,
            id: format!("S{}", s + 1),
            weight: 1.0,
            loss: bands
                .iter()
                .enumerate()
                .map(|(k, b)| {
                    let value = band_loss_db(*b, |hz| loss_db(s, hz)) + error_db(s, k);
                    Some(estimate(value, u_db, u_common_db))
                })
                .collect(),
            in_room_db: vec![None; bands.len()],
            direct_db: vec![None; bands.len()],
            absent: vec![None; bands.len()],
            doubtful: vec![false; bands.len()],
            spots: [2, 2],
            fine_db: fine_hz.iter().map(|&hz| Some(loss_db(s, hz))).collect(),
        })
        .collect();
    // The mean is not read by the steps under test: they weigh the seats themselves.
    let mean = MeanLoss {
        loss: vec![None; bands.len()],
        sd_db: vec![None; bands.len()],
        range_db: vec![None; bands.len()],
        fine_db: vec![None; fine_hz.len()],
    };
    LossTable { bands, fine_hz, seats, mean }
}

/// Deterministic stand-in for a normal deviate, mean 0 and variance 1 over many cells.
pub(crate) fn noise(seed: u64, s: usize, k: usize) -> f64 {
    use rand::SeedableRng;
    use rand_distr::{Distribution, StandardNormal};
    let cell = seed.wrapping_mul(1_000_003).wrapping_add((s * 1000 + k) as u64);
    StandardNormal.sample(&mut rand_chacha::ChaCha8Rng::seed_from_u64(cell))
}
