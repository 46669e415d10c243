//! The kinds of random sessions and their names.

use clap::ValueEnum;

/// What is special about a random session.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, ValueEnum)]
#[value(rename_all = "snake_case")]
pub enum Kind {
    /// Cloth (flow resistance and mass in parallel), two spots.
    Woven,
    /// Film with holes, two spots.
    Perforated,
    /// Any sheet, two spots, any gap from 0.04 to 0.3 m.
    Mixed,
    /// A sheet no model fits.
    Unknown,
    /// A sheet that loses much, 0.3 m away.
    HeavyLargeGap,
    /// One spot, hard walls, seat backs.
    OneSpotReflective,
    /// One spot, reflections 0.8 and 1.5 ms after the direct sound.
    StrongEarly,
    /// The same reflections, two spots.
    StrongEarlyTwoSpots,
    /// Cloth with a backing cloth close behind.
    Backing,
    /// 30 dB of signal to noise.
    Noisy,
    /// Gain step between the conditions, with control takes.
    Control,
    /// Gain step between the conditions, no control takes.
    GainStep,
    /// Gap not stated in the manifest.
    NoGapStated,
    /// Clock drift and temperature differ between the conditions.
    Drift,
    /// Three spots.
    ThreeSpots,
    /// Nothing hangs there in either condition; the gap is stated all the same in every other
    /// session.
    NothingHung,
    /// Loudspeakers as real ones are: weak treble, tilt, crossovers from 300 Hz to 3 kHz, horns
    /// whose treble comes later or earlier than the bass.
    RealSpeaker,
    /// Cloth that scatters sound of its own towards each seat.
    Scattering,
    /// The same of a film with holes.
    ScatteringFilm,
    /// A heavy film 0.3 m before a front that returns 0.6 at all frequencies, 44.1 kHz, 16 bit; the
    /// microphone moved by 5 mm between takes that are stated as one spot.
    HeavyOneSpot,
    /// A loudspeaker 0.3 to 0.6 m below ears that are 1.5 m away in the first row; no height is
    /// stated.
    Heights,
}

impl Kind {
    /// All kinds with the names that [`Kind::from_name`] takes.
    pub fn all() -> impl Iterator<Item = (Self, String)> {
        let named = |kind: &Self| Some((*kind, kind.to_possible_value()?.get_name().to_owned()));
        Self::value_variants().iter().filter_map(named)
    }

    /// The kind of a name.
    pub fn from_name(name: &str) -> Option<Self> {
        Self::from_str(name, false).ok()
    }
}
