//! Opens a recording of any kind.

use super::caf;
use super::decoded::Decoded;
use super::kind::{HEAD_BYTES, Kind, recognise};
use super::pcm::Pcm;
use super::sound::{About, Block, Fault, Sound};
use super::w64;
use crate::import::error::ImportError;
use crate::ingest::regular::{NotOpened, open_regular};
use crate::ingest::wav::{RATE_RANGE_HZ, read_long_layout};
use std::fs::File;
use std::io::{Read, Seek, SeekFrom};
use std::path::{Path, PathBuf};

/// Largest recording that is read, bytes: 64 GiB, a day of 96 kHz stereo in 32 bits.
const MAX_RECORDING_BYTES: u64 = 1 << 36;
/// Most channels.
const MAX_CHANNELS: usize = 64;

/// An opened recording.
pub struct Source {
    /// The file.
    pub path: PathBuf,
    /// What it says of itself.
    pub about: About,
    sound: Box<dyn Sound>,
}

impl Source {
    /// Opens the recording at `path`.
    ///
    /// # Errors
    /// [`ImportError`] where it is no regular file, of no kind that keeps the treble, or its
    /// header contradicts itself or the length of the file.
    pub fn open(path: &Path) -> Result<Self, ImportError> {
        let (mut file, n_bytes) = open(path)?;
        let mut head = vec![0; HEAD_BYTES.min(n_bytes as usize)];
        let read = |source| ImportError::Read { path: path.into(), source };
        file.read_exact(&mut head).map_err(read)?;
        file.seek(SeekFrom::Start(0)).map_err(read)?;
        let (about, sound) = sound_of(file, n_bytes, &head).map_err(|fault| fault.of(path))?;
        Ok(Self { path: path.into(), about, sound })
    }

    /// The next stretch of sound in place of what `block` held; false at the end.
    ///
    /// # Errors
    /// [`ImportError`] where the file ends early, is damaged, or holds what is no sound.
    pub fn next(&mut self, block: &mut Block) -> Result<bool, ImportError> {
        self.sound.next(block).map_err(|fault| fault.of(&self.path))
    }

    /// Goes on with frame `frame`, or one before it, and returns which.
    ///
    /// # Errors
    /// As [`Source::next`].
    pub fn seek(&mut self, frame: u64) -> Result<u64, ImportError> {
        self.sound.seek(frame).map_err(|fault| fault.of(&self.path))
    }
}

/// Opens a regular file of a length that is read; also returns that length.
fn open(path: &Path) -> Result<(File, u64), ImportError> {
    let refuse = |problem: &str, advice: &str| ImportError::recording(path, problem, advice);
    let (file, n_bytes) = open_regular(path).map_err(|why| match why {
        NotOpened::Missing => refuse("there is no such file", "check the name"),
        NotOpened::NotRegular(found) => {
            refuse(&format!("this is a {found}, expected a recording"), "name the file itself")
        }
        NotOpened::Io(source) => ImportError::Read { path: path.into(), source },
    })?;
    if n_bytes == 0 {
        return Err(refuse("it has 0 bytes", "copy it from the recorder again"));
    }
    if n_bytes > MAX_RECORDING_BYTES {
        return Err(refuse(
            &format!("it has {n_bytes} bytes, at most {MAX_RECORDING_BYTES} are read"),
            "cut it into parts",
        ));
    }
    Ok((file, n_bytes))
}

/// What the file that begins with `head` says of itself, and its sound.
fn sound_of(mut file: File, n_bytes: u64, head: &[u8]) -> Result<(About, Box<dyn Sound>), Fault> {
    let (about, sound): (About, Box<dyn Sound>) = match recognise(head)? {
        Kind::Wav => {
            let layout = read_long_layout(&mut file, n_bytes)?;
            (Pcm::about(&layout, "WAV"), Box::new(Pcm::at_start(file, layout, false)?))
        }
        Kind::W64 => {
            let layout = w64::read_layout(&mut file, n_bytes)?;
            (Pcm::about(&layout, "W64"), Box::new(Pcm::at_start(file, layout, false)?))
        }
        Kind::Caf => {
            let (layout, is_big_endian) = caf::read_layout(&mut file, n_bytes)?;
            (Pcm::about(&layout, "CAF"), Box::new(Pcm::at_start(file, layout, is_big_endian)?))
        }
        kind => {
            let (about, decoded) = Decoded::open(file, n_bytes, kind)?;
            (about, Box::new(decoded))
        }
    };
    let [lowest, highest] = RATE_RANGE_HZ;
    if about.rate_hz < lowest || about.rate_hz > highest {
        return Err(Fault::Refused((
            format!("the sample rate is {} Hz, expected {lowest} to {highest} Hz", about.rate_hz),
            "export the recording at 48000 Hz".into(),
        )));
    }
    if about.n_channels == 0 || about.n_channels > MAX_CHANNELS {
        return Err(Fault::Refused((
            format!("it has {} channels, expected 1 to {MAX_CHANNELS}", about.n_channels),
            "export the channel of the microphone alone".into(),
        )));
    }
    Ok((about, sound))
}
