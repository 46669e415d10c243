//! A clean session in a folder, and ways to spoil copies of it.

use assert_cmd::Command;
use scrimcheck::simulate::{Kind, Scenario, simulate, write};
use serde_json::Value;
use std::fs;
use std::path::{Path, PathBuf};
use std::sync::OnceLock;

pub const SEATS: [&str; 4] = ["A", "B", "C", "D"];

/// Both hold, with room for what the low bands leave open of the level.
const CLAIMS: &str = "[[claim]]\nquantity = \"maximum_loss\"\nband_hz = [500, 16000]\nlimit_db = 4.0\n\n\
[[claim]]\nquantity = \"relative_loss\"\nat_hz = 8000\nreference_hz = 500\nlimit_db = 4.0\n";

/// Four seats, two takes a condition, found by their names; no control takes.
pub fn clean_scenario() -> Scenario {
    let mut s = scrimcheck::simulate::demo_scenario().shortened(2.0, 0.3);
    s.trail_s = 1.0;
    s.seats.truncate(4);
    for (seat, id) in s.seats.iter_mut().zip(SEATS) {
        seat.id = id.into();
    }
    if let Some(noise) = &mut s.noise {
        noise.hum = 0.0;
    }
    s.more_manifest = CLAIMS.into();
    s.more_files.clear();
    let _ = Kind::Woven;
    s
}

/// The clean session's folder, made once.
fn clean() -> &'static Path {
    static CLEAN: OnceLock<tempfile::TempDir> = OnceLock::new();
    CLEAN
        .get_or_init(|| {
            let dir = tempfile::tempdir().unwrap();
            write(&simulate(&clean_scenario()), dir.path()).unwrap();
            let manifest = dir.path().join("session.toml");
            let text = fs::read_to_string(&manifest).unwrap();
            // By the installer's habit: takes are known by their names.
            let (before, rest) = text.split_once("[[take]]").unwrap();
            let claims = &rest[rest.find("[[claim]]").unwrap()..];
            fs::write(&manifest, format!("{before}{claims}")).unwrap();
            dir
        })
        .path()
}

/// A copy to be spoiled.
pub struct Copy {
    home: tempfile::TempDir,
    pub rate_hz: u32,
}

impl Copy {
    pub fn new() -> Self {
        let home = tempfile::tempdir().unwrap();
        let room = home.path().join("room");
        fs::create_dir_all(room.join("takes")).unwrap();
        for folder in ["", "takes"] {
            for entry in fs::read_dir(clean().join(folder)).unwrap() {
                let path = entry.unwrap().path();
                if path.is_file() {
                    fs::copy(&path, room.join(folder).join(path.file_name().unwrap())).unwrap();
                }
            }
        }
        Self { home, rate_hz: 48_000 }
    }

    pub fn room(&self) -> PathBuf {
        self.home.path().join("room")
    }

    pub fn file(&self, seat: &str, condition: &str, n: u32) -> PathBuf {
        self.room().join(format!("takes/{seat}_{condition}_{n}.wav"))
    }

    pub fn samples(&self, path: &Path) -> Vec<f64> {
        let reader = hound::WavReader::open(path).unwrap();
        reader.into_samples::<i32>().map(|x| f64::from(x.unwrap()) / 8_388_608.0).collect()
    }

    pub fn write(&self, path: &Path, samples: &[f64]) {
        let spec = hound::WavSpec {
            channels: 1,
            sample_rate: self.rate_hz,
            bits_per_sample: 24,
            sample_format: hound::SampleFormat::Int,
        };
        let mut writer = hound::WavWriter::create(path, spec).unwrap();
        for x in samples {
            let step = (x * 8_388_608.0).round().clamp(-8_388_608.0, 8_388_607.0);
            writer.write_sample(step as i32).unwrap();
        }
        writer.finalize().unwrap();
    }

    /// Changes the samples of takes.
    pub fn change(&self, seats: &[&str], conditions: &[&str], with: impl Fn(Vec<f64>) -> Vec<f64>) {
        for seat in seats {
            for condition in conditions {
                for n in 1..=2 {
                    let path = self.file(seat, condition, n);
                    let samples = with(self.samples(&path));
                    self.write(&path, &samples);
                }
            }
        }
    }

    /// Changes one take.
    pub fn change_take(&self, take: (&str, &str, u32), with: impl Fn(Vec<f64>) -> Vec<f64>) {
        let path = self.file(take.0, take.1, take.2);
        let samples = with(self.samples(&path));
        self.write(&path, &samples);
    }

    /// Exchanges two takes' files.
    pub fn exchange(&self, one: (&str, &str, u32), other: (&str, &str, u32)) {
        let (a, b) = (self.file(one.0, one.1, one.2), self.file(other.0, other.1, other.2));
        let aside = self.room().join("aside");
        fs::rename(&a, &aside).unwrap();
        fs::rename(&b, &a).unwrap();
        fs::rename(&aside, &b).unwrap();
    }

    pub fn edit_manifest(&self, from: &str, to: &str) {
        let path = self.room().join("session.toml");
        let text = fs::read_to_string(&path).unwrap();
        assert!(text.contains(from), "{from} is not in {text}");
        fs::write(path, text.replacen(from, to, 1)).unwrap();
    }

    pub fn run(&self, args: &[&str]) -> Run {
        let mut command = Command::cargo_bin("scrimcheck").expect("the built program");
        let output = command.current_dir(self.home.path()).env_clear().args(args).output().unwrap();
        Run {
            status: output.status.code().unwrap(),
            out: String::from_utf8_lossy(&output.stdout).into_owned(),
            said: String::from_utf8_lossy(&output.stderr).into_owned(),
        }
    }

    pub fn analyze(&self) -> Run {
        self.run(&["analyze", "room", "--json", "--force"])
    }

    pub fn check(&self) -> Run {
        self.run(&["check", "room", "--json"])
    }
}

/// What a command did.
#[derive(Debug)]
pub struct Run {
    pub status: i32,
    pub out: String,
    pub said: String,
}

impl Run {
    pub fn document(&self) -> Value {
        serde_json::from_str(&self.out).unwrap_or_else(|e| panic!("{e}: {self:?}"))
    }
}

/// Seats of a result.
pub fn seats(document: &Value) -> Vec<String> {
    let seats = document["seats"].as_array().unwrap().iter();
    seats.map(|s| s["id"].as_str().unwrap().to_owned()).collect()
}

/// Files of `takes[]` with a state, and the topics of their reasons.
pub fn takes(document: &Value, state: &str) -> Vec<(String, String)> {
    let takes = document["takes"].as_array().unwrap().iter();
    let text = |v: &Value| v.as_str().unwrap_or_default().to_owned();
    takes
        .filter(|t| t["state"] == state)
        .map(|t| (text(&t["file"]), text(&t["reason"]["topic"])))
        .collect()
}

pub fn verdicts(document: &Value) -> Vec<String> {
    let claims = document["claims"].as_array().unwrap().iter();
    claims.map(|c| c["verdict"].as_str().unwrap().to_owned()).collect()
}

pub fn gain(db: f64) -> impl Fn(Vec<f64>) -> Vec<f64> {
    move |x| x.into_iter().map(|x| x * 10f64.powf(db / 20.0)).collect()
}

/// Played more slowly: the samples stand farther apart (windowed sinc, 32 samples either side).
pub fn slower(by: f64) -> impl Fn(Vec<f64>) -> Vec<f64> {
    move |x| {
        let n = (x.len() as f64 * by) as usize;
        (0..n)
            .map(|i| {
                let at = i as f64 / by;
                let middle = at.floor() as i64;
                (middle - 31..=middle + 32)
                    .filter(|k| (0..x.len() as i64).contains(k))
                    .map(|k| {
                        let d = at - k as f64;
                        let sinc = if d.abs() < 1e-12 {
                            1.0
                        } else {
                            (std::f64::consts::PI * d).sin() / (std::f64::consts::PI * d)
                        };
                        let window = (std::f64::consts::PI * d / 64.0).cos().powi(2);
                        x[k as usize] * sinc * window
                    })
                    .sum()
            })
            .collect()
    }
}

/// Automatic gain: above -40 dB re full scale each decibel becomes half a decibel. Attack 2 ms,
/// release 200 ms.
pub fn automatic_gain(rate_hz: f64) -> impl Fn(Vec<f64>) -> Vec<f64> {
    move |x| {
        let (attack, release) = ((-1.0 / (0.002 * rate_hz)).exp(), (-1.0 / (0.2 * rate_hz)).exp());
        let mut envelope = 0f64;
        x.into_iter()
            .map(|x| {
                let keep = if x.abs() > envelope { attack } else { release };
                envelope = keep * envelope + (1.0 - keep) * x.abs();
                let level_db = 20.0 * envelope.max(1e-9).log10();
                let gain_db = -0.5 * (level_db + 40.0).max(0.0);
                // Turned up again after it, as such devices do.
                x * 10f64.powf((gain_db + 12.0) / 20.0)
            })
            .collect()
    }
}

/// Noise as loud as a sweep, of a fixed seed.
pub fn noise(n: usize, seed: u64) -> Vec<f64> {
    let mut state = seed.wrapping_mul(0x9e37_79b9_7f4a_7c15) | 1;
    (0..n)
        .map(|_| {
            state ^= state << 13;
            state ^= state >> 7;
            state ^= state << 17;
            0.2 * (state as f64 / u64::MAX as f64 - 0.5)
        })
        .collect()
}
