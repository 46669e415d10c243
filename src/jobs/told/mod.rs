//! What finished jobs say together: table, CSV, JSON, web page and PDF.
//!
//! | file | does |
//! |---|---|
//! | `sheets`, `choice`, `again` | what each sheet did; sheets for the next room; one room twice |
//! | `answer` | the files of an answer |
//! | `cells`, `tables` | figures as text, and tables of them |
//! | `tidy` | CSV with one figure a row |
//! | `figures` | plots |

mod again;
mod answer;
mod cells;
mod choice;
mod figures;
mod sheets;
mod tables;
mod tidy;

pub use again::{again_files, again_statement, again_table};
pub use choice::{choice_files, choice_statement, choice_table};
pub use sheets::{sheets_files, sheets_statement, sheets_table};

#[cfg(test)]
mod tests;
