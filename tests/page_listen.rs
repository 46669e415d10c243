//! Listening on the page: by a plain client (what the server tells and what it keeps to itself), and
//! in a real browser with a real sound server, whose sound is recorded while keys are pressed.
//!
//! The second part runs where `SCRIMCHECK_BROWSER` is set, and needs what `page_evening` needs.

mod page;

use page::axe::assert_usable;
use page::driver::Browser;
use page::room_loop::{self, RoomLoop};
use page::server::Server;
use realfft::RealFftPlanner;
use scrimcheck::units::ThirdOctave;
use serde_json::{Value, json};
use std::f64::consts::TAU;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::sync::Mutex;
use std::time::Duration;

/// One sound server and one browser at a time: the machine has few cores.
static ALONE: Mutex<()> = Mutex::new(());
const RATE_HZ: f64 = 48_000.0;
/// How often sound is recorded again that a busy machine tore.
const ATTEMPTS: usize = 8;

/// A folder with two copies of the small job.
fn jobs(home: &Path) -> PathBuf {
    let root = home.join("jobs");
    let small = Path::new(env!("CARGO_MANIFEST_DIR")).join("sessions/three-seats");
    for name in ["barn", "loft"] {
        let job = root.join(name);
        fs::create_dir_all(job.join("takes")).unwrap();
        for file in ["session.toml", "sweep.wav", "readings.csv"] {
            fs::copy(small.join(file), job.join(file)).unwrap();
        }
        for take in fs::read_dir(small.join("takes")).unwrap() {
            let path = take.unwrap().path();
            fs::copy(&path, job.join("takes").join(path.file_name().unwrap())).unwrap();
        }
    }
    root
}

fn samples(wav: &[u8]) -> Vec<f64> {
    let mut reader = hound::WavReader::new(wav).unwrap();
    reader.samples::<i32>().map(|s| f64::from(s.unwrap()) / 8_388_608.0).collect()
}

fn rms(x: &[f64]) -> f64 {
    (x.iter().map(|x| x * x).sum::<f64>() / x.len() as f64).sqrt()
}

fn hear(server: &Server, sound: &str) -> Value {
    let asked = json!({"seat": "R1C", "sound": sound});
    let answer = server.post("/api/jobs/barn/listen/hear", &asked);
    assert_eq!(answer.status, 200, "{}", answer.text());
    answer.json()
}

#[test]
fn the_server_offers_sounds_and_keeps_to_its_job() {
    let home = tempfile::tempdir().unwrap();
    let server = Server::open(&jobs(home.path()));
    let choices = server.get("/api/jobs/barn/listen").json();
    assert_eq!(choices["seats"].as_array().unwrap().len(), 3);
    let made = hear(&server, "pink");
    let number = made["number"].as_u64().unwrap();
    let versions = made["versions"].as_array().unwrap();
    assert_eq!(versions.len(), 3, "{made}");
    let loud: Vec<f64> = (0..3)
        .map(|i| {
            let answer = server.get(&format!("/api/jobs/barn/listen/heard/{number}/{i}"));
            assert_eq!(answer.header("content-type").unwrap(), "audio/wav");
            rms(&samples(&answer.body))
        })
        .collect();
    assert!(loud[1] < loud[0] && loud[1] < loud[2], "{loud:?}");
    for version in versions {
        assert!(version["matched_gain_db"].as_f64().unwrap() <= 0.0, "{made}");
    }
    for (path, status) in [
        (format!("/api/jobs/loft/listen/heard/{number}/0"), 404),
        (format!("/api/jobs/barn/listen/heard/{number}/3"), 404),
        (format!("/api/jobs/barn/listen/heard/{}/0", number + 100), 404),
        (format!("/api/jobs/..%2Fbarn/listen/heard/{number}/0"), 403),
    ] {
        let answer = server.get(&path);
        assert_eq!(answer.status, status, "{path}: {answer:?}");
    }
    // Another job's screen, and a described one.
    let asked = json!({"seat": "R1C", "sound": "clicks", "against": "loft", "sheet": "weave:flow_resistance_pa_s_m=60"});
    let both = server.post("/api/jobs/barn/listen/hear", &asked).json();
    let predicted: Vec<bool> =
        both["versions"].as_array().unwrap().iter().map(|v| v["predicted"] == true).collect();
    assert_eq!(predicted, [false, false, false, true], "{both}");
    for (asked, said) in [
        (json!({"seat": "R9X", "sound": "pink"}), "R1C"),
        (json!({"seat": "R1C", "sound": "song"}), "complete"),
        (json!({"seat": "R1C", "sound": "own"}), "folder"),
        (json!({"seat": "R1C", "sound": "own", "name": "../diary.wav"}), "folder"),
        (json!({"seat": "R1C", "sound": "own", "name": "none.wav"}), "no such file"),
        (json!({"seat": "R1C", "sound": "pink", "against": "../other"}), "folder"),
        (json!({"seat": "R1C", "sound": "pink", "sheet": "weave:colour=red"}), "colour"),
    ] {
        let answer = server.post("/api/jobs/barn/listen/hear", &asked);
        assert!((400..500).contains(&answer.status), "{asked}: {answer:?}");
        assert!(answer.text().contains(said), "{asked}: {}", answer.text());
        assert!(!answer.text().contains("sound-"), "{asked} tells where: {}", answer.text());
    }
}

#[test]
fn a_sound_of_ones_own_is_bounded_and_read_like_a_recording() {
    let home = tempfile::tempdir().unwrap();
    let server = Server::open(&jobs(home.path()));
    let flac = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/recorders/REC0007.flac");
    let put = |name: &str, bytes: &[u8]| {
        server.send("PUT", &format!("/api/jobs/barn/listen/sound?name={name}"), bytes)
    };
    assert_eq!(put("mine.flac", &fs::read(flac).unwrap()).status, 200);
    let asked = json!({"seat": "R1C", "sound": "own", "name": "mine.flac"});
    let answer = server.post("/api/jobs/barn/listen/hear", &asked);
    assert_eq!(answer.status, 200, "{}", answer.text());
    assert_eq!(put("words.wav", b"no sound").status, 200);
    let asked = json!({"seat": "R1C", "sound": "own", "name": "words.wav"});
    let refused = server.post("/api/jobs/barn/listen/hear", &asked);
    assert!(refused.status == 422 && refused.text().contains("words.wav"), "{refused:?}");
    assert!((400..500).contains(&put("..%2Fx.wav", b"x").status));
    assert!((400..500).contains(&put(".hidden", b"x").status));
}

/// Whoever looks at what the server says before the last answer learns nothing.
#[test]
fn a_blind_test_tells_nothing_before_the_last_answer() {
    let home = tempfile::tempdir().unwrap();
    let root = jobs(home.path());
    let server = Server::open(&root);
    let number = hear(&server, "speech")["number"].clone();
    let begin = |rounds: u64, pair: [usize; 2], training: bool| {
        server.post(
            "/api/jobs/barn/listen/test",
            &json!({"number": number, "pair": pair, "matched": true, "rounds": rounds, "training": training}),
        )
    };
    for (rounds, pair) in [(7, [0, 1]), (21, [0, 1]), (8, [1, 1]), (8, [0, 9])] {
        assert!((400..500).contains(&begin(rounds, pair, false).status), "{rounds} {pair:?}");
    }
    let test = begin(8, [0, 1], false).json()["test"].as_u64().unwrap();
    let at = |what: &str| format!("/api/jobs/barn/listen/test/{test}/{what}");
    let answer =
        |round: u64, side: &str| server.post(&at("answer"), &json!({"round": round, "side": side}));
    let who = json!({"initials": "AB", "date": "2026-03-14"});
    assert_eq!(server.post(&at("keep"), &who).status, 422, "kept before it was finished");
    let mut x_is = Vec::new();
    for round in 0..8 {
        // What comes later cannot be listened to.
        assert_eq!(server.get(&at(&format!("{}/x", round + 1))).status, 404);
        let heard: Vec<Vec<u8>> =
            ["a", "b", "x"].iter().map(|k| server.get(&at(&format!("{round}/{k}"))).body).collect();
        assert!(heard[2] != heard[0] && heard[2] != heard[1], "bytes of X tell what it is");
        assert_eq!(heard[2].len(), heard[0].len());
        // As an ear would: X is the one it differs less from.
        let [a, b, x] = [0, 1, 2].map(|i| samples(&heard[i]));
        let apart = |y: &[f64]| rms(&x.iter().zip(y).map(|(p, q)| p - q).collect::<Vec<_>>());
        assert!(apart(&a).min(apart(&b)) < 1e-6 && apart(&a).max(apart(&b)) > 1e-4);
        let side = if apart(&a) < apart(&b) { "a" } else { "b" };
        x_is.push(side);
        // Right in all rounds but the first.
        let said = if (round == 0) == (side == "a") { "b" } else { "a" };
        let stand = answer(round, said).json();
        if round < 7 {
            assert_eq!(stand["outcome"], Value::Null);
            assert_eq!(stand["names"], Value::Null);
        } else {
            assert_eq!(stand["outcome"]["right"], 7);
            assert_eq!(stand["outcome"]["x"], json!(x_is));
            let sentence = stand["outcome"]["sentence"].as_str().unwrap();
            // 9 of 256: one in 28.4.
            assert_eq!(
                sentence,
                "7 of 8 right: guessing does as well in 1 of 28 tries. A difference was heard."
            );
        }
        assert!((400..500).contains(&answer(round, said).status), "answered twice");
    }
    assert!((400..500).contains(
        &server.post(&at("keep"), &json!({"initials": " ", "date": "2026-03-14"})).status
    ));
    assert!((400..500).contains(
        &server.post(&at("keep"), &json!({"initials": "A\nB", "date": "2026-03-14"})).status
    ));
    let kept = server.post(&at("keep"), &who);
    assert_eq!(kept.status, 200, "{}", kept.text());
    assert_eq!(kept.json()[0]["right"], 7);
    assert_eq!(server.post(&at("keep"), &who).status, 422, "kept twice");
    let text = fs::read_to_string(root.join("barn/listening.csv")).unwrap();
    assert!(
        text.contains(
            "2026-03-14,AB,R1C,speech-shaped noise,without the screen,with the screen,true,8,7"
        ),
        "{text}"
    );
    // A training round is told at once and never kept.
    let test = begin(8, [0, 1], true).json();
    assert_eq!(test["rounds"], 1);
    let at = format!("/api/jobs/barn/listen/test/{}", test["test"]);
    let [a, b] = ["a", "b"].map(|k| samples(&server.get(&format!("{at}/0/{k}")).body));
    let apart: Vec<f64> = a.iter().zip(&b).map(|(p, q)| p - q).collect();
    assert!(rms(&apart) > 0.1 * rms(&a), "the training round is not plain");
    let stand = server.post(&format!("{at}/answer"), &json!({"round": 0, "side": "a"})).json();
    assert_eq!(stand["outcome"]["rounds"], 1);
    assert_eq!(server.post(&format!("{at}/keep"), &who).status, 422);
}

/// What the browser plays while `during` runs, first channel.
fn record(sound: &RoomLoop, during: impl FnOnce()) -> Vec<f64> {
    let mut recorder = Command::new("parec")
        .args(["--device=player.monitor", "--rate=48000", "--format=float32le", "--channels=1"])
        .args(["--channel-map=front-left", "--no-remix", "--latency-msec=100"])
        .envs(sound.environment.iter().cloned())
        .stdout(Stdio::piped())
        .spawn()
        .unwrap();
    let mut out = recorder.stdout.take().unwrap();
    let reader = std::thread::spawn(move || {
        let mut bytes = Vec::new();
        let _ = std::io::Read::read_to_end(&mut out, &mut bytes);
        bytes
    });
    std::thread::sleep(Duration::from_millis(500));
    during();
    std::thread::sleep(Duration::from_millis(400));
    recorder.kill().unwrap();
    recorder.wait().unwrap();
    let bytes = reader.join().unwrap();
    bytes.chunks_exact(4).map(|b| f64::from(f32::from_le_bytes([b[0], b[1], b[2], b[3]]))).collect()
}

/// From the first sound to the last.
fn sounding(x: &[f64]) -> &[f64] {
    let first = x.iter().position(|x| *x != 0.0).expect("something was played");
    let last = x.iter().rposition(|x| *x != 0.0).unwrap();
    &x[first..=last]
}

/// Stretches of exact zeros, ten or more, where the machine lost sound: begin and length, ms.
fn torn_ms(x: &[f64]) -> Vec<[usize; 2]> {
    let mut torn = Vec::new();
    let mut silent = 0;
    for (i, sample) in x.iter().enumerate() {
        if *sample == 0.0 {
            silent += 1;
        } else {
            if silent >= 10 {
                torn.push([(i - silent) / 48, silent / 48]);
            }
            silent = 0;
        }
    }
    torn
}

/// Largest sample of what is no sine of 1 kHz, over the sine's own peak: a step of a part of the
/// peak shows as that part.
fn worst_click(x: &[f64]) -> f64 {
    let turn = 2.0 * (TAU * 1000.0 / RATE_HZ).cos();
    let peak = x.iter().fold(0.0, |p: f64, x| p.max(x.abs()));
    x.windows(3).fold(0.0, |w: f64, s| w.max((s[0] - turn * s[1] + s[2]).abs())) / peak
}

fn open(server: &Server, browser: &Browser) {
    browser.go(&server.address());
    browser.wait("document.querySelector('h1')", 20);
    browser.go(&format!("http://127.0.0.1:{}/job/barn/listen", server.port));
    browser.click(".notice.care input[type=checkbox]");
    browser.click("#accept-volume");
    browser.wait("document.querySelectorAll('.version').length === 3", 60);
    assert_eq!(browser.text("output"), "\u{2212}20 dB", "the page begins far down");
    // All of it: levels are measured here.
    browser.run("const s = document.querySelector('input[type=range]'); s.value = 0; s.dispatchEvent(new Event('input'))");
}

/// A browser on the screen to listen, with sound; the browser goes first, the folder last.
struct Listening {
    browser: Browser,
    server: Server,
    sound: RoomLoop,
    home: tempfile::TempDir,
}

impl Listening {
    fn start() -> Self {
        let home = tempfile::tempdir().unwrap();
        let sound = RoomLoop::start(&home.path().join("sound"));
        let server = Server::open(&jobs(home.path()));
        let browser = Browser::start(&sound.environment, true);
        open(&server, &browser);
        Self { browser, server, sound, home }
    }
}

/// A sine of 1 kHz, 7 s, as a file of the user's.
fn sine(path: &Path) {
    let spec = hound::WavSpec {
        channels: 1,
        sample_rate: 48_000,
        bits_per_sample: 24,
        sample_format: hound::SampleFormat::Int,
    };
    let mut writer = hound::WavWriter::create(path, spec).unwrap();
    for i in 0..7 * 48_000 {
        let x = 0.25 * (TAU * 1000.0 * f64::from(i) / RATE_HZ).sin();
        writer.write_sample((x * 8_388_608.0) as i32).unwrap();
    }
    writer.finalize().unwrap();
}

#[test]
fn switching_has_no_gap_and_no_click() {
    let _alone = ALONE.lock().unwrap_or_else(|e| e.into_inner());
    if !room_loop::with_a_browser() {
        return;
    }
    let listening = Listening::start();
    let Listening { browser, server, sound, home } = &listening;
    let file = home.path().join("tone.wav");
    sine(&file);
    browser.run("const s = document.querySelector('[data-choice=sound]'); s.value = 'own'; s.dispatchEvent(new Event('change'))");
    browser.keys("input[type=file]", file.to_str().unwrap());
    browser.wait("scrimcheckListen.made?.title === 'tone.wav' && document.querySelectorAll('.version').length === 3", 60);
    // The measure sees what it is to see: a switch without a fade, by 0.5 dB.
    let hard: Vec<f64> = (0..9600)
        .map(
            |i| if i < 4810 { 0.25 } else { 0.236 } * (TAU * 1000.0 * f64::from(i) / RATE_HZ).sin(),
        )
        .collect();
    assert!(worst_click(&hard) > 0.01, "{}", worst_click(&hard));
    let play = || {
        browser.run("document.activeElement?.blur(); document.body.focus()");
        record(sound, || {
            browser.click("#play");
            for key in ["2", "1", "3", "2", "1", "2"] {
                std::thread::sleep(Duration::from_millis(500));
                browser.keys("body", key);
            }
            std::thread::sleep(Duration::from_millis(500));
            browser.click("#play");
        })
    };
    let mut heard = play();
    for _ in 0..ATTEMPTS {
        let torn = torn_ms(sounding(&heard));
        if torn.is_empty() {
            break;
        }
        eprintln!("again: the machine lost sound at {torn:?} ms");
        heard = play();
    }
    let heard = sounding(&heard);
    assert_eq!(torn_ms(heard), Vec::<[usize; 2]>::new(), "gaps in what was played");
    // Without the fades at both ends.
    let inside = &heard[2400..heard.len() - 2400];
    assert!(inside.len() as f64 > 3.0 * RATE_HZ);
    let click = worst_click(inside);
    // One period is a millisecond.
    let level: Vec<f64> = inside.chunks_exact(48).map(|p| 20.0 * rms(p).log10()).collect();
    let number = browser.run("return scrimcheckListen.made.number");
    let want: Vec<f64> = (0..3)
        .map(|i| {
            let file = server.get(&format!("/api/jobs/barn/listen/heard/{number}/{i}")).body;
            let all = samples(&file);
            20.0 * rms(&all[48_000..96_000]).log10()
        })
        .collect();
    let lowest = want.iter().copied().fold(f64::INFINITY, f64::min);
    let highest = want.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let [least, most] = [
        level.iter().copied().fold(f64::INFINITY, f64::min),
        level.iter().copied().fold(f64::NEG_INFINITY, f64::max),
    ];
    println!("levels {want:.3?} dB, heard {least:.3} to {most:.3} dB, worst click {click:.1e}");
    assert!(click < 1e-3, "a click of {click}");
    assert!(least > lowest - 0.3 && most < highest + 0.05, "{least} to {most}, want {want:?}");
    for want in &want {
        let held = level.iter().filter(|l| (*l - want).abs() < 0.01).count();
        assert!(held > 200, "{want} dB was heard for {held} ms");
    }
    assert_eq!(browser.run("return missingWords.length"), 0);
}

/// Third-octave level, dB.
fn band_db(x: &[f64], band: ThirdOctave) -> f64 {
    let plan = RealFftPlanner::<f64>::new().plan_fft_forward(x.len());
    let mut spectrum = plan.make_output_vec();
    plan.process(&mut x.to_vec(), &mut spectrum).unwrap();
    let bin = |hz: f64| hz * x.len() as f64 / RATE_HZ;
    let bins = bin(band.lower_hz()).ceil() as usize..=bin(band.upper_hz()) as usize;
    10.0 * spectrum[bins].iter().map(|x| x.norm_sqr()).sum::<f64>().log10()
}

#[test]
fn levels_in_the_browser_are_those_of_the_table() {
    let _alone = ALONE.lock().unwrap_or_else(|e| e.into_inner());
    if !room_loop::with_a_browser() {
        return;
    }
    let listening = Listening::start();
    let Listening { browser, server, sound, home } = &listening;
    let root = home.path().join("jobs");
    let seat = browser.run("return scrimcheckListen.made.seat").as_str().unwrap().to_owned();
    // A whole round of the sound, wherever it begins.
    let round = |key: &str| -> Vec<f64> {
        for _ in 0..ATTEMPTS {
            browser.keys("body", key);
            let heard = record(sound, || {
                browser.click("#play");
                std::thread::sleep(Duration::from_millis(9500));
                browser.click("#play");
            });
            let heard = sounding(&heard);
            if torn_ms(heard).is_empty() && heard.len() > 400_000 {
                return heard[4800..4800 + 384_000].to_vec();
            }
            eprintln!("again: the machine lost sound");
        }
        panic!("the machine is too busy to play");
    };
    let [without, screen] = ["1", "2"].map(round);
    assert_eq!(server.get("/api/jobs/barn/result").status, 200);
    let result: Value =
        serde_json::from_slice(&fs::read(root.join("barn/report/result.json")).unwrap()).unwrap();
    let seats = result["seats"].as_array().unwrap();
    let losses = &seats.iter().find(|s| s["id"] == *seat).unwrap()["loss_db"];
    let mut worst = 0.0f64;
    for (b, band) in result["bands"].as_array().unwrap().iter().enumerate() {
        let Some(loss) = losses[b].as_f64() else { continue };
        let hz = band["exact_hz"].as_f64().unwrap();
        let band = ThirdOctave::from_index((10.0 * (hz / 1000.0).log10()).round() as i32);
        let got = band_db(&without, band) - band_db(&screen, band);
        worst = worst.max((got - loss).abs());
        assert!((got - loss).abs() <= 0.05, "{hz:.0} Hz: {got} dB heard, {loss} dB measured");
    }
    println!("pink noise as the browser plays it: at most {worst:.3} dB from the measured losses");
    assert!(worst > 0.0);
    let complaints = browser.complaints();
    assert!(complaints.is_empty(), "{complaints:?}");
}

#[test]
fn a_blind_test_goes_by_the_keyboard_alone() {
    let _alone = ALONE.lock().unwrap_or_else(|e| e.into_inner());
    if !room_loop::with_a_browser() {
        return;
    }
    let listening = Listening::start();
    let Listening { browser, home, .. } = &listening;
    let root = home.path().join("jobs");
    assert_usable(browser, "the player");
    browser.keys("#train", "\u{e007}");
    browser.wait("document.querySelector('#round') && scrimcheckListen.player.playing", 30);
    for key in ["a", "b", "x"] {
        browser.keys("body", key);
        browser
            .wait(&format!("document.querySelector('[data-key={key}]').ariaPressed === 'true'"), 5);
    }
    browser.keys("body", "1");
    browser.wait("document.querySelector('#begin-test')", 30);
    browser.run("const s = [...document.querySelectorAll('.blind select')][1]; s.value = '8'; s.dispatchEvent(new Event('change'))");
    browser.keys("#begin-test", "\u{e007}");
    for round in 1..=8 {
        let head = format!(
            "document.querySelector('#round')?.innerText.startsWith('Round {round} of 8') && scrimcheckListen.player.playing"
        );
        browser.wait(&head, 30);
        if round == 1 {
            assert_usable(browser, "a round");
        }
        browser.keys("body", "x");
        browser.keys("body", if round % 3 == 0 { "2" } else { "1" });
    }
    browser.wait("document.querySelector('#outcome')", 30);
    let told = browser.text("#outcome");
    assert!(told.contains("of 8 right: guessing does as well"), "{told}");
    browser.wait("document.querySelectorAll('.version').length === 3", 30);
    assert_usable(browser, "the outcome");
    browser.keys(".keep input", "AB\u{e007}");
    browser.wait("document.querySelector('.keep .saved')", 20);
    let kept = fs::read_to_string(root.join("barn/listening.csv")).unwrap();
    assert!(kept.contains(",AB,") && browser.text("table.words").contains("AB"), "{kept}");
    browser.wait("document.querySelectorAll('.version').length === 3", 30);
    assert_eq!(browser.run("return missingWords.length"), 0);
    let complaints = browser.complaints();
    assert!(complaints.is_empty(), "{complaints:?}");
}
