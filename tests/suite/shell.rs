//! What a shell, `man` and `--help` are told of the program.

use std::process::Command;

use crate::runner::Folder;

/// The commands as `--help` lists them.
fn commands(folder: &Folder) -> Vec<String> {
    let help = folder.run(&["--help"]).stdout;
    let list = help.split("Commands:\n").nth(1).unwrap();
    let list = list.split("\n\n").next().unwrap();
    // A command stands two columns in; what follows a long line of it stands deeper.
    let names = list.lines().filter_map(|line| line.strip_prefix("  "));
    let names = names.filter(|line| !line.starts_with(' '));
    let words = names.filter_map(|line| line.split_whitespace().next());
    let out: Vec<String> = words
        .filter(|word| *word != "help")
        .map(str::to_owned)
        .collect();
    assert!(
        out.len() >= 10 && out.contains(&"look".to_owned()),
        "{out:?}"
    );
    out
}

#[test]
fn the_help_of_every_command_shows_an_example() {
    let folder = Folder::new();
    for command in commands(&folder) {
        let help = folder.run(&[&command, "--help"]);
        assert_eq!(help.code, 0);
        let example = format!("  burnwright {command} ");
        assert!(
            help.stdout.contains(&example),
            "{command}:\n{}",
            help.stdout
        );
    }
}

#[test]
fn a_misspelt_command_is_answered_with_the_nearest_of_all() {
    let folder = Folder::new();
    for command in commands(&folder) {
        // The second letter, which all of them have, typed twice.
        let slip = format!("{}{}", &command[..2], &command[1..]);
        let run = folder.run(&[&slip]);
        assert_eq!(run.code, 2, "{slip}");
        assert!(
            run.stderr.contains(&format!("'{command}'")),
            "{slip}:\n{}",
            run.stderr
        );
    }
}

#[test]
fn each_shell_gets_a_script_that_knows_every_command() {
    let folder = Folder::new();
    for shell in ["bash", "elvish", "fish", "powershell", "zsh"] {
        let run = folder.run(&["shell", shell]);
        assert_eq!((run.code, run.stderr.as_str()), (0, ""));
        for command in commands(&folder) {
            assert!(run.stdout.contains(&command), "{shell}: {command}");
        }
    }
}

#[test]
fn bash_completes_commands_and_options() {
    let folder = Folder::new();
    let script = folder.run(&["shell", "bash"]).stdout;
    let folder = folder.file("burnwright.bash", &script);
    let completed = |words: &str, at: usize, last: &str| {
        let line = format!(
            "source burnwright.bash; COMP_WORDS=({words}); COMP_CWORD={at}; \
             _burnwright burnwright '{last}' ''; echo \"${{COMPREPLY[@]}}\""
        );
        let bash = Command::new("bash")
            .args(["--norc", "-c", &line])
            .current_dir(folder.path(""))
            .output();
        let Ok(out) = bash else {
            println!("skipped: there is no bash");
            return None;
        };
        Some(String::from_utf8(out.stdout).unwrap().trim().to_owned())
    };
    let Some(first) = completed("burnwright re", 1, "re") else {
        return;
    };
    assert_eq!(first, "reduce ready rehearse");
    assert_eq!(
        completed("burnwright look --st", 2, "--st").unwrap(),
        "--start"
    );
}

#[test]
fn help_explains_commands_and_the_keys_of_files() {
    let folder = Folder::new();
    for command in commands(&folder) {
        let asked = folder.run(&["help", &command]);
        assert_eq!(asked.stdout, folder.run(&[&command, "-h"]).stdout);
    }
    for file in [
        "firing-file",
        "motor-file",
        "vehicle-file",
        "rehearsal-file",
    ] {
        let run = folder.run(&["help", file]);
        assert_eq!((run.code, run.stderr.as_str()), (0, ""));
        assert!(
            run.widest() <= 80 && run.stdout.lines().count() > 10,
            "{}",
            run.stdout
        );
    }
    let none = folder.run(&["help", "nothing"]);
    assert_eq!(none.code, 2);
    assert!(none.stderr.contains("firing-file"), "{}", none.stderr);
}

#[test]
fn there_is_a_man_page_for_each_command() {
    let folder = Folder::new();
    let run = folder.run(&["man", "pages"]);
    assert_eq!(run.code, 0, "{}", run.stderr);
    let mut wanted = vec!["burnwright.1".to_owned()];
    wanted.extend(
        commands(&folder)
            .iter()
            .map(|name| format!("burnwright-{name}.1")),
    );
    wanted.sort();
    assert_eq!(folder.files_in("pages"), wanted);
    for page in wanted {
        let text = folder.read(&format!("pages/{page}"));
        for section in [".TH ", ".SH NAME", ".SH SYNOPSIS", ".SH \"EXIT STATUS\""] {
            assert!(text.contains(section), "{page} has no {section}");
        }
    }
    let look = folder.read("pages/burnwright-look.1");
    assert!(
        look.contains("start") && look.contains("Examples"),
        "{look}"
    );
    let again = folder.run(&["man", "pages"]);
    assert_eq!(
        (again.code, look),
        (0, folder.read("pages/burnwright-look.1"))
    );
}
