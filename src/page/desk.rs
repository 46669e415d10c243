//! What the server knows.

use super::secret::{same, secret};
use crate::staging::Staging;
use std::path::PathBuf;
use std::sync::{Mutex, PoisonError};

/// The opened folder and everything around it, for the time of one run.
pub(super) struct Desk {
    /// The opened folder, links resolved.
    pub root: PathBuf,
    /// Port that is listened on.
    pub port: u16,
    /// What the printed address holds.
    pub token: String,
    /// What the address holds that the browser is started with; used up by the first visit, since
    /// other users of the machine can see how programs are started.
    once: Mutex<Option<String>>,
    /// What the browser's cookie holds.
    cookie: String,
    /// Hidden folder for what is under way, gone when the program ends.
    pub staging: Staging,
}

impl Desk {
    /// A desk with new secrets.
    ///
    /// # Errors
    /// Where the system has no random source.
    pub(super) fn new(root: PathBuf, port: u16, staging: Staging) -> Result<Self, getrandom::Error> {
        let once = Mutex::new(Some(secret()?));
        Ok(Self { root, port, token: secret()?, once, cookie: secret()?, staging })
    }

    /// The address to print.
    pub(super) fn address(&self) -> String {
        format!("http://127.0.0.1:{}/?token={}", self.port, self.token)
    }

    /// The address to start the browser with.
    pub(super) fn address_once(&self) -> String {
        let once = self.once.lock().unwrap_or_else(PoisonError::into_inner);
        let token = once.as_deref().unwrap_or(&self.token);
        format!("http://127.0.0.1:{}/?token={token}", self.port)
    }

    /// Whether somebody who shows this token may come in.
    pub(super) fn lets_in(&self, token: &str) -> bool {
        let mut once = self.once.lock().unwrap_or_else(PoisonError::into_inner);
        if once.as_deref().is_some_and(|once| same(once, token)) {
            *once = None;
            return true;
        }
        same(&self.token, token)
    }

    /// Name and value of the cookie. The name holds the port, since browsers keep one set of
    /// cookies for all ports of a machine.
    pub(super) fn cookie(&self) -> (String, &str) {
        (format!("scrimcheck-{}", self.port), &self.cookie)
    }
}
