//! What stopped the work: at least one message, of a kind that a caller can branch on.

use std::fmt;
use std::path::Path;

use super::{Code, Diagnostic, ErrorKind, Place};

/// Everything that stopped a call: at least one problem.
///
/// Its text (`Display`) is what the program prints: each problem with its place, the source line, and
/// what to do.
///
/// ```
/// use burnwright::{ErrorKind, read_firing};
///
/// let error = read_firing("nowhere/firing.toml".as_ref()).unwrap_err();
/// assert_eq!(error.kind(), ErrorKind::Io);
/// assert_eq!(error.problems().len(), 1);
/// assert!(error.to_string().starts_with("error: there is no such file"));
/// ```
#[derive(Debug, Clone, PartialEq)]
pub struct Error {
    kind: ErrorKind,
    problems: Vec<Diagnostic>,
}

impl Error {
    /// Fails with these problems, if there are any.
    ///
    /// # Errors
    /// There is at least one.
    pub fn if_any(problems: Vec<Diagnostic>) -> Result<(), Self> {
        match problems.first().map(Diagnostic::kind) {
            Some(kind) => Err(Self { kind, problems }),
            None => Ok(()),
        }
    }

    /// The kind of its first problem.
    #[must_use]
    pub const fn kind(&self) -> ErrorKind {
        self.kind
    }

    /// What is wrong, in the order in which it should be mended.
    #[must_use]
    pub fn problems(&self) -> &[Diagnostic] {
        &self.problems
    }

    /// The problems as text, one after the other.
    #[must_use]
    pub fn render(&self) -> String {
        let told: Vec<String> = self.problems.iter().map(Diagnostic::render).collect();
        told.join("\n")
    }

    /// What was noticed before, told first: it may be the reason.
    #[must_use]
    pub(crate) fn after(mut self, noticed: Vec<Diagnostic>) -> Self {
        self.problems.splice(0..0, noticed);
        self
    }

    /// Both.
    #[must_use]
    pub(crate) fn and(mut self, other: Self) -> Self {
        self.problems.extend(other);
        self
    }

    /// The same with each problem changed.
    #[must_use]
    pub(crate) fn each(mut self, change: impl FnMut(&mut Diagnostic)) -> Self {
        self.problems.iter_mut().for_each(change);
        self
    }

    /// Moves "this file cannot be read" to the spot where another file names it: that is where the
    /// mistake is mended. Problems inside the file stay where they are.
    #[must_use]
    pub(crate) fn where_named(self, named: &Place, path: &Path) -> Self {
        self.each(|one| {
            let whole = one.place.as_ref().is_none_or(|place| place.line == 0);
            // The file was not read at all.
            let unread = matches!(one.code, Code::IsFolder | Code::NoFile | Code::Unreadable);
            if unread && named.line > 0 && whole {
                one.message += &format!(": {}", path.display());
                one.place = Some(named.clone());
            }
        })
    }

    /// Says in which file the mistake lies, where no place is told.
    #[must_use]
    pub(crate) fn in_file(self, file: &str) -> Self {
        self.each(|one| {
            one.place.get_or_insert_with(|| Place::file(file));
        })
    }

    /// Names a file by the path that leads there from where the program was called, so that
    /// `file:line:column` can be followed.
    #[must_use]
    pub(crate) fn at_path(self, name: &str, path: &Path) -> Self {
        self.each(|one| {
            if let Some(place) = one.place.as_mut().filter(|place| place.file == name) {
                place.file = path.display().to_string();
            }
        })
    }
}

impl From<Diagnostic> for Error {
    fn from(one: Diagnostic) -> Self {
        Self {
            kind: one.kind(),
            problems: vec![one],
        }
    }
}

impl IntoIterator for Error {
    type Item = Diagnostic;
    type IntoIter = std::vec::IntoIter<Diagnostic>;

    fn into_iter(self) -> Self::IntoIter {
        self.problems.into_iter()
    }
}

impl fmt::Display for Error {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.render().trim_end())
    }
}

impl std::error::Error for Error {}
