//! Ranges of frequencies.

use crate::words::frequency_words;

/// "500 Hz to 16 kHz".
pub fn frequency_range([low_hz, high_hz]: [f64; 2]) -> String {
    format!("{} to {}", frequency_words(low_hz), frequency_words(high_hz))
}
