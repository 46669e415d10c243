//! Everything that makes up a simulated session.

use super::drive::{Harmonics, SweepShape};
use super::loudspeaker::Loudspeaker;
use super::noise::Noise;
use super::room::Room;
use super::sheet::{FrontReflection, Sheet};
use crate::ingest::manifest::Construction;
use realfft::num_complex::Complex64;
use std::f64::consts::PI;

/// All parameters of a simulated session. Every field may be changed freely;
/// [`super::simulate`] is a pure function of it.
#[derive(Debug, Clone, PartialEq)]
pub struct Scenario {
    /// Title in the manifest.
    pub title: String,
    /// Seed of everything random.
    pub seed: u64,
    /// Sampling rate, Hz.
    pub rate_hz: u32,
    /// The played sweep.
    pub sweep: SweepShape,
    /// Silence before the sweep, s; the player is started by hand, so takes differ a little.
    pub lead_s: f64,
    /// Recording after the sweep, s.
    pub trail_s: f64,
    /// The room.
    pub room: Room,
    /// The loudspeaker behind the screen.
    pub speaker: Loudspeaker,
    /// The sheet.
    pub sheet: Sheet,
    /// What threads or holes scatter towards each seat beside what the sheet passes; empty = none.
    pub scatter: Vec<Vec<Scatter>>,
    /// What the loudspeaker's front sends back to the sheet.
    pub front: FrontReflection,
    /// True distance between front and sheet, m.
    pub gap_m: f64,
    /// Distance in the manifest; `None` = not stated.
    pub stated_gap_m: Option<f64>,
    /// Construction in the manifest.
    pub construction: Construction,
    /// Further lines for `[session]` of the manifest.
    pub session_lines: String,
    /// Further lines for `[screen]` of the manifest.
    pub screen_lines: String,
    /// Sections put at the end of the manifest (`[[claim]]`, `[speaker]`, ...).
    pub more_manifest: String,
    /// Further text files of the folder: name (relative, no folders) and content.
    pub more_files: Vec<(String, String)>,
    /// Listening positions.
    pub seats: Vec<Seat>,
    /// Placements of the microphone per seat and condition.
    pub spots: u32,
    /// Takes per placement, microphone untouched.
    pub repeats: u32,
    /// All placements of a seat and condition are stated as one spot, although the microphone
    /// moved between them.
    pub stated_as_one_spot: bool,
    /// Length of the microphone's random displacement, m rms.
    pub move_rms_m: f64,
    /// Measured responses of the loudspeaker in a room, one a seat, in place of the simulated
    /// loudspeaker and room; empty = simulate. Sheet and moved microphone are put on.
    pub measured: Vec<Vec<f64>>,
    /// Strong reflections soon after the direct sound.
    pub early: Vec<EarlyReflection>,
    /// Seat back behind the microphone.
    pub seat_back: Option<SeatBack>,
    /// Background noise; `None` = none.
    pub noise: Option<Noise>,
    /// What the recorder does.
    pub recorder: Recorder,
    /// Air temperature without and with the screen, degrees Celsius.
    pub temperature_c: [f64; 2],
    /// A second loudspeaker that is not behind the screen.
    pub control: Option<Control>,
    /// Nonlinearity of the loudspeaker without and with the screen.
    pub harmonics: [Harmonics; 2],
    /// Something that buzzes on the hung screen.
    pub rattle: Option<Rattle>,
    /// Equaliser for takes in the third condition, made when this is there.
    pub equaliser: Option<Equaliser>,
    /// Things that go wrong with single takes.
    pub faults: Vec<(TakeKey, Fault)>,
}

/// A listening position.
#[derive(Debug, Clone, PartialEq)]
pub struct Seat {
    /// Short name.
    pub id: String,
    /// Name for people.
    pub name: String,
    /// Metres ahead of the loudspeaker, to the right as the audience sees it, above the floor.
    pub position_m: [f64; 3],
    /// Importance.
    pub weight: f64,
}

/// Sound that a sheet throws towards a seat beside what it passes, growing above some kHz:
/// `gain (j x)^2/(1 + j x)^2`, `x = f/`[`Scatter::FROM_HZ`].
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Scatter {
    /// Delay after the direct sound, s.
    pub delay_s: f64,
    /// Pressure relative to what comes to the sheet, at high frequencies.
    pub gain: f64,
}

impl Scatter {
    /// Where it has come to half of its full pressure, Hz.
    pub const FROM_HZ: f64 = 5000.0;

    /// Pressure at a frequency relative to what comes to the sheet.
    pub fn at(&self, f_hz: f64) -> Complex64 {
        let x = Complex64::new(0.0, f_hz / Self::FROM_HZ);
        let grown = x / (x + 1.0);
        grown * grown * Complex64::cis(-2.0 * PI * f_hz * self.delay_s) * self.gain
    }
}

/// A reflection of its own, from a direction of its own.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct EarlyReflection {
    /// Delay after the direct sound, s.
    pub delay_s: f64,
    /// Pressure relative to the direct sound at low and high frequencies.
    pub gain: [f64; 2],
    /// Frequency of the change between them, Hz.
    pub corner_hz: f64,
    /// Angle between its direction and the direct sound's at the seat, degrees.
    pub turn_deg: f64,
}

/// An upright surface behind the microphone.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SeatBack {
    /// Distance behind the microphone's nominal place, m.
    pub behind_m: f64,
    /// Pressure reflection at low and high frequencies.
    pub gain: [f64; 2],
    /// Frequency of the change between them, Hz.
    pub corner_hz: f64,
}

/// The recorder and its settings.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Recorder {
    /// Clock error without and with the screen, ppm (positive = fast).
    pub drift_ppm: [f64; 2],
    /// Level of `with` takes against `without` from a turned knob, dB.
    pub gain_step_db: f64,
    /// Bits to which samples are rounded; `None` = not at all (files have 24).
    pub bits: Option<u32>,
    /// Peak of the loudest take, dB re full scale.
    pub peak_dbfs: f64,
    /// Whether a second channel holds the electrical reference.
    pub reference: bool,
    /// Polarity of the `with` takes turned over.
    pub inverted_with: bool,
}

/// A second loudspeaker beside the screen.
#[derive(Debug, Clone, PartialEq)]
pub struct Control {
    /// Place in the room, m, as [`Loudspeaker::position_m`].
    pub position_m: [f64; 3],
    /// Whether each spot has a control take (otherwise only the first one).
    pub every_spot: bool,
}

/// Ticks while the sweep passes a range, only with the screen.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Rattle {
    /// Lowest exciting frequency, Hz.
    pub low_hz: f64,
    /// Highest exciting frequency, Hz.
    pub high_hz: f64,
    /// Peak of a tick against the sweep's peak at the loudspeaker, dB.
    pub level_db: f64,
}

/// The equaliser as it is set in the processor.
#[derive(Debug, Clone, PartialEq)]
pub struct Equaliser {
    /// Gain of all frequencies, dB.
    pub trim_db: f64,
    /// Sections `[b0, b1, b2, a1, a2]` (a0 = 1) at `rate_hz`.
    pub sections: Vec<[f64; 5]>,
    /// Rate of the processor, Hz.
    pub rate_hz: f64,
}

/// Which take.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct TakeKey {
    /// Index of the seat.
    pub seat: usize,
    /// Condition: 0 without, 1 with, 2 corrected.
    pub condition: usize,
    /// Spot, from 1.
    pub spot: u32,
}

/// What goes wrong with a take.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Fault {
    /// Everything above this share of the take's own peak is cut off flat at full scale.
    Clip {
        /// Share of the peak, 0-1.
        at: f64,
    },
    /// The recording stops at this time.
    Truncate {
        /// s from the start of the file.
        at_s: f64,
    },
    /// The sweep was played twice.
    SecondSweep {
        /// Start of the second one after the first, s.
        after_s: f64,
    },
    /// Something falls or a door shuts.
    Slam {
        /// s from the start of the file.
        at_s: f64,
        /// Peak against the peak of the take, dB.
        level_db: f64,
    },
    /// Nothing but noise was recorded.
    Silence,
    /// Level of this take alone, dB.
    Gain {
        /// dB.
        db: f64,
    },
    /// Polarity turned over.
    Invert,
    /// The file is a copy of the other condition's take at the same seat and spot.
    CopyOfOther,
}

impl Scenario {
    /// Place of a seat's microphone in the room, m.
    pub fn seat_in_room_m(&self, seat: usize) -> [f64; 3] {
        let [ahead, right, height] = self.seats[seat].position_m;
        let [x, y, _] = self.speaker.position_m;
        [x + ahead, y + right, height]
    }

    /// Cosine of the angle between the sheet's normal and the direct sound to a seat.
    pub fn seat_cosine(&self, seat: usize) -> f64 {
        let (length, dx) =
            super::room::distance(self.speaker.position_m, self.seat_in_room_m(seat));
        dx / length
    }

    /// What is scattered towards a seat at a frequency.
    pub fn scattered(&self, seat: usize, f_hz: f64) -> Complex64 {
        self.scatter.get(seat).into_iter().flatten().map(|s| s.at(f_hz)).sum()
    }

    /// Speed of sound without and with the screen, m/s: `343.2 sqrt(T/293.15 K)` (ISO 9613-1).
    pub fn speed_of_sound_m_s(&self) -> [f64; 2] {
        self.temperature_c.map(|t| super::sheet::SPEED_OF_SOUND * ((t + 273.15) / 293.15).sqrt())
    }

    /// The same session with a sweep of `duration_s` and a tail of `tail_s`: quicker to
    /// simulate and to analyse.
    pub fn shortened(mut self, duration_s: f64, tail_s: f64) -> Self {
        self.sweep.duration_s = duration_s;
        self.room.tail_s = tail_s;
        self.trail_s = self.trail_s.min(tail_s + 0.15);
        self
    }

    /// The same session with another number of spots.
    pub fn with_spots(mut self, spots: u32) -> Self {
        self.spots = spots;
        self
    }

    /// The same session with other noise, dB (see [`Noise::snr_db`]).
    pub fn with_snr_db(mut self, snr_db: f64) -> Self {
        if let Some(noise) = &mut self.noise {
            noise.snr_db = snr_db;
        }
        self
    }

    /// The same session behind a measured loudspeaker in a measured room, one response a seat; seats
    /// without one are left out. The rate stays as it is.
    pub fn with_measured(mut self, responses: Vec<Vec<f64>>) -> Self {
        self.seats.truncate(responses.len());
        // The loudspeaker is in the responses.
        self.speaker.high_pass_hz = 1.0;
        self.early.clear();
        self.seat_back = None;
        self.measured = responses;
        self
    }

    /// The same session with a fault in one take.
    pub fn with_fault(mut self, take: TakeKey, fault: Fault) -> Self {
        self.faults.push((take, fault));
        self
    }
}
