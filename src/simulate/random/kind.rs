//! The kinds of random sessions and their names.

/// What is special about a random session.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
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
    /// A loudspeaker 0.3 to 0.6 m below ears that are 1.5 m away in the first row; no height is
    /// stated.
    Heights,
    /// A heavy film 0.3 m before a front that returns 0.6 at all frequencies, 44.1 kHz, 16 bit; the
    /// microphone moved by 5 mm between takes that are stated as one spot.
    HeavyOneSpot,
}

impl Kind {
    /// All kinds with the names that [`Kind::from_name`] takes.
    pub const ALL: [(Self, &'static str); 21] = [
        (Self::Woven, "woven"),
        (Self::Perforated, "perforated"),
        (Self::Mixed, "mixed"),
        (Self::Unknown, "unknown"),
        (Self::HeavyLargeGap, "heavy_large_gap"),
        (Self::OneSpotReflective, "one_spot_reflective"),
        (Self::StrongEarly, "strong_early"),
        (Self::StrongEarlyTwoSpots, "strong_early_two_spots"),
        (Self::Backing, "backing"),
        (Self::Noisy, "noisy"),
        (Self::Control, "control"),
        (Self::GainStep, "gain_step"),
        (Self::NoGapStated, "no_gap_stated"),
        (Self::Drift, "drift"),
        (Self::ThreeSpots, "three_spots"),
        (Self::NothingHung, "nothing_hung"),
        (Self::RealSpeaker, "real_speaker"),
        (Self::Scattering, "scattering"),
        (Self::ScatteringFilm, "scattering_film"),
        (Self::HeavyOneSpot, "heavy_one_spot"),
        (Self::Heights, "heights"),
    ];

    /// The kind of a name.
    pub fn from_name(name: &str) -> Option<Self> {
        Self::ALL.iter().find(|(_, n)| *n == name).map(|(k, _)| *k)
    }
}
