//! What each fuzz target does with its bytes, and what must hold afterwards
//! besides that nothing panics.

#![forbid(unsafe_code)]

pub mod session;

use scrimcheck::import::formats::{Block, Source};
use scrimcheck::ingest::manifest::{ManifestText, parse};
use scrimcheck::ingest::readings::parse_readings;
use scrimcheck::ingest::wav::{MAX_ABS_SAMPLE, RATE_RANGE_HZ, decode_wav};
use std::io::{Cursor, Write};
use std::path::Path;

/// Whatever is read has the length that the header tells, and is finite.
pub fn wav(bytes: &[u8]) {
    for channels in [&[1][..], &[2, 1], &[]] {
        let Ok(wav) = decode_wav(&mut Cursor::new(bytes), bytes.len() as u64, channels) else {
            continue;
        };
        assert!((RATE_RANGE_HZ[0]..=RATE_RANGE_HZ[1]).contains(&wav.info.rate_hz));
        assert_eq!(wav.channels.len(), channels.len());
        for samples in &wav.channels {
            assert_eq!(samples.len() as u64, wav.info.n_frames);
            assert!(samples.iter().all(|x| x.abs() <= MAX_ABS_SAMPLE));
        }
    }
}

/// Whatever is read has as many samples in every channel, all of them sound, and reads the same
/// from its middle.
pub fn recording(bytes: &[u8]) {
    let Ok(mut file) = tempfile::NamedTempFile::new() else { return };
    if file.write_all(bytes).is_err() {
        return;
    }
    let Ok(mut source) = Source::open(file.path()) else { return };
    let (mut block, mut whole) = (Block::new(), Vec::new());
    while whole.len() < 1 << 20 {
        match source.next(&mut block) {
            Ok(true) => {}
            Ok(false) => break,
            Err(error) => return assert!(!error.to_string().is_empty()),
        }
        assert_eq!(block.len(), source.about.n_channels);
        for samples in &block {
            assert_eq!(samples.len(), block[0].len());
            assert!(samples.iter().all(|x| x.abs() <= MAX_ABS_SAMPLE));
        }
        whole.extend_from_slice(&block[0]);
    }
    let middle = whole.len() as u64 / 2;
    let Ok(at) = source.seek(middle) else { return };
    assert!(at <= middle);
    if let Ok(true) = source.next(&mut block) {
        let n = block[0].len().min(whole.len() - at as usize);
        assert_eq!(block[0][..n], whole[at as usize..at as usize + n]);
    }
}

/// Whatever is taken has a sweep band and finite figures; a refusal has words and
/// no control codes.
pub fn manifest(bytes: &[u8]) {
    let Ok(text) = std::str::from_utf8(bytes) else { return };
    let text = ManifestText { path: "session.toml".into(), text: text.to_owned() };
    match parse(&text) {
        Ok(manifest) => {
            assert!(manifest.sweep.start_hz < manifest.sweep.stop_hz);
            assert!(manifest.screen.gap_m.is_none_or(|gap_m| gap_m.is_finite() && gap_m > 0.0));
            for seat in &manifest.seat {
                assert!(!seat.id.is_empty() && !seat.id.contains(char::is_control));
                assert!(seat.position_m.is_none_or(|p| p.iter().all(|x| x.is_finite())));
            }
        }
        Err(error) => {
            let said = error.to_string();
            assert!(said.contains("line "), "{said}");
            assert!(!said.contains(|c: char| c.is_control() && c != '\n'), "{said:?}");
        }
    }
}

/// Whatever is taken is a possible reading.
pub fn readings(bytes: &[u8]) {
    match parse_readings(bytes, Path::new("readings.csv")) {
        Ok(readings) => {
            assert!(!readings.is_empty());
            for reading in readings {
                assert!(reading.screen_cd_m2 > 0.0 && reading.screen_cd_m2.is_finite());
                assert!(reading.angle_deg.abs() < 90.0);
            }
        }
        Err(error) => assert!(error.to_string().starts_with("readings.csv: ")),
    }
}
