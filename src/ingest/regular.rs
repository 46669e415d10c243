//! Regular files, opened so that a pipe cannot hold the program up.

use std::fs::{self, File, FileType};
use std::io;
use std::path::Path;

/// Why there is no regular file to read.
pub(crate) enum NotOpened {
    Missing,
    /// What is there instead, in a word.
    NotRegular(&'static str),
    Io(io::Error),
}

/// Opens a regular file; also returns its length, bytes.
pub(crate) fn open_regular(path: &Path) -> Result<(File, u64), NotOpened> {
    let cannot = |error: io::Error| match error.kind() {
        io::ErrorKind::NotFound | io::ErrorKind::NotADirectory => NotOpened::Missing,
        _ => NotOpened::Io(error),
    };
    // Asked before opening: opening a pipe would wait for its writer.
    let kind = fs::metadata(path).map_err(cannot)?.file_type();
    if !kind.is_file() {
        return Err(NotOpened::NotRegular(kind_name(kind)));
    }
    let file = File::open(path).map_err(cannot)?;
    let n_bytes = file.metadata().map_err(cannot)?.len();
    Ok((file, n_bytes))
}

/// What a path that is no regular file is, in a word.
pub(crate) fn kind_name(kind: FileType) -> &'static str {
    #[cfg(unix)]
    {
        use std::os::unix::fs::FileTypeExt;
        if kind.is_fifo() {
            return "pipe";
        }
        if kind.is_socket() {
            return "socket";
        }
        if kind.is_block_device() || kind.is_char_device() {
            return "device";
        }
    }
    if kind.is_dir() {
        "folder"
    } else if kind.is_symlink() {
        "link"
    } else {
        "special file"
    }
}
