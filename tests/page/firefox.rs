//! Firefox, driven over its own protocol (Marionette: numbered commands as JSON, each after its
//! length and a colon, on a loopback port).

use super::driver::all_start;
use serde_json::{Value, json};
use std::io::{Read, Write};
use std::net::TcpStream;
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

/// Grants the microphone and lets sound start by itself.
const SETTINGS: &str = "user_pref('media.navigator.permission.disabled', true);\n\
    user_pref('media.autoplay.default', 0);\nuser_pref('media.autoplay.blocking_policy', 0);\n\
    user_pref('datareporting.policy.dataSubmissionEnabled', false);\n\
    user_pref('app.update.enabled', false);\nuser_pref('browser.shell.checkDefaultBrowser', false);\n";

pub struct Firefox {
    child: Child,
    stream: TcpStream,
    number: u32,
}

/// Whether it is installed.
pub fn is_there() -> bool {
    all_start(&["firefox-esr"])
}

impl Firefox {
    /// Starts with a new profile in `folder` and the sound server of `environment`.
    pub fn start(folder: &Path, environment: &[(String, String)]) -> Self {
        std::fs::create_dir_all(folder).unwrap();
        let port = std::net::TcpListener::bind("127.0.0.1:0").unwrap().local_addr().unwrap().port();
        let settings = format!("{SETTINGS}user_pref('marionette.port', {port});\n");
        std::fs::write(folder.join("user.js"), settings).unwrap();
        let child = Command::new("firefox-esr")
            .args(["--headless", "--marionette", "--no-remote", "--profile"])
            .arg(folder)
            .envs(environment.iter().cloned())
            .env("HOME", folder)
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        let begun = Instant::now();
        let stream = loop {
            match TcpStream::connect(("127.0.0.1", port)) {
                Ok(stream) => break stream,
                Err(e) => assert!(begun.elapsed() < Duration::from_secs(60), "no answer: {e}"),
            }
            std::thread::sleep(Duration::from_millis(200));
        };
        stream.set_read_timeout(Some(Duration::from_secs(120))).unwrap();
        let mut firefox = Self { child, stream, number: 0 };
        let hello = firefox.read();
        assert_eq!(hello["marionetteProtocol"], 3, "{hello}");
        firefox.ask("WebDriver:NewSession", &json!({}));
        firefox
    }

    fn read(&mut self) -> Value {
        let mut length = 0;
        loop {
            let mut byte = [0];
            self.stream.read_exact(&mut byte).unwrap();
            if byte[0] == b':' {
                break;
            }
            length = 10 * length + usize::from(byte[0] - b'0');
        }
        let mut body = vec![0; length];
        self.stream.read_exact(&mut body).unwrap();
        serde_json::from_slice(&body).unwrap()
    }

    fn ask(&mut self, command: &str, parameters: &Value) -> Value {
        self.number += 1;
        let text = json!([0, self.number, command, parameters]).to_string();
        self.stream.write_all(format!("{}:{text}", text.len()).as_bytes()).unwrap();
        let answer = self.read();
        assert!(answer[2].is_null(), "{command}: {}", answer[2]);
        answer[3].clone()
    }

    pub fn go(&mut self, address: &str) {
        self.ask("WebDriver:Navigate", &json!({"url": address}));
    }

    /// What a script returns.
    pub fn run(&mut self, script: &str) -> Value {
        // In the page's own world, whose variables it may set.
        let ask = json!({"script": script, "args": [], "sandbox": null});
        self.ask("WebDriver:ExecuteScript", &ask)["value"].clone()
    }

    /// Waits until an expression is neither false nor null, and returns it.
    pub fn wait(&mut self, what: &str, seconds: u64) -> Value {
        let begun = Instant::now();
        loop {
            let value = self.run(&format!("return ({what}) ?? null"));
            if !value.is_null() && value != json!(false) && value != json!("") {
                return value;
            }
            if begun.elapsed() > Duration::from_secs(seconds) {
                let page = self.run("return document.body.innerText");
                panic!("{what} did not come within {seconds} s on:\n{}", page.as_str().unwrap());
            }
            std::thread::sleep(Duration::from_millis(100));
        }
    }

    /// A click on what is there or comes soon.
    pub fn click(&mut self, selector: &str) {
        let found = format!("document.querySelector({})", json!(selector));
        self.wait(&found, 20);
        self.run(&format!("{found}.click()"));
    }

    pub fn text(&mut self, selector: &str) -> String {
        let text = format!("return document.querySelector({})?.innerText ?? ''", json!(selector));
        self.run(&text).as_str().unwrap_or("").to_owned()
    }

    /// The label of a list and the value to choose in it.
    pub fn choose(&mut self, label: &str, value: &str) {
        self.run(&format!(
            "const l = [...document.querySelectorAll('label')].find(l => l.innerText.trim() === {});\
             const s = document.getElementById(l.htmlFor); s.value = {};\
             s.dispatchEvent(new Event('change'))",
            json!(label),
            json!(value)
        ));
    }
}

impl Drop for Firefox {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}
