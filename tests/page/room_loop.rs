//! A room in the sound path without hardware: what a browser plays comes back to its microphone
//! through an impulse response that can be exchanged at any time.
//!
//! Packages: pulseaudio, pulseaudio-utils. The server is of its own, its files lie in a folder.

use super::convolve::convolve;
use super::driver::{self, all_start};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::StandardNormal;
use realfft::RealFftPlanner;
use std::collections::VecDeque;
use std::io::{Read, Write};
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::sync::{Arc, Mutex};
use std::time::Duration;

pub const RATE_HZ: u32 = 48_000;
/// Frames worked on together.
const BLOCK: usize = 2400;
/// Blocks that may wait; a slow machine loses sound then, as it would with a real device.
const WAITING: usize = 12;
/// Noise of the room, rms re full scale.
const NOISE: f64 = 1e-4;

#[derive(Default)]
struct Room {
    response: Vec<f64>,
    /// Sound that is added once.
    extra: VecDeque<f64>,
}

pub struct RoomLoop {
    children: Vec<Child>,
    room: Arc<Mutex<Room>>,
    pub environment: Vec<(String, String)>,
}

/// Whether the sound server is installed.
fn is_there() -> bool {
    all_start(&["pulseaudio", "pactl", "parec", "pacat"])
}

/// What the browser plays on, and the one channel of it that the room hears.
pub struct Player {
    channels: &'static str,
    heard: &'static str,
}

/// Two channels, the first heard.
pub const STEREO: Player = Player {
    channels: "channels=2 channel_map=front-left,front-right",
    heard: "--channel-map=front-left",
};

/// A processor of eight channels, the third heard: the centre.
pub const EIGHT: Player = Player {
    channels: "channels=8 channel_map=front-left,front-right,front-center,lfe,rear-left,rear-right,\
               side-left,side-right",
    heard: "--channel-map=front-center",
};

/// Whether what needs a real browser with sound can run here; says why not. It needs the machine's
/// sound and most of its time: a step of its own where all is checked.
pub fn with_a_browser() -> bool {
    if std::env::var_os("SCRIMCHECK_BROWSER").is_none() {
        eprintln!("SKIPPED: set SCRIMCHECK_BROWSER=1 to run this in a real browser");
        return false;
    }
    let there = driver::is_there() && is_there();
    if !there {
        eprintln!(
            "SKIPPED: chromium, chromium-driver, pulseaudio or pulseaudio-utils is not installed"
        );
    }
    there
}

impl RoomLoop {
    pub fn start(folder: &Path) -> Self {
        Self::start_with(folder, &STEREO)
    }

    pub fn start_with(folder: &Path, player: &Player) -> Self {
        let run = folder.join("run");
        std::fs::create_dir_all(&run).unwrap();
        #[cfg(unix)]
        {
            use std::os::unix::fs::PermissionsExt;
            std::fs::set_permissions(&run, std::fs::Permissions::from_mode(0o700)).unwrap();
        }
        let config = folder.join("daemon.conf");
        // The server's own rate decides what a browser opens: another one would be resampled twice.
        std::fs::write(&config, "default-sample-rate = 48000\ndefault-sample-format = float32le\n")
            .unwrap();
        let environment: Vec<(String, String)> = [
            ("XDG_RUNTIME_DIR", run.display().to_string()),
            ("PULSE_CONFIG", config.display().to_string()),
            ("PULSE_SERVER", format!("unix:{}/pulse/native", run.display())),
        ]
        .map(|(name, value)| (name.to_owned(), value))
        .into();
        let command = |name: &str, arguments: &[&str]| {
            let mut command = Command::new(name);
            command.args(arguments).envs(environment.iter().cloned());
            command.stdin(Stdio::null()).stdout(Stdio::null()).stderr(Stdio::null());
            command
        };
        let sink = |name: &str, channels: &str| {
            format!("module-null-sink sink_name={name} rate=48000 format=float32le {channels}")
        };
        let server = command(
            "pulseaudio",
            &[
                "-n",
                "--daemonize=no",
                "--exit-idle-time=-1",
                "-L",
                "module-native-protocol-unix",
                "-L",
                &sink("player", player.channels),
                "-L",
                &sink("air", "channels=1 channel_map=mono"),
            ],
        )
        .spawn()
        .unwrap();
        let ready = || command("pactl", &["info"]).status().is_ok_and(|s| s.success());
        let mut waited = 0;
        while !ready() {
            std::thread::sleep(Duration::from_millis(100));
            waited += 1;
            assert!(waited < 100, "the sound server does not answer");
        }
        // Browsers list no monitors: a microphone is made of one.
        for arguments in [
            ["load-module", "module-remap-source", "master=air.monitor", "source_name=mic"]
                .as_slice(),
            &["set-default-sink", "player"],
            &["set-default-source", "mic"],
        ] {
            assert!(command("pactl", arguments).status().unwrap().success());
        }
        let common = ["--rate=48000", "--format=float32le", "--channels=1"];
        // That channel alone: the sweep must have come out there.
        let mut hear = command(
            "parec",
            &["--device=player.monitor", "--latency-msec=80", player.heard, "--no-remix"],
        )
        .args(common)
        .stdout(Stdio::piped())
        .spawn()
        .unwrap();
        let mut send = command("pacat", &["--device=air", "--latency-msec=150"])
            .args(common)
            .stdin(Stdio::piped())
            .spawn()
            .unwrap();
        let room = Arc::new(Mutex::new(Room::default()));
        let (heard, sent) = (hear.stdout.take().unwrap(), send.stdin.take().unwrap());
        let (queue, shared) = (Arc::new(Mutex::new(VecDeque::new())), Arc::clone(&room));
        let waiting = Arc::clone(&queue);
        std::thread::spawn(move || listen(heard, &queue));
        std::thread::spawn(move || answer(&waiting, sent, &shared));
        Self { children: vec![hear, send, server], room, environment }
    }

    /// Hangs another response between loudspeaker and microphone.
    pub fn hang(&self, response: &[f64]) {
        self.room.lock().unwrap().response = response.to_vec();
    }

    /// Adds sound once.
    pub fn disturb(&self, sound: &[f64]) {
        self.room.lock().unwrap().extra.extend(sound);
    }

    /// Holds up what comes to the microphone, as a machine does that is busy.
    pub fn hold_up(&self, ms: u64) {
        let signal = |name: &str| {
            let id = self.children[1].id().to_string();
            assert!(Command::new("kill").args([name, &id]).status().unwrap().success());
        };
        signal("-STOP");
        std::thread::sleep(Duration::from_millis(ms));
        signal("-CONT");
    }

    /// Pulls the microphone's plug.
    pub fn unplug(&self) {
        let status = Command::new("pactl")
            .args(["unload-module", "module-remap-source"])
            .envs(self.environment.iter().cloned())
            .status();
        assert!(status.unwrap().success());
    }

    /// Plugs it in again.
    pub fn plug_in(&self) {
        for arguments in [
            ["load-module", "module-remap-source", "master=air.monitor", "source_name=mic"]
                .as_slice(),
            &["set-default-source", "mic"],
        ] {
            let status = Command::new("pactl")
                .args(arguments)
                .envs(self.environment.iter().cloned())
                .stdout(Stdio::null())
                .status();
            assert!(status.unwrap().success());
        }
    }
}

fn listen(mut from: impl Read, queue: &Mutex<VecDeque<Vec<f64>>>) {
    let mut bytes = vec![0; BLOCK * 4];
    while from.read_exact(&mut bytes).is_ok() {
        let samples =
            bytes.chunks_exact(4).map(|b| f64::from(f32::from_le_bytes([b[0], b[1], b[2], b[3]])));
        let mut queue = queue.lock().unwrap();
        queue.push_back(samples.collect());
        while queue.len() > WAITING {
            queue.pop_front();
        }
    }
}

fn answer(queue: &Mutex<VecDeque<Vec<f64>>>, mut to: impl Write, room: &Mutex<Room>) {
    let mut random = ChaCha8Rng::seed_from_u64(7);
    let mut planner = RealFftPlanner::<f64>::new();
    let mut past: Vec<f64> = Vec::new();
    loop {
        let Some(block) = queue.lock().unwrap().pop_front() else {
            std::thread::sleep(Duration::from_millis(3));
            continue;
        };
        let (response, extra) = {
            let mut room = room.lock().unwrap();
            let n = BLOCK.min(room.extra.len());
            (room.response.clone(), room.extra.drain(..n).collect::<Vec<_>>())
        };
        let need = response.len().max(1) - 1;
        let mut sound = vec![0.0; need.saturating_sub(past.len())];
        sound.extend(&past[past.len().saturating_sub(need)..]);
        sound.extend(&block);
        let mut out = through(&mut planner, &sound, &response)[need..need + BLOCK].to_vec();
        past = sound[sound.len() - need.min(sound.len())..].to_vec();
        for (y, x) in out.iter_mut().zip(&extra) {
            *y += x;
        }
        let noise = |y: &f64| (*y + NOISE * random.sample::<f64, _>(StandardNormal)) as f32;
        let bytes: Vec<u8> = out.iter().map(noise).flat_map(f32::to_le_bytes).collect();
        if to.write_all(&bytes).and_then(|()| to.flush()).is_err() {
            return;
        }
    }
}

/// `sound` through `response`; straight through where that is empty.
fn through(planner: &mut RealFftPlanner<f64>, sound: &[f64], response: &[f64]) -> Vec<f64> {
    if response.is_empty() { sound.to_vec() } else { convolve(planner, sound, response) }
}

impl Drop for RoomLoop {
    fn drop(&mut self) {
        for child in &mut self.children {
            let _ = child.kill();
            let _ = child.wait();
        }
    }
}
