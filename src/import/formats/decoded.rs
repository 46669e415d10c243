//! AIFF, AIFC and FLAC through the decoding library.

use super::kind::Kind;
use super::sound::{About, Block, COPY_OR_EXPORT, EXPORT, Fault, Refusal, Sound};
use crate::ingest::wav::MAX_ABS_SAMPLE;
use std::fs::File;
use std::io::{self, Read, Seek, SeekFrom};
use symphonia::core::codecs::audio::well_known::{CODEC_ID_PCM_ALAW, CODEC_ID_PCM_MULAW};
use symphonia::core::codecs::audio::{AudioDecoder, AudioDecoderOptions};
use symphonia::core::errors::Error;
use symphonia::core::formats::probe::Hint;
use symphonia::core::formats::{FormatOptions, FormatReader, SeekMode, SeekTo, TrackType};
use symphonia::core::io::{MediaSource, MediaSourceStream};
use symphonia::core::meta::MetadataOptions;
use symphonia::core::units::Timestamp;

/// Frames handed on at once, about.
const BLOCK_FRAMES: usize = 1 << 16;

/// A stream that the library decodes.
pub(super) struct Decoded {
    reader: Box<dyn FormatReader>,
    decoder: Box<dyn AudioDecoder>,
    track: u32,
    name: &'static str,
    n_channels: usize,
    rate_hz: u32,
    declared: Option<u64>,
    next_frame: u64,
    planes: Vec<Vec<f64>>,
}

impl Decoded {
    pub(super) fn open(mut file: File, n_bytes: u64, kind: Kind) -> Result<(About, Self), Refusal> {
        let (name, offset) = match kind {
            Kind::Flac { offset } => ("FLAC", offset),
            _ => ("AIFF", 0),
        };
        file.seek(SeekFrom::Start(offset)).map_err(|e| damaged(name, &Error::IoError(e)))?;
        let part = Part { file, offset, n_bytes: n_bytes.saturating_sub(offset) };
        let stream = MediaSourceStream::new(Box::new(part), Default::default());
        let (format, metadata) = (FormatOptions::default(), MetadataOptions::default());
        let reader = symphonia::default::get_probe()
            .probe(&Hint::new(), stream, format, metadata)
            .map_err(|error| damaged(name, &error))?;
        let no_sound =
            || (format!("this {name} file holds no sound that can be read"), EXPORT.into());
        let track = reader.default_track(TrackType::Audio).ok_or_else(no_sound)?;
        let params = track.codec_params.as_ref().and_then(|p| p.audio()).ok_or_else(no_sound)?;
        if [CODEC_ID_PCM_ALAW, CODEC_ID_PCM_MULAW].contains(&params.codec) {
            return Err((
                format!(
                    "the sound of this {name} file is coded in 8 bits (A-law or mu-law), which loses detail"
                ),
                EXPORT.into(),
            ));
        }
        let decoder = symphonia::default::get_codecs()
            .make_audio_decoder(params, &AudioDecoderOptions::default())
            .map_err(|error| damaged(name, &error))?;
        let n_channels = params.channels.as_ref().map_or(0, |c| c.count());
        let rate_hz = params.sample_rate.unwrap_or(0);
        let bits = params.bits_per_sample.map_or(String::new(), |bits| format!(", {bits}-bit"));
        let about = About {
            rate_hz,
            n_channels,
            n_frames: track.num_frames,
            format: format!("{name}{bits}"),
        };
        let (track, declared) = (track.id, track.num_frames);
        if declared == Some(0) && name != "FLAC" {
            return Err((format!("this {name} file holds no sample"), REPEAT.into()));
        }
        // FLAC may leave its length open.
        let declared = declared.filter(|&n| n > 0);
        let (next_frame, planes) = (0, Vec::new());
        let decoded = Self {
            reader,
            decoder,
            track,
            name,
            n_channels,
            rate_hz,
            declared,
            next_frame,
            planes,
        };
        Ok((about, decoded))
    }

    fn check(&self, block: &Block, first: u64) -> Result<(), Refusal> {
        let is_sound = |x: &f64| x.is_finite() && x.abs() <= MAX_ABS_SAMPLE;
        for (channel, samples) in (1..).zip(block) {
            if let Some(bad) = samples.iter().position(|x| !is_sound(x)) {
                let frame = first + bad as u64;
                return Err((
                    format!(
                        "sample {frame} of channel {channel} is no sound: {:e} where full scale is 1",
                        samples[bad]
                    ),
                    EXPORT.into(),
                ));
            }
        }
        Ok(())
    }
}

impl Sound for Decoded {
    fn seek(&mut self, frame: u64) -> Result<u64, Fault> {
        if frame == self.next_frame {
            return Ok(frame);
        }
        let ts = Timestamp::new(i64::try_from(frame).unwrap_or(i64::MAX));
        let to = SeekTo::Timestamp { ts, track_id: self.track };
        let reached =
            self.reader.seek(SeekMode::Accurate, to).map_err(|error| damaged(self.name, &error))?;
        self.decoder.reset();
        self.next_frame = u64::try_from(reached.actual_ts.get()).unwrap_or(0);
        if self.next_frame > frame {
            return Err(Fault::Refused((
                format!("this {} file cannot be read from its middle", self.name),
                EXPORT.into(),
            )));
        }
        Ok(self.next_frame)
    }

    fn next(&mut self, block: &mut Block) -> Result<bool, Fault> {
        block.resize(self.n_channels, Vec::new());
        block.iter_mut().for_each(Vec::clear);
        while block[0].len() < BLOCK_FRAMES {
            let packet = match self.reader.next_packet() {
                Ok(Some(packet)) if packet.track_id == self.track => packet,
                Ok(Some(_)) => continue,
                Ok(None) => break,
                Err(Error::IoError(e)) if e.kind() == io::ErrorKind::UnexpectedEof => break,
                Err(error) => return Err(damaged(self.name, &error).into()),
            };
            let sound = self.decoder.decode(&packet).map_err(|error| damaged(self.name, &error))?;
            let n_channels = sound.spec().channels().count();
            if n_channels != self.n_channels || sound.spec().rate() != self.rate_hz {
                return Err(Fault::Refused((
                    format!("channels or sample rate of this {} file change on the way", self.name),
                    EXPORT.into(),
                )));
            }
            sound.copy_to_vecs_planar(&mut self.planes);
            for (kept, new) in block.iter_mut().zip(&self.planes) {
                kept.extend_from_slice(new);
            }
        }
        let n_new = block[0].len() as u64;
        let first = self.next_frame;
        self.next_frame += n_new;
        self.check(block, first)?;
        if n_new == 0 && self.declared.is_some_and(|n| first < n) {
            let declared = self.declared.unwrap_or(0);
            return Err(Fault::Refused((
                format!(
                    "the file is truncated: its header declares {declared} samples a channel, {first} are there"
                ),
                "copy the file again or repeat the takes".into(),
            )));
        }
        Ok(n_new > 0)
    }
}

const REPEAT: &str = "copy it from the recorder again, or repeat the takes";

fn damaged(name: &str, error: &Error) -> Refusal {
    match error {
        Error::Unsupported(what) => {
            (format!("this {name} file cannot be read ({what})"), EXPORT.into())
        }
        _ => (format!("this {name} file is damaged ({error})"), COPY_OR_EXPORT.into()),
    }
}

/// A file from `offset` on.
struct Part {
    file: File,
    offset: u64,
    n_bytes: u64,
}

impl Read for Part {
    fn read(&mut self, bytes: &mut [u8]) -> io::Result<usize> {
        self.file.read(bytes)
    }
}

impl Seek for Part {
    fn seek(&mut self, to: SeekFrom) -> io::Result<u64> {
        let to = match to {
            SeekFrom::Start(at) => SeekFrom::Start(at.saturating_add(self.offset)),
            other => other,
        };
        let at = self.file.seek(to)?;
        at.checked_sub(self.offset).ok_or_else(|| io::Error::from(io::ErrorKind::InvalidInput))
    }
}

impl MediaSource for Part {
    fn is_seekable(&self) -> bool {
        true
    }

    fn byte_len(&self) -> Option<u64> {
        Some(self.n_bytes)
    }
}
