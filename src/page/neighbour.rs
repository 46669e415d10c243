//! A second start on the same folder finds the first and joins it.
//!
//! Each run keeps a hidden folder in the opened one while it lasts, with a locked file in it; the
//! address of the page lies beside the lock, readable for the user alone.

use crate::staging::{Staging, is_in_use};
use std::fs;
use std::io::{self, Read, Write};
use std::path::Path;

const ADDRESS_FILE: &str = "address";
/// Longest address, bytes.
const MOST_BYTES: u64 = 200;

/// The address of a page that is open on this folder.
pub(super) fn neighbour(root: &Path) -> Option<String> {
    let folders = fs::read_dir(root).ok()?.flatten().map(|entry| entry.path());
    folders.filter(|folder| is_in_use(folder)).find_map(|folder| address_in(&folder))
}

fn address_in(folder: &Path) -> Option<String> {
    let path = folder.join(ADDRESS_FILE);
    if !path.symlink_metadata().ok()?.is_file() {
        return None;
    }
    let mut text = String::new();
    fs::File::open(path).ok()?.take(MOST_BYTES).read_to_string(&mut text).ok()?;
    let port = text.strip_prefix("http://127.0.0.1:")?.split_once("/?token=")?;
    let is_address = port.0.parse::<u16>().is_ok() && port.1.bytes().all(|b| b.is_ascii_hexdigit());
    is_address.then_some(text)
}

/// Leaves the address for those who come later.
///
/// # Errors
/// The system's.
pub(super) fn announce(staging: &Staging, address: &str) -> io::Result<()> {
    let mut options = fs::OpenOptions::new();
    options.write(true).create_new(true);
    #[cfg(unix)]
    {
        use std::os::unix::fs::OpenOptionsExt;
        options.mode(0o600);
    }
    options.open(staging.at(ADDRESS_FILE))?.write_all(address.as_bytes())
}
