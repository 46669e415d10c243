//! Why a report could not be written.

use crate::ingest::error::{IngestError, shown};
use std::path::PathBuf;

/// Everything that can go wrong between a finished result and its files.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum ReportError {
    /// A figure that is neither a number nor absent: a mistake of this program.
    #[error(
        "the result holds {found} at {place}, where only a finite number or nothing may stand; \
         nothing was written"
    )]
    NotFinite {
        /// Keys and indices that lead to the figure.
        place: String,
        /// The figure as text.
        found: String,
    },
    /// The result document could not be turned into text.
    #[error("the result cannot be written as {what}")]
    Encode {
        /// Kind of file.
        what: &'static str,
        /// What the encoder said.
        #[source]
        source: Box<dyn std::error::Error + Send + Sync>,
    },
    /// A plot could not be drawn.
    #[error("the plot {plot} cannot be drawn: {reason}")]
    Plot {
        /// File name without ending.
        plot: String,
        /// What went wrong.
        reason: String,
    },
    /// The folder holds something that this program did not write.
    #[error(
        "{folder} holds {found}, which this program did not write; \
         choose another folder with --out, or give --force to write beside it (it is kept)",
        folder = shown(.folder), found = shown(.found)
    )]
    Foreign {
        /// The output folder.
        folder: PathBuf,
        /// The first file that is not ours, relative to it.
        found: PathBuf,
    },
    /// The place of the output folder is taken by something else.
    #[error(
        "{path} is not a folder, or lies below a file; choose another place with --out",
        path = shown(.path)
    )]
    NotAFolder {
        /// The output folder.
        path: PathBuf,
    },
    /// The usual place of the report is a link that leaves the session folder.
    #[error(
        "{path} is a link that leads out of the session folder; remove it, or name the place of \
         the report with --out",
        path = shown(.path)
    )]
    Link {
        /// The link.
        path: PathBuf,
    },
    /// A folder, pipe or device in the place of a file.
    #[error("{path} is not a file; choose another name", path = shown(.path))]
    NotAFile {
        /// The place.
        path: PathBuf,
    },
    /// A file is already there.
    #[error("{path} is already there; give --force to replace it", path = shown(.path))]
    Taken {
        /// The file.
        path: PathBuf,
    },
    /// A name that would leave the output folder.
    #[error("{name} is no name for an output file")]
    Name {
        /// The name.
        name: String,
    },
    /// The logo of the papers is not there, or lies outside the session folder.
    #[error(transparent)]
    LogoFile(IngestError),
    /// The logo of the papers cannot be used.
    #[error(
        "handover.logo in session.toml: {path}: {reason}; \
         name a PNG, JPEG or SVG file in the session folder, or leave the key out",
        path = shown(.path)
    )]
    Logo {
        /// The file as named in the manifest.
        path: PathBuf,
        /// What is wrong with it.
        reason: String,
    },
    /// The system refused to write.
    #[error(
        "{path} cannot be written; see that the folder is there and may be written to, and that \
         the disk is not full, or name another place. What was there before is unchanged",
        path = shown(.path)
    )]
    Write {
        /// What was being written.
        path: PathBuf,
        /// What the system said.
        #[source]
        source: std::io::Error,
    },
}
