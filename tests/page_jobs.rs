//! Jobs over the page's own addresses: forms that keep comments, two writers, takes filed and
//! judged, undone, brought in; the same result as on the command line.

mod page;

use page::convolve::convolve;
use page::rooms::Rooms;
use page::server::Server;
use realfft::RealFftPlanner;
use scrimcheck::ingest::manifest::Condition;
use scrimcheck::ingest::sweep::{SweepParams, generate};
use scrimcheck::simulate::{demo_scenario, simulate};
use serde_json::{Value, json};
use std::fs;
use std::path::Path;
use std::process::Command;
use std::time::{Duration, Instant};

fn job(server: &Server, folder: &str, seats: &[&str]) {
    let made = server.post(
        "/api/jobs",
        &json!({"folder": folder, "title": "Invented", "seats": seats, "spots": 2}),
    );
    assert_eq!(made.status, 200, "{made:?}");
}

#[test]
fn forms_keep_comments_and_never_overwrite_what_others_wrote() {
    let home = tempfile::tempdir().unwrap();
    let server = Server::open(home.path());
    job(&server, "barn", &["A", "B"]);
    let path = home.path().join("barn/session.toml");
    let before = fs::read_to_string(&path).unwrap();
    let address = "/api/jobs/barn/settings";
    let seen = server.get(address).json();
    let save = |fingerprint: &Value, changes: Value| {
        server.post(address, &json!({"fingerprint": fingerprint, "changes": changes}))
    };
    let gap = json!([{"path": ["screen", "gap_m"], "value": 0.08}]);
    let saved = save(&seen["fingerprint"], gap.clone());
    assert_eq!(saved.status, 200, "{saved:?}");
    let after = fs::read_to_string(&path).unwrap();
    assert!(after.contains("gap_m = 0.08"));
    // Line by line nothing else has changed.
    let added: Vec<&str> = after.lines().filter(|l| !before.lines().any(|b| b == *l)).collect();
    assert_eq!(added, ["gap_m = 0.08"]);
    assert!(before.lines().all(|l| after.lines().any(|a| a == l)), "a line is gone");
    // The later of two tabs is told, and so is whoever saves over an edit from outside.
    let late = save(&seen["fingerprint"], json!([{"path": ["screen", "gap_m"], "value": 0.2}]));
    assert_eq!(late.status, 409);
    assert!(late.json()["message"].as_str().unwrap().contains("changed elsewhere"));
    fs::write(&path, after.replace("Invented", "By hand")).unwrap();
    assert_eq!(save(&saved.json()["fingerprint"], gap).status, 409);
    assert!(fs::read_to_string(&path).unwrap().contains("By hand"));
    // What is wrong is said at its field, and nothing is written.
    let now = server.get(address).json();
    for (change, field, words) in [
        (json!({"path": ["screen", "gap_m"], "value": 12}), "screen.gap_m", "0.001 to 5"),
        (json!({"path": ["seat", 1, "id"], "value": "a/b"}), "seat[1].id", ""),
        (json!({"path": ["session", "date"], "value": "soon"}), "session.date", "2026-03-14"),
        (json!({"path": ["screen", "gap_mm"], "value": 1}), "screen.gap_mm", "gap_m"),
        (
            json!({"path": ["claim", 0], "value": {"quantity": "maximum_loss"}}),
            "claim[0]",
            "band_hz",
        ),
    ] {
        let told = save(&now["fingerprint"], json!([change]));
        assert_eq!(told.status, 422, "{change}: {told:?}");
        let told = told.json();
        assert_eq!(told["field"], field, "{told}");
        assert!(told["message"].as_str().unwrap().contains(words), "{told}");
    }
    // A claim reads as it will stand on the paper.
    let claim = json!({"quantity": "maximum_loss", "band_hz": [500, 16000], "limit_db": 3});
    let with = save(&now["fingerprint"], json!([{"path": ["claim", 0], "value": claim}])).json();
    assert_eq!(
        with["claims"][0],
        "Largest loss from 500 Hz to 16 kHz. Maker's limit: at most 3.0 dB."
    );
}

/// A take as the page sends it, at the rate of some device.
fn sound(rooms: &Rooms, seat: usize, condition: Condition, spot: u32, rate_hz: u32) -> Vec<u8> {
    let params = SweepParams {
        rate_hz: 48_000,
        lead_s: 1.0,
        tail_s: 1.5,
        level_dbfs: -24.0,
        ..SweepParams::default()
    };
    let played = generate(&params).unwrap();
    let response = rooms.response(seat, condition, spot);
    let mut heard = convolve(&mut RealFftPlanner::new(), &played, response);
    heard.truncate(played.len());
    let mut seed =
        1 + u64::from(spot) + 10 * seat as u64 + if condition == Condition::With { 100 } else { 0 };
    for x in &mut heard {
        // Noise of some -90 dB, so that silence is as in a room.
        seed = seed.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        *x += 5e-5 * ((seed >> 33) as f64 / f64::from(1u32 << 31) - 0.5);
    }
    let heard = scrimcheck::import::resample(&heard, 48_000, rate_hz).unwrap();
    heard.iter().flat_map(|x| (*x as f32).to_le_bytes()).collect()
}

/// Files all takes of two seats; the slowest answer, s.
fn record_all(server: &Server, rooms: &Rooms, rate_hz: u32) -> f64 {
    let mut slowest = 0.0f64;
    for (condition, word) in [(Condition::Without, "without"), (Condition::With, "with")] {
        for (seat, name) in ["A", "B"].iter().enumerate() {
            for spot in 1..=2 {
                let body = sound(rooms, seat, condition, spot, rate_hz);
                let path = format!(
                    "/api/jobs/barn/take?rate_hz={rate_hz}&lost=0&processing=off&device=Invented&played_db=-12&seat={name}&condition={word}&spot={spot}"
                );
                let begun = Instant::now();
                let filed = server.send("POST", &path, &body);
                slowest = slowest.max(begun.elapsed().as_secs_f64());
                assert_eq!(filed.status, 200, "{filed:?}");
                let filed = filed.json();
                assert_eq!(filed["file"], format!("takes/{name}_{word}_{spot}.wav"));
                let take = filed["board"]["takes"]
                    .as_array()
                    .unwrap()
                    .iter()
                    .find(|t| t["file"] == filed["file"])
                    .unwrap()
                    .clone();
                assert_ne!(take["verdict"], "repeat", "{take}");
            }
        }
    }
    slowest
}

/// At the rate of the session and at another: within 0.1 dB of the truth, and the same for `analyze`.
#[test]
fn takes_from_the_page_measure_the_screen_as_the_command_line_does() {
    let rooms = Rooms::new();
    for rate_hz in [48_000, 44_100] {
        let home = tempfile::tempdir().unwrap();
        let server = Server::open(home.path());
        job(&server, "barn", &["A", "B"]);
        let seen = server.get("/api/jobs/barn/settings").json();
        let changes = json!([{"path": ["screen", "gap_m"], "value": rooms.scenario.gap_m}]);
        assert_eq!(
            server
                .post(
                    "/api/jobs/barn/settings",
                    &json!({"fingerprint": seen["fingerprint"], "changes": changes})
                )
                .status,
            200
        );
        let early = server.get("/api/jobs/barn/result");
        assert_eq!(early.status, 422, "no takes, no result");
        let slowest = record_all(&server, &rooms, rate_hz);
        eprintln!("slowest take filed and judged in {slowest:.2} s");
        let board = server.get("/api/jobs/barn/board").json();
        assert!(board["next"].is_null(), "{}", board["next"]);
        assert_eq!(board["before"]["played_db"], -12.0);
        let result = server.get("/api/jobs/barn/result");
        assert_eq!(result.status, 200, "{result:?}");
        let folder = home.path().join("barn");
        let made: Value =
            serde_json::from_slice(&fs::read(folder.join("report/result.json")).unwrap()).unwrap();
        let names: Vec<f64> = made["bands"]
            .as_array()
            .unwrap()
            .iter()
            .map(|b| b["nominal_hz"].as_f64().unwrap())
            .collect();
        assert_eq!(names, rooms.bands_hz);
        let mut worst = 0.0f64;
        for (seat, truth) in rooms.truth_db.iter().enumerate() {
            for (b, truth) in truth.iter().enumerate().filter(|(b, _)| rooms.bands_hz[*b] >= 500.0)
            {
                let off = made["seats"][seat]["loss_db"][b].as_f64().expect("every band") - truth;
                worst = if off.abs() > worst.abs() { off } else { worst };
            }
        }
        assert!(
            worst.abs() <= 0.1,
            "{rate_hz} Hz: off by {worst:.3} dB\n{}\n{:?}",
            made["seats"],
            rooms.truth_db
        );
        let page = server.get("/api/jobs/barn/report/report.html");
        assert_eq!(page.status, 200);
        let policy = page.header("content-security-policy").unwrap();
        assert!(policy.contains("sandbox allow-scripts") && policy.contains("sha256-"), "{policy}");
        for file in ["handover.pdf", "plots/loss.svg", "result.json"] {
            assert_eq!(server.get(&format!("/api/jobs/barn/report/{file}")).status, 200, "{file}");
        }
        undo(&server, &folder);
        drop(server);
        let analyze = run(&["analyze", "--json"], &folder);
        assert!(analyze.status.success());
        assert_eq!(serde_json::from_slice::<Value>(&analyze.stdout).unwrap(), made);
    }
}

fn run(arguments: &[&str], folder: &Path) -> std::process::Output {
    Command::new(env!("CARGO_BIN_EXE_scrimcheck")).args(arguments).arg(folder).output().unwrap()
}

/// A take put aside counts no more, is not deleted, and comes back by hand.
fn undo(server: &Server, folder: &Path) {
    let file = "takes/B_with_2.wav";
    let bytes = fs::read(folder.join(file)).unwrap();
    let board = server.post("/api/jobs/barn/aside", &json!({"file": file}));
    assert_eq!(board.status, 200, "{board:?}");
    let next = &board.json()["next"];
    assert_eq!(
        (&next["seat"], &next["condition"], &next["spot"]),
        (&json!("B"), &json!("with"), &json!(2))
    );
    let aside = folder.join("takes/aside/B_with_2.wav");
    assert_eq!(fs::read(&aside).unwrap(), bytes);
    let check = run(&["check"], folder);
    assert!(String::from_utf8_lossy(&check.stdout).contains("7 takes"), "{check:?}");
    fs::rename(aside, folder.join(file)).unwrap();
}

/// A recorder's long file dropped on the board becomes the takes that `import` makes of it.
#[test]
fn dropped_recordings_become_takes() {
    let mut scenario = demo_scenario();
    scenario.seats.truncate(2);
    (scenario.spots, scenario.control) = (1, None);
    let made = simulate(&scenario);
    let home = tempfile::tempdir().unwrap();
    let server = Server::open(home.path());
    let ids: Vec<&str> = scenario.seats.iter().map(|s| s.id.as_str()).collect();
    job(&server, "barn", &ids);
    // The job's own sweep is the simulated one.
    scrimcheck::ingest::wav::write_wav_24(
        &home.path().join("barn/sweep.wav"),
        made.rate_hz,
        &made.sweep,
    )
    .unwrap();
    let long: Vec<f64> = made
        .takes
        .iter()
        .filter(|t| t.condition == Condition::Without)
        .flat_map(|t| t.samples.clone())
        .collect();
    let file = home.path().join("REC0001.wav");
    scrimcheck::ingest::wav::write_wav_24(&file, made.rate_hz, &long).unwrap();
    // What is no recording is named as it was dropped, not by where it lies.
    server.send("PUT", "/api/jobs/barn/upload?name=notes.wav", b"not a recording");
    let ask = json!({"names": ["notes.wav"], "conditions": ["without"]});
    let told = server.post("/api/jobs/barn/import", &ask);
    let message = told.json()["message"].as_str().unwrap().to_owned();
    assert!(message.contains("notes.wav: "), "{told:?}");
    assert!(!message.contains('/') && !message.contains("dropped"), "{message}");
    let sent =
        server.send("PUT", "/api/jobs/barn/upload?name=REC0001.wav", &fs::read(&file).unwrap());
    assert_eq!(sent.status, 200, "{sent:?}");
    let ask = json!({"names": ["REC0001.wav"], "conditions": ["without"]});
    let table = server.post("/api/jobs/barn/import", &ask);
    assert_eq!(table.status, 200, "{table:?}");
    let table = table.json();
    assert_eq!(table["sweeps"].as_array().unwrap().len(), 2, "{table}");
    assert_eq!(table["recordings"][0]["file"], "REC0001.wav");
    assert!(fs::read_dir(home.path().join("barn/takes")).unwrap().next().is_none(), "nothing yet");
    let mut yes = ask;
    yes["yes"] = json!(true);
    let written = server.post("/api/jobs/barn/import", &yes).json();
    assert_eq!(written["written"].as_array().unwrap().len(), 2, "{written}");
    assert!(home.path().join(format!("barn/takes/{}_without_1.wav", ids[0])).is_file());
    assert!(file.is_file(), "the recording itself stays");

    // A second cloth borrows the takes without a screen: they are not made or put aside there.
    let like = home.path().join("barn");
    let second = home.path().join("second");
    let made = run(&["start", second.to_str().unwrap(), "--like"], &like);
    assert!(made.status.success(), "{made:?}");
    let next = &server.get("/api/jobs/second/board").json()["next"];
    assert_eq!(next["condition"], "with", "{next}");
    let take = format!(
        "/api/jobs/second/take?rate_hz=48000&lost=0&processing=off&device=Invented&played_db=-12&seat={}&condition=without&spot=1",
        ids[0]
    );
    let lent = format!("../barn/takes/{}_without_1.wav", ids[0]);
    for told in [
        server.send("POST", &take, &[0; 4 * 480_000]),
        server.post("/api/jobs/second/aside", &json!({"file": lent})),
    ] {
        assert_eq!(told.status, 409, "{told:?}");
        let message = told.json()["message"].as_str().unwrap().to_owned();
        assert!(message.contains("../barn") && message.contains("without_from"), "{message}");
    }
    assert!(home.path().join(format!("barn/takes/{}_without_1.wav", ids[0])).is_file());
}

/// A job of twelve seats: what every screen asks for is there at once. Of several tries the best
/// counts, since the machine has other work to do; the first board reads all takes and is none of
/// them.
#[test]
fn twelve_seats_feel_immediate() {
    let mut scenario = demo_scenario();
    let usual = scenario.seats.clone();
    scenario.seats = (0..12)
        .map(|i| {
            let mut seat = usual[i % usual.len()].clone();
            seat.id = format!("S{i}");
            seat
        })
        .collect();
    (scenario.spots, scenario.control) = (2, None);
    let made = simulate(&scenario);
    let home = tempfile::tempdir().unwrap();
    let server = Server::open(home.path());
    let ids: Vec<&str> = scenario.seats.iter().map(|s| s.id.as_str()).collect();
    job(&server, "barn", &ids);
    let folder = home.path().join("barn");
    let write = |name: &str, samples: &[f64]| {
        scrimcheck::ingest::wav::write_wav_24(&folder.join(name), made.rate_hz, samples).unwrap();
    };
    write("sweep.wav", &made.sweep);
    made.takes.iter().for_each(|take| write(&take.file, &take.samples));
    let board = server.get("/api/jobs/barn/board");
    assert_eq!(board.status, 200, "{}", board.text());
    assert_eq!(board.json()["takes"].as_array().unwrap().len(), 48);
    for path in ["/", "/api/jobs", "/api/jobs/barn/settings", "/api/jobs/barn/board"] {
        let best = (0..5)
            .map(|_| {
                let begun = Instant::now();
                assert_eq!(server.get(path).status, 200, "{path}");
                begun.elapsed()
            })
            .min()
            .unwrap();
        eprintln!("{path}: {:.1} ms", 1e3 * best.as_secs_f64());
        assert!(best.as_millis() < 100, "{path}: {best:?}");
    }
}

#[test]
fn sheets_are_predicted_and_jobs_compared() {
    let home = tempfile::tempdir().unwrap();
    let server = Server::open(home.path());
    let sheet = |value: &str| json!({"sheets": [{"name": "Cloth", "values": {"construction": "woven", "flow_resistance_pa_s_m": value, "areal_mass_g_m2": "300"}}], "gap_m": 0.065});
    let made = server.post("/api/predict", &sheet("80"));
    assert_eq!(made.status, 200, "{made:?}");
    let made = made.json();
    let address = made["address"].as_str().unwrap();
    let told: Value = server.get(&format!("{address}/forecast.json")).json();
    // The same as the command says.
    let out = Command::new(env!("CARGO_BIN_EXE_scrimcheck"))
        .args([
            "predict",
            "--json",
            "--gap-m",
            "0.065",
            "--sheet",
            "Cloth:construction=woven,flow_resistance_pa_s_m=80,areal_mass_g_m2=300",
        ])
        .output()
        .unwrap();
    let command: Value = serde_json::from_slice(&out.stdout).unwrap();
    assert_eq!(told["sheets"], command["sheets"]);
    let page = server.get(&format!("{address}/forecast.html"));
    assert!(
        page.text().contains("Band by band")
            && page.header("content-security-policy").unwrap().contains("sandbox")
    );
    let wrong = server.post("/api/predict", &sheet("much"));
    assert_eq!(
        (wrong.status, wrong.json()["field"].clone()),
        (422, json!("sheet[0].flow_resistance_pa_s_m"))
    );
    assert_eq!(server.post("/api/compare", &json!({"jobs": ["one"]})).status, 422);
}

#[test]
fn sheets_are_told_over_all_jobs_and_ranked_for_the_next_room() {
    let home = tempfile::tempdir().unwrap();
    let small = Path::new(env!("CARGO_MANIFEST_DIR")).join("sessions/three-seats");
    for (name, sheet) in [("one", "Open weave"), ("two", "Open waeve")] {
        let folder = home.path().join(name);
        fs::create_dir_all(folder.join("takes")).unwrap();
        for file in ["sweep.wav", "readings.csv"] {
            fs::copy(small.join(file), folder.join(file)).unwrap();
        }
        for take in fs::read_dir(small.join("takes")).unwrap() {
            let take = take.unwrap();
            fs::copy(take.path(), folder.join("takes").join(take.file_name())).unwrap();
        }
        let text = fs::read_to_string(small.join("session.toml")).unwrap();
        fs::write(folder.join("session.toml"), text.replace("Invented cloth no. 1", sheet))
            .unwrap();
    }
    // A file that was written within the last tick of the clock is not trusted by its times.
    std::thread::sleep(Duration::from_millis(100));
    let server = Server::open(home.path());
    // Nothing is analysed for the first screen.
    let seen = server.get("/api/sheets").json();
    assert_eq!((&seen["n_jobs"], &seen["n_stale"]), (&json!(0), &json!(2)));
    let made = server.post("/api/sheets", &json!({"same": [["Open weave", "Open waeve"]]}));
    assert_eq!(made.status, 200, "{made:?}");
    let made = made.json();
    let page = server.get(&format!("{}/sheets.html", made["address"].as_str().unwrap()));
    assert!(page.text().contains("What each sheet did"));
    let seen = server.get("/api/sheets").json();
    assert_eq!((&seen["n_jobs"], &seen["n_stale"]), (&json!(2), &json!(0)));
    assert_eq!(seen["sheets"].as_array().unwrap().len(), 2);
    assert_eq!(seen["alike"].as_array().unwrap().len(), 1);
    let choice = server.post(
        "/api/choose",
        &json!({"job": "one", "gap_m": 0.1, "sheets": ["Heavy:flow_resistance_pa_s_m=600"]}),
    );
    assert_eq!(choice.status, 200, "{choice:?}");
    assert!(choice.json()["files"].as_array().unwrap().contains(&json!("choice.pdf")));
    for wrong in [json!({"gap_m": 12}), json!({"sheets": ["a:weight=3"]}), json!({"job": "../two"})]
    {
        let status = server.post("/api/choose", &wrong).status;
        assert!(status == 422 || status == 403, "{wrong}: {status}");
    }
    let twice = json!({"jobs": ["one", "two"], "same_room": true});
    let again = server.post("/api/compare", &twice);
    assert!(again.json()["files"].as_array().unwrap().contains(&json!("again.pdf")), "{again:?}");
    assert_eq!(
        server.post("/api/compare", &json!({"jobs": ["one"], "same_room": true})).status,
        422
    );
}
