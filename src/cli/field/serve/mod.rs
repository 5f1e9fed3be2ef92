//! A small server for the pages of `desk` and `watch`: this machine alone, this browser alone.
//!
//! The standard library serves one browser on one machine well: a thread for each connection, one request each. Of the
//! framework crates tried, the smallest brought 300 kB and none of what matters here, which is [`guard`]: the loopback
//! address only, a random token, the names that a browser says it came by and from. What a page may load and where it may
//! send stands in its policy (Content Security Policy Level 3); names after RFC 9110 (HTTP semantics) and RFC 6265bis (cookies).
//! Limits: HTTP/1.1 without chunked bodies, pipelining or encryption, all of which a browser on the same machine does without.

mod events;
mod guard;
mod reply;
mod request;

use std::io;
use std::net::{Ipv4Addr, TcpListener, TcpStream};
use std::sync::atomic::{AtomicUsize, Ordering};
use std::thread;

use burnwright::{Code, Diagnostic, Error};

pub(super) use events::Events;
use guard::{Admission, Guard};
pub(super) use reply::{Kind, Reply, Status};
pub(super) use request::{Method, Request};

/// Connections at one time: a browser opens six, and one for events in each tab.
const MOST_CONNECTIONS: usize = 48;

/// What answers requests that the guard let through.
pub(super) trait Answer: Sync {
    /// The reply to a request.
    fn answer(&self, request: &Request) -> Reply;
}

/// A listening server.
pub(super) struct Server {
    listener: TcpListener,
    guard: Guard,
}

impl Server {
    /// Listens on the loopback address; port 0 takes any that is free.
    ///
    /// # Errors
    /// The port is taken or not allowed.
    pub(super) fn bind(port: u16) -> Result<Self, Error> {
        let bound = TcpListener::bind((Ipv4Addr::LOCALHOST, port))
            .and_then(|listener| Ok((listener.local_addr()?.port(), listener)));
        let (port, listener) = bound.map_err(|why| cannot_listen(port, &why))?;
        Ok(Self {
            listener,
            guard: Guard::new(port),
        })
    }

    /// The address to open first: it holds the token.
    pub(super) fn address(&self) -> String {
        self.guard.address()
    }

    /// Serves until the program ends.
    pub(super) fn run(&self, site: &dyn Answer) {
        let open = AtomicUsize::new(0);
        thread::scope(|scope| {
            for stream in self.listener.incoming() {
                let Ok(stream) = stream else {
                    // Out of file handles, most likely: the next may find one.
                    thread::sleep(std::time::Duration::from_millis(20));
                    continue;
                };
                if open.fetch_add(1, Ordering::Relaxed) >= MOST_CONNECTIONS {
                    open.fetch_sub(1, Ordering::Relaxed);
                    continue;
                }
                let open = &open;
                scope.spawn(move || {
                    // A browser that has gone away is no error.
                    let _ = self.converse(stream, site);
                    open.fetch_sub(1, Ordering::Relaxed);
                });
            }
        });
    }

    /// One request and its reply.
    fn converse(&self, mut stream: TcpStream, site: &dyn Answer) -> io::Result<()> {
        let reply = match request::read(&mut stream, |head| self.guard.admits(head)) {
            Ok((Admission::First, _)) => Reply::welcome(self.guard.cookie()),
            Ok((Admission::Known, request)) => site.answer(&request),
            Err(refused) => refused,
        };
        reply.send(&mut stream)?;
        request::drain(&mut stream)
    }
}

fn cannot_listen(port: u16, why: &io::Error) -> Error {
    let message = match why.kind() {
        io::ErrorKind::AddrInUse => {
            format!(
                "port {port} is taken: another program, or another page of this one, listens there"
            )
        }
        _ => format!("port {port} cannot be listened on: {why}"),
    };
    Diagnostic::error(Code::NoPort, message)
        .hint("leave --http-port out, and a free one is taken")
        .into()
}
