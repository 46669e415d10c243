//! A simulated session opened without going through files.

use super::SimulatedSession;
use crate::ingest::error::IngestError;
use crate::ingest::manifest::{ManifestText, parse};
use crate::ingest::session::{Recording, Session, SweepSignal, Take};
use std::path::PathBuf;

/// A session whose recordings stay in memory, for studies of many sessions.
/// What reading and writing files does is not part of it.
pub struct InMemory {
    /// The session as the chain sees it.
    pub session: Session,
    /// What it was made from, with its truth.
    pub simulated: SimulatedSession,
}

impl InMemory {
    /// Parses the manifest and takes over list of takes and sweep.
    ///
    /// # Errors
    /// The manifest's own message, if the simulation wrote one that does not parse.
    pub fn new(simulated: SimulatedSession) -> Result<Self, IngestError> {
        let text =
            ManifestText { path: PathBuf::from("session.toml"), text: simulated.manifest.clone() };
        let manifest = parse(&text)?;
        let band_hz = [manifest.sweep.start_hz, manifest.sweep.stop_hz];
        let rate_constant_s = manifest.sweep.duration_s.map(|t| t / (band_hz[1] / band_hz[0]).ln());
        let sweep = SweepSignal {
            samples: simulated.sweep.clone(),
            rate_hz: simulated.rate_hz,
            band_hz,
            rate_constant_s,
            active: 0..simulated.sweep.len(),
        };
        let takes = simulated
            .takes
            .iter()
            .map(|t| Take {
                seat: t.seat,
                condition: t.condition,
                spot: t.spot,
                source: t.source,
                quiet: false,
                file: PathBuf::from(&t.file),
            })
            .collect();
        let session = Session {
            root: PathBuf::new(),
            manifest,
            sweep,
            takes,
            calibration: None,
            notices: Vec::new(),
            without_from: None,
        };
        Ok(Self { session, simulated })
    }

    /// Recording of the take with this index.
    pub fn recording(&self, take: usize) -> Recording {
        let take = &self.simulated.takes[take];
        Recording {
            louder_channel: None,
            closed: true,
            rate_hz: self.simulated.rate_hz,
            mic: take.samples.clone(),
            reference: take.reference.clone(),
            integer_bits: None,
        }
    }
}
