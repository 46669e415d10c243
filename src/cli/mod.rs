//! The command line: what is typed, checked settings, one file a command.
//!
//! Exit status: 0 done; 1 done, and with `--strict` a claim was not shown to
//! hold; 2 command line wrong; 3 session refused; 4 output cannot be written.

mod again;
pub(crate) mod analyze;
pub(crate) mod args;
pub(crate) mod check;
pub(crate) mod choose;
pub(crate) mod choose_args;
mod compare;
mod demo;
pub(crate) mod failure;
mod import;
mod import_table;
pub(crate) mod jobs;
mod listen;
mod open;
pub(crate) mod predict;
pub(crate) mod predict_args;
mod progress;
mod settings;
pub(crate) mod shared_args;
mod start;
mod sweep;
pub mod terminal;

use args::{Args, Command, OpenArgs};
use clap::Parser;
use failure::Failure;
use std::ffi::OsString;
use std::process::ExitCode;

/// Runs the command with its arguments, the program's name first.
///
/// # Errors
/// [`Failure`], whose [`Failure::status`] is the exit status.
pub fn run(arguments: impl IntoIterator<Item = OsString>) -> Result<ExitCode, Failure> {
    let args = match Args::try_parse_from(arguments) {
        Ok(args) => args,
        Err(answer) => {
            // Help and version come as errors too; they go to stdout with status 0.
            let failed = answer.use_stderr();
            // Nothing can be told when the terminal is gone.
            let _ = answer.print();
            return Ok(ExitCode::from(if failed { failure::USAGE } else { failure::DONE }));
        }
    };
    let here = || Command::Open(OpenArgs { folder: ".".into(), port: None, no_browser: false });
    match args.command.unwrap_or_else(here) {
        Command::Open(args) => open::run(&args),
        Command::Demo(args) => demo::run(&args),
        Command::Check(args) => check::run(&args),
        Command::Import(args) => import::run(&args),
        Command::Analyze(args) => analyze::run(&args),
        Command::Compare(args) => compare::run(&args),
        Command::Listen(args) => listen::run(&args),
        Command::Choose(args) => choose::run(&args),
        Command::Start(args) => start::run(&args),
        Command::Predict(args) => predict::run(&args),
        Command::Sweep(args) => sweep::run(&args),
    }
}
