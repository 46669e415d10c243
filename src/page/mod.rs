//! The page: the whole job in a browser, served from this machine to this machine alone.
//!
//! | file | does |
//! |---|---|
//! | `serve` | listens on the loopback, prints the address, opens the browser |
//! | `desk` | what the server knows: folder, secrets, jobs |
//! | `guard` | who may ask: host, origin, cookie; what browsers may do with answers |
//! | `secret` | random words that nobody guesses |
//! | `neighbour` | a second start on the same folder joins the first |
//! | `place` | names of jobs to folders, and none outside |
//! | `request` | the job of a request, and work beside the server's threads |
//! | `stamp` | whether files and texts are still those that were seen |
//! | `upload` | what a browser sends, bounded, straight to disk |
//! | `refusal` | what cannot be done, as an answer |
//! | `words` | everything that the page says |
//! | `assets` | templates, scripts and style, built into the program |
//! | `routes` | which address does what |
//! | `jobs`, `new_job` | the sessions of the folder |
//! | `settings`, `edit` | `session.toml` as forms, its comments and order kept |
//! | `board`, `heard`, `plan` | takes, their verdicts, what comes next |
//! | `sweep_out`, `sound_in`, `level`, `record`, `aside` | the recorder's side of the server |
//! | `bring_in` | recordings dropped on the board |
//! | `result`, `summary`, `events` | the report, made anew when takes change, and its progress |
//! | `listen`, `listening`, `blind` | what the screen does, to listen to, and blind tests |
//! | `forecast`, `side_by_side` | before buying, and sessions side by side |
//! | `sheets` | what each sheet did over all jobs, the choice for the next room |
//!
//! It calls the library functions that the commands call; `session.toml` stays the truth.

mod aside;
mod assets;
mod blind;
mod board;
mod bring_in;
mod desk;
mod edit;
mod events;
mod forecast;
mod guard;
mod heard;
mod jobs;
mod level;
mod listen;
mod listening;
mod neighbour;
mod new_job;
mod place;
mod plan;
mod record;
mod refusal;
mod request;
mod result;
mod routes;
mod secret;
mod serve;
mod settings;
mod sheets;
mod side_by_side;
mod sound_in;
mod stamp;
mod summary;
mod sweep_out;
mod upload;
mod words;

pub use serve::{PageError, PageOptions, serve};
