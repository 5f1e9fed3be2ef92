//! Every example runs: they are the library's first use of itself.
#![allow(
    clippy::print_stdout,
    unreachable_pub,
    reason = "examples are programs of their own, run here as they are"
)]

#[path = "../examples/calibrate.rs"]
mod calibrate;
#[path = "../examples/compare.rs"]
mod compare;
#[path = "../examples/fit.rs"]
mod fit;
#[path = "../examples/look.rs"]
mod look;
#[path = "../examples/reduce.rs"]
mod reduce;
#[path = "../examples/rehearse.rs"]
mod rehearse;
#[path = "../examples/render.rs"]
mod render;
#[path = "../examples/simulate.rs"]
mod simulate;
#[path = "../examples/tune.rs"]
mod tune;

macro_rules! run {
    ($($name:ident),+) => { $(
        #[test]
        fn $name() -> Result<(), burnwright::Error> {
            $name::main()
        }
    )+ };
}

run!(
    calibrate, compare, fit, look, reduce, rehearse, render, simulate, tune
);

#[test]
fn no_example_is_forgotten() -> std::io::Result<()> {
    for entry in std::fs::read_dir("examples")? {
        let name = entry?.file_name().to_string_lossy().into_owned();
        let module = format!("mod {};", name.trim_end_matches(".rs"));
        assert!(include_str!("examples.rs").contains(&module), "{name}");
    }
    Ok(())
}
