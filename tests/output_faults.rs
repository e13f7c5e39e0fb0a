//! Outputs that the disk or the system refuses: a sentence, the old file as it was, nothing left.

#![allow(clippy::unwrap_used, clippy::print_stdout, reason = "a test stops where it fails")]
#![cfg(target_os = "linux")]

use std::env;
use std::fs;
use std::io::Write;
use std::os::unix::fs::PermissionsExt;
use std::path::Path;
use std::process::{Command, Output};

use clampbook::report::whole_file::{OutputError, WholeFile};

const TARGET: &str = "CLAMPBOOK_TEST_TARGET";

#[test]
#[ignore = "no test of its own: the others start it as a process with less disk or fewer rights"]
fn writer() {
    let target = env::var_os(TARGET).unwrap();
    let written = write_much(Path::new(&target));
    println!("said: {}", written.map_or_else(|error| error.to_string(), |()| "written".to_owned()));
}

fn write_much(target: &Path) -> Result<(), OutputError> {
    let mut file = WholeFile::create(target)?;
    for _ in 0..64 {
        if let Err(error) = file.write_all(&[7; 16 * 1024]) {
            return Err(file.failure().unwrap_or_else(|| OutputError::from_io(target, error)));
        }
    }
    file.commit()
}

/// The writer's process, wrapped in a shell line that takes something away from it.
fn start(shell: &[&str], target: &Path) -> Output {
    let mut command = Command::new(shell[0]);
    command.args(&shell[1..]).arg(env::current_exe().unwrap());
    command.args(["--ignored", "--exact", "writer", "--nocapture"]).env(TARGET, target);
    command.output().unwrap()
}

fn said(output: &Output) -> String {
    let text = String::from_utf8_lossy(&output.stdout);
    let line = text.lines().find_map(|line| line.split_once("said: ")).map(|(_, said)| said.to_owned());
    line.unwrap_or_else(|| panic!("{text}{}", String::from_utf8_lossy(&output.stderr)))
}

fn names(folder: &Path) -> Vec<String> {
    fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().file_name().into_string().unwrap()).collect()
}

#[test]
fn with_room_and_rights_it_is_written() {
    let folder = tempfile::tempdir().unwrap();
    let target = folder.path().join("report.xlsx");
    assert_eq!(said(&start(&["env"], &target)), "written");
    assert_eq!(fs::metadata(&target).unwrap().len(), 64 * 16 * 1024);
}

#[test]
fn a_file_that_may_not_grow_is_refused_and_the_old_one_stands() {
    let folder = tempfile::tempdir().unwrap();
    let target = folder.path().join("report.xlsx");
    fs::write(&target, "old").unwrap();
    // 256 blocks of 512 bytes (POSIX) or of 1024, both below the 1 MiB that is written.
    let output = start(&["sh", "-c", "trap '' XFSZ; ulimit -f 256; exec \"$0\" \"$@\""], &target);
    assert!(said(&output).contains("larger than the system allows"), "{}", said(&output));
    assert_eq!(fs::read_to_string(&target).unwrap(), "old");
    assert_eq!(names(folder.path()), ["report.xlsx"]);
}

/// The shell line for a disk of 64 KiB, where the system lets a process mount one for itself.
fn small_disk(folder: &Path) -> Option<String> {
    let probe = Command::new("unshare").args(["-rm", "mount", "-t", "tmpfs", "tmpfs"]).arg(folder).output();
    probe.is_ok_and(|output| output.status.success()).then(|| {
        let disk = folder.display();
        format!(
            "mount -t tmpfs -o size=64k tmpfs '{disk}' && printf old > '{disk}/report.xlsx' && \"$0\" \"$@\"; \
             cat '{disk}/report.xlsx'; echo; ls -A '{disk}'"
        )
    })
}

#[test]
fn a_full_disk_is_said_and_the_old_report_stands() {
    let folder = tempfile::tempdir().unwrap();
    let Some(line) = small_disk(folder.path()) else {
        eprintln!("Not run: this system lets no process mount a disk of its own.");
        return;
    };
    let output = start(&["unshare", "-rm", "sh", "-c", &line], &folder.path().join("report.xlsx"));
    assert!(said(&output).contains("the disk is full"), "{}", said(&output));
    let text = String::from_utf8_lossy(&output.stdout);
    assert!(text.ends_with("old\nreport.xlsx\n"), "{text}");
}

#[test]
fn a_read_only_disk_is_said() {
    let folder = tempfile::tempdir().unwrap();
    if small_disk(folder.path()).is_none() {
        eprintln!("Not run: this system lets no process mount a disk of its own.");
        return;
    }
    let line = format!("mount -t tmpfs -o ro tmpfs '{}' && \"$0\" \"$@\"", folder.path().display());
    let output = start(&["unshare", "-rm", "sh", "-c", &line], &folder.path().join("report.xlsx"));
    assert!(said(&output).contains("the disk is read-only"), "{}", said(&output));
}

#[test]
fn a_folder_without_permission_is_said() {
    let folder = tempfile::tempdir().unwrap();
    let target = folder.path().join("report.xlsx");
    fs::write(&target, "old").unwrap();
    fs::set_permissions(folder.path(), fs::Permissions::from_mode(0o555)).unwrap();
    // The mark binds everyone but root, whose rights are laid down first.
    let is_root = fs::write(folder.path().join("probe"), "").is_ok();
    let _ = fs::remove_file(folder.path().join("probe"));
    let as_someone: &[&str] = if is_root {
        &["setpriv", "--bounding-set=-all", "--inh-caps=-all", "--reuid=65534", "--clear-groups"]
    } else {
        &["env"]
    };
    let output = start(as_someone, &target);
    assert!(said(&output).contains("no permission to write in the folder"), "{}", said(&output));
    assert_eq!(fs::read_to_string(&target).unwrap(), "old");
    fs::set_permissions(folder.path(), fs::Permissions::from_mode(0o755)).unwrap();
}
