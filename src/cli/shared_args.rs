//! What several commands are told in the same words.

use super::failure::Failure;
use crate::report::output::OutputFolder;
use clap::Args;
use std::path::PathBuf;

/// How sheets and jobs are named where many sessions are taken together.
#[derive(Debug, Args)]
pub struct NamingArgs {
    /// Two names that are one sheet; may be given several times
    #[arg(long, value_name = "NAME=NAME")]
    pub same: Vec<String>,
    /// Two names that are alike and two sheets: ends the question; may be given several times
    #[arg(long, value_name = "NAME=NAME")]
    pub distinct: Vec<String>,
    /// Tell the titles of the jobs too; they may name clients
    #[arg(long)]
    pub with_names: bool,
}

/// How an answer is printed, and where its files go.
#[derive(Debug, Args)]
pub struct AnswerArgs {
    /// Folder for table and plot as files
    #[arg(long, value_name = "DIR")]
    pub out: Option<PathBuf>,
    /// Print JSON instead of the table
    #[arg(long, conflicts_with = "csv")]
    pub json: bool,
    /// Print CSV instead of the table
    #[arg(long)]
    pub csv: bool,
    /// Write also into a folder that holds other files (they are kept)
    #[arg(long)]
    pub force: bool,
}

impl AnswerArgs {
    /// The folder for the files, where one is named.
    ///
    /// # Errors
    /// [`Failure::Job`] where it holds other files or cannot be written.
    pub fn folder(&self) -> Result<Option<OutputFolder>, Failure> {
        Ok(self.out.as_ref().map(|out| OutputFolder::open(out, self.force)).transpose()?)
    }
}
