//! A whole evening in a real browser with a real sound server: a new job, the level, all takes, one
//! spoiled and repeated, the result; and every fault that can spoil a take.
//!
//! Runs where `SCRIMCHECK_BROWSER` is set, as `.ci/run` does in a step of its own. Needs chromium,
//! chromium-driver, pulseaudio and pulseaudio-utils; without them it says so.

mod page;

use page::convolve::spectrum;
use page::driver::Browser;
use page::firefox::{self, Firefox};
use page::room_loop::{self, RoomLoop};
use page::rooms::Rooms;
use page::server::Server;
use scrimcheck::ingest::manifest::Condition;
use serde_json::Value;
use std::fs;
use std::path::Path;
use std::process::Command;
use std::sync::Mutex;
use std::time::Duration;

/// One sound server and one browser at a time: the machine has few cores.
static ALONE: Mutex<()> = Mutex::new(());
/// How often a take is made again that a busy machine spoiled.
const ATTEMPTS: usize = 20;
/// First band that is told by the direct sound, Hz.
const FROM_HZ: f64 = 500.0;
/// What a loss may be off by, dB.
const OFF_DB: f64 = 0.1;

/// Cautions, permission, noise, and the level at 18 dB above the first.
fn settle_sound(browser: &Browser) {
    browser.wait("document.querySelector('#accept-cautions')", 20);
    browser.keep("evening-1-cautions");
    browser.click(".notice.care input[type=checkbox]");
    browser.click("#accept-cautions");
    browser.wait("document.querySelector('#allow-mic, #measure-noise')", 20);
    if browser.run("return !!document.querySelector('#allow-mic')") == Value::Bool(true) {
        browser.click("#allow-mic");
    }
    until(browser, "#measure-noise", "#play-first");
    until(browser, "#play-first", "#up-6");
    browser.keep("evening-2-level");
    for _ in 0..3 {
        until(browser, "#up-6", "#level-right");
    }
    assert!(browser.text(".level").contains("Enough"), "{}", browser.text(".level"));
    browser.keep("evening-3-level-right");
    browser.click("#level-right");
    browser.wait("document.querySelector('#record:not([disabled])')", 20);
    browser.keep("evening-4-ready");
}

/// Clicks until `then` has come and no complaint stands there.
fn until(browser: &Browser, click: &str, then: &str) {
    for _ in 0..ATTEMPTS {
        browser.click(click);
        browser.wait("document.querySelector('.sound .stop') === null && document.querySelector('.level').innerText", 40);
        let complaint = browser.text(".level .notice.bad");
        if complaint.is_empty()
            && browser.run(&format!("return !!document.querySelector('{then}')"))
                == Value::Bool(true)
        {
            return;
        }
        eprintln!("again: {}", browser.text(".level"));
    }
    panic!("{then} does not come: {}", browser.text("#screen"));
}

/// Records the take that is next, again where the machine lost sound or a doubt stands against it,
/// as a user does. Its verdict.
fn record(browser: &Browser) -> String {
    for _ in 0..ATTEMPTS {
        let verdict = once(browser);
        if verdict == "doubt" {
            eprintln!("again: {}", browser.text("#last-take"));
            browser.click("#last-take button");
            browser.wait("document.querySelector('#last-take') === null", 20);
        } else if verdict == "repeat" {
            // It stays the next one.
            eprintln!("again: {}", browser.text("#last-take"));
        } else if verdict != "lost" {
            return verdict;
        }
    }
    panic!("the machine is too busy to record");
}

/// One try at the take that is next: its verdict, or `lost`.
fn once(browser: &Browser) -> String {
    browser.run("scrimcheckTakes.last = null; scrimcheckTakes.drawNext()");
    browser.click("#record");
    browser.wait("document.querySelector('#last-take, .live .notice.bad')", 60);
    let complaint = browser.text(".live .notice.bad");
    if complaint.is_empty() {
        let verdict = browser.run("return document.querySelector('#last-take').dataset.verdict");
        return verdict.as_str().unwrap().to_owned();
    }
    assert!(
        ["lost", "No sound comes", "gaps"].iter().any(|c| complaint.contains(c)),
        "{complaint}"
    );
    eprintln!("again: {complaint}");
    "lost".to_owned()
}

fn new_job(browser: &Browser, title: &str, seats: &str) {
    browser.click("a[href='/new']");
    browser.wait("document.querySelector('form')", 20);
    browser.keys(&browser.labelled("Title"), title);
    browser.keys(&browser.labelled("Seats"), seats);
    browser.click("form button.key");
    browser.wait("location.pathname.endsWith('/room') && document.querySelector('.plan')", 20);
}

fn losses(path: &Path) -> Value {
    serde_json::from_slice(&fs::read(path).unwrap()).unwrap()
}

#[test]
fn an_evening_in_the_browser_measures_the_screen() {
    let _alone = ALONE.lock().unwrap_or_else(|e| e.into_inner());
    if !room_loop::with_a_browser() {
        return;
    }
    let home = tempfile::tempdir().unwrap();
    let rooms = Rooms::new();
    let sound = RoomLoop::start(&home.path().join("sound"));
    let jobs = home.path().join("jobs");
    fs::create_dir(&jobs).unwrap();
    let server = Server::open(&jobs);
    let browser = Browser::start(&sound.environment, true);
    browser.go(&server.address());
    browser.wait("document.querySelector('h1')", 20);
    assert!(
        !browser.run("return location.href").as_str().unwrap().contains("token"),
        "the token stays in the address bar"
    );

    new_job(&browser, "Invented evening", "A, B");
    browser.click("a[href$='/screen']");
    let gap = "Gap between loudspeaker and sheet";
    browser.wait("document.querySelector('.claims')", 20);
    let field = browser.labelled(gap);
    browser.keys(&field, "12 cm");
    browser.wait("document.querySelector('[aria-invalid=true]')", 5);
    browser.run(&format!("document.querySelector('{field}').value = ''"));
    browser.keys(&field, &rooms.scenario.gap_m.to_string());
    browser.run("document.activeElement.blur()");
    browser.wait("document.querySelector('.saved')", 10);

    browser.click("a[href$='/takes']");
    sound.hang(rooms.response(0, Condition::Without, 1));
    settle_sound(&browser);
    let mut slowest = 0.0f64;
    let mut spoiled = false;
    for condition in [Condition::Without, Condition::With] {
        for seat in 0..2 {
            for spot in 1..=2 {
                sound.hang(rooms.response(seat, condition, spot));
                std::thread::sleep(Duration::from_millis(700));
                let place = browser.text(".next .place");
                let name = ["A", "B"][seat];
                assert!(
                    place.contains(&format!("Seat {name}"))
                        && place.contains(&format!("take {spot}")),
                    "{place}"
                );
                if !spoiled && (seat, spot) == (1, 1) {
                    spoiled = true;
                    assert_eq!(slammed(&browser, &sound), "repeat", "{}", browser.text(".live"));
                    browser.keep("evening-6-repeat");
                    assert_eq!(browser.text(".next .place"), place, "the spoiled take is not next");
                }
                let verdict = record(&browser);
                assert_ne!(verdict, "repeat", "{}", browser.text(".live"));
                if (condition, seat, spot) == (Condition::Without, 1, 2) {
                    browser.keep("evening-7-hang");
                }
                let ms = browser.run("return scrimcheckTakes.lastGlance.ms").as_f64().unwrap();
                eprintln!("{place}: {verdict}, {ms:.0} ms after the sweep");
                slowest = slowest.max(ms);
            }
        }
    }
    eprintln!("slowest verdict {slowest:.0} ms after the sweep");
    let folder = jobs.join("invented-evening");
    let aside: Vec<_> = fs::read_dir(folder.join("takes/aside")).unwrap().collect();
    assert!(!aside.is_empty(), "the spoiled take is put aside, not deleted");
    let origin = fs::read_to_string(folder.join("takes/origin.csv")).unwrap();
    assert!(origin.contains(",48000,false,") && origin.contains(",off,-12.0"), "{origin}");

    browser.click(".next a[href$='/result']");
    browser.wait("document.querySelector('.finding')", 60);
    browser.keep("evening-8-result");
    assert!(browser.text(".files").contains("handover.pdf"));
    assert_eq!(browser.run("return missingWords.length"), 0);
    let made = losses(&folder.join("report/result.json"));
    for seat in 0..2 {
        for (b, truth) in
            rooms.truth_db[seat].iter().enumerate().filter(|(b, _)| rooms.bands_hz[*b] >= FROM_HZ)
        {
            let found = made["seats"][seat]["loss_db"][b].as_f64().expect("every band is there");
            let (hz, off) = (rooms.bands_hz[b], found - truth);
            assert!(off.abs() <= OFF_DB, "seat {seat}, {hz} Hz: {found} dB, truth {truth} dB");
        }
    }
    let complaints = browser.complaints();
    assert!(complaints.is_empty(), "{complaints:?}");
    drop((browser, server));
    same_on_the_command_line(&folder, &made);
}

/// A take with a slam in it; its verdict.
fn slammed(browser: &Browser, sound: &RoomLoop) -> String {
    let slam: Vec<f64> = (0..12_000)
        .map(|i| 0.5 * (-f64::from(i) / 2500.0).exp() * (f64::from(i * i % 977) / 488.5 - 1.0))
        .collect();
    for _ in 0..ATTEMPTS {
        browser.run("scrimcheckTakes.last = null; scrimcheckTakes.drawNext()");
        browser.click("#record");
        browser.wait("document.querySelector('.live [data-now=sweep]')", 30);
        std::thread::sleep(Duration::from_millis(1500));
        browser.keep("evening-5-recording");
        sound.disturb(&slam);
        browser.wait("document.querySelector('#last-take, .live .notice.bad')", 60);
        if browser.text(".live .notice.bad").is_empty() {
            return browser
                .run("return document.querySelector('#last-take').dataset.verdict")
                .as_str()
                .unwrap()
                .to_owned();
        }
    }
    panic!("the machine is too busy to record");
}

/// `check` finds nothing to repeat, and `analyze` finds the same figures.
fn same_on_the_command_line(folder: &Path, made: &Value) {
    let run = |arguments: &[&str]| {
        Command::new(env!("CARGO_BIN_EXE_scrimcheck")).args(arguments).arg(folder).output().unwrap()
    };
    let check = run(&["check"]);
    assert!(check.status.success(), "{}", String::from_utf8_lossy(&check.stdout));
    let analyze = run(&["analyze", "--json"]);
    assert!(analyze.status.success(), "{}", String::from_utf8_lossy(&analyze.stderr));
    let again: Value = serde_json::from_slice(&analyze.stdout).unwrap();
    assert_eq!(again, *made);
}

/// A processor of eight channels in a browser that offers them all: the sweep comes out of the centre
/// alone, and what is recorded is what the room makes of it.
#[test]
fn the_centre_of_eight_channels_is_played_and_recorded_in_firefox() {
    let _alone = ALONE.lock().unwrap_or_else(|e| e.into_inner());
    if !room_loop::with_a_browser() {
        return;
    }
    if !firefox::is_there() {
        eprintln!("SKIPPED: firefox-esr is not installed");
        return;
    }
    let home = tempfile::tempdir().unwrap();
    let sound = RoomLoop::start_with(&home.path().join("sound"), &room_loop::EIGHT);
    let jobs = home.path().join("jobs");
    fs::create_dir(&jobs).unwrap();
    let server = Server::open(&jobs);
    let made = serde_json::json!({"folder": "eight", "title": "Eight", "seats": ["A"], "spots": 2});
    assert_eq!(server.post("/api/jobs", &made).status, 200);
    let mut firefox = Firefox::start(&home.path().join("profile"), &sound.environment);
    firefox.go(&server.address());
    firefox.wait("document.querySelector('h1')", 20);
    firefox.go(&format!("http://127.0.0.1:{}/job/eight/takes", server.port));
    firefox.click(".notice.care input[type=checkbox]");
    firefox.click("#accept-cautions");
    firefox.wait("document.querySelector('#allow-mic, #measure-noise')", 20);
    if firefox.run("return !!document.querySelector('#allow-mic')") == Value::Bool(true) {
        firefox.click("#allow-mic");
    }
    firefox.wait("document.querySelector('#measure-noise')", 20);
    // Three taps, 2 ms apart.
    let mut response = vec![0.0; 193];
    (response[0], response[96], response[192]) = (0.3, 0.15, -0.1);
    sound.hang(&response);
    step(&mut firefox, "#measure-noise", "#play-first");
    // The first channel is not the centre: nothing comes back.
    step(&mut firefox, "#play-first", "#up-6");
    let first = firefox.text(".level");
    assert!(first.contains("The sweep was not heard"), "{first}");
    let offered = "[...document.querySelectorAll('label')].find(l => l.innerText.trim() === 'Output channel')";
    let n =
        firefox.run(&format!("return document.getElementById({offered}.htmlFor).options.length"));
    assert_eq!(n, 8, "channels that Firefox offers");
    firefox.choose("Output channel", "2");
    std::thread::sleep(Duration::from_secs(1));
    for _ in 0..3 {
        step(&mut firefox, "#up-6", "#level-right");
    }
    firefox.click("#level-right");
    firefox.wait("document.querySelector('#record:not([disabled])')", 20);
    let mut said = String::new();
    for _ in 0..ATTEMPTS {
        firefox.run("scrimcheckTakes.last = null; scrimcheckTakes.drawNext()");
        firefox.click("#record");
        firefox.wait("document.querySelector('#last-take, .live .notice.bad')", 60);
        said = firefox.text(".live");
        if firefox.run("return document.querySelector('#last-take')?.dataset.verdict ?? ''")
            == "good"
        {
            let file = jobs.join("eight/takes/A_without_1.wav");
            assert!(file.is_file(), "{said}");
            heard_as_the_room_makes_it(&jobs.join("eight"), &file, &response);
            return;
        }
        eprintln!("again: {said}");
    }
    panic!("the machine is too busy to record: {said}");
}

/// Clicks until `then` has come and no complaint stands there.
fn step(firefox: &mut Firefox, click: &str, then: &str) {
    for _ in 0..ATTEMPTS {
        firefox.click(click);
        firefox.wait("document.querySelector('.sound .stop') === null && document.querySelector('.level').innerText", 40);
        let there = format!("return !!document.querySelector('{then}')");
        if firefox.text(".level .notice.bad").is_empty() && firefox.run(&there) == Value::Bool(true)
        {
            return;
        }
        eprintln!("again: {}", firefox.text(".level"));
    }
    panic!("{then} does not come: {}", firefox.text("#screen"));
}

/// The take's third-octave levels differ from those of the sweep by what the response does, up to one
/// level for all.
fn heard_as_the_room_makes_it(folder: &Path, take: &Path, response: &[f64]) {
    let read = |path: &Path| {
        let mut wav = hound::WavReader::open(path).unwrap();
        let rate = f64::from(wav.spec().sample_rate);
        let sound: Vec<f64> = match wav.spec().sample_format {
            hound::SampleFormat::Float => {
                wav.samples::<f32>().map(|x| f64::from(x.unwrap())).collect()
            }
            hound::SampleFormat::Int => {
                wav.samples::<i32>().map(|x| f64::from(x.unwrap())).collect()
            }
        };
        (sound, rate)
    };
    let (played, rate) = read(&folder.join("sweep.wav"));
    let (heard, _) = read(take);
    let n = (heard.len() + played.len()).next_power_of_two();
    let mut planner = realfft::RealFftPlanner::<f64>::new();
    let [x, y, h] = [&played[..], &heard, response].map(|s| spectrum(&mut planner, s, n));
    let off_db: Vec<f64> = (27..=42)
        .map(|k| {
            let middle = 10f64.powf(f64::from(k) / 10.0);
            let bin = |f: f64| (f / rate * n as f64) as usize;
            let power = |of: &dyn Fn(usize) -> f64| -> f64 {
                (bin(middle * 10f64.powf(-0.05))..bin(middle * 10f64.powf(0.05))).map(of).sum()
            };
            let wanted = power(&|i| (x[i] * h[i]).norm_sqr());
            10.0 * (power(&|i| y[i].norm_sqr()) / wanted).log10()
        })
        .collect();
    let level = off_db.iter().sum::<f64>() / off_db.len() as f64;
    for (k, off) in off_db.iter().enumerate() {
        assert!((off - level).abs() < 0.1, "band {k}: {off_db:?}");
    }
}

#[test]
fn every_fault_is_told_and_nothing_half_saved() {
    let _alone = ALONE.lock().unwrap_or_else(|e| e.into_inner());
    if !room_loop::with_a_browser() {
        return;
    }
    let home = tempfile::tempdir().unwrap();
    let sound = RoomLoop::start(&home.path().join("sound"));
    let jobs = home.path().join("jobs");
    fs::create_dir(&jobs).unwrap();
    let server = Server::open(&jobs);
    let takes = jobs.join("faults/takes");
    let nothing = || assert!(fs::read_dir(&takes).unwrap().next().is_none(), "something was saved");
    {
        let browser = Browser::start(&sound.environment, true);
        browser.go(&server.address());
        browser.wait("document.querySelector('h1')", 20);
        new_job(&browser, "Faults", "A");
        browser.click("a[href$='/takes']");
        sound.hang(&[0.3, 0.0, 0.1]);
        settle_sound(&browser);
        let fault = |what: &str, during: &dyn Fn(), sentences: &[&str]| {
            browser.run("scrimcheckTakes.last = null; scrimcheckTakes.drawNext()");
            browser.click("#record");
            browser.wait("document.querySelector('.live [data-now=sweep]')", 30);
            during();
            browser.wait("document.querySelector('.live .notice.bad')", 30);
            let told = browser.text(".live .notice.bad");
            assert!(
                sentences.iter().any(|s| told.contains(s))
                    && told.contains("Nothing of this take was kept"),
                "{what}: {told}"
            );
            nothing();
        };
        fault("space", &|| browser.keys("body", " "), &["Stopped."]);
        fault("key on the page", &|| browser.click("#stop"), &["Stopped."]);
        // In the middle of the sweep, as it is heard some time after it was played.
        let busy = || {
            std::thread::sleep(Duration::from_millis(2500));
            sound.hold_up(700);
        };
        fault("hole", &busy, &["lost"]);
        let hide = "Object.defineProperty(document, 'hidden', {value: true, configurable: true}); document.dispatchEvent(new Event('visibilitychange')); delete document.hidden;";
        fault("hidden", &|| drop(browser.run(hide)), &["background"]);
        fault(
            "suspended",
            &|| drop(browser.run("scrimcheckTakes.sound.engine.hear.suspend()")),
            &["held the sound"],
        );
        browser.run("scrimcheckTakes.sound.engine.hear.resume()");
        // Which of the two the browser notices first is its own affair.
        fault("unplugged", &|| sound.unplug(), &["unplugged", "microphone", "lost"]);
        sound.plug_in();
        // What the browser says of its own treatment is believed.
        browser.run("const own = MediaStreamTrack.prototype.getSettings; MediaStreamTrack.prototype.getSettings = function () { return {...own.call(this), echoCancellation: true}; }");
        browser.run("scrimcheckTakes.last = null; scrimcheckTakes.drawNext()");
        browser.click("#record");
        browser.wait("document.querySelector('.live .notice.bad')", 30);
        assert!(browser.text(".live .notice.bad").contains("echo cancellation"));
        nothing();
    }
    let browser = Browser::start(&sound.environment, false);
    browser.go(&server.address());
    browser.wait("document.querySelector('h1')", 20);
    browser.go(&format!("http://127.0.0.1:{}/job/faults/takes", server.port));
    browser.click(".notice.care input[type=checkbox]");
    browser.click("#accept-cautions");
    browser.click("#allow-mic");
    let told = browser.wait("document.querySelector('.sound .wrong')?.innerText", 20);
    assert!(told.as_str().unwrap().contains("not allowed"), "{told}");
    nothing();
}
