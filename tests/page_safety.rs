//! Attacks on the page by a plain HTTP client: whoever is not the page itself gets nothing.

mod page;

use page::http::{Answer, break_off, raw, request};
use page::server::Server;
use scrimcheck::start::{StartOptions, start};
use serde_json::json;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;
use tempfile::TempDir;

const SECRET: &str = "the neighbour's diary";

/// A folder with two jobs, beside it what nobody may read.
fn folders() -> (TempDir, PathBuf) {
    let home = tempfile::tempdir().unwrap();
    let root = home.path().join("jobs");
    fs::create_dir(&root).unwrap();
    for name in ["barn", "loft"] {
        start(&root.join(name), &["A".into(), "B".into()], &StartOptions::default()).unwrap();
    }
    fs::write(home.path().join("diary.txt"), SECRET).unwrap();
    start(&home.path().join("other"), &["A".into()], &StartOptions::default()).unwrap();
    (home, root)
}

fn refused(what: &str, answer: &Answer) {
    assert!((400..500).contains(&answer.status), "{what}: {answer:?}");
    let text = answer.text();
    assert!(!text.contains(SECRET) && !text.contains("[session]"), "{what} leaks: {text}");
    assert!(!text.contains("barn"), "{what} tells of jobs: {text}");
}

/// Paths that tell or change something.
const PATHS: [(&str, &str); 9] = [
    ("GET", "/"),
    ("GET", "/api/jobs"),
    ("GET", "/api/jobs/barn/settings"),
    ("POST", "/api/jobs"),
    ("POST", "/api/jobs/barn/settings"),
    ("GET", "/api/jobs/barn/listen"),
    ("POST", "/api/jobs/barn/listen/hear"),
    ("GET", "/api/jobs/barn/listen/heard/1/0"),
    ("POST", "/api/jobs/barn/listen/test/1/keep"),
];

#[test]
fn only_the_page_itself_is_answered() {
    let (_home, root) = folders();
    let server = Server::open(&root);
    let (host, origin) = (server.host(), server.origin());
    let cookie = format!("Cookie: {}", server.cookie);
    let name = server.cookie.split('=').next().unwrap().to_owned();
    let elsewhere = [
        ("no cookie", vec![host.clone(), origin.clone()]),
        ("wrong cookie", vec![host.clone(), origin.clone(), format!("Cookie: {name}=00")]),
        (
            "token as cookie",
            vec![host.clone(), origin.clone(), format!("Cookie: {name}={}", server.token)],
        ),
        ("wrong host", vec!["Host: evil.example".into(), origin.clone(), cookie.clone()]),
        (
            "host with another port",
            vec!["Host: 127.0.0.1:1".into(), origin.clone(), cookie.clone()],
        ),
        ("host without a port", vec!["Host: 127.0.0.1".into(), origin.clone(), cookie.clone()]),
        (
            "name that points here",
            vec![
                format!("Host: evil.example:{}", server.port),
                format!("Origin: http://evil.example:{}", server.port),
                cookie.clone(),
            ],
        ),
        (
            "two hosts",
            vec![host.clone(), "Host: evil.example".into(), origin.clone(), cookie.clone()],
        ),
        (
            "foreign origin",
            vec![host.clone(), "Origin: https://evil.example".into(), cookie.clone()],
        ),
        ("null origin", vec![host.clone(), "Origin: null".into(), cookie.clone()]),
        (
            "origin on another port",
            vec![host.clone(), "Origin: http://127.0.0.1:1".into(), cookie.clone()],
        ),
        (
            "cross-site",
            vec![host.clone(), origin.clone(), cookie.clone(), "Sec-Fetch-Site: cross-site".into()],
        ),
        (
            "same-site",
            vec![host.clone(), origin.clone(), cookie.clone(), "Sec-Fetch-Site: same-site".into()],
        ),
    ];
    let before = fs::read(root.join("barn/session.toml")).unwrap();
    for (what, lines) in &elsewhere {
        for (method, path) in PATHS {
            let mut lines = lines.clone();
            lines.push("Content-Type: application/json".into());
            let body =
                json!({"folder": "new", "title": "x", "seats": ["A"], "spots": 1}).to_string();
            let body = if method == "POST" { body.as_bytes() } else { b"" };
            refused(
                &format!("{what}, {method} {path}"),
                &request(server.port, method, path, &lines, body),
            );
        }
    }
    // A form that changes something says where it comes from.
    let silent = [host.clone(), cookie.clone(), "Content-Type: application/json".into()];
    refused("no origin", &request(server.port, "POST", "/api/jobs", &silent, b"{}"));
    for token in [
        "",
        "0",
        &server.token[1..],
        &server.token.to_uppercase().replace(|c: char| c.is_ascii_digit(), "f"),
    ] {
        refused(
            "wrong token",
            &request(
                server.port,
                "GET",
                &format!("/?token={token}"),
                std::slice::from_ref(&host),
                b"",
            ),
        );
    }
    refused("no host", &raw(server.port, "GET / HTTP/1.1\r\nConnection: close\r\n\r\n", b""));
    assert_eq!(fs::read(root.join("barn/session.toml")).unwrap(), before);
    assert!(!root.join("new").exists());
    // The page itself is.
    assert_eq!(server.get("/").status, 200);
    let localhost = [format!("Host: localhost:{}", server.port), cookie];
    assert_eq!(request(server.port, "GET", "/api/jobs", &localhost, b"").status, 200);
}

#[test]
fn the_cookie_is_strict_and_nothing_runs_that_is_not_ours() {
    let (_home, root) = folders();
    let server = Server::open(&root);
    let answer =
        request(server.port, "GET", &format!("/?token={}", server.token), &[server.host()], b"");
    let cookie = answer.header("set-cookie").unwrap();
    for part in ["HttpOnly", "SameSite=Strict", "Path=/"] {
        assert!(cookie.contains(part), "{cookie}");
    }
    assert!(!cookie.contains(&server.token) && server.token.len() * 4 >= 128);
    assert_eq!(answer.header("location").unwrap(), "/");
    for path in ["/", "/job/barn/takes", "/assets/main.js", "/api/jobs", "/nothing"] {
        let answer = server.get(path);
        let policy = answer.header("content-security-policy").unwrap();
        assert!(
            policy.contains("default-src 'none'") && policy.contains("script-src 'self'"),
            "{policy}"
        );
        assert!(
            !policy.contains("unsafe") && policy.contains("frame-ancestors 'none'"),
            "{policy}"
        );
        assert_eq!(answer.header("x-content-type-options").unwrap(), "nosniff");
        assert_eq!(answer.header("cross-origin-resource-policy").unwrap(), "same-origin");
        assert!(answer.header("access-control-allow-origin").is_none());
        assert_eq!(answer.header("cache-control").unwrap(), "no-store");
    }
    let page = server.get("/").text();
    assert!(!page.contains("<style") && !page.contains(" style=") && !page.contains("onclick"));
    assert_eq!(
        page.matches("<script").count(),
        page.matches("<script type=\"module\" src=\"/assets/").count()
    );
}

#[test]
fn no_way_leads_out_of_the_folder() {
    let (home, root) = folders();
    #[cfg(unix)]
    {
        use std::os::unix::fs::symlink;
        symlink(home.path().join("other"), root.join("link")).unwrap();
        fs::create_dir_all(root.join("barn/report")).unwrap();
        symlink(home.path().join("diary.txt"), root.join("barn/report/diary.txt")).unwrap();
        symlink(home.path().join("diary.txt"), root.join("barn/takes/A_without_1.wav")).unwrap();
    }
    let server = Server::open(&root);
    let names = [
        "..",
        "%2e%2e",
        "%2E%2E",
        "..%2fother",
        "%2e%2e%2fother",
        "..%5cother",
        "link",
        ".",
        "%2e",
        "@",
        "%00",
        "barn%2f..%2f..%2fother",
        "barn%00",
        "C:",
        "%c0%ae%c0%ae",
        "....",
        "/etc",
        "%2fetc",
    ];
    for name in names {
        for rest in
            ["/settings", "/board", "/result", "/report/report.html", "/sweep?rate_hz=48000"]
        {
            let answer = server.get(&format!("/api/jobs/{name}{rest}"));
            refused(&format!("{name}{rest}"), &answer);
        }
    }
    let files = [
        "../../../diary.txt",
        "..%2f..%2f..%2fdiary.txt",
        "%2e%2e/%2e%2e/%2e%2e/diary.txt",
        "diary.txt",
        "..%5c..%5cdiary.txt",
        "%2fetc%2fpasswd",
        "/etc/passwd",
        "plots/../../session.toml",
        "report.html%00.txt",
        "../session.toml",
        "..%2fsession.toml",
        ".scrimcheck",
    ];
    for file in files {
        refused(file, &server.get(&format!("/api/jobs/barn/report/{file}")));
    }
    for path in [
        "/../diary.txt",
        "/..%2fdiary.txt",
        "/assets/..%2f..%2fdiary.txt",
        "/assets/../Cargo.toml",
        "/diary.txt",
        "/jobs/barn/session.toml",
        "/papers/1/..%2fdiary.txt",
    ] {
        refused(path, &server.get(path));
    }
    // Nor does a link in place of a take: the board does not read it, and says why.
    let board = server.get("/api/jobs/barn/board");
    assert_eq!(board.status, 200, "{board:?}");
    assert_eq!(board.json()["takes"][0]["state"], "left_out");
    assert!(!board.text().contains(SECRET));
    assert!(board.text().contains("link leads out of the session folder"), "{}", board.text());
}

#[test]
fn nothing_is_written_outside_and_names_are_names() {
    let (home, root) = folders();
    let server = Server::open(&root);
    for folder in [
        "..",
        "../evil",
        "a/b",
        "a\\b",
        "",
        ".hidden",
        "/tmp/evil",
        "C:x",
        "@",
        "nul\u{0}",
        "x\u{202e}y",
        " x",
    ] {
        let answer = server.post(
            "/api/jobs",
            &json!({"folder": folder, "title": "x", "seats": ["A"], "spots": 1}),
        );
        assert!((400..500).contains(&answer.status), "{folder:?}: {answer:?}");
    }
    for seat in ["../A", "a/b", ".A", "", "A\u{0}"] {
        let answer = server.post(
            "/api/jobs",
            &json!({"folder": "fine", "title": "x", "seats": [seat], "spots": 1}),
        );
        assert_eq!(answer.status, 422, "{seat:?}: {answer:?}");
        assert_eq!(answer.json()["field"], "seats");
    }
    for name in ["..%2fevil.wav", "%2e%2e", "a%2fb.wav", "%2ftmp%2fevil.wav", ".evil", "a%5cb.wav"]
    {
        let answer = server.send("PUT", &format!("/api/jobs/barn/upload?name={name}"), b"RIFF");
        assert!((400..500).contains(&answer.status), "{name}: {answer:?}");
    }
    let take = |seat: &str| {
        format!(
            "/api/jobs/barn/take?rate_hz=48000&lost=0&processing=off&seat={seat}&condition=with&spot=1"
        )
    };
    for seat in ["..%2f..%2fevil", "%2ftmp%2fevil", "C", ""] {
        let answer = server.send("POST", &take(seat), &[0, 0, 0, 63].repeat(1000));
        assert!((400..500).contains(&answer.status), "{seat}: {answer:?}");
    }
    for file in ["../other/session.toml", "session.toml", "sweep.wav", "/etc/passwd"] {
        let answer = server.post("/api/jobs/barn/aside", &json!({"file": file}));
        assert!((400..500).contains(&answer.status), "{file}: {answer:?}");
    }
    // Nor by a seat's name in a manifest that somebody else wrote.
    let text = fs::read_to_string(root.join("loft/session.toml")).unwrap();
    fs::write(root.join("loft/session.toml"), text.replace("id = \"A\"", "id = \"../../../evil\""))
        .unwrap();
    let path = "/api/jobs/loft/take?rate_hz=48000&lost=0&processing=off&seat=..%2f..%2f..%2fevil&condition=with&spot=1";
    let sound: Vec<u8> = (0..48_000).flat_map(|i| ((i % 7) as f32 / 10.0).to_le_bytes()).collect();
    let answer = server.send("POST", path, &sound);
    assert!((400..500).contains(&answer.status), "{answer:?}");
    // A logo outside is refused by the manifest's own rule.
    let settings = server.get("/api/jobs/barn/settings").json();
    let change = json!({"fingerprint": settings["fingerprint"], "changes": [{"path": ["handover", "logo"], "value": "../../diary.txt"}]});
    assert_eq!(server.post("/api/jobs/barn/settings", &change).status, 422);
    let mut beside: Vec<String> = fs::read_dir(home.path())
        .unwrap()
        .map(|e| e.unwrap().file_name().into_string().unwrap())
        .collect();
    beside.sort();
    assert_eq!(beside, ["diary.txt", "jobs", "other"]);
    drop(server);
    let mut left: Vec<String> = fs::read_dir(&root)
        .unwrap()
        .map(|e| e.unwrap().file_name().into_string().unwrap())
        .collect();
    left.sort();
    assert_eq!(left, ["barn", "loft"], "the page leaves nothing behind");
    let mut barn: Vec<String> = fs::read_dir(root.join("barn"))
        .unwrap()
        .map(|e| e.unwrap().file_name().into_string().unwrap())
        .collect();
    barn.sort();
    let own = [
        "session.toml",
        "sweep-quiet.wav",
        "sweep.wav",
        "take-sheet.html",
        "take-sheet.pdf",
        "takes",
    ];
    assert_eq!(barn, own);
}

fn hidden_files(root: &Path) -> Vec<PathBuf> {
    let hidden = fs::read_dir(root)
        .unwrap()
        .map(|e| e.unwrap().path())
        .filter(|p| p.file_name().unwrap().to_string_lossy().starts_with(".scrimcheck-"));
    hidden
        .flat_map(|folder| {
            fs::read_dir(folder).unwrap().map(|e| e.unwrap().path()).collect::<Vec<_>>()
        })
        .filter(|p| p.file_name().unwrap().to_string_lossy().starts_with("scratch"))
        .collect()
}

#[test]
fn uploads_are_bounded_and_broken_ones_leave_nothing() {
    let (_home, root) = folders();
    let server = Server::open(&root);
    let path =
        "/api/jobs/barn/take?rate_hz=48000&lost=0&processing=off&seat=A&condition=with&spot=1";
    // Announced too large: refused before a byte is taken.
    let head = |length: &str| {
        format!(
            "POST {path} HTTP/1.1\r\nConnection: close\r\n{}\r\n{}\r\nCookie: {}\r\n{length}\r\n\r\n",
            server.host(),
            server.origin(),
            server.cookie
        )
    };
    let answer = raw(server.port, &head("Content-Length: 99999999999"), b"");
    assert_eq!(answer.status, 413, "{answer:?}");
    // Not announced: refused when it is too large. 80 MB in pieces.
    let mut body = Vec::new();
    for _ in 0..80 {
        body.extend_from_slice(b"100000\r\n");
        body.extend(std::iter::repeat_n(b'x', 1 << 20));
        body.extend_from_slice(b"\r\n");
    }
    body.extend_from_slice(b"0\r\n\r\n");
    let answer = raw(server.port, &head("Transfer-Encoding: chunked"), &body);
    // The connection may be closed while the client still writes.
    assert!(matches!(answer.status, 413 | 0), "{}", answer.status);
    // Broken off half way.
    break_off(server.port, &head("Content-Length: 1000"));
    for (what, samples) in [
        ("none", Vec::new()),
        ("not a number", f32::NAN.to_le_bytes().repeat(48_000)),
        ("silent", vec![0; 400_000]),
        ("odd", vec![1; 1001]),
    ] {
        let answer = server.send("POST", path, &samples);
        assert_eq!(answer.status, 422, "{what}: {answer:?}");
    }
    for (what, about) in [
        ("lost", "rate_hz=48000&lost=128&processing=off"),
        ("treated", "rate_hz=48000&lost=0&processing=on"),
        ("rate", "rate_hz=10&lost=0&processing=off"),
    ] {
        let path = format!("/api/jobs/barn/take?{about}&seat=A&condition=with&spot=1");
        let answer = server.send("POST", &path, &[0, 0, 0, 63].repeat(1000));
        assert_eq!(answer.status, 422, "{what}: {answer:?}");
    }
    let form = server.post(
        "/api/jobs/barn/settings",
        &json!({"fingerprint": "x".repeat(2 << 20), "changes": []}),
    );
    assert_eq!(form.status, 413);
    assert!(fs::read_dir(root.join("barn/takes")).unwrap().next().is_none(), "nothing half-saved");
    assert_eq!(hidden_files(&root), Vec::<PathBuf>::new(), "nothing half-sent stays");
}

#[test]
fn a_second_start_joins_the_first_and_ctrl_c_clears_up() {
    let (_home, root) = folders();
    let server = Server::open(&root);
    let second = |arguments: &[&str]| {
        Command::new(env!("CARGO_BIN_EXE_scrimcheck"))
            .args(arguments)
            .current_dir(&root)
            .output()
            .unwrap()
    };
    let joined = second(&["open", ".", "--no-browser"]);
    assert!(joined.status.success());
    assert!(String::from_utf8_lossy(&joined.stdout).contains(&server.address()), "{joined:?}");
    let port = if server.port == 1025 { "1026" } else { "1025" };
    let refused = second(&["open", ".", "--no-browser", "--port", port]);
    assert_eq!(refused.status.code(), Some(2));
    assert!(String::from_utf8_lossy(&refused.stderr).contains("open already"), "{refused:?}");
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt;
        let hidden = fs::read_dir(&root)
            .unwrap()
            .map(|e| e.unwrap().path())
            .find(|p| p.join("address").exists())
            .unwrap();
        let mode = fs::metadata(hidden.join("address")).unwrap().permissions().mode();
        assert_eq!(mode & 0o077, 0, "others can read the token");
    }
    let missing = second(&["open", "nowhere", "--no-browser"]);
    assert_eq!(missing.status.code(), Some(3), "{missing:?}");
    assert_eq!(server.interrupt(), Some(130));
    assert!(
        fs::read_dir(&root).unwrap().all(|e| !e
            .unwrap()
            .file_name()
            .to_string_lossy()
            .starts_with('.'))
    );
}

#[test]
fn only_this_machine_is_listened_to() {
    let (_home, root) = folders();
    let server = Server::open(&root);
    // Linux lists listening sockets; the address is the loopback's, in hexadecimal, little end first.
    let Ok(table) = fs::read_to_string("/proc/net/tcp") else { return };
    let port = format!(":{:04X}", server.port);
    let listening: Vec<&str> = table
        .lines()
        .filter_map(|l| l.split_whitespace().nth(1))
        .filter(|a| a.ends_with(&port))
        .collect();
    assert!(listening.iter().all(|a| a.starts_with("0100007F")), "{listening:?}");
    let six = fs::read_to_string("/proc/net/tcp6").unwrap_or_default();
    assert!(!six.lines().any(|l| l.split_whitespace().nth(1).is_some_and(|a| a.ends_with(&port))));
}
