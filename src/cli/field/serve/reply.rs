//! What is sent back, with what a browser may do with it.

use std::io::{self, Write};
use std::net::TcpStream;
use std::sync::Arc;
use std::time::Duration;

use super::events::Events;

/// A browser that does not read for so long has gone.
const WRITE_TIME: Duration = Duration::from_secs(10);

/// How it went (RFC 9110, 15).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Status {
    Fine = 200,
    BadRequest = 400,
    Forbidden = 403,
    NotFound = 404,
    /// Too slow.
    TimedOut = 408,
    /// What it rests on has changed meanwhile.
    Conflict = 409,
    TooLarge = 413,
    /// Meant for somebody else.
    Misdirected = 421,
    HeadTooLarge = 431,
}

/// What is sent.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Kind {
    /// A page of this program's own.
    Page,
    /// A report from the disk: its own script may run, but it belongs to no site and reaches nothing.
    Report,
    /// Text.
    Text,
    /// The script of a page.
    Script,
    /// The look of a page.
    Style,
}

impl Kind {
    const fn media(self) -> &'static str {
        match self {
            Self::Page | Self::Report => "text/html; charset=utf-8",
            Self::Text => "text/plain; charset=utf-8",
            Self::Script => "text/javascript; charset=utf-8",
            Self::Style => "text/css; charset=utf-8",
        }
    }

    const fn policy(self) -> &'static str {
        match self {
            Self::Report => {
                "sandbox allow-scripts; default-src 'none'; style-src 'unsafe-inline'; script-src 'unsafe-inline'; \
                 base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
            }
            _ => {
                "default-src 'none'; style-src 'self' 'unsafe-inline'; script-src 'self'; connect-src 'self'; img-src data:; \
                 base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
            }
        }
    }
}

/// A reply.
pub(crate) enum Reply {
    /// All of it at once, perhaps with the cookie that lets the browser in.
    Whole(Status, Kind, Vec<u8>, Option<String>),
    /// Events as they come, until the browser goes (HTML Living Standard, server-sent events).
    Stream(Arc<Events>),
}

impl Reply {
    /// Done, and this is it.
    pub(crate) fn of(kind: Kind, body: impl Into<Vec<u8>>) -> Self {
        Self::Whole(Status::Fine, kind, body.into(), None)
    }

    /// A file by its name.
    pub(crate) fn file(name: &str, body: impl Into<Vec<u8>>) -> Self {
        let kind = match name.rsplit_once('.') {
            Some((_, "css")) => Kind::Style,
            Some((_, "js")) => Kind::Script,
            Some((_, "html")) => Kind::Report,
            _ => Kind::Text,
        };
        Self::of(kind, body)
    }

    /// Not done, and this is why.
    pub(crate) fn refusal(status: Status, says: impl Into<String>) -> Self {
        Self::Whole(status, Kind::Text, (says.into() + "\n").into(), None)
    }

    /// The answer to the first address. It goes on by itself: a redirection would still count as the other site's that led
    /// here, and the cookie would stay behind.
    pub(super) fn welcome(cookie: String) -> Self {
        let body = "<!DOCTYPE html><meta charset=\"utf-8\"><meta http-equiv=\"refresh\" content=\"0;url=/\"><link rel=\"icon\" href=\"data:,\"><title>burnwright</title>";
        Self::Whole(Status::Fine, Kind::Page, body.into(), Some(cookie))
    }

    pub(super) fn send(self, stream: &mut TcpStream) -> io::Result<()> {
        stream.set_write_timeout(Some(WRITE_TIME))?;
        stream.set_nodelay(true)?;
        match self {
            Self::Whole(status, kind, body, cookie) => {
                let cookie =
                    cookie.map_or(String::new(), |cookie| format!("Set-Cookie: {cookie}\r\n"));
                let (status, media, policy) = (status as u16, kind.media(), kind.policy());
                let length = body.len();
                let head = format!(
                    "HTTP/1.1 {status} \r\nContent-Type: {media}\r\nContent-Length: {length}\r\nContent-Security-Policy: {policy}\r\n{COMMON}{cookie}\r\n"
                );
                stream.write_all(head.as_bytes())?;
                stream.write_all(&body)
            }
            Self::Stream(events) => {
                let head =
                    format!("HTTP/1.1 200 \r\nContent-Type: text/event-stream\r\n{COMMON}\r\n");
                stream.write_all(head.as_bytes())?;
                events.send_to(stream)
            }
        }
    }
}

/// Fields of every reply.
const COMMON: &str = "Connection: close\r\nCache-Control: no-store\r\nX-Content-Type-Options: nosniff\r\n\
     Referrer-Policy: no-referrer\r\nCross-Origin-Resource-Policy: same-origin\r\nCross-Origin-Opener-Policy: same-origin\r\n";
