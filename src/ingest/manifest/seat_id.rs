//! What can name a seat.

use super::limits::MAX_ID_CHARS;
use crate::ingest::printable::is_invisible;

/// Why an id cannot name a seat.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum SeatIdError {
    /// Nothing, or nothing but spaces.
    #[error("a seat id must have at least one visible character")]
    Empty,
    /// Too many characters.
    #[error("a seat id has at most {} characters, this one has {found}", MAX_ID_CHARS)]
    TooLong {
        /// Characters found.
        found: usize,
    },
    /// A space at an end.
    #[error("a seat id must not begin or end with a space")]
    SpaceAtEnd,
    /// A control, direction or other invisible character.
    #[error("a seat id holds visible characters only, found {}", .0.escape_unicode())]
    Invisible(char),
}

/// Whether an id can name a seat.
pub(crate) fn check_id(id: &str) -> Result<(), SeatIdError> {
    let found = id.chars().count();
    if id.trim().is_empty() {
        Err(SeatIdError::Empty)
    } else if found > MAX_ID_CHARS {
        Err(SeatIdError::TooLong { found })
    } else if id.trim() != id {
        Err(SeatIdError::SpaceAtEnd)
    } else {
        id.chars().find(|&c| is_invisible(c)).map_or(Ok(()), |c| Err(SeatIdError::Invisible(c)))
    }
}
