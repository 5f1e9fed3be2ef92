//! A result as text, as JSON, and as the files that keep it.
#![allow(
    missing_docs,
    clippy::print_stdout,
    reason = "an example that a test calls, too"
)]

use std::path::Path;

use burnwright::{Error, Report, Screen, read_firing, reduce};

pub fn main() -> Result<(), Error> {
    let firing = read_firing(Path::new("demo-data/twin-one-dead/firing.toml"))?;
    let reduction = reduce(&firing)?;

    let screen = Screen {
        width: 60,
        ..Screen::default()
    };
    print!("{}", reduction.text(screen));
    println!("{} bytes of JSON", reduction.json().len());
    for file in reduction.files() {
        println!("{}: {} bytes", file.path, file.bytes.len());
    }
    Ok(())
}
