//! The `scrimcheck` command: parses, calls the library, prints.

use scrimcheck::cli;
use std::process::ExitCode;

fn main() -> ExitCode {
    scrimcheck::staging::clear_up_when_interrupted();
    match cli::run(std::env::args_os()) {
        Ok(status) => status,
        Err(failure) => {
            let mut text = format!("error: {failure}\n");
            let mut cause = std::error::Error::source(&failure);
            while let Some(error) = cause {
                text += &format!("  caused by: {error}\n");
                cause = error.source();
            }
            cli::terminal::complain(&text);
            failure.status()
        }
    }
}
