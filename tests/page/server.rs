//! The built program with its page open on a folder.

use super::http::{Answer, request};
use serde_json::Value;
use std::io::{BufRead, BufReader};
use std::path::Path;
use std::process::{Child, Command, Stdio};

pub struct Server {
    child: Child,
    pub port: u16,
    pub token: String,
    pub cookie: String,
}

impl Server {
    /// Starts `scrimcheck open` and comes in with the token.
    pub fn open(folder: &Path) -> Self {
        Self::start(folder, &["open", ".", "--no-browser"])
    }

    pub fn start(folder: &Path, arguments: &[&str]) -> Self {
        let mut child = Command::new(env!("CARGO_BIN_EXE_scrimcheck"))
            .args(arguments)
            .current_dir(folder)
            .stdout(Stdio::piped())
            .spawn()
            .unwrap();
        let lines = BufReader::new(child.stdout.take().unwrap()).lines();
        let address =
            lines.map_while(Result::ok).find(|line| line.contains("http://")).expect("an address");
        let address = address.trim();
        let rest = address.strip_prefix("http://127.0.0.1:").expect("on the loopback");
        let (port, token) = rest.split_once("/?token=").expect("with a token");
        let (port, token) = (port.parse().unwrap(), token.to_owned());
        let mut server = Self { child, port, token, cookie: String::new() };
        let answer =
            request(port, "GET", &format!("/?token={}", server.token), &[server.host()], b"");
        assert_eq!(answer.status, 303, "{answer:?}");
        let cookie = answer.header("set-cookie").expect("a cookie");
        server.cookie = cookie.split(';').next().unwrap().to_owned();
        server
    }

    pub fn address(&self) -> String {
        format!("http://127.0.0.1:{}/?token={}", self.port, self.token)
    }

    pub fn host(&self) -> String {
        format!("Host: 127.0.0.1:{}", self.port)
    }

    pub fn origin(&self) -> String {
        format!("Origin: http://127.0.0.1:{}", self.port)
    }

    fn own(&self) -> Vec<String> {
        vec![self.host(), self.origin(), format!("Cookie: {}", self.cookie)]
    }

    /// As the page asks.
    pub fn get(&self, path: &str) -> Answer {
        request(self.port, "GET", path, &self.own(), b"")
    }

    pub fn post(&self, path: &str, body: &Value) -> Answer {
        let mut lines = self.own();
        lines.push("Content-Type: application/json".into());
        request(self.port, "POST", path, &lines, body.to_string().as_bytes())
    }

    pub fn send(&self, method: &str, path: &str, body: &[u8]) -> Answer {
        request(self.port, method, path, &self.own(), body)
    }

    pub fn id(&self) -> u32 {
        self.child.id()
    }

    /// Ctrl-C.
    pub fn interrupt(mut self) -> Option<i32> {
        let kill = Command::new("kill").args(["-INT", &self.id().to_string()]).status().unwrap();
        assert!(kill.success());
        self.child.wait().unwrap().code()
    }
}

impl Drop for Server {
    fn drop(&mut self) {
        // Ended already where the test interrupted it.
        if let Ok(None) = self.child.try_wait() {
            let _ = Command::new("kill").args(["-TERM", &self.id().to_string()]).status();
            let _ = self.child.wait();
        }
    }
}
