//! What goes to standard output and standard error.

use super::failure::Failure;
use crate::ingest::error::plain;
use crate::report::look::Look;
use std::io::{self, ErrorKind, IsTerminal, Write};

/// Columns where the terminal does not tell them, or output is no terminal.
const DEFAULT_WIDTH: usize = 100;

/// How to set text on standard output: its width, and colours only on a
/// terminal and where `NO_COLOR` is not set (<https://no-color.org>).
pub fn look() -> Look {
    let stdout = io::stdout();
    let wish = std::env::var_os("NO_COLOR").is_some_and(|v| !v.is_empty());
    let width = terminal_size::terminal_size_of(&stdout)
        .map(|(columns, _)| usize::from(columns.0))
        .or_else(|| std::env::var("COLUMNS").ok()?.parse().ok())
        .filter(|w| *w >= 20)
        .unwrap_or(DEFAULT_WIDTH);
    Look { width, color: stdout.is_terminal() && !wish }
}

/// Writes results to standard output. A reader that has seen enough and closed
/// the pipe is no failure.
///
/// # Errors
/// [`Failure::Print`] when it cannot be written for another reason.
pub fn print(text: &str) -> Result<(), Failure> {
    let mut out = io::stdout().lock();
    match out.write_all(text.as_bytes()).and_then(|()| out.flush()) {
        Err(source) if source.kind() != ErrorKind::BrokenPipe => Err(Failure::Print { source }),
        _ => Ok(()),
    }
}

/// Writes to standard error; when even that fails there is nobody to tell. Whatever
/// foreign text found its way into a message, it cannot drive the terminal.
pub fn complain(text: &str) {
    let lines: Vec<String> = text.split('\n').map(plain).collect();
    let _ = io::stderr().lock().write_all(lines.join("\n").as_bytes());
}
