//! A log's file, plain or packed by gzip (RFC 1952) or Zstandard (RFC 8878), told by its first bytes.
//!
//! Bytes are read in blocks, not mapped: a mapped file that shrinks while it is read ends the program, and
//! a block read costs no more.

use std::fs::File;
use std::io::{self, Read, Seek, SeekFrom};
use std::path::{Path, PathBuf};

use sha2::{Digest, Sha256};

use crate::diagnostic::{Code, Diagnostic, Error, Place, cannot_read, not_a_folder};

/// Most bytes of a log that are held at once.
const MOST_BYTES: u64 = 1 << 30;

/// Most lines of a log that are held at once.
const MOST_LINES: usize = 50_000_000;

/// Bytes read at a time.
const BLOCK: usize = 1 << 20;

/// How a file is packed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Packing {
    Plain,
    Gzip,
    Zstandard,
}

impl Packing {
    fn of(first: &[u8]) -> Self {
        match first {
            [0x1f, 0x8b, ..] => Self::Gzip,
            [0x28, 0xb5, 0x2f, 0xfd, ..] => Self::Zstandard,
            _ => Self::Plain,
        }
    }
}

/// A file that was found and looked at.
#[derive(Clone)]
pub(crate) struct Source {
    path: PathBuf,
    packing: Packing,
    /// Bytes of the file when it was opened; what a recorder adds later is not read.
    length: u64,
}

impl Source {
    /// Looks at a file.
    ///
    /// # Errors
    /// It is missing, a folder, a pipe or a device, or cannot be read.
    pub(crate) fn open(path: &Path) -> Result<Self, Error> {
        not_a_folder(path)?;
        let failed = |error: io::Error| cannot_read(path, &error);
        // Opening a pipe would wait for a writer; and it can be read once only, a log is read twice.
        if !path.metadata().map_err(failed)?.is_file() {
            let message = "a log has to be a file, and this is a pipe or a device";
            return Err(Diagnostic::error(Code::NoPlainFile, message)
                .at(Place::file(path.display().to_string()))
                .hint("write it to a file first")
                .into());
        }
        let mut file = File::open(path).map_err(failed)?;
        let mut first = Vec::new();
        file.by_ref()
            .take(4)
            .read_to_end(&mut first)
            .map_err(failed)?;
        Ok(Self {
            path: path.to_owned(),
            packing: Packing::of(&first),
            length: file.metadata().map_err(failed)?.len(),
        })
    }

    /// Whether any byte can be reached without those before it; then its length.
    #[must_use]
    pub(crate) fn plain_length(&self) -> Option<u64> {
        (self.packing == Packing::Plain).then_some(self.length)
    }

    /// The file as it lies on the disk.
    ///
    /// # Errors
    /// The file cannot be opened.
    pub(crate) fn file(&self) -> Result<File, Error> {
        File::open(&self.path).map_err(|error| cannot_read(&self.path, &error))
    }

    /// The unpacked bytes from a place on.
    ///
    /// # Errors
    /// The file cannot be opened, or is no longer as long as it was.
    pub(crate) fn reader_from(&self, from: u64) -> Result<Box<dyn Read + Send>, Error> {
        let failed = |error: io::Error| cannot_read(&self.path, &error);
        let mut file = self.file()?;
        if self.packing == Packing::Plain {
            file.seek(SeekFrom::Start(from)).map_err(failed)?;
            let rest = self.length.saturating_sub(from);
            return Ok(Box::new(file.take(rest)));
        }
        let packed = io::BufReader::with_capacity(BLOCK, file.take(self.length));
        let mut unpacked: Box<dyn Read + Send> = match self.packing {
            Packing::Gzip => Box::new(flate2::bufread::MultiGzDecoder::new(packed)),
            _ => Box::new(
                ruzstd::decoding::StreamingDecoder::new(packed)
                    .map_err(|_| self.damaged(&io::Error::other("its head is not whole")))?,
            ),
        };
        io::copy(&mut unpacked.by_ref().take(from), &mut io::sink())
            .map_err(|error| self.damaged(&error))?;
        Ok(unpacked)
    }

    /// All unpacked bytes; no more than so many, if a number is given.
    ///
    /// # Errors
    /// The file cannot be read, is damaged, or holds more than can be held at once.
    pub(crate) fn bytes(&self, at_most: Option<u64>) -> Result<Vec<u8>, Error> {
        let most = at_most.unwrap_or(MOST_BYTES + 1);
        let mut out = Vec::new();
        let reader = self.reader_from(0)?;
        reader
            .take(most)
            .read_to_end(&mut out)
            .map_err(|error| self.damaged(&error))?;
        if at_most.is_none() {
            self.can_be_held(out.len() as u64)?;
        }
        let ends = |end| memchr::memchr_iter(end, &out).count();
        if ends(b'\n').max(ends(b'\r')) > MOST_LINES {
            let message = format!(
                "the log has more than {} million lines",
                MOST_LINES / 1_000_000
            );
            return Err(self.too_long(message));
        }
        if let (None, Some(length)) = (at_most, self.plain_length()) {
            self.is_whole(out.len() as u64, length)?;
        }
        Ok(out)
    }

    /// Refuses more bytes than can be held at once.
    ///
    /// # Errors
    /// There are more.
    pub(crate) fn can_be_held(&self, bytes: u64) -> Result<(), Error> {
        if bytes > MOST_BYTES {
            let message = format!("the log holds more than {} GiB", MOST_BYTES >> 30);
            return Err(self.too_long(message));
        }
        Ok(())
    }

    fn too_long(&self, message: String) -> Error {
        Diagnostic::error(Code::TooLong, message)
            .at(Place::file(self.path.display().to_string()))
            .hint("cut out the firing and what lies some seconds around it")
            .into()
    }

    /// SHA-256 of the bytes as they lie on the disk (FIPS 180-4), in hexadecimal.
    ///
    /// # Errors
    /// The file cannot be read.
    pub(crate) fn sha256(&self) -> Result<String, Error> {
        let failed = |error: io::Error| cannot_read(&self.path, &error);
        let mut file = self.file()?.take(self.length);
        let mut block = vec![0; BLOCK];
        let mut hash = Sha256::new();
        loop {
            match file.read(&mut block).map_err(failed)? {
                0 => break,
                read => hash.update(&block[..read]),
            }
        }
        self.is_whole(self.length - file.limit(), self.length)?;
        Ok(hexadecimal(&hash.finalize()))
    }

    /// A file that lost bytes while it was read is another one than it was: what was read does not fit together.
    pub(super) fn is_whole(&self, read: u64, length: u64) -> Result<(), Error> {
        if read >= length {
            return Ok(());
        }
        let message = format!("the file got shorter while it was read: {read} of {length} bytes");
        Err(Diagnostic::error(Code::CutShort, message)
            .at(Place::file(self.path.display().to_string()))
            .hint("wait until nothing writes to it, and run this again")
            .into())
    }

    /// What is wrong when unpacking or reading fails.
    #[must_use]
    pub(crate) fn damaged(&self, error: &io::Error) -> Error {
        if self.packing == Packing::Plain {
            return cannot_read(&self.path, error);
        }
        Diagnostic::error(
            Code::Damaged,
            format!("the packed file is damaged: {error}"),
        )
        .at(Place::file(self.path.display().to_string()))
        .hint("copy it again, or unpack what is left of it by hand")
        .into()
    }
}

/// SHA-256 of some bytes, in hexadecimal.
#[must_use]
pub(crate) fn sha256(bytes: &[u8]) -> String {
    hexadecimal(&Sha256::digest(bytes))
}

/// Bytes as text, two digits each.
pub(super) fn hexadecimal(digest: &[u8]) -> String {
    digest.iter().map(|byte| format!("{byte:02x}")).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_file_that_shrinks_after_it_was_opened_is_an_error_and_one_that_grows_is_not() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("log.csv");
        std::fs::write(&path, "t,x\n0,1\n1,2\n").unwrap();
        let source = Source::open(&path).unwrap();
        std::fs::write(&path, "t,x\n0,1\n1,2\n2,3\n").unwrap();
        assert_eq!(source.bytes(None).unwrap(), b"t,x\n0,1\n1,2\n");
        assert_eq!(source.sha256().unwrap(), sha256(b"t,x\n0,1\n1,2\n"));
        std::fs::write(&path, "t,x\n0,1\n").unwrap();
        for problem in [
            source.bytes(None).unwrap_err(),
            source.sha256().unwrap_err(),
        ] {
            assert!(
                problem
                    .render()
                    .contains("got shorter while it was read: 8 of 12 bytes")
            );
        }
    }
}
