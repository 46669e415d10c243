//! Listens on the loopback, prints the address, opens the browser.

use super::desk::Desk;
use super::neighbour::{announce, neighbour};
use super::routes::router;
use super::words::{fill, word};
use crate::ingest::error::shown;
use crate::staging::Staging;
use std::io;
use std::net::Ipv4Addr;
use std::path::PathBuf;
use std::sync::Arc;
use tokio::net::TcpListener;

/// How the page is opened.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PageOptions {
    /// A session, or a folder of sessions.
    pub folder: PathBuf,
    /// Port on 127.0.0.1; `None` takes a free one.
    pub port: Option<u16>,
    /// Whether the browser is started.
    pub browser: bool,
}

/// Why the page cannot be opened.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum PageError {
    /// Not a folder that is there.
    #[error("{}: {}", shown(.path), word("error.no_folder"))]
    Folder {
        /// What was named.
        path: PathBuf,
        /// What the system said.
        #[source]
        source: io::Error,
    },
    /// The folder cannot be written.
    #[error("{}: {}", shown(.path), word("error.folder_not_writable"))]
    Write {
        /// The folder.
        path: PathBuf,
        /// What the system said.
        #[source]
        source: io::Error,
    },
    /// The port is not free.
    #[error("{}", fill("error.port", &[("port", &.port.to_string())]))]
    Port {
        /// Which; 0 stands for any.
        port: u16,
        /// What the system said.
        #[source]
        source: io::Error,
    },
    /// The open folder is on another port.
    #[error("{}", fill("error.open_elsewhere", &[("address", .address)]))]
    OpenElsewhere {
        /// Where.
        address: String,
    },
    /// The system gave no random numbers, or no thread.
    #[error("{}", word("error.system"))]
    System {
        /// What it said.
        #[source]
        source: io::Error,
    },
}

/// Serves the page until the program is ended. `print` gets what is to be told the user.
///
/// Where a page is open on the same folder already, its address is told and opened in the
/// browser, and this returns.
///
/// # Errors
/// [`PageError`].
pub fn serve(options: &PageOptions, print: &dyn Fn(&str)) -> Result<(), PageError> {
    let path = options.folder.clone();
    let folder = |source| PageError::Folder { path: path.clone(), source };
    let root = options.folder.canonicalize().map_err(folder)?;
    std::fs::read_dir(&root).map_err(folder)?;
    if let Some(address) = neighbour(&root) {
        if options.port.is_some_and(|port| !address.contains(&format!(":{port}/"))) {
            return Err(PageError::OpenElsewhere { address });
        }
        print(&fill("terminal.joined", &[("address", &address)]));
        open_browser(options, &address, print);
        return Ok(());
    }
    let system = |source| PageError::System { source };
    let runtime =
        tokio::runtime::Builder::new_multi_thread().enable_all().build().map_err(system)?;
    runtime.block_on(async {
        let port = options.port.unwrap_or(0);
        let listener = TcpListener::bind((Ipv4Addr::LOCALHOST, port))
            .await
            .map_err(|source| PageError::Port { port, source })?;
        let port = listener.local_addr().map_err(system)?.port();
        let unwritable = |source| PageError::Write { path: root.clone(), source };
        let staging = Staging::inside(&root).map_err(unwritable)?;
        let desk = Desk::new(root.clone(), port, staging)
            .map_err(|error| system(io::Error::other(error)))?;
        announce(&desk.staging, &desk.address()).map_err(unwritable)?;
        let folder = shown(&options.folder);
        let address = desk.address();
        print(&fill("terminal.open", &[("folder", &folder), ("address", &address)]));
        open_browser(options, &desk.address_once(), print);
        axum::serve(listener, router(Arc::new(desk))).await.map_err(system)
    })
}

fn open_browser(options: &PageOptions, address: &str, print: &dyn Fn(&str)) {
    if options.browser && open::that_detached(address).is_err() {
        print(word("terminal.no_browser"));
    }
}
