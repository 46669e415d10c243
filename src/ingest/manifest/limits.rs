//! The most of each thing that a session holds.

/// Most seats of a session.
pub(crate) const MAX_SEATS: usize = 1000;
/// Most takes of a session.
pub(crate) const MAX_TAKES: usize = 10_000;
/// Most claims and most points of a claimed curve.
pub(crate) const MAX_CLAIMS: usize = 200;
/// Longest seat id, characters.
pub(crate) const MAX_ID_CHARS: usize = 64;
/// Longest free text, characters.
pub(super) const MAX_TEXT_CHARS: usize = 2000;
