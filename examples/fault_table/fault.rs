//! A row of the table.

use crate::clean::{Clean, says};
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rayon::prelude::*;
use scrimcheck::warning::Topic;

/// Whether a fault of a size is found in the session with this index.
type Found = dyn Fn(usize, &Clean, f64) -> bool + Sync;

/// A fault with the size at which it must be found and half of it, at which it must not.
pub struct Fault {
    pub name: &'static str,
    pub unit: &'static str,
    pub sizes: [f64; 2],
    found: Box<Found>,
}

impl Fault {
    /// A fault of one take: its size changes the samples.
    pub fn of_take(
        name: &'static str,
        topic: Topic,
        unit: &'static str,
        sizes: [f64; 2],
        change: impl Fn(&Clean, usize, f64, &mut ChaCha8Rng) -> Vec<f64> + Sync + 'static,
    ) -> Self {
        let found = move |index: usize, clean: &Clean, size: f64| {
            let mut rng = ChaCha8Rng::seed_from_u64(500 + index as u64);
            let take = (5 * index + 1) % clean.recordings.len();
            let mic = change(clean, take, size, &mut rng);
            says(&clean.judged_with(vec![(take, mic)]), take, topic)
        };
        Self { name, unit, sizes, found: Box::new(found) }
    }

    /// A fault of a session.
    pub fn of_session(
        name: &'static str,
        unit: &'static str,
        sizes: [f64; 2],
        found: impl Fn(&Clean, f64) -> bool + Sync + 'static,
    ) -> Self {
        Self { name, unit, sizes, found: Box::new(move |_, clean, size| found(clean, size)) }
    }

    /// In how many sessions it is found at a size.
    pub fn hits(&self, sessions: &[Clean], size: f64) -> usize {
        sessions.par_iter().enumerate().filter(|(i, clean)| (self.found)(*i, clean, size)).count()
    }
}
