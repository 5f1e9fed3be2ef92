//! Every command of the README runs and ends as it says; its firing file is a real one.

use crate::runner::{Folder, repository};

pub struct Block {
    pub kind: String,
    pub text: String,
}

pub fn blocks(text: &str) -> Vec<Block> {
    let mut out: Vec<Block> = Vec::new();
    let mut inside = false;
    // A block in an item of a list stands as deep as the item's text.
    let mut depth = 0;
    for line in text.lines() {
        let bare = line.trim_start();
        match bare.strip_prefix("```") {
            Some(_) if inside => inside = false,
            Some(kind) => {
                inside = true;
                depth = line.len() - bare.len();
                out.push(Block {
                    kind: kind.to_owned(),
                    text: String::new(),
                });
            }
            None if inside => {
                if let Some(block) = out.last_mut() {
                    block.text += line.get(depth..).unwrap_or_default();
                    block.text.push('\n');
                }
            }
            None => {}
        }
    }
    out
}

fn readme() -> String {
    std::fs::read_to_string(repository().join("README.md")).unwrap()
}

#[test]
fn every_command_runs() {
    let folder = Folder::copy_of("demo-data/twin-captive").and("demo-data/twin-one-dead");
    let mut seen = 0;
    for block in blocks(&readme())
        .iter()
        .filter(|block| block.kind.starts_with("sh"))
    {
        let wanted = block
            .kind
            .split("exit=")
            .nth(1)
            .map_or(0, |code| code.parse().unwrap());
        for line in block.text.lines() {
            if line == "cargo test --release" {
                continue;
            }
            let args = line
                .strip_prefix("cargo run --release -- ")
                .unwrap_or_else(|| panic!("the README has a command that no test runs: {line}"));
            let run = folder.run(&args.split_whitespace().collect::<Vec<_>>());
            assert_eq!(run.code, wanted, "{line}\n{}", run.stderr);
            seen += 1;
        }
    }
    assert!(seen >= 4, "the README's commands were not found");
    for name in [
        "report.html",
        "result.json",
        "thrust.csv",
        "plant.json",
        "plant.h",
    ] {
        assert!(
            folder
                .files_in("demo-data/twin-captive/reduced")
                .iter()
                .any(|file| file == name)
        );
    }
}

#[test]
fn the_screen_shown_is_the_one_printed() {
    let text = readme();
    let stated = blocks(&text)
        .into_iter()
        .find(|block| block.kind == "text")
        .map(|block| block.text)
        .unwrap();
    let folder = Folder::copy_of("demo-data/twin-captive");
    let run = folder.run(&["reduce", "demo-data/twin-captive/firing.toml"]);
    assert_eq!(run.stdout, stated);
}

#[test]
fn the_firing_file_explained_is_one_that_works() {
    let text = blocks(&readme())
        .into_iter()
        .find(|block| block.kind == "toml")
        .unwrap()
        .text;
    // It names one motor of the two that the demo's cell carries.
    let text = text.replace(r#"carries  = ["left", "right"]"#, r#"carries  = ["left"]"#);
    let folder =
        Folder::copy_of("demo-data/twin-captive").file("demo-data/twin-captive/other.toml", &text);
    let run = folder.run(&["reduce", "demo-data/twin-captive/other.toml", "--quiet"]);
    assert_eq!((run.code, run.stderr.as_str()), (0, ""));
}
