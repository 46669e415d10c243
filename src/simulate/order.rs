//! Which takes a session has.

use super::scenario::{Scenario, TakeKey};
use crate::ingest::manifest::SoundSource;

/// One take to be made.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Order {
    pub(crate) key: TakeKey,
    pub(crate) source: SoundSource,
    pub(crate) repeat: u32,
}

impl Order {
    /// A number of its own for random streams.
    pub(super) fn index(&self) -> u64 {
        let source = u64::from(self.source == SoundSource::Control);
        (((self.key.seat as u64 * 4 + self.key.condition as u64) * 64 + u64::from(self.key.spot))
            * 64
            + u64::from(self.repeat))
            * 2
            + source
    }

    /// The microphone stays for repeats and for the control take of the same spot.
    pub(super) fn place_index(&self) -> u64 {
        Order { repeat: 0, source: SoundSource::Centre, ..*self }.index()
    }

    pub(crate) fn hung(&self) -> bool {
        self.key.condition > 0
    }

    /// 0 without the screen, 1 with it.
    pub(crate) fn side(&self) -> usize {
        usize::from(self.hung())
    }
}

/// All takes of one seat, in the order they are written.
pub(super) fn orders_of_seat(scenario: &Scenario, seat: usize) -> Vec<Order> {
    let n_conditions = if scenario.equaliser.is_some() { 3 } else { 2 };
    let mut orders = Vec::new();
    for source in [SoundSource::Centre, SoundSource::Control] {
        let spots = match (&scenario.control, source) {
            (None, SoundSource::Control) => 0,
            (Some(c), SoundSource::Control) if !c.every_spot => 1,
            _ => scenario.spots,
        };
        let repeats = if source == SoundSource::Centre { scenario.repeats } else { 1 };
        let conditions = if source == SoundSource::Centre { n_conditions } else { 2 };
        for condition in 0..conditions {
            for spot in 1..=spots {
                for repeat in 0..repeats {
                    orders.push(Order { key: TakeKey { seat, condition, spot }, source, repeat });
                }
            }
        }
    }
    orders
}
