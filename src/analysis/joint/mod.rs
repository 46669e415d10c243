//! Sheet and loudspeaker front, found together from all seats.
//!
//! All that passes a sheet in front of a loudspeaker is
//!
//! `t = T / (1 - R B z)`, `R = 1 - T`, `z = exp(-j 2 pi f tau)`, `tau = 2 gap cos(theta)/c`:
//!
//! the sheet's own transmission `T`, and echoes between its reflection `R` and the front `B`.
//! `T` is a short causal filter, at each seat its own (angle). `B` is the same for all seats
//! and a few numbers hold it (`front`), and a thin sheet reflects what it does not pass
//! (`thin`). So `h_with = t * h_without` is solved for the taps of `T` and the terms of `B`
//! at once, by Gauss-Newton least squares over the samples in which the direct sound and its
//! first echoes arrive. The room's first reflections pass the sheet at other angles and meet a
//! moved microphone: each pair may move and filter them in its own way (`late`), and samples
//! after them count less, as far as that does not explain them. `T` is left free wherever the direct sound tells
//! of it, so that no model of the cloth or of its holes comes in.

mod alone;
mod echoes;
mod emphasis;
mod equations;
mod fitter;
mod found;
pub(crate) mod front;
mod late;
mod pair;
pub(crate) mod reflector;
mod slow;
mod spectrum;
mod state;
mod steps;
mod stretch;
#[cfg(test)]
mod tests;
mod thin;

pub use found::{Assumption, Joint, SeatFit};
pub use spectrum::Spectrum;

use crate::transfer::seat::{SeatPlan, SeatTransmission};
use fitter::Fitter;
use rayon::prelude::*;
use state::Seat;

/// Fits all seats. Where nothing can be fitted all taps are NaN, and so no band gets a value.
pub fn fit(plan: &SeatPlan, seats: &[SeatTransmission]) -> Joint {
    Fitter::new(plan, seats).run().unwrap_or_else(|| Joint::nothing(seats))
}

/// Fits seats whose takes hold more than the sheet (an equaliser in the signal): the echoes
/// are those that `known` found for the sheet alone at the same seats, `known_seats`.
pub fn fit_with_known_echoes(
    plan: &SeatPlan,
    seats: &[SeatTransmission],
    known: &Joint,
    known_seats: &[SeatTransmission],
) -> Joint {
    let fitter = Fitter::new(plan, seats);
    let alike = |seat: &Seat| {
        let at = known_seats.iter().position(|k| k.seat == seat.given.seat)?;
        known.seats.get(at)
    };
    let fits = |fewer_rows: bool| -> Option<Joint> {
        let one = |seat: &Seat| fitter.plain(seat, alike(seat), known, fewer_rows);
        let seats = fitter.seats.par_iter().map(one).collect::<Option<_>>()?;
        Some(Joint { front: known.front.clone(), seats, others: Vec::new() })
    };
    let Some(joint) = fits(false) else { return Joint::nothing(seats) };
    let others = fits(true).map(|other| (Assumption::FewerRows, other)).into_iter().collect();
    Joint { others, ..joint }
}
