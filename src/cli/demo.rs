//! `scrimcheck demo [DIR]`: an invented session, made and analysed.

use super::analyze::{measure, print_result};
use super::args::DemoArgs;
use super::failure::Failure;
use crate::ingest::error::shown;
use crate::ingest::session::Session;
use crate::job::{report_into, usual_place};
use crate::report::output::OutputFolder;
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
    let (result, _) = report_into(&session, opened, &report, args.force, measure)?;
    let (session, report) = (shown(&args.folder), shown(&report));
    let said =
        format!("All of this is invented, by simulation. Session: {session}, report: {report}");
    print_result(&result, args.json, &said)?;
    Ok(ExitCode::SUCCESS)
}
