//! Who may ask: the browser that was given the token, on this machine, from this server's own pages.
//!
//! Against other sites in the same browser stand the cookie's `SameSite=Strict`, `Origin` and `Sec-Fetch-Site`; against a
//! name that is rebound to this machine stands `Host`; against other users of the machine the token, 128 bits from the
//! system. Cookies are not kept apart by port (RFC 6265, 8.5), so the cookie's name holds it.

use sha2::{Digest, Sha256};

use super::reply::{Reply, Status};
use super::request::{Head, Method};

/// The query of the first address.
const TOKEN: &str = "token=";

pub(super) struct Guard {
    port: u16,
    token: String,
}

/// How a request came to be let in.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Admission {
    /// By the first address: it gets the cookie.
    First,
    /// By the cookie.
    Known,
}

impl Guard {
    pub(super) fn new(port: u16) -> Self {
        let random: [u8; 16] = rand::random();
        let token = random.iter().map(|byte| format!("{byte:02x}")).collect();
        Self { port, token }
    }

    pub(super) fn address(&self) -> String {
        format!("http://127.0.0.1:{}/?{TOKEN}{}", self.port, self.token)
    }

    pub(super) fn cookie(&self) -> String {
        let (name, token) = (self.cookie_name(), &self.token);
        format!("{name}={token}; Path=/; HttpOnly; SameSite=Strict")
    }

    fn cookie_name(&self) -> String {
        format!("burnwright-{}", self.port)
    }

    /// Lets a request in, or says why not.
    pub(super) fn admits(&self, head: &Head) -> Result<Admission, Reply> {
        let forbidden = |says: &str| Err(Reply::refusal(Status::Forbidden, says));
        let own = ["127.0.0.1", "localhost"].map(|name| format!("{name}:{}", self.port));
        let host = head.only("host");
        if !own.iter().any(|own| host == Some(own)) {
            let says = "this name does not belong to this page";
            return Err(Reply::refusal(Status::Misdirected, says));
        }
        let shows = head.method == Method::Get;
        let query = head.query.as_deref();
        let token = query.and_then(|query| query.strip_prefix(TOKEN));
        if let Some(token) = token.filter(|_| shows && head.path == "/") {
            let right = self.is_token(token).then_some(Admission::First);
            return right.map_or_else(|| forbidden(WRONG_TOKEN), Ok);
        }
        let ours = |origin: &str| own.iter().any(|own| origin == format!("http://{own}"));
        let origin = head.only("origin");
        let from_us = origin.map_or(shows && !head.has("origin"), ours);
        let same_site = match head.only("sec-fetch-site") {
            Some("same-origin") => true,
            // Typed, or opened from a bookmark.
            Some("none") => shows,
            Some(_) => false,
            None => !head.has("sec-fetch-site"),
        };
        if !from_us || !same_site {
            return forbidden("another site asked for this");
        }
        let name = self.cookie_name();
        let cookies = head.all("cookie").flat_map(|line| line.split(';'));
        let mut pairs = cookies.filter_map(|one| one.trim().split_once('='));
        match pairs.any(|(key, value)| key == name && self.is_token(value)) {
            true => Ok(Admission::Known),
            false => forbidden(WRONG_TOKEN),
        }
    }

    /// Compared by their digests, so that the time it takes tells nothing of the token.
    fn is_token(&self, text: &str) -> bool {
        Sha256::digest(text) == Sha256::digest(&self.token)
    }
}

const WRONG_TOKEN: &str = "open the address that the terminal shows: only it leads in here";
