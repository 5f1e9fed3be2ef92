//! The pages that `burnwright desk` and `burnwright watch` serve on this machine, as text; the program serves them and touches
//! the files.
//!
//! A firing file's text is the truth: [`form`] shows it as fields and changes single lines of it, [`page`] draws what is in the
//! folder, [`paths`] names the files that a text would have opened, so that the program can refuse those outside.

mod form;
mod page;
mod paths;
mod watch;

pub use form::{set_key, table_copied};
pub use page::{Desk, DeskCommand, DeskDone, DeskFile, DeskTask, DeskWork, desk_page, desk_part};
pub use paths::named_paths;
pub use watch::watch_page;

/// Look and script of the served pages, by their path; `None` for any other.
#[must_use]
pub fn served(path: &str) -> Option<String> {
    match path {
        "/style.css" => Some(format!(
            "{}{}",
            crate::render::page::sheet::STYLE,
            include_str!("desk.css")
        )),
        "/desk.js" => Some(include_str!("desk.js").to_owned()),
        "/watch.js" => Some(include_str!("watch.js").to_owned()),
        _ => None,
    }
}
