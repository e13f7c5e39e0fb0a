//! An interrupt ends the run within a second, with its own status and no file left.

#![allow(clippy::unwrap_used, reason = "a test stops where it fails")]
#![cfg(unix)]

use std::env;
use std::fs;
use std::io::Write;
use std::path::Path;
use std::process::{Child, Command, ExitStatus};
use std::thread;
use std::time::{Duration, Instant};

use clampbook::cli::interrupt;
use clampbook::report::whole_file::WholeFile;

const FOLDER: &str = "CLAMPBOOK_TEST_FOLDER";
const DEAF: &str = "CLAMPBOOK_TEST_DEAF";

#[test]
#[ignore = "no test of its own: the others start it as a process and interrupt it"]
fn writing_run() {
    let folder = env::var_os(FOLDER).unwrap();
    interrupt::install().unwrap();
    let mut file = WholeFile::create(&Path::new(&folder).join("report.xlsx")).unwrap();
    file.write_all(b"half").unwrap();
    fs::write(Path::new(&folder).join("ready"), "").unwrap();
    let start = Instant::now();
    while start.elapsed() < Duration::from_secs(30) {
        if interrupt::interrupted() && env::var_os(DEAF).is_none() {
            drop(file);
            std::process::exit(i32::from(interrupt::EXIT));
        }
        thread::sleep(Duration::from_millis(2));
    }
    file.commit().unwrap();
}

fn start(folder: &Path, is_deaf: bool) -> Child {
    let mut command = Command::new(env::current_exe().unwrap());
    command.args(["--ignored", "--exact", "writing_run"]).env(FOLDER, folder);
    if is_deaf {
        command.env(DEAF, "1");
    }
    let child = command.stdout(std::process::Stdio::null()).spawn().unwrap();
    let start = Instant::now();
    while !folder.join("ready").exists() {
        assert!(start.elapsed() < Duration::from_secs(20));
        thread::sleep(Duration::from_millis(2));
    }
    child
}

fn signalled(child: &mut Child, signal: &str) -> (ExitStatus, Duration) {
    let sent = Instant::now();
    assert!(Command::new("kill").args([signal, &child.id().to_string()]).status().unwrap().success());
    (child.wait().unwrap(), sent.elapsed())
}

fn names(folder: &Path) -> Vec<String> {
    let names = fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().file_name().into_string().unwrap());
    let mut names: Vec<String> = names.filter(|name| name != "ready").collect();
    names.sort();
    names
}

#[test]
fn an_interrupted_run_cleans_up_whether_it_listens_or_not() {
    for (signal, is_deaf) in [("-INT", false), ("-INT", true), ("-TERM", false), ("-TERM", true)] {
        let folder = tempfile::tempdir().unwrap();
        fs::write(folder.path().join("report.xlsx"), "old").unwrap();
        let mut child = start(folder.path(), is_deaf);
        let (status, took) = signalled(&mut child, signal);
        assert_eq!(status.code(), Some(130), "{signal} {is_deaf}");
        assert!(took < Duration::from_secs(1), "{took:?}");
        assert_eq!(names(folder.path()), ["report.xlsx"]);
        assert_eq!(fs::read_to_string(folder.path().join("report.xlsx")).unwrap(), "old");
    }
}

#[test]
fn a_killed_runs_temporary_file_goes_with_the_next_run() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("report.xlsx");
    fs::write(&path, "old").unwrap();
    let mut child = start(folder.path(), true);
    let (status, _) = signalled(&mut child, "-KILL");
    assert_eq!(status.code(), None);
    assert_eq!(names(folder.path()).len(), 2);
    assert_eq!(fs::read_to_string(&path).unwrap(), "old");
    let mut file = WholeFile::create(&path).unwrap();
    file.write_all(b"new").unwrap();
    file.commit().unwrap();
    assert_eq!(names(folder.path()), ["report.xlsx"]);
    assert_eq!(fs::read_to_string(&path).unwrap(), "new");
}
