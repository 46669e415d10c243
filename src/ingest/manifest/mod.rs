//! `session.toml`: its keys, read and checked.

mod check;
mod check_claim;
mod check_seats;
mod checker;
mod claim;
mod keys;
pub(crate) mod limits;
mod load;
pub(crate) mod refusal;
pub(crate) mod seat_id;
mod slip;
#[cfg(test)]
mod tests;
mod text;
mod translate;
mod values;

pub use claim::{Claim, ClaimQuantity, ClaimScope, CurvePoint};
pub use keys::{
    Condition, Construction, CorrectionLimits, DisplayUnits, EachCondition, FrequencyStep,
    HandoverInfo, Manifest, PerCondition, PictureInfo, RecordingInfo, ScreenInfo, SeatInfo,
    SessionInfo, SoundSource, SpeakerInfo, SweepInfo, SweepKind, TakeInfo,
};
pub use load::{MANIFEST_FILE, load, parse};
pub use seat_id::SeatIdError;
pub use text::ManifestText;
pub(crate) use text::read_text;
pub(crate) use translate::nearest;
