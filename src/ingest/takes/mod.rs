//! Finding the recordings: listed in the manifest, or by their names in `takes/`.

mod borrow;
mod discover;
mod name;
pub(crate) mod paths;
mod take;

pub(super) use borrow::{borrow_without, folder_of};
pub use discover::discover;
pub(crate) use name::condition_word;
pub use name::{NameError, QUIET_BY_DB, TAKES_FOLDER, default_name, parse_name, quiet_name};
pub use take::Take;
