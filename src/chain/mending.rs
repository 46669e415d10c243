//! What kind of loss it is, what an equaliser can do about it, whether it did, and what that costs.

use super::losses::{Losses, explain};
use crate::analysis::control_step::widen_by_step;
use crate::analysis::correction::{CorrectionError, fit_with_seats};
use crate::analysis::joint;
use crate::analysis::loss::{LossTable, losses_from};
use crate::analysis::power::{PowerCost, correction_power};
use crate::analysis::seats::{SeatDependence, judge_seats};
use crate::analysis::verification::{Verification, verify};
use crate::ingest::manifest::Manifest;
use crate::report::words;
use crate::report::words::correction::SaidSetting;
use crate::report::words::said::Said;
use crate::report::words::sheet::SheetResult;
use crate::report::words::verification::VerificationWords;
use crate::transfer::measure::Transfers;
use crate::warning::Warnings;

/// What was found, as it is said.
pub(super) struct Mending {
    pub sheet: SheetResult,
    pub dependence: Said<SeatDependence>,
    pub correction: Option<SaidSetting>,
    pub verification: Option<Said<Verification, VerificationWords>>,
    pub power: Option<Said<PowerCost>>,
}

/// Kind of loss and setting, neither of which needs the other; then what the setting did and costs.
///
/// # Errors
/// [`CorrectionError`] when the limits of the equaliser make no sense; where nothing was measured there
/// is no setting.
pub(super) fn mend(
    manifest: &Manifest,
    transfers: &Transfers,
    losses: &Losses,
    warnings: &mut Warnings,
) -> Result<Mending, CorrectionError> {
    let Losses { gap, table, .. } = losses;
    let dependence = judge_seats(table);
    let (sheet, fitted) = rayon::join(
        || explain(manifest, transfers, table, gap.as_ref()),
        || fit_with_seats(table, &manifest.correction, &dependence),
    );
    warnings.say(|units| words::sheet::warnings(&sheet, units));
    let correction = match fitted {
        Ok(correction) => Some(correction),
        Err(CorrectionError::NothingMeasured) => None,
        Err(error) => return Err(error),
    };
    warnings.extend(correction.iter().flat_map(words::correction::warnings));
    let verification = correction.as_ref().and_then(|setting| {
        let found = verify(setting, table, &corrected_losses(manifest, transfers, losses)?);
        Some(words::verification::said(found, setting))
    });
    warnings.extend(verification.as_ref().and_then(words::verification::warning));
    let power = correction.as_ref().map(|c| correction_power(c, manifest.speaker.as_ref()));
    if let Some(power) = &power {
        warnings.say(|units| words::power::warnings(power, units));
    }
    Ok(Mending {
        sheet: words::sheet::said(sheet),
        dependence: words::seats::said(dependence),
        correction: correction.map(words::correction::said),
        verification,
        power: power.map(words::power::said),
    })
}

/// What is lost with the setting active, the echoes known from the takes without it; `None` without
/// such takes.
fn corrected_losses(
    manifest: &Manifest,
    transfers: &Transfers,
    losses: &Losses,
) -> Option<LossTable> {
    let seats = &transfers.corrected;
    if seats.is_empty() {
        return None;
    }
    let known =
        joint::fit_with_known_echoes(&transfers.plan, seats, &losses.joint, &transfers.seats);
    let (mut corrected, _) = losses_from(manifest, transfers, seats, &known);
    if let Some(step) = &losses.step {
        widen_by_step(&mut corrected, step);
    }
    Some(corrected)
}
