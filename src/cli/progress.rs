//! A progress bar on standard error, on a terminal only.

use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};
use std::io::IsTerminal;

/// Progress over a known number of steps.
pub struct Progress {
    bar: ProgressBar,
}

impl Progress {
    /// A bar of `n` steps that are called `what`.
    pub fn new(what: &str, n: usize) -> Self {
        let on_terminal = std::io::stderr().is_terminal();
        let target =
            if on_terminal { ProgressDrawTarget::stderr() } else { ProgressDrawTarget::hidden() };
        let bar = ProgressBar::with_draw_target(Some(n as u64), target);
        // A template that does not parse would only cost the bar its look.
        if let Ok(style) = ProgressStyle::with_template("{msg} {pos}/{len} {wide_bar}") {
            bar.set_style(style);
        }
        bar.set_message(what.to_owned());
        Self { bar }
    }

    /// One step more; may be called from any thread.
    pub fn tick(&self) {
        self.bar.inc(1);
    }

    /// Takes the bar away.
    pub fn done(&self) {
        self.bar.finish_and_clear();
    }
}
