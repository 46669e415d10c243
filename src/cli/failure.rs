//! Why a command ended early, and the exit status that tells it.

use crate::chain::ChainError;
use crate::import::ImportError;
use crate::ingest::error::IngestError;
use crate::job::JobError;
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
    /// A session cannot be opened, analysed or reported on.
    #[error(transparent)]
    Job(#[from] JobError),
    /// Recordings cannot be brought in.
    #[error(transparent)]
    Import(#[from] ImportError),
    /// The sessions cannot be compared.
    #[error("{message}")]
    Compare {
        /// Why.
        message: String,
    },
    /// There is nothing to listen to.
    #[error(transparent)]
    Listen(#[from] ListenError),
    /// The simulated session cannot be written.
    #[error(transparent)]
    Simulated(#[from] crate::simulate::write::WriteError),
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

macro_rules! of_a_job {
    ($($error:ty),*) => {$(
        impl From<$error> for Failure {
            fn from(error: $error) -> Self {
                Self::Job(error.into())
            }
        }
    )*};
}

of_a_job!(IngestError, ChainError, ReportError);

impl Failure {
    /// What was typed cannot be used.
    pub fn usage(why: impl ToString) -> Self {
        Self::Usage { message: why.to_string() }
    }

    /// The sessions cannot be compared.
    pub fn compare(why: impl ToString) -> Self {
        Self::Compare { message: why.to_string() }
    }

    /// The exit status.
    pub fn status(&self) -> ExitCode {
        ExitCode::from(match self {
            Self::Usage { .. }
            | Self::Page(PageError::Port { .. } | PageError::OpenElsewhere { .. }) => USAGE,
            Self::Job(JobError::Ingest(error)) if error.is_output() => NOT_WRITTEN,
            Self::Import(error) if error.is_output() => NOT_WRITTEN,
            // The logo is a part of the session, and looked at before anything is written.
            Self::Job(JobError::Report(ReportError::Logo { .. } | ReportError::LogoFile(_)))
            | Self::Page(PageError::Folder { .. }) => REFUSED,
            Self::Job(JobError::Report(_))
            | Self::Simulated(_)
            | Self::Page(_)
            | Self::Print { .. } => NOT_WRITTEN,
            Self::Job(_) | Self::Import(_) | Self::Compare { .. } | Self::Listen(_) => REFUSED,
        })
    }
}
