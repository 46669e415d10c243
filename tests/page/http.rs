//! A plain HTTP client: says exactly what it is told, so that it can lie like an attacker.

use std::io::{Read, Write};
use std::net::TcpStream;
use std::time::Duration;

/// An answer.
#[derive(Debug)]
pub struct Answer {
    pub status: u16,
    pub head: String,
    pub body: Vec<u8>,
}

impl Answer {
    pub fn text(&self) -> String {
        String::from_utf8_lossy(&self.body).into_owned()
    }

    pub fn json(&self) -> serde_json::Value {
        serde_json::from_slice(&self.body).unwrap_or_else(|e| panic!("{e}: {}", self.text()))
    }

    /// The value of a header, in the first of its lines.
    pub fn header(&self, name: &str) -> Option<String> {
        self.head.lines().find_map(|line| {
            let (n, value) = line.split_once(':')?;
            n.eq_ignore_ascii_case(name).then(|| value.trim().to_owned())
        })
    }
}

/// Sends the lines and the body as they are and reads the answer; no answer is status 0.
pub fn raw(port: u16, head: &str, body: &[u8]) -> Answer {
    let mut stream = TcpStream::connect(("127.0.0.1", port)).expect("the server listens");
    stream.set_read_timeout(Some(Duration::from_secs(120))).unwrap();
    stream.write_all(head.as_bytes()).unwrap();
    // A refused upload is answered before its end.
    let _ = stream.write_all(body);
    let all = read(stream);
    let at = all.windows(4).position(|w| w == b"\r\n\r\n").unwrap_or(all.len());
    let head = String::from_utf8_lossy(&all[..at]).into_owned();
    let body = all.get(at + 4..).unwrap_or_default().to_vec();
    let status = head.split(' ').nth(1).and_then(|s| s.parse().ok()).unwrap_or(0);
    let chunked = head.to_lowercase().contains("transfer-encoding: chunked");
    Answer { status, head, body: if chunked { unchunked(&body) } else { body } }
}

/// Reads to the end of the answer: some servers leave the connection open after it.
fn read(mut stream: TcpStream) -> Vec<u8> {
    let mut all = Vec::new();
    let mut piece = vec![0; 1 << 16];
    while let Ok(n) = stream.read(&mut piece) {
        all.extend_from_slice(&piece[..n]);
        let head = all.windows(4).position(|w| w == b"\r\n\r\n");
        let length = head.and_then(|at| {
            let text = String::from_utf8_lossy(&all[..at]).to_lowercase();
            let rest = text.split("content-length:").nth(1)?.to_owned();
            Some(at + 4 + rest.lines().next()?.trim().parse::<usize>().ok()?)
        });
        if n == 0 || length.is_some_and(|length| all.len() >= length) {
            break;
        }
    }
    all
}

fn unchunked(mut rest: &[u8]) -> Vec<u8> {
    let mut body = Vec::new();
    while let Some(at) = rest.windows(2).position(|w| w == b"\r\n") {
        let size = String::from_utf8_lossy(&rest[..at]);
        let size = usize::from_str_radix(size.trim(), 16).unwrap_or(0);
        if size == 0 {
            break;
        }
        body.extend_from_slice(&rest[at + 2..at + 2 + size]);
        rest = &rest[at + 4 + size..];
    }
    body
}

/// A request with `Host` and a length; further lines as given.
pub fn request(port: u16, method: &str, path: &str, lines: &[String], body: &[u8]) -> Answer {
    let mut head = format!(
        "{method} {path} HTTP/1.1\r\nConnection: close\r\nContent-Length: {}\r\n",
        body.len()
    );
    for line in lines {
        head += &format!("{line}\r\n");
    }
    raw(port, &(head + "\r\n"), body)
}

/// Sends the beginning of a request and goes away.
pub fn break_off(port: u16, head: &str) {
    let mut stream = TcpStream::connect(("127.0.0.1", port)).expect("the server listens");
    stream.write_all(head.as_bytes()).unwrap();
    stream.write_all(b"12").unwrap();
    std::thread::sleep(Duration::from_millis(300));
}
