//! Before the firing: what a planned firing would look like, and what it could tell.

pub(crate) mod rehearsal;
