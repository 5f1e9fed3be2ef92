//! A program that serves a page: started, asked as a browser would or would not, and ended.

use std::io::{BufRead, BufReader, Read, Write};
use std::net::TcpStream;
use std::process::{Child, Command, Stdio};
use std::sync::mpsc::{Receiver, channel};
use std::time::{Duration, Instant};

use crate::runner::Folder;

/// A served page, whose program ends with it.
pub struct Served {
    pub child: Child,
    /// With the token.
    pub address: String,
    pub port: u16,
    pub cookie: String,
    /// Lines of stdout, each with the time it came.
    pub lines: Receiver<(Instant, String)>,
}

impl Drop for Served {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// What was answered.
#[derive(Debug)]
pub struct Answer {
    pub status: u16,
    pub head: String,
    pub body: String,
}

impl Served {
    pub fn start(folder: &Folder, args: &[&str]) -> Self {
        let mut child = Command::new(env!("CARGO_BIN_EXE_burnwright"))
            .args(args)
            .arg("--no-browser")
            .current_dir(folder.folder.path())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .unwrap();
        let (sender, lines) = channel();
        let out = BufReader::new(child.stdout.take().unwrap());
        std::thread::spawn(move || {
            for line in out.lines().map_while(Result::ok) {
                if sender.send((Instant::now(), line)).is_err() {
                    break;
                }
            }
        });
        let mut errors = BufReader::new(child.stderr.take().unwrap()).lines();
        let mut told = String::new();
        let address = errors.by_ref().map_while(Result::ok).find_map(|line| {
            told += &format!("{line}\n");
            line.strip_prefix("open ").map(str::to_owned)
        });
        let address = address.unwrap_or_else(|| panic!("no address: {told}"));
        // Nobody reads the rest, but it must not fill the pipe.
        std::thread::spawn(move || errors.map_while(Result::ok).for_each(drop));
        let (place, token) = address.split_once("/?token=").unwrap();
        let port = place.rsplit_once(':').unwrap().1.parse().unwrap();
        Self {
            cookie: format!("burnwright-{port}={token}"),
            child,
            address,
            port,
            lines,
        }
    }

    /// Sends bytes as they are.
    pub fn raw(&self, bytes: &[u8]) -> Answer {
        let mut stream = TcpStream::connect(("127.0.0.1", self.port)).unwrap();
        let limit = Some(Duration::from_secs(20));
        stream.set_read_timeout(limit).unwrap();
        // A refusal may come before all is sent.
        let _ = stream.write_all(bytes);
        let mut all = Vec::new();
        let _ = stream.read_to_end(&mut all);
        let text = String::from_utf8_lossy(&all).into_owned();
        let (head, body) = text.split_once("\r\n\r\n").unwrap_or((&text, ""));
        let status = head.split(' ').nth(1).and_then(|code| code.parse().ok());
        Answer {
            status: status.unwrap_or(0),
            head: head.to_owned(),
            body: body.to_owned(),
        }
    }

    /// A request with these fields beside Host and cookie.
    pub fn ask(&self, line: &str, fields: &str, body: &str) -> Answer {
        let (host, cookie) = (format!("127.0.0.1:{}", self.port), &self.cookie);
        let length = body.len();
        let request = format!(
            "{line} HTTP/1.1\r\nHost: {host}\r\nCookie: {cookie}\r\nContent-Length: {length}\r\n{fields}\r\n{body}"
        );
        self.raw(request.as_bytes())
    }

    pub fn get(&self, path: &str) -> Answer {
        self.ask(&format!("GET {path}"), "", "")
    }

    /// As the page's own script sends it.
    pub fn post(&self, path: &str, body: &str) -> Answer {
        let own = format!(
            "Origin: http://127.0.0.1:{}\r\nSec-Fetch-Site: same-origin\r\n",
            self.port
        );
        self.ask(&format!("POST {path}"), &own, body)
    }

    /// Events as they come, each with its time.
    pub fn events(&self) -> Receiver<(Instant, serde_json::Value)> {
        let mut stream = TcpStream::connect(("127.0.0.1", self.port)).unwrap();
        let request = format!(
            "GET /events HTTP/1.1\r\nHost: 127.0.0.1:{}\r\nCookie: {}\r\n\r\n",
            self.port, self.cookie
        );
        stream.write_all(request.as_bytes()).unwrap();
        let (sender, events) = channel();
        std::thread::spawn(move || {
            for line in BufReader::new(stream).lines().map_while(Result::ok) {
                let text = line.strip_prefix("data: ");
                let state = text.and_then(|text| serde_json::from_str(text).ok());
                if state.is_some_and(|state| sender.send((Instant::now(), state)).is_err()) {
                    break;
                }
            }
        });
        events
    }

    /// The first line of stdout that holds these words, and when it came.
    pub fn line(&self, words: &str, within: Duration) -> (Instant, String) {
        let until = Instant::now() + within;
        let mut heard = String::new();
        let left = || until.saturating_duration_since(Instant::now());
        while let Ok((at, line)) = self.lines.recv_timeout(left()) {
            if line.contains(words) {
                return (at, line);
            }
            heard += &format!("{line}\n");
        }
        panic!("no line with {words}:\n{heard}");
    }
}
