//! A browser, driven over WebDriver (W3C) by plain requests.

use super::http::raw;
use base64::Engine as _;
use serde_json::{Value, json};
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

pub struct Browser {
    driver: Child,
    port: u16,
    session: String,
}

/// Whether Chromium and its driver are installed.
pub fn is_there() -> bool {
    all_start(&["chromium", "chromedriver"])
}

/// Whether these programs can be started.
pub fn all_start(names: &[&str]) -> bool {
    names.iter().all(|name| {
        Command::new(name)
            .arg("--version")
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .status()
            .is_ok()
    })
}

impl Browser {
    /// Starts Chromium with the sound server of `environment`. `allowed` grants the microphone,
    /// else it is refused.
    pub fn start(environment: &[(String, String)], allowed: bool) -> Self {
        let port = std::net::TcpListener::bind("127.0.0.1:0").unwrap().local_addr().unwrap().port();
        let driver = Command::new("chromedriver")
            .arg(format!("--port={port}"))
            .envs(environment.iter().cloned())
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        let mut browser = Self { driver, port, session: String::new() };
        let begun = Instant::now();
        while std::net::TcpStream::connect(("127.0.0.1", port)).is_err() {
            assert!(begun.elapsed() < Duration::from_secs(20), "the driver does not answer");
            std::thread::sleep(Duration::from_millis(100));
        }
        let mut arguments = vec![
            "--headless=new",
            "--no-sandbox",
            "--disable-dev-shm-usage",
            "--disable-gpu",
            "--autoplay-policy=no-user-gesture-required",
            "--window-size=1366,900",
        ];
        let mut options = json!({"excludeSwitches": ["mute-audio"]});
        if allowed {
            arguments.push("--use-fake-ui-for-media-stream");
        } else {
            options["prefs"] =
                json!({"profile.default_content_setting_values.media_stream_mic": 2});
        }
        options["args"] = json!(arguments);
        let wanted = json!({"capabilities": {"alwaysMatch": {"goog:chromeOptions": options, "goog:loggingPrefs": {"browser": "ALL"}}}});
        let made = browser.ask("POST", "/session", &wanted);
        browser.session = format!("/session/{}", made["sessionId"].as_str().expect("a session"));
        browser
    }

    fn ask(&self, method: &str, path: &str, body: &Value) -> Value {
        let body = if method == "GET" { String::new() } else { body.to_string() };
        let head = format!(
            "{method} {path} HTTP/1.1\r\nHost: 127.0.0.1:{}\r\nConnection: close\r\nContent-Type: application/json\r\nContent-Length: {}\r\n\r\n",
            self.port,
            body.len()
        );
        let answer = raw(self.port, &head, body.as_bytes());
        let value = answer.json()["value"].clone();
        assert_eq!(answer.status, 200, "{method} {path}: {value}");
        value
    }

    /// A command of the browser's own protocol.
    fn command(&self, name: &str, parameters: Value) -> Value {
        let path = format!("{}/goog/cdp/execute", self.session);
        self.ask("POST", &path, &json!({"cmd": name, "params": parameters}))
    }

    /// A window of so many pixels, in the light or in the dark.
    pub fn look(&self, width: u32, height: u32, dark: bool) {
        let size = json!({"width": width, "height": height, "deviceScaleFactor": 1, "mobile": width < 600});
        self.command("Emulation.setDeviceMetricsOverride", size);
        let scheme =
            json!({"name": "prefers-color-scheme", "value": if dark { "dark" } else { "light" }});
        self.command("Emulation.setEmulatedMedia", json!({"features": [scheme]}));
    }

    /// The whole page as PNG.
    pub fn picture(&self) -> Vec<u8> {
        let shot = json!({"format": "png", "captureBeyondViewport": true});
        let made = self.command("Page.captureScreenshot", shot);
        let data = made["data"].as_str().expect("a picture");
        base64::engine::general_purpose::STANDARD.decode(data).unwrap()
    }

    /// With `SCRIMCHECK_PICTURES` set to a folder: what stands there now, on a phone and on a laptop.
    pub fn keep(&self, name: &str) {
        let Some(folder) = std::env::var_os("SCRIMCHECK_PICTURES") else { return };
        for (window, width, height) in [("phone", 390, 844), ("laptop", 1366, 900)] {
            self.look(width, height, false);
            let path = std::path::Path::new(&folder).join(format!("{name}-{window}.png"));
            std::fs::write(path, self.picture()).unwrap();
        }
    }

    /// What a script that answers through its last argument returns.
    pub fn run_later(&self, script: &str) -> Value {
        let path = format!("{}/execute/async", self.session);
        self.ask("POST", &path, &json!({"script": script, "args": []}))
    }

    pub fn go(&self, address: &str) {
        self.ask("POST", &format!("{}/url", self.session), &json!({"url": address}));
    }

    /// What a script returns.
    pub fn run(&self, script: &str) -> Value {
        self.ask(
            "POST",
            &format!("{}/execute/sync", self.session),
            &json!({"script": script, "args": []}),
        )
    }

    /// Waits until an expression is neither false nor null, and returns it.
    pub fn wait(&self, what: &str, seconds: u64) -> Value {
        let begun = Instant::now();
        loop {
            let value = self.run(&format!("return ({what}) ?? null"));
            if !value.is_null() && value != json!(false) && value != json!("") {
                return value;
            }
            if begun.elapsed() > Duration::from_secs(seconds) {
                let page = self.run("return document.body.innerText");
                panic!(
                    "{what} did not come within {seconds} s on:\n{}\n{:?}",
                    page.as_str().unwrap_or(""),
                    self.complaints()
                );
            }
            std::thread::sleep(Duration::from_millis(100));
        }
    }

    fn element(&self, selector: &str) -> String {
        self.wait(&format!("document.querySelector({})", json!(selector)), 20);
        let found = self.ask(
            "POST",
            &format!("{}/element", self.session),
            &json!({"using": "css selector", "value": selector}),
        );
        let id = found.as_object().and_then(|o| o.values().next()).and_then(Value::as_str);
        format!("{}/element/{}", self.session, id.expect("an element"))
    }

    /// A click as a pointer makes it.
    pub fn click(&self, selector: &str) {
        let element = self.element(selector);
        self.ask("POST", &format!("{element}/click"), &json!({}));
    }

    /// Keys as a keyboard sends them.
    pub fn keys(&self, selector: &str, text: &str) {
        let element = self.element(selector);
        self.ask("POST", &format!("{element}/value"), &json!({"text": text}));
    }

    pub fn text(&self, selector: &str) -> String {
        let found = self
            .run(&format!("return document.querySelector({})?.innerText ?? ''", json!(selector)));
        found.as_str().unwrap_or("").to_owned()
    }

    /// The field whose label is this, as a selector.
    pub fn labelled(&self, label: &str) -> String {
        let script = format!(
            "return [...document.querySelectorAll('label')].find(l => l.innerText.trim() === {})?.htmlFor",
            json!(label)
        );
        format!("#{}", self.run(&script).as_str().unwrap_or_else(|| panic!("no field {label}")))
    }

    /// What the page complained about on its console.
    pub fn complaints(&self) -> Vec<String> {
        let log =
            self.ask("POST", &format!("{}/se/log", self.session), &json!({"type": "browser"}));
        log.as_array().into_iter().flatten().map(|l| l["message"].to_string()).collect()
    }
}

impl Drop for Browser {
    fn drop(&mut self) {
        if !self.session.is_empty() {
            let head = format!(
                "DELETE {} HTTP/1.1\r\nHost: 127.0.0.1:{}\r\nConnection: close\r\n\r\n",
                self.session, self.port
            );
            let _ = raw(self.port, &head, b"");
        }
        let _ = self.driver.kill();
        let _ = self.driver.wait();
    }
}
