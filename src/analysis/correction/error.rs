//! Why no setting can be worked out.

/// Why no setting can be worked out.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum CorrectionError {
    /// A limit in the manifest leaves nothing to set.
    #[error("session.toml, [correction] {key}: found {found}, expected {expected}")]
    Limit {
        /// Key of the manifest.
        key: &'static str,
        /// What stands there.
        found: String,
        /// What may stand there.
        expected: &'static str,
    },
    /// No loss from 500 Hz to 2 kHz at any seat that counts.
    #[error(
        "no seat that counts holds a loss between 500 Hz and 2 kHz, where the level is taken: \
         record a take without and one with the screen at one seat at least"
    )]
    NothingMeasured,
}
