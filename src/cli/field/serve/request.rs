//! A request as it comes in: its head and body, each within a size and a time.

use std::io::{self, Read};
use std::net::{Shutdown, TcpStream};
use std::time::{Duration, Instant};

use super::reply::{Reply, Status};

/// Longest head, bytes.
const LONGEST_HEAD: usize = 16 * 1024;
/// Longest body, bytes: an hour of five columns at 1 kHz.
const LONGEST_BODY: usize = 200 * 1024 * 1024;
/// For the head, and for all of the request: a browser on the same machine needs milliseconds.
const HEAD_TIME: Duration = Duration::from_secs(3);
const WHOLE_TIME: Duration = Duration::from_secs(60);
/// How long a refused sender is heard out, so that it reads the refusal.
const DRAIN_TIME: Duration = Duration::from_millis(300);

/// What is asked to be done.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Method {
    /// Show.
    Get,
    /// Change.
    Post,
}

/// The first line and the fields.
#[derive(Debug)]
pub(super) struct Head {
    pub method: Method,
    pub path: String,
    pub query: Option<String>,
    fields: Vec<(String, String)>,
}

/// A request that was let in.
#[derive(Debug)]
pub(crate) struct Request {
    /// What to do.
    pub method: Method,
    /// With what: a path of this server's own list, never one of the disk.
    pub path: String,
    /// What was sent.
    pub body: Vec<u8>,
}

impl Head {
    fn parse(bytes: &[u8]) -> Option<Self> {
        let mut lines = std::str::from_utf8(bytes).ok()?.split("\r\n");
        let first: Vec<&str> = lines.next()?.split(' ').collect();
        let (method, target) = match first[..] {
            ["GET", target, version] if version.starts_with("HTTP/1.") => (Method::Get, target),
            ["POST", target, version] if version.starts_with("HTTP/1.") => (Method::Post, target),
            _ => return None,
        };
        let mut parts = target.splitn(2, '?');
        let (path, query) = (parts.next()?, parts.next());
        let field = |line: &str| {
            let (name, value) = line.split_once(':')?;
            let letter = |byte: u8| byte.is_ascii_alphanumeric() || byte == b'-' || byte == b'_';
            let sound = !name.is_empty() && name.bytes().all(letter);
            sound.then(|| (name.to_ascii_lowercase(), value.trim().to_owned()))
        };
        let fields = lines.filter(|line| !line.is_empty()).map(field);
        path.starts_with('/').then_some(Self {
            method,
            path: path.to_owned(),
            query: query.map(str::to_owned),
            fields: fields.collect::<Option<_>>()?,
        })
    }

    pub(super) fn all<'a>(&'a self, name: &'a str) -> impl Iterator<Item = &'a str> {
        let mine = self.fields.iter().filter(move |(field, _)| field == name);
        mine.map(|(_, value)| value.as_str())
    }

    pub(super) fn has(&self, name: &str) -> bool {
        self.all(name).next().is_some()
    }

    /// A field that stands once.
    pub(super) fn only<'a>(&'a self, name: &'a str) -> Option<&'a str> {
        let mut all = self.all(name);
        all.next().filter(|_| all.next().is_none())
    }

    /// Bytes of the body.
    fn length(&self) -> Result<usize, Reply> {
        if self.has("transfer-encoding") {
            return Err(bad("a body in pieces is not read here"));
        }
        let digits = |text: &&str| text.bytes().all(|byte| byte.is_ascii_digit());
        let stated = match self.only("content-length").filter(digits) {
            Some(stated) => stated,
            None if self.has("content-length") => {
                return Err(bad("the length of the body is not stated"));
            }
            None => "0",
        };
        let length = stated.parse().ok().filter(|length| *length <= LONGEST_BODY);
        let says = "this is more than 200 MB: use the terminal for it";
        length.ok_or_else(|| Reply::refusal(Status::TooLarge, says))
    }
}

fn bad(says: &str) -> Reply {
    Reply::refusal(Status::BadRequest, says)
}

/// Reads a request; nothing of the body before the head is let in.
pub(super) fn read<A>(
    stream: &mut TcpStream,
    admits: impl Fn(&Head) -> Result<A, Reply>,
) -> Result<(A, Request), Reply> {
    let start = Instant::now();
    let mut bytes = Vec::new();
    let end = loop {
        if let Some(end) = memchr::memmem::find(&bytes, b"\r\n\r\n") {
            break end;
        }
        if bytes.len() > LONGEST_HEAD {
            let says = "the head of the request is too long";
            return Err(Reply::refusal(Status::HeadTooLarge, says));
        }
        more(stream, &mut bytes, start + HEAD_TIME, 4096)?;
    };
    let head = Head::parse(&bytes[..end]);
    let head = head.ok_or_else(|| bad("this is no request that is understood here"))?;
    let admission = admits(&head)?;
    let length = head.length()?;
    let mut body = bytes.split_off(end + 4);
    while body.len() < length {
        more(stream, &mut body, start + WHOLE_TIME, length.min(1 << 16))?;
    }
    body.truncate(length);
    Ok((
        admission,
        Request {
            method: head.method,
            path: head.path,
            body,
        },
    ))
}

/// Reads some more, until a deadline.
fn more(
    stream: &mut TcpStream,
    into: &mut Vec<u8>,
    until: Instant,
    most: usize,
) -> Result<(), Reply> {
    let late = || Reply::refusal(Status::TimedOut, "the request did not come in time");
    let left = until.saturating_duration_since(Instant::now());
    let mut part = vec![0; most.max(1)];
    // No time at all is an error, and so late.
    let ready = stream.set_read_timeout(Some(left));
    match ready.and_then(|()| stream.read(&mut part)) {
        Ok(0) => Err(bad("the request is cut short")),
        Ok(read) => {
            into.extend_from_slice(&part[..read]);
            Ok(())
        }
        Err(error) if error.kind() == io::ErrorKind::Interrupted => Ok(()),
        Err(_) => Err(late()),
    }
}

/// Hears out what else was sent: closing on unread bytes would take the reply away.
pub(super) fn drain(stream: &mut TcpStream) -> io::Result<()> {
    stream.shutdown(Shutdown::Write)?;
    stream.set_read_timeout(Some(DRAIN_TIME))?;
    let until = Instant::now() + DRAIN_TIME;
    let mut part = [0; 1 << 16];
    while Instant::now() < until && stream.read(&mut part)? > 0 {}
    Ok(())
}
