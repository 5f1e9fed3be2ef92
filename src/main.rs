//! The `burnwright` program.

fn main() {}
