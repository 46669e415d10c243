//! The picture side: light readings, seats and screen, and what the maker says of them.

use super::refusal::ChainError;
use crate::analysis::claims::ClaimVerdict;
use crate::analysis::geometry::survey;
use crate::analysis::picture::{assess_light, judge_light_claims, readings_missing};
use crate::ingest::manifest::Manifest;
use crate::ingest::readings::{Reading, read_readings};
use crate::ingest::session::Session;
use crate::report::result::PictureResult;
use crate::report::words;
use crate::warning::Warnings;

/// The light readings: of the file that the manifest names, or of
/// `readings.csv` where there is one.
pub(super) fn light_readings(session: &Session) -> Result<Option<Vec<Reading>>, ChainError> {
    let Some(path) = session.readings_file()? else { return Ok(None) };
    Ok(Some(read_readings(&path)?))
}

/// What is found of seats, screen and light, and the verdicts on what the maker says of the light.
pub(super) fn look(
    manifest: &Manifest,
    readings: Option<&[Reading]>,
    warnings: &mut Warnings,
) -> (PictureResult, Vec<ClaimVerdict>) {
    let picture = manifest.picture.as_ref();
    let geometry = survey(&manifest.screen, picture, &manifest.seat);
    warnings.say(|units| words::geometry::warnings(&geometry, units));
    let light = readings.map(|readings| assess_light(readings, picture, &manifest.screen));
    if let Some(light) = &light {
        warnings.say(|units| words::picture::warnings(light, units));
    }
    if readings_missing(manifest, light.as_ref()) {
        warnings.extend([words::picture::readings_missing()]);
    }
    let claims = judge_light_claims(&manifest.claim, light.as_ref());
    let light = light.map(words::picture::said);
    (PictureResult { light, geometry: words::geometry::said(geometry) }, claims)
}
