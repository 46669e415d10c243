//! Random numbers of a simulated session.

use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;

/// Random streams of one seed, so that one quantity can change without the others.
#[derive(Clone, Copy)]
pub(crate) enum Stream {
    Place = 1,
    Start = 2,
    Noise = 3,
    Rattle = 4,
    Fault = 5,
    Direction = 6,
}

pub(crate) fn random(seed: u64, stream: Stream, index: u64) -> ChaCha8Rng {
    let mut random = ChaCha8Rng::seed_from_u64(seed);
    random.set_stream(index * 8 + stream as u64);
    random
}
