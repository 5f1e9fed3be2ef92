//! The writers: from a result to the files and words a person sees.
//!
//! They format and never compute. Terminal text and page are made from one [`view`](crate::view), whose
//! values know their place in the data; [`number`] rounds them. The writers give text back; reading
//! and writing files is the command line's business.

pub(crate) mod c_header;
pub(crate) mod csv;
pub(crate) mod decimate;
pub(crate) mod json;
pub(crate) mod json_lines;
pub(crate) mod number;
#[cfg(feature = "report")]
pub(crate) mod page;
pub(crate) mod parquet;
#[cfg(feature = "report")]
pub(crate) mod plot;
pub(crate) mod report;
#[cfg(test)]
mod schema_tests;
#[cfg(feature = "report")]
pub(crate) mod strip;
pub(crate) mod text;
pub(crate) mod words;

/// The controller in C99, as it is handed over.
pub(crate) const CONTROLLER_HEADER: &str = include_str!("controller.h");
