//! A progress bar on standard error, on a terminal only.

use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};
use std::io::IsTerminal;

/// A bar of `n` steps that are called `what`.
pub fn progress(what: &str, n: usize) -> ProgressBar {
    let on_terminal = std::io::stderr().is_terminal();
    let target =
        if on_terminal { ProgressDrawTarget::stderr() } else { ProgressDrawTarget::hidden() };
    let bar = ProgressBar::with_draw_target(Some(n as u64), target);
    // A template that does not parse would only cost the bar its look.
    if let Ok(style) = ProgressStyle::with_template("{msg} {pos}/{len} {wide_bar}") {
        bar.set_style(style);
    }
    bar.set_message(what.to_owned());
    bar
}
