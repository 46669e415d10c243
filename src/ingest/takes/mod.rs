//! Finding the recordings: listed in the manifest, or by their names in `takes/`.

mod borrow;
mod discover;
mod name;
pub(crate) mod paths;

pub(crate) use borrow::borrow_without;
pub use discover::discover;
pub(crate) use name::condition_word;
pub use name::{NameError, QUIET_BY_DB, default_name, parse_name, quiet_name};

/// Folder of the recordings in a session folder.
pub const TAKES_FOLDER: &str = "takes";
