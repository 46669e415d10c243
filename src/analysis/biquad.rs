//! Second-order equaliser sections: a high shelf and a peaking filter, their
//! coefficients at the processor's rate and their exact response.
//!
//! The coefficients come from the `biquad` crate, which follows the Audio EQ
//! Cookbook of R. Bristow-Johnson (W3C Working Group Note, 8 June 2021,
//! <https://w3.org/TR/audio-eq-cookbook>). The crate answers `Ok` with NaN
//! coefficients to a NaN gain or Q, so everything is checked before it is asked.

use biquad::{Coefficients, ToHertz, Type};
use serde::Serialize;

/// Why no section can be made of the numbers given.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum BiquadError {
    /// Sample rate not a positive finite number.
    #[error("the processor rate {found_hz} Hz is no sample rate: give for example 48000")]
    Rate {
        /// The rate given, Hz.
        found_hz: f64,
    },
    /// Frequency at or above half the rate, or not positive.
    #[error(
        "a filter at {found_hz} Hz cannot be made at {rate_hz} Hz: \
         its frequency must lie above 0 Hz and below {limit_hz} Hz"
    )]
    Frequency {
        /// The frequency given, Hz.
        found_hz: f64,
        /// The rate of the processor, Hz.
        rate_hz: f64,
        /// Half that rate, Hz.
        limit_hz: f64,
    },
    /// Gain not finite or beyond what any processor offers.
    #[error("a filter gain of {found_db} dB is refused: it must be finite and within ±60 dB")]
    Gain {
        /// The gain given, dB.
        found_db: f64,
    },
    /// Q not positive and finite.
    #[error("a Q of {found} is refused: it must be finite and lie between 0.01 and 1000")]
    Q {
        /// The Q given.
        found: f64,
    },
}

/// What a section does; the word used as `type` in `correction.json`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum SectionKind {
    /// Lifts or lowers everything above its frequency; half the gain in dB *at* its frequency.
    HighShelf,
    /// Lifts or lowers around its frequency; the whole gain at its frequency.
    Peaking,
}

/// One section as a person sets it.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Setting {
    /// What it does.
    #[serde(rename = "type")]
    pub kind: SectionKind,
    /// Centre of a peaking filter, midpoint of a shelf, Hz.
    pub frequency_hz: f64,
    /// Gain, dB; positive = boost.
    pub gain_db: f64,
    /// Q as the cookbook means it (see [`design`]).
    pub q: f64,
}

/// Coefficients of `y = b0 x + b1 x' + b2 x'' - a1 y' - a2 y''` (`a0` = 1).
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Biquad {
    /// Weight of the present input sample.
    pub b0: f64,
    /// Weight of the last input sample.
    pub b1: f64,
    /// Weight of the input sample before.
    pub b2: f64,
    /// Weight of the last output sample, sign as in the denominator.
    pub a1: f64,
    /// Weight of the output sample before, sign as in the denominator.
    pub a2: f64,
}

/// Coefficients of a section at a sample rate.
///
/// Peaking: gain exactly `gain_db` at `frequency_hz`; its bandwidth is told
/// between the points of half the gain in dB, so a boost and the equal cut undo
/// each other exactly. High shelf: exactly half of `gain_db` at `frequency_hz`;
/// Q = 0.7071 is slope S = 1, the steepest without overshoot.
///
/// # Valid range
/// `0 < frequency_hz < rate_hz / 2`, gain within +-60 dB, Q from 0.01 to 1000.
/// # Errors
/// [`BiquadError`] names the number that is out of range; NaN is refused.
/// # Source
/// Audio EQ Cookbook, W3C Working Group Note, 8 June 2021.
pub fn design(setting: Setting, rate_hz: f64) -> Result<Biquad, BiquadError> {
    if !(rate_hz.is_finite() && rate_hz > 0.0) {
        return Err(BiquadError::Rate { found_hz: rate_hz });
    }
    let limit_hz = rate_hz / 2.0;
    let frequency = || BiquadError::Frequency { found_hz: setting.frequency_hz, rate_hz, limit_hz };
    // Written so that NaN fails every test.
    if !(setting.frequency_hz > 0.0 && setting.frequency_hz < limit_hz) {
        return Err(frequency());
    }
    if !(-60.0..=60.0).contains(&setting.gain_db) {
        return Err(BiquadError::Gain { found_db: setting.gain_db });
    }
    if !(0.01..=1000.0).contains(&setting.q) {
        return Err(BiquadError::Q { found: setting.q });
    }
    let kind = match setting.kind {
        SectionKind::HighShelf => Type::HighShelf(setting.gain_db),
        SectionKind::Peaking => Type::PeakingEQ(setting.gain_db),
    };
    let c =
        Coefficients::<f64>::from_params(kind, rate_hz.hz(), setting.frequency_hz.hz(), setting.q)
            // The crate refuses only frequency and Q, and Q has been looked at above.
            .map_err(|_| frequency())?;
    Ok(Biquad { b0: c.b0, b1: c.b1, b2: c.b2, a1: c.a1, a2: c.a2 })
}

impl Biquad {
    /// Power response `|H|^2` at `frequency_hz`, sample rate `rate_hz`; a plain ratio.
    ///
    /// Exact: with `s = sin^2(w/2)` the squared magnitude of `b0 + b1/z + b2/z^2`
    /// on the unit circle is `(b0+b1+b2)^2 - 4 (b0 b1 + 4 b0 b2 + b1 b2) s + 16 b0 b2 s^2`,
    /// which does not cancel at low frequencies as the form in `cos w` does.
    /// # Valid range
    /// 0 Hz to half the rate.
    pub fn power(&self, frequency_hz: f64, rate_hz: f64) -> f64 {
        self.power_at(half_angle_sine_squared(frequency_hz, rate_hz))
    }

    /// Response in dB at `frequency_hz`; positive = louder.
    pub fn gain_db(&self, frequency_hz: f64, rate_hz: f64) -> f64 {
        10.0 * self.power(frequency_hz, rate_hz).log10()
    }

    /// [`Biquad::power`] at a given `s = sin^2(pi f / rate)`.
    #[inline]
    pub(crate) fn power_at(&self, s: f64) -> f64 {
        let square = |c0: f64, c1: f64, c2: f64| {
            let sum = c0 + c1 + c2;
            sum * sum + s * (16.0 * c0 * c2 * s - 4.0 * (c0 * c1 + 4.0 * c0 * c2 + c1 * c2))
        };
        square(self.b0, self.b1, self.b2) / square(1.0, self.a1, self.a2)
    }
}

/// `sin^2(pi f / rate)`, the variable of [`Biquad::power`].
pub(crate) fn half_angle_sine_squared(frequency_hz: f64, rate_hz: f64) -> f64 {
    (std::f64::consts::PI * frequency_hz / rate_hz).sin().powi(2)
}

/// Bandwidth in octaves, **analog definition**: `1/Q = 2 sinh(ln 2 / 2 x BW)`.
///
/// The number most processors show beside Q; it does not depend on the rate.
/// For a peaking filter it lies between the points of half the gain in dB.
/// `q` above 0. Source: Audio EQ Cookbook, relation between Q and BW.
pub fn bandwidth_analog_oct(q: f64) -> f64 {
    2.0 / std::f64::consts::LN_2 * (0.5 / q).asinh()
}

/// Bandwidth in octaves, **digital definition**:
/// `1/Q = 2 sinh(ln 2 / 2 x BW x w0 / sin w0)`, `w0 = 2 pi f0 / rate`.
///
/// What the filter really has after the frequency axis is compressed towards
/// half the rate: near the top the same Q is narrower than the analog figure.
/// `q` above 0, `0 < frequency_hz < rate_hz / 2`. Source: Audio EQ Cookbook.
pub fn bandwidth_digital_oct(q: f64, frequency_hz: f64, rate_hz: f64) -> f64 {
    let w0 = 2.0 * std::f64::consts::PI * frequency_hz / rate_hz;
    bandwidth_analog_oct(q) * w0.sin() / w0
}

/// Slope S of a shelf with this Q and gain, for processors that ask for a slope:
/// `1/Q^2 = (A + 1/A)(1/S - 1) + 2`, `A = 10^(gain/40)`. S = 1 is the steepest
/// without overshoot. `q` above 0. Source: Audio EQ Cookbook.
pub fn shelf_slope(q: f64, gain_db: f64) -> f64 {
    let a = 10f64.powf(gain_db / 40.0);
    1.0 / (1.0 + (1.0 / (q * q) - 2.0) / (a + 1.0 / a))
}

#[cfg(test)]
// The tables are written with the digits they are printed with.
#[allow(clippy::approx_constant)]
pub(crate) mod tests;
