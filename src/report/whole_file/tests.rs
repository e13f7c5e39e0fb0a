use std::fs::{self, File};
use std::io::Write;
use std::path::{Path, PathBuf};

use super::*;

fn folder() -> tempfile::TempDir {
    tempfile::tempdir().unwrap()
}

fn written(path: &Path, text: &str) -> WholeFile {
    let mut file = WholeFile::create(path).unwrap();
    file.write_all(text.as_bytes()).unwrap();
    file
}

/// Names in a folder, hidden ones included.
fn names(folder: &Path) -> Vec<String> {
    let mut names: Vec<String> =
        fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().file_name().to_string_lossy().into_owned()).collect();
    names.sort();
    names
}

fn sentence(path: &Path) -> String {
    WholeFile::create(path).unwrap_err().to_string()
}

#[test]
fn the_old_file_stands_until_commit_and_the_new_one_is_whole_after_it() {
    let folder = folder();
    let path = folder.path().join("report.xlsx");
    fs::write(&path, "old").unwrap();
    let file = written(&path, "new and longer");
    assert_eq!(fs::read_to_string(&path).unwrap(), "old");
    file.commit().unwrap();
    assert_eq!(fs::read_to_string(&path).unwrap(), "new and longer");
    assert_eq!(names(folder.path()), ["report.xlsx"]);
}

#[test]
fn a_dropped_file_leaves_nothing() {
    let folder = folder();
    let path = folder.path().join("report.xlsx");
    let file = written(&path, "half");
    assert_eq!(names(folder.path()).len(), 1);
    assert!(names(folder.path())[0].starts_with(PREFIX));
    drop(file);
    assert!(names(folder.path()).is_empty());
}

#[test]
fn a_killed_runs_file_is_swept_and_a_live_one_is_left() {
    let folder = folder();
    let path = folder.path().join("report.xlsx");
    let stray = folder.path().join(format!("{}abc", prefix_of(&path)));
    fs::write(&stray, "half").unwrap();
    let of_another_target = folder.path().join(format!("{}abc", prefix_of(Path::new("circuits.csv"))));
    fs::write(&of_another_target, "half").unwrap();
    let live = written(&folder.path().join("circuits.csv"), "under way");
    let first = written(&path, "first");
    assert!(!stray.exists());
    assert!(!of_another_target.exists(), "whatever it was meant for");
    assert!(live.temporary.0.as_ref().unwrap().exists());
    let second = written(&path, "second");
    second.commit().unwrap();
    first.commit().unwrap();
    assert_eq!(fs::read_to_string(&path).unwrap(), "first");
}

#[test]
fn a_batch_is_complete_before_the_first_file_has_its_name() {
    let folder = folder();
    let (one, two) = (folder.path().join("a.csv"), folder.path().join("b.csv"));
    fs::write(&one, "old").unwrap();
    let mut batch = Batch::new();
    batch.add(written(&one, "a")).unwrap();
    batch.add(written(&two, "b")).unwrap();
    assert_eq!(fs::read_to_string(&one).unwrap(), "old");
    batch.commit().unwrap();
    assert_eq!(fs::read_to_string(&one).unwrap(), "a");
    assert_eq!(fs::read_to_string(&two).unwrap(), "b");
    assert_eq!(names(folder.path()), ["a.csv", "b.csv"]);
}

#[test]
fn a_batch_with_a_failed_file_renames_none() {
    let folder = folder();
    let (one, two) = (folder.path().join("a.csv"), folder.path().join("b.csv"));
    let mut failed = written(&two, "b");
    failed.fault = Some(io::ErrorKind::StorageFull.into());
    let mut batch = Batch::new();
    batch.add(written(&one, "a")).unwrap();
    batch.add(failed).unwrap();
    let error = batch.commit().unwrap_err();
    assert!(matches!(error.why, Why::DiskFull), "{error}");
    assert!(names(folder.path()).is_empty());
}

#[test]
fn a_batch_takes_no_name_twice() {
    let folder = folder();
    let mut batch = Batch::new();
    batch.add(written(&folder.path().join("a.csv"), "a")).unwrap();
    let again = written(&folder.path().join(".").join("a.csv"), "b");
    assert!(batch.add(again).unwrap_err().to_string().contains("two outputs have this name"));
}

#[test]
fn every_name_that_cannot_be_written_gets_its_sentence() {
    let folder = folder();
    let file = folder.path().join("file");
    fs::write(&file, "").unwrap();
    let cases = [
        (folder.path().to_owned(), "this is a folder"),
        (folder.path().join(".."), "this is a folder"),
        (PathBuf::new(), "not the name of a file"),
        (folder.path().join("new").join(""), "not the name of a file"),
        (folder.path().join("none/report.xlsx"), "does not exist"),
        #[cfg(target_os = "linux")]
        ("/proc/report.xlsx".into(), "there is no permission to write in the folder '/proc'"),
        (file.join("report.xlsx"), "is not a folder"),
        (folder.path().join("x".repeat(300)), "longer than the disk allows"),
        (folder.path().join("a\0b"), "a character that a file name can't have"),
    ];
    for (path, expected) in cases {
        let sentence = sentence(&path);
        assert!(sentence.contains(expected), "{sentence}");
        assert!(sentence.ends_with('.') && !sentence.contains('\n') && !sentence.contains('\0'), "{sentence}");
    }
}

#[cfg(unix)]
#[test]
fn a_device_is_no_file_and_a_read_only_mark_is_respected() {
    assert!(sentence(Path::new("/dev/null")).contains("not a file"));
    let folder = folder();
    let path = folder.path().join("report.xlsx");
    fs::write(&path, "kept").unwrap();
    let mut permissions = fs::metadata(&path).unwrap().permissions();
    permissions.set_readonly(true);
    fs::set_permissions(&path, permissions).unwrap();
    assert!(sentence(&path).contains("marked read-only"));
    assert_eq!(fs::read_to_string(&path).unwrap(), "kept");
}

#[test]
fn what_the_system_says_has_a_sentence() {
    let path = Path::new("out/report.xlsx");
    let cases = [
        (io::ErrorKind::StorageFull, "the disk is full"),
        (io::ErrorKind::QuotaExceeded, "the disk is full"),
        (io::ErrorKind::ReadOnlyFilesystem, "the disk is read-only"),
        (io::ErrorKind::PermissionDenied, "no permission to write in the folder 'out'"),
        (io::ErrorKind::FileTooLarge, "larger than the system allows"),
        (io::ErrorKind::ResourceBusy, "open in another program"),
    ];
    for (kind, expected) in cases {
        let sentence = OutputError::from_io(path, kind.into()).to_string();
        assert!(sentence.starts_with("out/report.xlsx: ") && sentence.contains(expected), "{sentence}");
    }
}

#[test]
fn odd_characters_that_a_disk_takes_are_taken_and_shown_escaped() {
    let folder = folder();
    let path = folder.path().join("Bericht \"März\" — 4;5\n?.xlsx");
    written(&path, "x").commit().unwrap();
    assert_eq!(fs::read_to_string(&path).unwrap(), "x");
    assert!(shown(&path).ends_with("4;5\\n?.xlsx"));
    let longest = folder.path().join("x".repeat(255));
    written(&longest, "x").commit().unwrap();
    assert!(longest.exists());
}

#[test]
fn an_input_is_refused_under_every_name_it_has() {
    let folder = folder();
    let input = folder.path().join("lists.csv");
    fs::write(&input, "part_no,qty\n").unwrap();
    let hard = folder.path().join("hard.csv");
    fs::hard_link(&input, &hard).unwrap();
    let inputs = Inputs::of([folder.path().join("other.csv"), input.clone()]);
    let detour = folder.path().join("..").join(folder.path().file_name().unwrap()).join("lists.csv");
    let mut names = vec![input.clone(), hard, detour];
    #[cfg(unix)]
    {
        let soft = folder.path().join("soft.csv");
        std::os::unix::fs::symlink(&input, &soft).unwrap();
        names.push(soft);
    }
    for name in names {
        let sentence = check(&name, &inputs).unwrap_err().to_string();
        assert!(sentence.contains("this is the input") && sentence.contains("lists.csv"), "{sentence}");
    }
    check(&folder.path().join("report.xlsx"), &inputs).unwrap();
    assert_eq!(fs::read_to_string(&input).unwrap(), "part_no,qty\n");
}

#[cfg(unix)]
#[test]
fn a_link_stays_a_link_and_the_file_keeps_its_permissions() {
    use std::os::unix::fs::PermissionsExt;
    let folder = folder();
    let (real, link) = (folder.path().join("real.xlsx"), folder.path().join("link.xlsx"));
    fs::write(&real, "old").unwrap();
    fs::set_permissions(&real, fs::Permissions::from_mode(0o640)).unwrap();
    std::os::unix::fs::symlink("real.xlsx", &link).unwrap();
    written(&link, "new").commit().unwrap();
    assert!(fs::symlink_metadata(&link).unwrap().is_symlink());
    assert_eq!(fs::read_to_string(&real).unwrap(), "new");
    assert_eq!(fs::metadata(&real).unwrap().permissions().mode() & 0o777, 0o640);
}

#[test]
fn a_folder_for_data_is_made_and_a_file_in_its_place_is_refused() {
    let folder = folder();
    let data = folder.path().join("out/2026-11");
    ensure_folder(&data).unwrap();
    ensure_folder(&data).unwrap();
    assert!(names(&data).is_empty());
    let file = folder.path().join("file");
    File::create(&file).unwrap();
    assert!(ensure_folder(&file).unwrap_err().to_string().contains("this is a file"));
    assert!(ensure_folder(&file.join("below")).unwrap_err().to_string().contains("is not a folder"));
}
