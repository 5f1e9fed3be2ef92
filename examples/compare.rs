//! Several firings side by side: what they share and how they scatter.
#![allow(
    missing_docs,
    clippy::print_stdout,
    reason = "an example that a test calls, too"
)]

use std::path::Path;

use burnwright::{Error, compare, read_firing, reduce};

pub fn main() -> Result<(), Error> {
    let mut reduced = Vec::new();
    for name in ["twin-captive", "twin-one-dead"] {
        let file = Path::new("demo-data").join(name).join("firing.toml");
        reduced.push((name.to_owned(), reduce(&read_firing(&file)?)?));
    }
    for quantity in compare(&reduced, Vec::new()).quantities {
        if let Some(spread) = quantity.spread {
            let (mean, sd) = (spread.mean, spread.sample_sd);
            println!(
                "{}: {:.3} {}, sd {:.3}",
                quantity.name, mean.value, mean.unit, sd.value
            );
        }
    }
    Ok(())
}
