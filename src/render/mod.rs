//! The writers: from a result to the files and words a person sees.
//!
//! They format and never compute. Terminal text and page are made from one [`view`](crate::view), whose
//! values know their place in the data; [`number`] rounds them. The writers give text back; reading
//! and writing files is the command line's business.

pub mod c_header;
pub mod csv;
pub mod decimate;
pub mod json;
pub mod number;
#[cfg(feature = "report")]
pub mod page;
#[cfg(feature = "report")]
pub mod plot;
pub mod report;
#[cfg(test)]
mod schema_tests;
pub mod text;
pub mod words;

/// The controller in C99, as it is handed over.
pub const CONTROLLER_HEADER: &str = include_str!("controller.h");
