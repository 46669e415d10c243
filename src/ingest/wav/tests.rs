//! WAV files built by hand, byte by byte, and files of another writer. More than 350 lines: one row a
//! fault.

mod made;

use super::*;
use made::{Made, chunk, file};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use std::io::Cursor;
use std::path::Path;

fn decode(bytes: &[u8], channels: &[u16]) -> Result<WavData, WavFault> {
    decode_wav(&mut Cursor::new(bytes), bytes.len() as u64, channels)
}

fn mono(bytes: &[u8]) -> Vec<f64> {
    decode(bytes, &[1]).unwrap().channels.remove(0)
}

fn le<T, const N: usize>(values: &[T], bytes: impl Fn(&T) -> [u8; N]) -> Vec<u8> {
    values.iter().flat_map(bytes).collect()
}

#[test]
fn every_encoding_has_full_scale_one() {
    // Values by the definition of each format: b bits hold -2^(b-1) .. 2^(b-1) - 1.
    assert_eq!(
        mono(&Made::integer(8, 1, vec![0, 128, 192, 255]).bytes()),
        [-1.0, 0.0, 0.5, 127.0 / 128.0]
    );
    let i16s = le(&[-32768i16, 0, 16384, 32767], |x| x.to_le_bytes());
    assert_eq!(mono(&Made::integer(16, 1, i16s).bytes()), [-1.0, 0.0, 0.5, 32767.0 / 32768.0]);
    let i24 = vec![0x00, 0x00, 0x80, 0, 0, 0, 0x00, 0x00, 0x40, 0xff, 0xff, 0x7f, 0xff, 0xff, 0xff];
    let want = [-1.0, 0.0, 0.5, 8_388_607.0 / 8_388_608.0, -1.0 / 8_388_608.0];
    assert_eq!(mono(&Made::integer(24, 1, i24).bytes()), want);
    let i32s = le(&[i32::MIN, 0, 1 << 30, 1], |x| x.to_le_bytes());
    assert_eq!(mono(&Made::integer(32, 1, i32s).bytes()), [-1.0, 0.0, 0.5, 1.0 / 2f64.powi(31)]);
    let f32s = le(&[-1.5f32, 0.25], |x| x.to_le_bytes());
    assert_eq!(mono(&Made::float(32, 1, f32s).bytes()), [-1.5, 0.25]);
    let f64s = le(&[-1.5f64, 0.1], |x| x.to_le_bytes());
    assert_eq!(mono(&Made::float(64, 1, f64s).bytes()), [-1.5, 0.1]);
}

#[test]
fn valid_bits_stand_at_the_top_of_their_container() {
    // 24 in 32: half scale is 0x400000 << 8.
    let data = le(&[0x4000_0000i32, i32::MIN, 0x100], |x| x.to_le_bytes());
    let wav = decode(&Made::extensible(32, 24, 1, data).bytes(), &[1]).unwrap();
    assert_eq!(wav.channels[0], [0.5, -1.0, 1.0 / 8_388_608.0]);
    assert_eq!(wav.info.integer_bits, Some(24));
    // 20 in 24.
    let wav =
        decode(&Made::extensible(24, 20, 1, vec![0, 0, 0x40, 0x10, 0, 0]).bytes(), &[1]).unwrap();
    assert_eq!(wav.channels[0], [0.5, 16.0 / 8_388_608.0]);
    assert_eq!(wav.info.integer_bits, Some(20));
    // Valid bits 0 means all of them.
    let wav = decode(&Made::extensible(16, 0, 1, vec![0, 0x40]).bytes(), &[1]).unwrap();
    assert_eq!((wav.channels[0][0], wav.info.integer_bits), (0.5, Some(16)));
    // Floats in the extensible form.
    let data = le(&[0.75f32], |x| x.to_le_bytes());
    let made = Made { tag: 3, ..Made::extensible(32, 32, 1, data) };
    let wav = decode(&made.bytes(), &[1]).unwrap();
    assert_eq!((wav.channels[0][0], wav.info.integer_bits), (0.75, None));
}

#[test]
fn channels_come_as_asked() {
    let data: Vec<u8> =
        (0..5i16).flat_map(|f| (0..7i16).flat_map(move |c| (f * 100 + c).to_le_bytes())).collect();
    let bytes = Made::integer(16, 7, data).bytes();
    let wav = decode(&bytes, &[7, 1, 7]).unwrap();
    let want = |c: i32| (0..5).map(|f| f64::from(f * 100 + c) / 32768.0).collect::<Vec<_>>();
    assert_eq!(wav.channels, [want(6), want(0), want(6)]);
    for asked in [0, 8, u16::MAX] {
        assert!(matches!(decode(&bytes, &[1, asked]), Err(WavFault::Channel { present: 7, .. })));
    }
}

#[test]
fn chunks_come_in_any_order_with_odd_lengths() {
    let made = Made::integer(24, 1, vec![0, 0, 0x40]);
    let junk = chunk(b"JUNK", &[1, 2, 3]);
    let list = chunk(b"LIST", b"INFOx");
    for chunks in [
        vec![junk.clone(), made.fmt(), list.clone(), made.data(), list.clone()],
        vec![made.data(), junk.clone(), made.fmt()],
        vec![list.clone(), made.data(), made.fmt(), junk.clone()],
    ] {
        assert_eq!(mono(&file(b"RIFF", &chunks)), [0.5]);
    }
    // A writer that forgets the padding byte.
    let mut bare = list.clone();
    bare.pop();
    assert_eq!(mono(&file(b"RIFF", &[bare, made.fmt(), made.data()])), [0.5]);
    // A file that ends in the middle of what comes after the sound.
    let mut bytes = file(b"RIFF", &[made.fmt(), made.data(), junk]);
    bytes.truncate(bytes.len() - 2);
    assert_eq!(mono(&bytes), [0.5]);
}

#[test]
fn the_64_bit_forms_take_their_length_from_ds64() {
    let data = le(&[1i16 << 14, -(1 << 14)], |x| x.to_le_bytes());
    let made = Made { declared: Some(u32::MAX), ..Made::integer(16, 1, data) };
    let ds64 = |n: u64| {
        let mut body = vec![0u8; 28];
        body[8..16].copy_from_slice(&n.to_le_bytes());
        chunk(b"ds64", &body)
    };
    for form in [b"RF64", b"BW64"] {
        assert_eq!(mono(&file(form, &[ds64(4), made.fmt(), made.data()])), [0.5, -0.5]);
        assert_eq!(mono(&file(form, &[made.fmt(), ds64(4), made.data()])), [0.5, -0.5]);
        // A declared 10 GB costs nothing and is told.
        let fault = decode(&file(form, &[ds64(10_000_000_000), made.fmt(), made.data()]), &[1]);
        let Err(WavFault::Truncated { declared_bytes, present_bytes }) = fault else {
            panic!("{fault:?}")
        };
        assert_eq!((declared_bytes, present_bytes), (10_000_000_000, 4));
        assert!(matches!(
            decode(&file(form, &[ds64(u64::MAX), made.fmt(), made.data()]), &[1]),
            Err(WavFault::Truncated { .. })
        ));
        assert!(matches!(
            decode(&file(form, &[made.fmt(), made.data()]), &[1]),
            Err(WavFault::Broken { .. })
        ));
    }
    // Without the 64-bit form the same length says that it is not known.
    let open = decode(&made.bytes(), &[1]).unwrap();
    assert!(!open.info.closed && open.channels == [[0.5, -0.5]]);
}

// More than 60 lines: one row a fault.
#[test]
fn damaged_files_are_refused_with_a_reason() {
    let good = Made::integer(16, 1, vec![0; 8]);
    let bytes = good.bytes();
    assert_eq!(bytes.len(), 52);
    // Cut anywhere: never a panic, never a recording.
    for n in 0..bytes.len() {
        let fault = decode(&bytes[..n], &[1]).unwrap_err();
        assert!(!fault.to_string().is_empty());
        match n {
            0 => assert!(matches!(fault, WavFault::Empty { .. })),
            44.. => assert!(matches!(fault, WavFault::Truncated { declared_bytes: 8, .. }), "{n}"),
            _ => {}
        }
    }
    let cases: Vec<(Vec<u8>, &str)> = vec![
        (Made { tag: 2, ..good.clone() }.bytes(), "ADPCM"),
        (Made { tag: 7, ..good.clone() }.bytes(), "mu-law"),
        (Made { tag: 0x55, ..good.clone() }.bytes(), "MPEG"),
        (Made { n_channels: 0, ..good.clone() }.bytes(), "0 channels"),
        (Made { rate_hz: 7_999, ..good.clone() }.bytes(), "7999 Hz"),
        (Made { rate_hz: 192_001, ..good.clone() }.bytes(), "192001 Hz"),
        (Made { rate_hz: 0, ..good.clone() }.bytes(), "0 Hz"),
        (Made { container_bits: 0, ..good.clone() }.bytes(), "0 bytes a frame"),
        (Made { container_bits: 40, data: vec![0; 10], ..good.clone() }.bytes(), "40 bits"),
        (Made::float(16, 1, vec![0; 4]).bytes(), "16 bits float"),
        (Made::extensible(16, 17, 1, vec![0; 4]).bytes(), "17 of 16 bits"),
        (Made { data: vec![], ..good.clone() }.bytes(), "0 bytes of sound"),
        (Made { data: vec![0; 7], ..good.clone() }.bytes(), "no whole number"),
        (file(b"RIFF", &[good.fmt(), good.fmt(), good.data()]), "second `fmt `"),
        (file(b"RIFF", &[good.fmt(), good.data(), good.data()]), "second `data`"),
        (file(b"RIFF", &[good.fmt()]), "no `data`"),
        (file(b"RIFF", &[good.data()]), "no `fmt `"),
        (file(b"RIFF", &[chunk(b"fmt ", &[1, 0]), good.data()]), "`fmt ` chunk of 2 bytes"),
        (file(b"RIFF", &vec![chunk(b"JUNK", &[]); 5000]), "more than 4096 chunks"),
        (b"RIFX\0\0\0\0WAVE".to_vec(), "big-endian"),
        (b"RIFF\x04\0\0\0AVI ".to_vec(), "kind \"AVI \""),
        (b"fLaC\0\0\0\x22".to_vec(), "FLAC"),
        (b"ID3\x04".to_vec(), "MP3"),
        (b"\0\0\0\x20ftypM4A ".to_vec(), "M4A"),
        (b"hello".to_vec(), "begins with \"hell\""),
        (b"\x1b[2J".to_vec(), "\\x1b"),
    ];
    for (bytes, part) in cases {
        let text = decode(&bytes, &[1]).expect_err(part).to_string();
        assert!(text.contains(part) && !text.contains('\u{1b}'), "{text} lacks {part}");
    }
    // A recorder that was cut off: what is there is read, a cut frame is not.
    let open = Made { declared: Some(0), data: vec![0, 64, 0, 192], ..good.clone() };
    let mut bytes = open.bytes();
    bytes.push(1);
    let read = decode(&bytes, &[1]).unwrap();
    assert!(!read.info.closed && read.channels == [[0.5, -0.5]], "{read:?}");
    // An empty chunk before others is one.
    let empty = file(b"RIFF", &[good.fmt(), chunk(b"data", &[]), chunk(b"LIST", &[1, 2, 3, 4])]);
    assert!(matches!(decode(&empty, &[1]), Err(WavFault::Empty { .. })));
    let mut guid = Made::extensible(16, 16, 1, vec![0; 4]).bytes();
    guid[50] ^= 1;
    assert!(matches!(decode(&guid, &[1]), Err(WavFault::Format { .. })));
    // Both ends of the allowed rates.
    for rate_hz in [8_000, 192_000] {
        decode(&Made { rate_hz, ..good.clone() }.bytes(), &[1]).unwrap();
    }
}

#[test]
fn floats_that_are_no_sound_are_refused_at_their_place() {
    for bad in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY] {
        // Beyond the first block of bytes, in the second channel only.
        let mut values = vec![0.1f64; 80_000];
        values[60_001] = bad;
        let bytes = Made::float(64, 2, le(&values, |x| x.to_le_bytes())).bytes();
        let fault = decode(&bytes, &[2]).unwrap_err();
        assert!(
            matches!(fault, WavFault::NotFinite { channel: 2, frame: 30_000, time_s } if time_s == 0.625),
            "{fault}"
        );
        decode(&bytes, &[1]).unwrap();
        let bytes = Made::float(32, 1, le(&[0.0f32, bad as f32], |x| x.to_le_bytes())).bytes();
        assert!(matches!(decode(&bytes, &[1]), Err(WavFault::NotFinite { frame: 1, .. })));
    }
    let huge = Made::float(64, 1, le(&[1e6f64, -1.000_001e6], |x| x.to_le_bytes())).bytes();
    assert!(matches!(decode(&huge, &[1]), Err(WavFault::OutOfScale { frame: 1, .. })));
    mono(&Made::float(64, 1, le(&[1e6f64, -1e6], |x| x.to_le_bytes())).bytes());
}

/// The `hound` crate's reader, where it reads rightly: it refuses 64-bit floats and
/// RF64 and takes 24 bits in 32 for something else, which is tested by hand above.
#[test]
fn another_reader_agrees() {
    let mut rng = ChaCha8Rng::seed_from_u64(20);
    for bits in [8u16, 16, 24, 32] {
        for n_channels in [1u16, 2, 5] {
            let n_bytes = 3001 * usize::from(bits / 8) * usize::from(n_channels);
            let data: Vec<u8> = (0..n_bytes).map(|_| rng.random()).collect();
            let bytes = Made::integer(bits, n_channels, data).bytes();
            let scale = 2f64.powi(i32::from(bits) - 1);
            let other: Vec<f64> = hound::WavReader::new(Cursor::new(&bytes))
                .unwrap()
                .into_samples::<i32>()
                .map(|x| f64::from(x.unwrap()) / scale)
                .collect();
            for channel in 1..=n_channels {
                let ours = decode(&bytes, &[channel]).unwrap();
                let theirs: Vec<f64> = other
                    .iter()
                    .skip(usize::from(channel - 1))
                    .step_by(usize::from(n_channels))
                    .copied()
                    .collect();
                assert_eq!(ours.info.n_frames, 3001);
                assert!(
                    theirs.len() == 3001 && ours.channels[0] == theirs,
                    "{bits} bits, channel {channel}"
                );
            }
        }
    }
    let floats: Vec<f32> = (0..999).map(|_| rng.random_range(-1.0..1.0)).collect();
    let bytes = Made::float(32, 1, le(&floats, |x| x.to_le_bytes())).bytes();
    let other: Vec<f64> = hound::WavReader::new(Cursor::new(&bytes))
        .unwrap()
        .into_samples::<f32>()
        .map(|x| f64::from(x.unwrap()))
        .collect();
    assert!(other.len() == 999 && mono(&bytes) == other);
}

/// Any change of any byte: a recording or a refusal, never a panic, and never more
/// samples than there are bytes.
#[test]
fn changed_bytes_are_survived() {
    let mut rng = ChaCha8Rng::seed_from_u64(4);
    let base = Made::extensible(32, 24, 2, vec![7; 64]).bytes();
    for _ in 0..20_000 {
        let mut bytes = base.clone();
        for _ in 0..rng.random_range(1..6) {
            let at = rng.random_range(0..80usize);
            bytes[at] = rng.random();
        }
        bytes.truncate(rng.random_range(0..=bytes.len()));
        if let Ok(wav) = decode(&bytes, &[1]) {
            assert!(wav.channels[0].len() <= bytes.len());
        }
    }
}

#[test]
fn written_files_are_read_back() {
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("a.wav");
    let mut rng = ChaCha8Rng::seed_from_u64(1);
    let x: Vec<f64> = (0..1000).map(|_| rng.random_range(-1.0..1.0)).collect();
    let y: Vec<f64> = x.iter().map(|v| 1.5 * v).collect();
    write_wav_24_channels(&path, 44_100, &[&x, &y]).unwrap();
    let info = wav_info(&path).unwrap();
    let want = WavInfo {
        closed: true,
        rate_hz: 44_100,
        n_channels: 2,
        n_frames: 1000,
        encoding: Encoding::I24,
        integer_bits: Some(24),
    };
    assert_eq!(info, want);
    let wav = read_wav(&path, &[1, 2]).unwrap();
    for (got, want) in wav.channels[0].iter().zip(&x) {
        assert!((got - want).abs() <= 0.5000001 / 8_388_608.0);
    }
    assert!(wav.channels[1].iter().zip(&y).any(|(_, w)| w.abs() > 1.0));
    for (got, want) in wav.channels[1].iter().zip(&y) {
        assert!((got - want.clamp(-1.0, 1.0)).abs() <= 1.0000001 / 8_388_608.0);
    }
    assert!(matches!(
        write_wav_24(&path, 48_000, &[0.0, f64::NAN]),
        Err(WavWriteError::NotFinite { frame: 1, .. })
    ));
    assert!(matches!(write_wav_24(&path, 48_000, &[]), Err(WavWriteError::Shape { .. })));
    assert!(matches!(
        write_wav_24_channels(&path, 48_000, &[&[0.0], &[]]),
        Err(WavWriteError::Shape { .. })
    ));
    assert_eq!(wav_info(&path).unwrap(), want, "a refused signal must not touch the file");
}

#[test]
fn only_regular_files_are_opened() {
    let dir = tempfile::tempdir().unwrap();
    let fault = |path: &Path| read_wav(path, &[1]).unwrap_err().fault;
    assert!(matches!(fault(dir.path()), WavFault::NotRegular { found: "folder" }));
    assert!(matches!(fault(&dir.path().join("no.wav")), WavFault::Missing));
    // A file of 3 GiB that takes no room on disk.
    let large = dir.path().join("large.wav");
    std::fs::File::create(&large).unwrap().set_len(3 << 30).unwrap();
    assert!(matches!(fault(&large), WavFault::TooLarge { bytes: 3_221_225_472, .. }));
    // A sparse 1 GiB file with a right header: too many frames, nothing allocated.
    let long = dir.path().join("long.wav");
    let made = Made { declared: Some(1 << 30), ..Made::integer(16, 1, vec![0; 4]) };
    std::fs::write(&long, made.bytes()).unwrap();
    std::fs::File::options().write(true).open(&long).unwrap().set_len(44 + (1 << 30)).unwrap();
    assert!(matches!(fault(&long), WavFault::TooLong { n_frames: 536_870_912 }));
}

/// Files of an independent writer (origin and versions: fixtures/wav_writer/README.md).
#[test]
fn files_of_another_writer_are_read() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/wav_writer");
    let want: [Vec<f64>; 2] = [
        (0..40).map(|n| f64::from(n) / 64.0 - 0.25).collect(),
        (0..40).map(|n| -f64::from(n) / 128.0 + 0.125).collect(),
    ];
    for form in ["wav", "wavex", "rf64"] {
        for (encoding, bits) in [
            ("pcm_u8", Some(8)),
            ("pcm_16", Some(16)),
            ("pcm_24", Some(24)),
            ("pcm_32", Some(32)),
            ("float", None),
            ("double", None),
        ] {
            let path = folder.join(format!("{form}_{encoding}.wav"));
            let wav = read_wav(&path, &[1, 2]).unwrap();
            assert_eq!(wav.info.integer_bits, bits, "{path:?}");
            assert_eq!(wav.info.rate_hz, 48_000);
            assert!(wav.channels == want, "{path:?}: {:?}", wav.channels);
        }
    }
    for (name, part) in [
        ("ulaw", "mu-law"),
        ("alaw", "A-law"),
        ("ima_adpcm", "ADPCM"),
        ("gsm610", "GSM"),
        ("aiff", "AIFF"),
        ("flac", "FLAC"),
        ("w64", "Wave64"),
        ("rifx", "big-endian"),
    ] {
        let path = folder.join(format!("refused_{name}.wav"));
        let text = read_wav(&path, &[1]).unwrap_err().to_string();
        assert!(text.contains(part), "{text}");
    }
}
