//! `scrimcheck open [DIR]`: the whole job in the browser.

use super::args::OpenArgs;
use super::failure::Failure;
use super::terminal;
use crate::page::{PageOptions, serve};
use std::process::ExitCode;

/// Serves the page until the program is ended.
///
/// # Errors
/// [`Failure::Page`] where the folder or the port cannot be used.
pub fn run(args: &OpenArgs) -> Result<ExitCode, Failure> {
    let options =
        PageOptions { folder: args.folder.clone(), port: args.port, browser: !args.no_browser };
    // Nobody reads the address where output is gone; the browser is open all the same.
    serve(&options, &|text| drop(terminal::print(text)))?;
    Ok(ExitCode::SUCCESS)
}
