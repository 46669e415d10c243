//! Typed words, checked and completed.

use super::args::{StartArgs, SweepShape};
use super::failure::Failure;
use crate::ingest::manifest::{self, MANIFEST_FILE, Manifest};
use crate::ingest::sweep::SweepParams;
use crate::start::StartOptions;
use std::path::Path;

/// The manifest that a path names: itself, or the one in this folder.
///
/// # Errors
/// [`Failure::Job`] of the manifest.
pub fn manifest_at(path: &Path) -> Result<Manifest, Failure> {
    let is_manifest = path.file_name().is_some_and(|name| name == MANIFEST_FILE);
    let folder = if is_manifest { path.parent().unwrap_or(path) } else { path };
    let here = if folder.as_os_str().is_empty() { Path::new(".") } else { folder };
    Ok(manifest::load(here)?.0)
}

/// The sweep that was asked for; fades and silence are the default ones, the
/// fades shorter where the sweep is.
///
/// # Errors
/// [`Failure::Usage`] with the figure that is out of range.
pub fn sweep_params(shape: &SweepShape) -> Result<SweepParams, Failure> {
    let default = SweepParams::default();
    let params = SweepParams {
        start_hz: shape.start_hz,
        stop_hz: shape.stop_hz,
        duration_s: shape.duration_s,
        level_dbfs: shape.level_dbfs,
        rate_hz: shape.rate_hz,
        fade_in_s: default.fade_in_s.min(shape.duration_s / 20.0),
        fade_out_s: default.fade_out_s.min(shape.duration_s / 100.0),
        ..default
    };
    params.validate().map_err(|e| {
        let name = e.name.replace('_', "-");
        Failure::usage(format!("--{name} is {}, expected {}", e.found, e.expected))
    })?;
    Ok(params)
}

/// What a new session shall hold.
///
/// # Errors
/// As [`sweep_params`].
pub fn start_options(args: &StartArgs) -> Result<StartOptions, Failure> {
    if let Some(c) = args.title.iter().flat_map(|t| t.chars()).find(|c| c.is_control()) {
        let why = format!("--title holds the control character {}", c.escape_unicode());
        return Err(Failure::usage(why));
    }
    Ok(StartOptions {
        force: args.force,
        title: args.title.clone(),
        sweep: sweep_params(&args.sweep)?,
        n_spots: args.spots,
        like: None,
    })
}
