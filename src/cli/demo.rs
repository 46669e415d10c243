//! `scrimcheck demo [DIR]`: an invented session, made and analysed.

use super::analyze::analyze_into;
use super::args::DemoArgs;
use super::failure::Failure;
use super::terminal;
use crate::ingest::error::shown;
use crate::ingest::session::Session;
use crate::job::usual_place;
use crate::report::json::json_text;
use crate::report::output::OutputFolder;
use crate::report::table::table_text;
use crate::simulate;
use std::process::ExitCode;
use std::time::SystemTime;

/// Simulates the session, writes its folder, and analyses exactly that folder
/// from disk.
///
/// # Errors
/// [`Failure`] when the folder holds other files or cannot be written.
pub fn run(args: &DemoArgs) -> Result<ExitCode, Failure> {
    let mut folder = OutputFolder::open(&args.folder, args.force)?;
    simulate::write(&simulate::simulate(&simulate::demo_scenario()), &folder.staging_path()?)?;
    folder.publish()?;

    let opened = SystemTime::now();
    let session = Session::open(&args.folder)?;
    let report = usual_place(&args.folder)?;
    let result = analyze_into(&session, opened, &report, args.force)?;
    if args.json {
        terminal::print(&String::from_utf8_lossy(&json_text(&result)?))?;
    } else {
        terminal::print(&table_text(&result, terminal::look()))?;
        terminal::print(&format!(
            "\nAll of this is invented, by simulation. Session: {}, report: {}\n",
            shown(&args.folder),
            shown(&report)
        ))?;
    }
    Ok(ExitCode::SUCCESS)
}
