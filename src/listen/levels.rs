//! Loudness and true peak of a sound, as ITU-R BS.1770 measures them, by a library.

use super::ListenError;
use ebur128::{EbuR128, Mode};

/// How loud a sound is.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Level {
    /// Integrated loudness, LUFS.
    pub loudness_lufs: f64,
    /// Largest true peak of the channels, dB re full scale.
    pub true_peak_dbtp: f64,
}

/// Level of channels of one length; `name` is told where there is none.
///
/// # Errors
/// [`ListenError::Loudness`] for silence, sounds below 0.4 s and rates that the library refuses.
/// # Source
/// ITU-R BS.1770-5 (integrated loudness with gates at -70 LUFS and 10 LU; true peak of four times
/// oversampled sound).
pub fn level(name: &str, channels: &[Vec<f64>], rate_hz: u32) -> Result<Level, ListenError> {
    let failed = |problem: String| ListenError::Loudness { sound: name.into(), problem };
    let of_library = |error: ebur128::Error| failed(error.to_string());
    let n = u32::try_from(channels.len()).map_err(|e| failed(e.to_string()))?;
    let mut meter = EbuR128::new(n, rate_hz, Mode::I | Mode::TRUE_PEAK).map_err(of_library)?;
    let planes: Vec<&[f64]> = channels.iter().map(Vec::as_slice).collect();
    meter.add_frames_planar_f64(&planes).map_err(of_library)?;
    let loudness_lufs = meter.loudness_global().map_err(of_library)?;
    let mut peak = 0.0f64;
    for channel in 0..n {
        peak = peak.max(meter.true_peak(channel).map_err(of_library)?);
    }
    if !loudness_lufs.is_finite() || peak <= 0.0 {
        return Err(failed("it is silent, or nearly so".into()));
    }
    Ok(Level { loudness_lufs, true_peak_dbtp: 20.0 * peak.log10() })
}
