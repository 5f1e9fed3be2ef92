//! Pipes that are closed early, an odd environment, closed standard streams, odd paths.
#![cfg(unix)]

use std::ffi::OsStr;
use std::io::Read;
use std::os::unix::ffi::OsStrExt;
use std::process::{Command, Stdio};

use super::{CHANGED, STAND, by_shell, demo, files_of, old_and_new, program};

#[test]
fn a_reader_that_goes_away_early_is_no_error() {
    let (_, new) = old_and_new();
    let folder = demo();
    let commands = [
        &["reduce", CHANGED, "--out", "out"][..],
        &["reduce", CHANGED, "--out", "out", "--json"],
        &["look", "--json", STAND],
        &["look", STAND],
        &["reduce", "--help"],
        &["shell", "bash"],
    ];
    for args in commands {
        for bytes in [0, 10] {
            let mut run = program(&folder, args)
                .stdout(Stdio::piped())
                .stderr(Stdio::piped())
                .spawn()
                .unwrap();
            let mut out = run.stdout.take().unwrap();
            out.read_exact(&mut vec![0; bytes]).unwrap();
            drop(out);
            let done = run.wait_with_output().unwrap();
            let said = String::from_utf8_lossy(&done.stderr);
            assert_eq!(done.status.code(), Some(0), "{args:?} {said}");
            assert!(
                !said.contains("error") && !said.contains("panicked"),
                "{args:?} {said}"
            );
        }
    }
    assert_eq!(&files_of(&folder.path("out")), new);
}

#[test]
fn the_environment_changes_no_byte() {
    let (_, new) = old_and_new();
    let folder = demo();
    let plain = program(&folder, &["reduce", CHANGED, "--out", "out"])
        .stdout(Stdio::piped())
        .output();
    let plain = plain.unwrap().stdout;
    let surroundings: [&[(&str, &str)]; 5] = [
        &[],
        &[
            ("TERM", ""),
            ("LC_ALL", "xx_XX.bogus"),
            ("TZ", "Nowhere/At_All"),
        ],
        &[
            ("TERM", "dumb"),
            ("LC_ALL", "de_DE.UTF-8"),
            ("TZ", "Pacific/Kiritimati"),
        ],
        &[
            ("HOME", "/nowhere"),
            ("TMPDIR", "/nowhere"),
            ("LANG", "tr_TR.UTF-8"),
            ("TZ", ":::"),
        ],
        &[
            ("COLUMNS", ""),
            ("RUST_BACKTRACE", "1"),
            ("LC_NUMERIC", "fr_FR.UTF-8"),
        ],
    ];
    for variables in surroundings {
        let run = Command::new(env!("CARGO_BIN_EXE_burnwright"))
            .args(["reduce", CHANGED, "--out", "out"])
            .current_dir(folder.path(""))
            .env_clear()
            .envs(variables.iter().copied())
            .output()
            .unwrap();
        assert_eq!(run.status.code(), Some(0));
        assert_eq!(&files_of(&folder.path("out")), new, "{variables:?}");
        assert_eq!(run.stdout, plain, "{variables:?}");
    }
}

#[test]
fn with_closed_streams_the_files_are_written_all_the_same() {
    let (_, new) = old_and_new();
    let folder = demo();
    for closed in ["<&-", ">&-", "2>&-", "<&- >&- 2>&-"] {
        let line = format!("exec \"$@\" {closed}");
        let run = by_shell(&folder, &line, &["reduce", CHANGED, "--out", "out"]);
        let said = String::from_utf8_lossy(&run.stderr).into_owned();
        assert_eq!(run.status.code(), Some(0), "{closed} {said}");
        assert_eq!(&files_of(&folder.path("out")), new, "{closed}");
        assert!(!said.contains("panicked"), "{said}");
        std::fs::remove_dir_all(folder.path("out")).unwrap();
        // And a failure is one, even when nobody can be told.
        let run = by_shell(&folder, &line, &["reduce", "none.toml"]);
        assert_eq!(run.status.code(), Some(1), "{closed}");
    }
}

#[test]
fn paths_may_hold_blanks_letters_of_any_writing_and_bytes_that_are_none() {
    let (old, _) = old_and_new();
    let names: [&[u8]; 4] = [
        "two words  and a third".as_bytes(),
        "prüfstand-Ω-推力".as_bytes(),
        b"latin-1-\xfc-\xff",
        b"-dash 'quote' \"double\" $HOME ;",
    ];
    for name in names {
        let folder = demo();
        let place = folder.path("").join(OsStr::from_bytes(name));
        std::fs::rename(folder.path("demo-data"), &place).unwrap();
        let run = |args: &[&OsStr]| {
            let run = Command::new(env!("CARGO_BIN_EXE_burnwright"))
                .args(args)
                .current_dir(folder.path(""))
                .output()
                .unwrap();
            let said = String::from_utf8_lossy(&run.stderr).into_owned();
            assert!(!said.contains("panicked"), "{said}");
            (run.status.code(), said)
        };
        let demo = place.join("twin-captive");
        let (code, said) = run(&[OsStr::new("reduce"), demo.join("firing.toml").as_os_str()]);
        assert_eq!(code, Some(0), "{said}");
        let results = files_of(&demo.join("reduced"));
        assert_eq!(results["plant.json"], old["plant.json"]);
        assert_eq!(results["result.json"], old["result.json"]);
        let curve = place.join(OsStr::from_bytes(&[name, b".toml"].concat()));
        let points = demo.join("cell-base-points.csv");
        let (code, said) = run(&[
            OsStr::new("calibrate"),
            points.as_os_str(),
            OsStr::new("--out"),
            curve.as_os_str(),
        ]);
        assert_eq!(code, Some(0), "{said}");
        assert!(curve.is_file());
        // A firing file is UTF-8 text: it can name only what that can write.
        let log = place.join(OsStr::from_bytes(&[name, b".csv"].concat()));
        std::fs::rename(demo.join("stand.csv"), &log).unwrap();
        let begun = place.join("begun.toml");
        let (code, said) = run(&[
            OsStr::new("look"),
            log.as_os_str(),
            OsStr::new("--start"),
            begun.as_os_str(),
        ]);
        if std::str::from_utf8(name).is_ok() {
            assert_eq!(code, Some(0), "{said}");
            assert!(begun.is_file());
        } else {
            assert_eq!(code, Some(1), "{said}");
            assert!(said.contains("no UTF-8") && !begun.exists(), "{said}");
        }
    }
}
