//! How many seeds a study takes: few in a newcomer's run, many where `BURNWRIGHT_LONG` is set, as the gate
//! sets it. Unit tests and suite share this file.

/// Seeds, cases or firings of a study, and how much wider its limits are than those set for `long`:
/// shares and means scatter by one over the root of the number.
pub fn study(short: u64, long: u64) -> (u64, f64) {
    let asked = std::env::var_os("BURNWRIGHT_LONG").is_some();
    let seeds = if asked { long } else { short.min(long) };
    (seeds, (long as f64 / seeds as f64).sqrt())
}
