//! Every job teaches the next: what the finished sessions of a folder say together.
//!
//! | file | does |
//! |---|---|
//! | `find` | the sessions below a folder, three levels deep, links out refused |
//! | `stored` | what is read from a `result.json` |
//! | `collect` | the two above for a whole folder: reused, made anew, refused |
//! | `figures` | figures of one of them |
//! | `names` | one sheet under two spellings |
//! | `mean` | random-effects mean over rooms, with its uncertainty |
//! | `model` | the physical description of a sheet over its rooms |
//! | `sheets` | what every sheet did over its rooms |
//! | `bias` | by how much measured and claimed figures differ |
//! | `described` | sheets that are typed, or stand in the manifest of a job that is begun |
//! | `residuals` | what the model of a sheet gives in a room, and what the room adds to it |
//! | `room`, `choose` | the known sheets ranked for a room that is still to be fitted |
//! | `again` | one room measured twice |
//! | `told` | all of it as tables, plots, page and PDF |
//!
//! Every figure comes from `result.json`; nothing here reads a take.

pub(crate) mod again;
pub(crate) mod bias;
pub mod choose;
pub mod collect;
pub(crate) mod described;
pub(crate) mod figures;
pub(crate) mod find;
pub(crate) mod mean;
pub(crate) mod model;
pub mod names;
pub(crate) mod residuals;
pub mod room;
pub mod sheets;
pub(crate) mod stored;
pub(crate) mod told;
