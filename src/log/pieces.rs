//! A long file in pieces of whole lines, its digest taken as they go by.

use std::io::Read;

use sha2::{Digest, Sha256};

use super::source::{Source, hexadecimal};
use crate::diagnostic::Error;

/// Bytes of a piece: with the columns read from it, what a core keeps close by.
const PIECE: usize = 1 << 20;

/// What is left of a file.
pub(super) struct Pieces<'a> {
    source: &'a Source,
    reader: Box<dyn Read + Send>,
    /// Of a file that is not packed.
    hash: Option<Sha256>,
    read: u64,
    /// The beginning of a line that goes on in the next piece.
    begun: Vec<u8>,
    ended: bool,
}

impl<'a> Pieces<'a> {
    pub(super) fn new(source: &'a Source) -> Result<Self, Error> {
        Ok(Self {
            source,
            reader: source.reader_from(0)?,
            hash: source.plain_length().map(|_| Sha256::new()),
            read: 0,
            begun: Vec::new(),
            ended: false,
        })
    }

    /// The next whole lines, and where they begin in the unpacked file.
    pub(super) fn next(&mut self) -> Result<Option<(u64, Vec<u8>)>, Error> {
        if self.ended {
            return Ok(None);
        }
        let (from, begun) = (self.read - self.begun.len() as u64, self.begun.len());
        let mut piece = Vec::with_capacity(begun + PIECE);
        piece.append(&mut self.begun);
        let some = self.reader.by_ref().take(PIECE as u64);
        let read = { some }.read_to_end(&mut piece);
        let read = read.map_err(|error| self.source.damaged(&error))?;
        self.ended = read < PIECE;
        self.read += read as u64;
        if let Some(hash) = &mut self.hash {
            hash.update(&piece[begun..]);
        }
        // A line longer than a piece is no row, and is cut like one.
        if let (false, Some(end)) = (self.ended, memchr::memrchr(b'\n', &piece)) {
            self.begun = piece.split_off(end + 1);
        }
        Ok(Some((from, piece)).filter(|(_, piece)| !piece.is_empty()))
    }

    /// SHA-256 of the file, all of which has gone by.
    pub(super) fn sha256(self) -> Result<String, Error> {
        match (self.hash, self.source.plain_length()) {
            (Some(hash), Some(length)) => {
                self.source.is_whole(self.read, length)?;
                Ok(hexadecimal(&hash.finalize()))
            }
            _ => self.source.sha256(),
        }
    }
}

/// Line ends among some bytes.
pub(super) fn line_ends(bytes: &[u8]) -> usize {
    memchr::memchr_iter(b'\n', bytes).count()
}
