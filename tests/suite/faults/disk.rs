//! Disks that are full or read-only, names that are taken, paths that are too long.
#![cfg(unix)]

use std::path::PathBuf;
use std::process::{Command, Output};

use super::{CHANGED, FIRING, by_shell, demo, failed_well, files_of, lay, old_and_new, program};
use crate::runner::Folder;

/// A small disk of its own, unmounted in the end; `None` where that is not allowed.
struct Disk(PathBuf);

impl Disk {
    fn new(folder: &Folder, size: &str) -> Option<Self> {
        let at = folder.path("disk");
        std::fs::create_dir(&at).unwrap();
        let options = format!("size={size}");
        let mounted = Command::new("mount")
            .args(["-t", "tmpfs", "-o", &options, "tmpfs"])
            .arg(&at)
            .output();
        match mounted {
            Ok(done) if done.status.success() => Some(Self(at)),
            _ => {
                println!("skipped: a disk can be mounted by root only");
                None
            }
        }
    }
}

impl Drop for Disk {
    fn drop(&mut self) {
        let _ = Command::new("umount").arg("-l").arg(&self.0).output();
    }
}

fn into(folder: &Folder, out: &str) -> Output {
    let mut run = program(folder, &["reduce", CHANGED, "--out", out]);
    run.stderr(std::process::Stdio::piped()).output().unwrap()
}

#[test]
fn on_a_full_disk_the_old_files_stay_and_the_message_names_the_file() {
    let (old, new) = old_and_new();
    let folder = demo();
    // The old files and most of the new ones fit: 0.9 MB each.
    let Some(disk) = Disk::new(&folder, "1000k") else {
        return;
    };
    let out = disk.0.join("out");
    lay(old, &out);
    let run = into(&folder, "disk/out");
    let said = failed_well(run.status.code(), &run.stderr);
    assert!(
        said.contains("No space left on device") && said.contains("disk/out/"),
        "{said}"
    );
    assert_eq!(&files_of(&out), old);
    let bigger = Command::new("mount")
        .args(["-o", "remount,size=3000k"])
        .arg(&disk.0)
        .status();
    assert!(bigger.unwrap().success());
    assert_eq!(into(&folder, "disk/out").status.code(), Some(0));
    assert_eq!(&files_of(&out), new);
}

#[test]
fn a_limit_on_the_size_of_files_is_an_error_like_any_other() {
    let (old, _) = old_and_new();
    let folder = demo();
    let out = folder.path("out");
    lay(old, &out);
    // With the signal ignored, the limit is an error of the write.
    let line = "trap '' XFSZ; ulimit -f 200; exec \"$@\"";
    let run = by_shell(&folder, line, &["reduce", CHANGED, "--out", "out"]);
    let said = failed_well(run.status.code(), &run.stderr);
    assert!(
        said.contains("File too large") && said.contains("out/report.html"),
        "{said}"
    );
    assert_eq!(&files_of(&out), old);
}

#[test]
fn a_folder_that_cannot_be_written_keeps_its_files() {
    let (old, _) = old_and_new();
    let folder = demo();
    let out = folder.path("disk/out");
    let disk = Disk::new(&folder, "4000k");
    lay(old, &out);
    if let Some(disk) = &disk {
        let only = Command::new("mount")
            .args(["-o", "remount,ro"])
            .arg(&disk.0)
            .status();
        assert!(only.unwrap().success());
    } else {
        use std::os::unix::fs::PermissionsExt;
        std::fs::set_permissions(&out, std::fs::Permissions::from_mode(0o555)).unwrap();
        if std::fs::write(out.join("probe"), "").is_ok() {
            println!("skipped: root is not held by modes, and nothing can be mounted");
            return;
        }
    }
    let run = into(&folder, "disk/out");
    let said = failed_well(run.status.code(), &run.stderr);
    assert!(
        said.contains("cannot be written") && said.contains("disk/out/report.html"),
        "{said}"
    );
    let fresh = into(&folder, "disk/out/deeper");
    failed_well(fresh.status.code(), &fresh.stderr);
    assert_eq!(&files_of(&out), old);
}

#[test]
fn a_full_standard_output_is_an_error_after_the_files_are_written() {
    if !std::path::Path::new("/dev/full").exists() {
        println!("skipped: there is no /dev/full");
        return;
    }
    let (_, new) = old_and_new();
    let folder = demo();
    for options in [&[][..], &["--json"]] {
        let args = [&["reduce", CHANGED, "--out", "out"], options].concat();
        let run = by_shell(&folder, "exec \"$@\" > /dev/full", &args);
        let said = failed_well(run.status.code(), &run.stderr);
        assert!(
            said.contains("the result cannot be printed: No space left"),
            "{said}"
        );
        assert_eq!(&files_of(&folder.path("out")), new);
    }
    let start = ["look", super::STAND, "--start", "begun.toml"];
    let run = by_shell(&folder, "exec \"$@\" > /dev/full", &start);
    failed_well(run.status.code(), &run.stderr);
    assert!(folder.read("begun.toml").contains("[log."));
    // Of several firings, one wrong: that is told, too.
    let both = ["reduce", FIRING, "none.toml", "--out", "both"];
    let run = by_shell(&folder, "exec \"$@\" > /dev/full", &both);
    let said = failed_well(run.status.code(), &run.stderr);
    assert!(
        said.contains("cannot be printed") && said.contains("none.toml"),
        "{said}"
    );
}

#[test]
fn a_name_that_is_taken_by_a_file_or_a_folder_is_an_error_and_changes_nothing() {
    let folder = demo()
        .file("taken", "mine")
        .file("out/plant.json/mine", "mine");
    for out in ["taken", "taken/deeper"] {
        let run = into(&folder, out);
        let said = failed_well(run.status.code(), &run.stderr);
        assert!(
            said.contains("results need a folder, and this is a file"),
            "{said}"
        );
    }
    let run = into(&folder, "out");
    let said = failed_well(run.status.code(), &run.stderr);
    assert!(said.contains("out/plant.json"), "{said}");
    // Not one of the five was renamed.
    assert_eq!(folder.files_in("out"), ["plant.json"]);
    let start = ["look", super::STAND, "--start", "taken/begun.toml"];
    let run = folder.run(&start);
    failed_well(Some(run.code), run.stderr.as_bytes());
    assert_eq!(folder.read("taken"), "mine");
}

#[test]
fn long_paths_are_written_and_too_long_ones_refused() {
    let folder = demo();
    let deep = |count: usize| vec!["d".repeat(200); count].join("/");
    let out = deep(15);
    assert_eq!(into(&folder, &out).status.code(), Some(0));
    assert_eq!(folder.files_in(&out).len(), 5);
    let too_long = ["e".repeat(256), format!("{}/{}", deep(15), deep(6))];
    for out in &too_long {
        let run = into(&folder, out);
        let said = failed_well(run.status.code(), &run.stderr);
        assert!(said.contains("File name too long"), "{said}");
    }
    let name = format!("{}.toml", "n".repeat(250));
    let points = "demo-data/twin-captive/cell-base-points.csv";
    assert_eq!(folder.run(&["calibrate", points, "--out", &name]).code, 0);
    assert!(folder.read(&name).contains("coefficients"));
}
