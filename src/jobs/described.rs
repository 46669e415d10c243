//! Sheets that are only described: typed, or in the manifest of a job that is begun.

use super::collect::Collected;
use super::names::name_key;
use crate::analysis::predict::describe::{DescribeError, DescribedSheet, Description};
use crate::analysis::sheet::stated::stated_sheet;
use crate::ingest::manifest;

/// A sheet known from its maker alone.
#[derive(Debug, Clone, PartialEq)]
pub struct Described {
    pub sheet: DescribedSheet,
    /// Period of weave or holes, mm.
    pub structure_mm: Option<f64>,
}

impl Described {
    /// Reads `NAME:key=value,key=value` as [`Description::parse`] does.
    ///
    /// # Errors
    /// As there, and those of [`Description::build`].
    pub fn parse(text: &str) -> Result<Self, DescribeError> {
        let description = Description::parse(text)?;
        let structure_mm = description.hole_pitch_mm;
        Ok(Self { sheet: description.build()?, structure_mm })
    }
}

/// Sheets that no finished job has, and whose data stand in the manifest of one that is begun.
pub fn begun(collected: &Collected) -> Vec<Described> {
    let mut known: Vec<String> = collected
        .jobs
        .iter()
        .filter_map(|j| Some(name_key(j.result.screen.name.as_ref()?)))
        .collect();
    let mut out = Vec::new();
    for (folder, _) in &collected.refused {
        let Ok((manifest, _)) = manifest::load(folder) else { continue };
        let screen = &manifest.screen;
        let (Some(name), Some(stated)) = (&screen.name, stated_sheet(screen)) else { continue };
        let key = name_key(name);
        if known.contains(&key) {
            continue;
        }
        known.push(key);
        out.push(Described {
            structure_mm: screen.weave_pitch_mm.or(screen.hole_pitch_mm),
            sheet: DescribedSheet {
                name: name.trim().to_owned(),
                front: stated.sheet,
                backing: None,
            },
        });
    }
    out
}
