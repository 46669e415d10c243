//! Recordings of every kind as one: what they say of themselves, and their sound in blocks.
//!
//! WAV in all kinds, W64 and CAF are read by our own header walks and decoder (see
//! [`crate::ingest::wav`]); AIFF, AIFC and FLAC by a library, which knows no W64 and refuses the
//! CAF files of a common writer. What a file is, its content says, not its name.

mod caf;
mod decoded;
mod kind;
mod pcm;
mod w64;

use super::error::ImportError;
use crate::ingest::wav::{RATE_RANGE_HZ, kind_name};
use decoded::Decoded;
pub use kind::{Kind, recognise};
use pcm::Pcm;
use std::fs::{self, File};
use std::io::{Read, Seek, SeekFrom};
use std::path::{Path, PathBuf};

/// Largest recording that is read, bytes: 64 GiB, a day of 96 kHz stereo in 32 bits.
pub const MAX_RECORDING_BYTES: u64 = 1 << 36;
/// Most channels.
pub const MAX_CHANNELS: usize = 64;

/// What a recording says of itself.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct About {
    /// Sampling rate, Hz.
    pub rate_hz: u32,
    /// Channels.
    pub n_channels: usize,
    /// Samples of each channel; `None` where the file does not say.
    pub n_frames: Option<u64>,
    /// Kind and word length, for people.
    pub format: String,
}

/// An opened recording.
pub struct Source {
    /// The file.
    pub path: PathBuf,
    /// What it says of itself.
    pub about: About,
    sound: Sound,
}

enum Sound {
    Pcm(Pcm),
    Decoded(Box<Decoded>),
}

/// Sound of a recording, a vector for each channel, full scale = 1.
pub type Block = Vec<Vec<f64>>;

impl Source {
    /// Opens the recording at `path`.
    ///
    /// # Errors
    /// [`ImportError`] where it is no regular file, of no kind that keeps the treble, or its
    /// header contradicts itself or the length of the file.
    pub fn open(path: &Path) -> Result<Self, ImportError> {
        let (mut file, n_bytes) = open_regular(path)?;
        let mut head = vec![0; kind::HEAD_BYTES.min(n_bytes as usize)];
        let read = |source| ImportError::Read { path: path.into(), source };
        file.read_exact(&mut head).map_err(read)?;
        file.seek(SeekFrom::Start(0)).map_err(read)?;
        let refuse = |(problem, advice): (String, String)| ImportError::Recording {
            path: path.into(),
            problem,
            advice,
        };
        let wav = |fault| ImportError::Wav { path: path.into(), fault };
        let (about, sound) = match recognise(&head).map_err(refuse)? {
            Kind::Wav => {
                let (about, pcm) = Pcm::wav(file, n_bytes).map_err(wav)?;
                (about, Sound::Pcm(pcm))
            }
            Kind::W64 => {
                let (about, pcm) = Pcm::w64(file, n_bytes).map_err(wav)?;
                (about, Sound::Pcm(pcm))
            }
            Kind::Caf => {
                let (about, pcm) = Pcm::caf(file, n_bytes).map_err(refuse)?;
                (about, Sound::Pcm(pcm))
            }
            kind => {
                let (about, decoded) = Decoded::open(file, n_bytes, kind).map_err(refuse)?;
                (about, Sound::Decoded(Box::new(decoded)))
            }
        };
        let [lowest, highest] = RATE_RANGE_HZ;
        if about.rate_hz < lowest || about.rate_hz > highest {
            return Err(refuse((
                format!(
                    "the sample rate is {} Hz, expected {lowest} to {highest} Hz",
                    about.rate_hz
                ),
                "export the recording at 48000 Hz".into(),
            )));
        }
        if about.n_channels == 0 || about.n_channels > MAX_CHANNELS {
            return Err(refuse((
                format!("it has {} channels, expected 1 to {MAX_CHANNELS}", about.n_channels),
                "export the channel of the microphone alone".into(),
            )));
        }
        Ok(Self { path: path.into(), about, sound })
    }

    /// The next stretch of sound in place of what `block` held; false at the end.
    ///
    /// # Errors
    /// [`ImportError`] where the file ends early, is damaged, or holds what is no sound.
    pub fn next(&mut self, block: &mut Block) -> Result<bool, ImportError> {
        match &mut self.sound {
            Sound::Pcm(pcm) => {
                pcm.next(block).map_err(|fault| ImportError::Wav { path: self.path.clone(), fault })
            }
            Sound::Decoded(decoded) => decoded.next(block).map_err(|(problem, advice)| {
                ImportError::Recording { path: self.path.clone(), problem, advice }
            }),
        }
    }

    /// Goes on with frame `frame`, or one before it, and returns which.
    ///
    /// # Errors
    /// As [`Source::next`].
    pub fn seek(&mut self, frame: u64) -> Result<u64, ImportError> {
        match &mut self.sound {
            Sound::Pcm(pcm) => {
                pcm.seek(frame).map_err(|fault| ImportError::Wav { path: self.path.clone(), fault })
            }
            Sound::Decoded(decoded) => decoded.seek(frame).map_err(|(problem, advice)| {
                ImportError::Recording { path: self.path.clone(), problem, advice }
            }),
        }
    }
}

fn open_regular(path: &Path) -> Result<(File, u64), ImportError> {
    let refuse = |problem: String, advice: &str| ImportError::Recording {
        path: path.into(),
        problem,
        advice: advice.into(),
    };
    let cannot = |source: std::io::Error| match source.kind() {
        std::io::ErrorKind::NotFound | std::io::ErrorKind::NotADirectory => {
            refuse("there is no such file".into(), "check the name")
        }
        _ => ImportError::Read { path: path.into(), source },
    };
    // Asked before opening: opening a pipe would wait for its writer.
    let kind = fs::metadata(path).map_err(cannot)?.file_type();
    if !kind.is_file() {
        let found = format!("this is a {}, expected a recording", kind_name(kind));
        return Err(refuse(found, "name the file itself"));
    }
    let file = File::open(path).map_err(cannot)?;
    let n_bytes = file.metadata().map_err(cannot)?.len();
    if n_bytes == 0 {
        return Err(refuse("it has 0 bytes".into(), "copy it from the recorder again"));
    }
    if n_bytes > MAX_RECORDING_BYTES {
        return Err(refuse(
            format!("it has {n_bytes} bytes, at most {MAX_RECORDING_BYTES} are read"),
            "cut it into parts",
        ));
    }
    Ok((file, n_bytes))
}
