//! Files of recordings: no WAV, damaged, of every kind of sample, of wrong length.
//!
//! One long file, since it is one table of cases; above it what makes their bytes.

use super::room::{MANIFEST, RATE_HZ, TAKES, sweep_params, sweep_samples, take_samples};
use super::run::Class::{Accepted, Refused, Warned};
use super::run::{Case, Class, append, case};
use scrimcheck::ingest::sweep::{SweepParams, generate};
use scrimcheck::ingest::wav::{write_wav_24, write_wav_24_channels};
use std::fs;
use std::path::Path;

/// Replaces one recording by bytes.
fn take(name: &'static str, class: Class, bytes: Vec<u8>, says: &'static [&'static str]) -> Case {
    case(format!("recording: {name}"), class, says, move |d| {
        fs::write(d.join("takes/R1C_with_1.wav"), &bytes).unwrap()
    })
}

/// Changes the bytes of one good recording.
fn edit(
    name: &'static str,
    class: Class,
    says: &'static [&'static str],
    change: impl Fn(&mut Vec<u8>) + Send + Sync + 'static,
) -> Case {
    case(name, class, says, move |d| {
        let path = d.join("takes/R1C_with_1.wav");
        let mut bytes = fs::read(&path).unwrap();
        change(&mut bytes);
        fs::write(&path, bytes).unwrap();
    })
}

/// Replaces one recording by samples.
fn samples(
    name: &'static str,
    class: Class,
    rate_hz: u32,
    make: impl Fn() -> Vec<f64> + Send + Sync + 'static,
    says: &'static [&'static str],
) -> Case {
    case(name, class, says, move |d| {
        write_wav_24(&d.join("takes/R1C_with_1.wav"), rate_hz, &make()).unwrap()
    })
}

fn float_wav(values: &[f32]) -> Vec<u8> {
    wav(3, 1, 32, &values.iter().flat_map(|x| x.to_le_bytes()).collect::<Vec<_>>())
}

/// The good recording number `i`, at half level.
fn sound(i: usize) -> Vec<f64> {
    take_samples(i).iter().map(|x| 0.5 * x).collect()
}

fn pcm16(i: usize) -> Vec<u8> {
    sound(i).iter().flat_map(|x| ((x * 32767.0) as i16).to_le_bytes()).collect()
}

fn interleaved(i: usize) -> Vec<u8> {
    pcm16(i).chunks(2).flat_map(|x| [x[0], x[1], x[0], x[1]]).collect()
}

fn float32(i: usize) -> Vec<u8> {
    sound(i).iter().flat_map(|x| (*x as f32).to_le_bytes()).collect()
}

fn float64(i: usize) -> Vec<u8> {
    sound(i).iter().flat_map(|x| x.to_le_bytes()).collect()
}

/// A file with a header of 44 bytes.
fn wav(tag: u16, channels: u16, bits: u16, data: &[u8]) -> Vec<u8> {
    let frame = u32::from(channels) * u32::from(bits) / 8;
    let mut bytes = b"RIFF".to_vec();
    bytes.extend((36 + data.len() as u32).to_le_bytes());
    bytes.extend(b"WAVEfmt \x10\0\0\0");
    bytes.extend(tag.to_le_bytes());
    bytes.extend(channels.to_le_bytes());
    bytes.extend(RATE_HZ.to_le_bytes());
    bytes.extend(RATE_HZ.wrapping_mul(frame).to_le_bytes());
    bytes.extend((frame as u16).to_le_bytes());
    bytes.extend(bits.to_le_bytes());
    bytes.extend(b"data");
    bytes.extend((data.len() as u32).to_le_bytes());
    bytes.extend(data);
    bytes
}

fn with_rate(rate_hz: u32) -> Vec<u8> {
    let mut bytes = wav(1, 1, 16, &pcm16(1));
    bytes[24..28].copy_from_slice(&rate_hz.to_le_bytes());
    bytes
}

/// WAVE_FORMAT_EXTENSIBLE, PCM.
fn extensible(bits: u16, valid_bits: u16, data: &[u8]) -> Vec<u8> {
    let plain = wav(1, 1, bits, data);
    let mut bytes = plain[..16].to_vec();
    bytes.extend(40u32.to_le_bytes());
    bytes.extend(0xfffeu16.to_le_bytes());
    bytes.extend(&plain[22..36]);
    bytes.extend(22u16.to_le_bytes());
    bytes.extend(valid_bits.to_le_bytes());
    bytes.extend(4u32.to_le_bytes());
    bytes.extend(b"\x01\0\0\0\0\0\x10\0\x80\0\0\xaa\0\x38\x9b\x71");
    bytes.extend(&plain[36..]);
    bytes
}

/// 64-bit sizes: `declared` bytes of sound where `present` are there.
fn rf64(magic: &[u8; 4], declared: u64, present: usize) -> Vec<u8> {
    let plain = wav(1, 1, 16, &pcm16(1)[..present]);
    let mut bytes = magic.to_vec();
    bytes.extend([0xff; 4]);
    bytes.extend(b"WAVEds64\x1c\0\0\0");
    bytes.extend((declared.wrapping_add(72)).to_le_bytes());
    bytes.extend(declared.to_le_bytes());
    bytes.extend((declared / 2).to_le_bytes());
    bytes.extend([0; 4]);
    bytes.extend(&plain[12..40]);
    bytes.extend([0xff; 4]);
    bytes.extend(&plain[44..]);
    bytes
}

/// Another chunk between format and sound.
fn chunk_before(id: &[u8; 4], content: &[u8], declared: u32, padded: bool) -> Vec<u8> {
    let plain = wav(1, 1, 16, &pcm16(1));
    let mut bytes = plain[..36].to_vec();
    bytes.extend(id);
    bytes.extend(declared.to_le_bytes());
    bytes.extend(content);
    bytes.extend(vec![0; usize::from(padded)]);
    bytes.extend(&plain[36..]);
    bytes
}

/// Every recording lasts `seconds` (of one channel), on disk as a hole.
fn longer(room: &Path, seconds: u32) {
    for name in TAKES {
        let path = room.join(format!("takes/{name}.wav"));
        let mut bytes = fs::read(&path).unwrap();
        let n_bytes = 3 * RATE_HZ * seconds;
        let at = bytes.windows(4).position(|w| w == b"data").unwrap() + 4;
        bytes[at..at + 4].copy_from_slice(&n_bytes.to_le_bytes());
        fs::write(&path, bytes).unwrap();
        let file = fs::OpenOptions::new().write(true).open(&path).unwrap();
        file.set_len(at as u64 + 4 + u64::from(n_bytes)).unwrap();
    }
}

pub fn cases() -> Vec<Case> {
    let other = |params: SweepParams| move || generate(&params).unwrap();
    vec![
        take("empty file", Warned, vec![], &["R1C_with_1.wav", "empty", "repeat"]),
        take(
            "no WAV",
            Warned,
            b"not a recording at all".to_vec(),
            &["seat R1C", "R1C_with_1.wav", "not a WAV file"],
        ),
        take("FLAC in disguise", Warned, b"fLaC\0\0\0\x22aaaaaaaaaaaa".to_vec(), &["FLAC"]),
        take("header only", Warned, b"RIFF\x24\0\0\0WAVE".to_vec(), &["no `data` chunk"]),
        edit("truncated", Warned, &["R1C_with_1.wav", "truncated", "bytes"], |b| {
            b.truncate(b.len() / 2)
        }),
        edit("truncated by one byte", Warned, &["truncated"], |b| {
            b.pop();
        }),
        edit("declares 4 GB", Warned, &["truncated", "4294967294"], |b| {
            let at = b.windows(4).position(|w| w == b"data").unwrap() + 4;
            b[at..at + 4].copy_from_slice(&0xffff_fffeu32.to_le_bytes());
        }),
        edit("declares no sound", Warned, &["does not say how long it is"], |b| {
            let at = b.windows(4).position(|w| w == b"data").unwrap() + 4;
            b[at..at + 4].copy_from_slice(&[0; 4]);
        }),
        edit("absurd rate", Warned, &["rate is 4294967295 Hz"], |b| {
            b[24..28].copy_from_slice(&[0xff; 4])
        }),
        take(
            "not a number",
            Warned,
            {
                let mut x = vec![0.1; 40_000];
                x[123] = f32::NAN;
                float_wav(&x)
            },
            &["seat R1C", "sample 123 of channel 1", "not a finite number"],
        ),
        take(
            "infinite",
            Warned,
            {
                let mut x = vec![0.1; 40_000];
                x[39_999] = f32::INFINITY;
                float_wav(&x)
            },
            &["sample 39999"],
        ),
        take(
            "beyond all scale",
            Warned,
            {
                let mut x = vec![0.1; 40_000];
                x[5] = 1e30;
                float_wav(&x)
            },
            &["sample 5", "full scale"],
        ),
        samples(
            "silent",
            Warned,
            RATE_HZ,
            || vec![0.0; 40_000],
            &["seat R1C", "R1C_with_1.wav", "channel 1 is silent"],
        ),
        samples("constant", Warned, RATE_HZ, || vec![0.25; 40_000], &["silent"]),
        samples(
            "too short",
            Warned,
            RATE_HZ,
            || vec![0.1; 100],
            &["seat R1C", "lasts 0.00 s", "0.5"],
        ),
        samples(
            "another rate",
            Warned,
            44_100,
            other(SweepParams { rate_hz: 44_100, ..sweep_params() }),
            &["seat R1C", "44100 Hz", "48000 Hz"],
        ),
        append(
            "channel that is not there",
            Refused,
            "[recording]\nmic_channel = 2",
            &["seat R1C", "channel 2", "has 1"],
        ),
        append(
            "reference that is not there",
            Refused,
            "[recording]\nreference_channel = 2",
            &["channel 2", "has 1"],
        ),
        case("silent reference", Refused, &["R1C_without_1.wav", "channel 2 is silent"], |d| {
            fs::write(
                d.join("session.toml"),
                format!("{MANIFEST}[recording]\nreference_channel = 2"),
            )
            .unwrap();
            let x = generate(&sweep_params()).unwrap();
            write_wav_24_channels(
                &d.join("takes/R1C_without_1.wav"),
                RATE_HZ,
                &[&x, &vec![0.0; x.len()]],
            )
            .unwrap();
            for name in ["R1C_with_1", "R1_L_without_1", "R1_L_with_1"] {
                write_wav_24_channels(&d.join(format!("takes/{name}.wav")), RATE_HZ, &[&x, &x])
                    .unwrap();
            }
        }),
        take("one byte", Warned, b"R".to_vec(), &["R1C_with_1.wav", "not a WAV file"]),
        take("twelve bytes", Warned, b"RIFF\0\0\0\0WAVE".to_vec(), &["R1C_with_1.wav"]),
        take(
            "noise for a header",
            Warned,
            (0..5000u32).map(|i| (i.wrapping_mul(2_654_435_761) >> 24) as u8).collect(),
            &["not a WAV file"],
        ),
        take(
            "AIFF",
            Warned,
            b"FORM\0\0\0\x20AIFFCOMM\0\0\0\x12aaaaaaaaaaaaaaaaaaaa".to_vec(),
            &["AIFF"],
        ),
        take(
            "MP3",
            Warned,
            b"ID3\x04\0\0\0\0\0\0aaaaaaaaaaaaaaaaaaaaaaaaaa".to_vec(),
            &["R1C_with_1.wav", "not a WAV file"],
        ),
        take(
            "Ogg",
            Warned,
            b"OggS\0\x02aaaaaaaaaaaaaaaaaaaaaaaaaaaaa".to_vec(),
            &["R1C_with_1.wav", "not a WAV file"],
        ),
        take("text", Warned, b"<html><body>404</body></html>".to_vec(), &["not a WAV file"]),
        take(
            "big end first",
            Warned,
            [&b"RIFX"[..], &wav(1, 1, 16, &pcm16(1))[4..]].concat(),
            &["R1C_with_1.wav"],
        ),
        take("16 bit", Accepted, wav(1, 1, 16, &pcm16(1)), &[]),
        take(
            "8 bit",
            Accepted,
            wav(1, 1, 8, &sound(1).iter().map(|x| (x * 127.0 + 128.5) as u8).collect::<Vec<_>>()),
            &[],
        ),
        take(
            "32 bit",
            Accepted,
            wav(
                1,
                1,
                32,
                &sound(1).iter().flat_map(|x| ((x * 2e9) as i32).to_le_bytes()).collect::<Vec<_>>(),
            ),
            &[],
        ),
        take("float, 32 bit", Accepted, wav(3, 1, 32, &float32(1)), &[]),
        take("float, 64 bit", Accepted, wav(3, 1, 64, &float64(1)), &[]),
        take("float, 16 bit", Warned, wav(3, 1, 16, &pcm16(1)), &["16"]),
        take(
            "float, not a number at the end",
            Warned,
            wav(3, 1, 64, &[&float64(1)[..], &f64::NAN.to_le_bytes()].concat()),
            &["not a finite number"],
        ),
        take(
            "float, minus infinity",
            Warned,
            wav(3, 1, 64, &[&f64::NEG_INFINITY.to_le_bytes()[..], &float64(1)].concat()),
            &["sample 0"],
        ),
        take(
            "float, tiny numbers",
            Warned,
            wav(3, 1, 64, &vec![5e-324f64.to_le_bytes(); 40_000].concat()),
            &["silent"],
        ),
        take(
            "float, largest number",
            Warned,
            wav(3, 1, 64, &vec![f64::MAX.to_le_bytes(); 40_000].concat()),
            &["full scale"],
        ),
        take(
            "float above full scale",
            Warned,
            wav(
                3,
                1,
                32,
                &sound(1)
                    .iter()
                    .flat_map(|x| ((20.0 * x) as f32).to_le_bytes())
                    .collect::<Vec<_>>(),
            ),
            &["R1C_with_1.wav"],
        ),
        take("12 bit", Warned, wav(1, 1, 12, &pcm16(1)), &["12"]),
        take("0 bit", Warned, wav(1, 1, 0, &pcm16(1)), &["0"]),
        take("65535 bit", Warned, wav(1, 1, 65_535, &pcm16(1)), &["65535"]),
        take("no channel", Warned, wav(1, 0, 16, &pcm16(1)), &["R1C_with_1.wav", "0"]),
        take("65535 channels", Warned, wav(1, 65_535, 16, &pcm16(1)), &["R1C_with_1.wav"]),
        take(
            "stereo where the first channel is meant",
            Accepted,
            wav(1, 2, 16, &interleaved(1)),
            &[],
        ),
        take(
            "half a frame at the end",
            Warned,
            wav(1, 2, 16, &interleaved(1)[..80_002]),
            &["R1C_with_1.wav"],
        ),
        take("coded by a law", Warned, wav(7, 1, 8, &[200; 40_000]), &["0x0007"]),
        take("coded by an unknown way", Warned, wav(0x1234, 1, 16, &pcm16(1)), &["0x1234"]),
        take("rate of nothing", Warned, with_rate(0), &["rate is 0 Hz"]),
        take("rate of 1 Hz", Warned, with_rate(1), &["rate is 1 Hz"]),
        take("rate of 384 kHz", Warned, with_rate(384_000), &["384000 Hz"]),
        take("rate of 48001 Hz", Warned, with_rate(48_001), &["48001 Hz", "48000 Hz"]),
        take(
            "extensible, 24 in 32",
            Accepted,
            extensible(
                32,
                24,
                &sound(1)
                    .iter()
                    .flat_map(|x| (((x * 8e6) as i32) << 8).to_le_bytes())
                    .collect::<Vec<_>>(),
            ),
            &[],
        ),
        take(
            "extensible, 20 in 24",
            Accepted,
            extensible(
                24,
                20,
                &sound(1)
                    .iter()
                    .flat_map(|x| {
                        let b = (((x * 5e5) as i32) << 12).to_le_bytes();
                        [b[1], b[2], b[3]]
                    })
                    .collect::<Vec<_>>(),
            ),
            &[],
        ),
        take(
            "extensible, more valid bits than bits",
            Warned,
            extensible(16, 24, &pcm16(1)),
            &["R1C_with_1.wav"],
        ),
        take(
            "extensible, cut short",
            Warned,
            {
                let mut b = extensible(16, 16, &pcm16(1));
                b[16] = 18;
                b
            },
            &["R1C_with_1.wav"],
        ),
        take(
            "extensible, unknown kind",
            Warned,
            {
                let mut b = extensible(16, 16, &pcm16(1));
                b[44..60].fill(0xab);
                b
            },
            &["R1C_with_1.wav"],
        ),
        take("RF64", Accepted, rf64(b"RF64", 80_000, 80_000), &[]),
        take("BW64", Accepted, rf64(b"BW64", 80_000, 80_000), &[]),
        take(
            "RF64 of ten gigabytes",
            Warned,
            rf64(b"RF64", 10_000_000_000, 80_000),
            &["truncated", "10000000000"],
        ),
        take("RF64 of all there is", Warned, rf64(b"RF64", u64::MAX, 80_000), &["R1C_with_1.wav"]),
        take(
            "RF64 without its sizes",
            Accepted,
            [&b"RF64"[..], &wav(1, 1, 16, &pcm16(1))[4..]].concat(),
            &[],
        ),
        take(
            "odd chunk before the sound",
            Accepted,
            chunk_before(b"LIST", &[7; 33], 33, true),
            &[],
        ),
        take(
            "odd chunk without its padding",
            Warned,
            chunk_before(b"LIST", &[7; 33], 33, false),
            &[],
        ),
        take(
            "chunk of four gigabytes before the sound",
            Warned,
            chunk_before(b"LIST", &[7; 32], u32::MAX, false),
            &["R1C_with_1.wav", "damaged"],
        ),
        take(
            "a thousand empty chunks",
            Accepted,
            chunk_before(b"junk", &b"junk\0\0\0\0".repeat(999), 0, false),
            &[],
        ),
        take(
            "sound before its format",
            Accepted,
            {
                let b = wav(1, 1, 16, &pcm16(1));
                [&b[..12], &b[36..], &b[12..36]].concat()
            },
            &[],
        ),
        take(
            "two formats",
            Warned,
            {
                let b = wav(1, 1, 16, &pcm16(1));
                [&b[..36], &b[12..36], &b[36..]].concat()
            },
            &["R1C_with_1.wav"],
        ),
        take(
            "format of four bytes",
            Warned,
            b"RIFF\x30\0\0\0WAVEfmt \x04\0\0\0\x01\0\x01\0data\x04\0\0\0abcd".to_vec(),
            &["R1C_with_1.wav"],
        ),
        take("one sample", Warned, wav(1, 1, 16, &[1, 2]), &["R1C_with_1.wav", "lasts 0.00 s"]),
        take(
            "frame size that does not fit",
            Warned,
            {
                let mut b = wav(1, 1, 16, &pcm16(1));
                b[32] = 7;
                b
            },
            &["R1C_with_1.wav"],
        ),
        take(
            "bytes per second that do not fit",
            Accepted,
            {
                let mut b = wav(1, 1, 16, &pcm16(1));
                b[28..32].fill(0xff);
                b
            },
            &[],
        ),
        take(
            "declares ten gigabytes",
            Warned,
            {
                let mut b = wav(1, 1, 16, &pcm16(1));
                b[4..8].fill(0xff);
                b[40..44].fill(0xff);
                b
            },
            &["R1C_with_1.wav"],
        ),
        case(
            "three gigabytes of nothing",
            Warned,
            &["R1C_with_1.wav", "at most 2147483648"],
            |d| {
                let file = fs::OpenOptions::new()
                    .write(true)
                    .open(d.join("takes/R1C_with_1.wav"))
                    .unwrap();
                file.set_len(3 << 30).unwrap();
            },
        ),
        case("every take an hour of nothing after the sweep", Refused, &["cut it"], |d| {
            longer(d, 3600)
        }),
        case("every take ten minutes long", Refused, &["R1C_without_1.wav", "cut it"], |d| {
            longer(d, 600)
        }),
        case("every take five minutes long", Accepted, &[], |d| longer(d, 300)),
        case("every take five minutes long, with a reference", Accepted, &[], |d| {
            let text = format!("{MANIFEST}[recording]\nreference_channel = 2");
            fs::write(d.join("session.toml"), text).unwrap();
            for (i, name) in TAKES.iter().enumerate() {
                let (x, mut played) = (take_samples(i), sweep_samples());
                played.resize(x.len(), 0.0);
                let path = d.join(format!("takes/{name}.wav"));
                write_wav_24_channels(&path, RATE_HZ, &[&x, &played]).unwrap();
            }
            longer(d, 600);
        }),
        edit("a byte of nothing after the sound", Accepted, &[], |b| b.push(0)),
        edit("a megabyte of something after the sound", Accepted, &[], |b| {
            b.extend(vec![0x55; 1 << 20])
        }),
    ]
}
