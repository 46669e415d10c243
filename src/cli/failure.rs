//! Why a command ended early, and the exit status that tells it.

use crate::chain::ChainError;
use crate::import::ImportError;
use crate::ingest::error::IngestError;
use crate::listen::ListenError;
use crate::page::PageError;
use crate::report::error::ReportError;
use std::process::ExitCode;

/// Exit status: done.
pub const DONE: u8 = 0;
/// Exit status: done, and with `--strict` a claim was not shown to hold.
pub const NOT_SHOWN: u8 = 1;
/// Exit status: command line wrong.
pub const USAGE: u8 = 2;
/// Exit status: session refused.
pub const REFUSED: u8 = 3;
/// Exit status: output cannot be written.
pub const NOT_WRITTEN: u8 = 4;

/// What ended a command.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum Failure {
    /// Arguments that cannot be used.
    #[error("{message}")]
    Usage {
        /// Which, and what it may be.
        message: String,
    },
    /// The session is refused, or its folder cannot be written.
    #[error(transparent)]
    Ingest(#[from] IngestError),
    /// The session is refused, and recordings lie in it that were not brought in.
    #[error("{error}; {hint}")]
    Unimported {
        /// Why it is refused.
        error: IngestError,
        /// Which recordings, and the command for them.
        hint: String,
    },
    /// Recordings cannot be brought in.
    #[error(transparent)]
    Import(#[from] ImportError),
    /// The sessions cannot be compared.
    #[error("{message}")]
    Compare {
        /// Why.
        message: String,
    },
    /// The session cannot be analysed.
    #[error(transparent)]
    Chain(#[from] ChainError),
    /// There is nothing to listen to.
    #[error(transparent)]
    Listen(#[from] ListenError),
    /// The simulated session cannot be written.
    #[error(transparent)]
    Simulated(#[from] crate::simulate::write::WriteError),
    /// The report cannot be written.
    #[error(transparent)]
    Report(#[from] ReportError),
    /// The page cannot be opened.
    #[error(transparent)]
    Page(#[from] PageError),
    /// Standard output cannot be written.
    #[error("standard output cannot be written")]
    Print {
        /// What the system said.
        #[source]
        source: std::io::Error,
    },
}

impl Failure {
    /// The exit status.
    pub fn status(&self) -> ExitCode {
        ExitCode::from(match self {
            Self::Usage { .. } => USAGE,
            Self::Ingest(error) if !error.is_output() => REFUSED,
            Self::Import(error) if !error.is_output() => REFUSED,
            Self::Unimported { .. } => REFUSED,
            // The logo is a part of the session, and looked at before anything is written.
            Self::Report(ReportError::Logo { .. } | ReportError::LogoFile(_)) => REFUSED,
            Self::Page(PageError::Folder { .. }) => REFUSED,
            Self::Page(PageError::Port { .. } | PageError::OpenElsewhere { .. }) => USAGE,
            Self::Chain(_) | Self::Compare { .. } | Self::Listen(_) => REFUSED,
            Self::Ingest(_)
            | Self::Import(_)
            | Self::Simulated(_)
            | Self::Page(_)
            | Self::Report(_)
            | Self::Print { .. } => NOT_WRITTEN,
        })
    }
}
