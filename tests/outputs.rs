//! Outputs that could cost somebody's data or be believed wrongly: what stands in their place, what
//! else is being written, what a run finds of others.

#![allow(clippy::unwrap_used, reason = "a test stops where it fails")]

use std::collections::BTreeMap;
use std::ffi::OsStr;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};

/// A folder with the sample plant in it.
struct Scene(tempfile::TempDir);

impl Scene {
    fn new() -> Self {
        let scene = Self(tempfile::tempdir().unwrap());
        copy(&Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-data/plant"), &scene.path("plant"));
        scene
    }

    fn path(&self, name: &str) -> PathBuf {
        self.0.path().join(name)
    }

    fn command(&self, arguments: &[&str]) -> Command {
        let mut command = Command::new(env!("CARGO_BIN_EXE_clampbook"));
        command.current_dir(self.0.path()).args(arguments);
        command
    }

    fn check(&self, options: &[&str]) -> Output {
        self.command(&["check", "plant", "--no-remedies", "--quiet"]).args(options).output().unwrap()
    }

    fn refused(&self, options: &[&str]) -> String {
        let output = self.check(options);
        assert_eq!(output.status.code(), Some(2), "{options:?}");
        String::from_utf8(output.stderr).unwrap()
    }

    fn written(&self, options: &[&str]) {
        let output = self.check(options);
        assert_eq!(output.status.code(), Some(1), "{options:?}: {}", String::from_utf8_lossy(&output.stderr));
    }
}

fn copy(from: &Path, to: &Path) {
    fs::create_dir_all(to).unwrap();
    for entry in fs::read_dir(from).unwrap().map(Result::unwrap) {
        let target = to.join(entry.file_name());
        if entry.path().is_dir() {
            copy(&entry.path(), &target);
        } else {
            fs::copy(entry.path(), target).unwrap();
        }
    }
}

fn files(folder: &Path) -> BTreeMap<PathBuf, Vec<u8>> {
    let mut found = BTreeMap::new();
    for entry in fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path()) {
        if entry.is_dir() {
            found.extend(files(&entry));
        } else {
            found.insert(entry.clone(), fs::read(&entry).unwrap());
        }
    }
    found
}

#[test]
fn what_the_run_reads_is_no_place_for_an_output() {
    let scene = Scene::new();
    fs::create_dir(scene.path("before")).unwrap();
    scene.written(&["--data", "before", "--out", "before/report.xlsx"]);
    fs::write(scene.path("root.pem"), "root").unwrap();
    let policy = scene.path("plant/policy.toml");
    let text = fs::read_to_string(&policy).unwrap();
    fs::write(&policy, format!("{text}\n[mail]\nca_file = \"../root.pem\"\n")).unwrap();
    let before = files(scene.0.path());
    let cases: [&[&str]; 9] = [
        &["--out", "root.pem"],
        &["--out", "plant/lists/report.xlsx"],
        &["--data", "plant/lists/data"],
        &["--cards", "plant/lists/cards.xlsx"],
        &["--history", "plant/orders.csv", "--out", "report.xlsx"],
        &["--history", "plant/waivers.ods", "--out", "report.xlsx"],
        &["--data", "before", "--previous", "before"],
        &["--out", "before/report.xlsx", "--previous", "before"],
        &["--out", "before/new.xlsx", "--previous", "before"],
    ];
    for options in cases {
        scene.refused(&[options, &["--replace"]].concat());
        assert_eq!(files(scene.0.path()), before, "{options:?}");
    }
}

#[cfg(unix)]
#[test]
fn a_list_whose_name_is_no_utf8_is_an_input_too() {
    use std::os::unix::ffi::OsStrExt;
    let scene = Scene::new();
    let list = scene.path("plant/lists").join(OsStr::from_bytes(b"\xffline.csv"));
    fs::write(&list, "part_no,qty\n").unwrap();
    let outside = scene.path("hard.xlsx");
    fs::hard_link(&list, &outside).unwrap();
    let said = scene.refused(&["--out", "hard.xlsx", "--replace"]);
    assert!(said.contains("hard.xlsx") || said.contains("line.csv"), "{said}");
    assert_eq!(fs::read(&list).unwrap(), b"part_no,qty\n");
    assert_eq!(fs::read(&outside).unwrap(), b"part_no,qty\n");
}

#[test]
fn a_file_of_somebody_else_is_replaced_only_when_asked() {
    let scene = Scene::new();
    copy(&scene.path("plant"), &scene.path("other"));
    fs::write(scene.path("notes.xlsx"), "my notes").unwrap();
    fs::create_dir(scene.path("data")).unwrap();
    fs::write(scene.path("data/summary.json"), "{}").unwrap();
    let before = files(scene.0.path());
    for options in [["--out", "notes.xlsx"], ["--cards", "notes.xlsx"], ["--data", "other"], ["--data", "data"]] {
        let said = scene.refused(&options);
        assert!(said.contains("was not written by clampbook") && said.contains("--replace"), "{said}");
        assert_eq!(files(scene.0.path()), before, "{options:?}");
    }
    scene.written(&["--out", "notes.xlsx", "--data", "data", "--replace"]);
    // Its own outputs it replaces unasked.
    scene.written(&["--out", "notes.xlsx", "--data", "data", "--parquet", "--cards", "cards.xlsx"]);
    scene.written(&["--out", "notes.xlsx", "--data", "data", "--parquet", "--cards", "cards.xlsx"]);
}

#[test]
fn files_of_different_runs_are_not_taken_for_one() {
    let scene = Scene::new();
    scene.written(&["--data", "one"]);
    let components = scene.path("plant/components.csv");
    let text = fs::read_to_string(&components).unwrap();
    let kept: Vec<&str> = text.lines().enumerate().filter(|(row, _)| row % 7 != 3).map(|(_, line)| line).collect();
    fs::write(&components, kept.join("\n")).unwrap();
    scene.written(&["--data", "two"]);
    let run = |data: &str| {
        let text = fs::read_to_string(scene.path(data).join("summary.json")).unwrap();
        serde_json::from_str::<serde_json::Value>(&text).unwrap()["run"].as_str().unwrap().to_owned()
    };
    assert_ne!(run("one"), run("two"));
    scene.written(&["--data", "again"]);
    assert_eq!(run("two"), run("again"), "the id is that of the inputs");
    fs::copy(scene.path("one/findings.csv"), scene.path("two/findings.csv")).unwrap();
    let said = scene.refused(&["--data", "three", "--previous", "two"]);
    assert!(said.contains("files of different runs"), "{said}");
    // The same for parts that are to be joined.
    for part in ["1", "2"] {
        let shard = format!("{part}/2");
        let ran = scene.check(&["--data", part, "--shard", &shard]);
        assert_eq!(ran.status.code(), Some(0), "{}", String::from_utf8_lossy(&ran.stderr));
    }
    fs::copy(scene.path("1/circuits.csv"), scene.path("2/circuits.csv")).unwrap();
    let ran = scene.command(&["merge", "1", "2", "--data", "joined"]).output().unwrap();
    assert_eq!(ran.status.code(), Some(2));
    assert!(String::from_utf8_lossy(&ran.stderr).contains("files of different runs"));
}

#[test]
fn runs_at_once_lose_no_row_of_the_history() {
    let scene = Scene::new();
    let dates = ["2026-01-01", "2026-02-01", "2026-03-01", "2026-04-01"];
    let policy = fs::read_to_string(scene.path("plant/policy.toml")).unwrap();
    let others: Vec<&str> = policy.lines().filter(|line| !line.starts_with("date")).collect();
    let children: Vec<_> = dates
        .iter()
        .map(|date| {
            fs::write(scene.path(&format!("{date}.toml")), format!("date = \"{date}\"\n{}", others.join("\n")))
                .unwrap();
            let (policy, out) = (format!("{date}.toml"), format!("{date}.xlsx"));
            let mut command =
                scene.command(&["check", "plant", "--no-remedies", "--quiet", "--history", "history.csv"]);
            command.args(["--policy", &policy, "--out", &out]).stdout(Stdio::null()).stderr(Stdio::null());
            command.spawn().unwrap()
        })
        .collect();
    for mut child in children {
        assert_eq!(child.wait().unwrap().code(), Some(1));
    }
    let history = fs::read_to_string(scene.path("history.csv")).unwrap();
    let found: Vec<&str> = history.lines().skip(1).filter_map(|row| row.split(',').next()).collect();
    assert_eq!(found, dates);
}

#[cfg(unix)]
#[test]
fn a_closed_output_changes_neither_files_nor_exit_status() {
    let scene = Scene::new();
    let full = fs::OpenOptions::new().write(true).open("/dev/full").unwrap();
    let mut command = scene.command(&["check", "plant", "--quiet", "--data", "data", "--apply-remedies", "changed"]);
    let status = command.stdout(full).status().unwrap();
    assert_eq!(status.code(), Some(1));
    assert!(scene.path("data/summary.json").exists());
    assert!(scene.path("changed/components.csv").exists() && scene.path("changed/lists").is_dir());
}

#[cfg(unix)]
#[test]
fn pipes_links_and_a_history_without_rights_are_refused_at_the_start() {
    let scene = Scene::new();
    let pipe = scene.path("pipe");
    assert!(Command::new("mkfifo").arg(&pipe).status().unwrap().success());
    for option in ["--out", "--cards"] {
        assert!(scene.refused(&[option, "pipe"]).contains("not a file"));
    }
    assert!(scene.refused(&["--out", "a.xlsx", "--history", "pipe"]).contains("not a file"));
    fs::create_dir(scene.path("old")).unwrap();
    fs::rename(&pipe, scene.path("old/summary.json")).unwrap();
    assert!(scene.refused(&["--out", "a.xlsx", "--previous", "old"]).contains("this is not a file"));
    assert!(scene.refused(&["--out", "a.xlsx", "--history", "none/history.csv"]).contains("does not exist"));
    assert!(!scene.path("a.xlsx").exists());
    fs::create_dir(scene.path("real")).unwrap();
    std::os::unix::fs::symlink(scene.path("real"), scene.path("link")).unwrap();
    let output = scene.command(&["check", "plant", "--quiet", "--apply-remedies", "link"]).output().unwrap();
    assert_eq!(output.status.code(), Some(2));
    assert!(String::from_utf8_lossy(&output.stderr).contains("this is a link"));
}

#[test]
fn what_killed_runs_left_is_swept_whatever_it_was_for() {
    let scene = Scene::new();
    fs::write(scene.path(".clampbook-0123456789abcdef-xyz"), "half").unwrap();
    fs::create_dir_all(scene.path(".clampbook-copy/plant/lists")).unwrap();
    let output = scene.command(&["check", "plant", "--quiet", "--out", "a.xlsx", "--apply-remedies", "new"]).output();
    assert_eq!(output.unwrap().status.code(), Some(1));
    let names = fs::read_dir(scene.0.path()).unwrap().map(|entry| entry.unwrap().file_name());
    let strays: Vec<_> = names.filter(|name| name.to_string_lossy().starts_with(".clampbook-")).collect();
    assert!(strays.is_empty(), "{strays:?}");
}

/// Every part of a package is well-formed XML 1.0, and holds no character that XML can't.
fn assert_opens(file: &Path) {
    let mut package = zip::ZipArchive::new(fs::File::open(file).unwrap()).unwrap();
    let mut parts = 0;
    for index in 0..package.len() {
        let mut part = package.by_index(index).unwrap();
        let name = part.name().unwrap().into_owned();
        let mut text = String::new();
        std::io::Read::read_to_string(&mut part, &mut text).unwrap();
        // Section 2.2 of XML 1.0: #x9 | #xA | #xD | [#x20-#xD7FF] | [#xE000-#xFFFD] | [#x10000-#x10FFFF].
        let strange = text
            .chars()
            .find(|c| (*c < ' ' && !matches!(c, '\t' | '\n' | '\r')) || matches!(c, '\u{fffe}' | '\u{ffff}'));
        assert_eq!(strange, None, "{name}");
        let mut reader = quick_xml::Reader::from_str(&text);
        loop {
            match reader.read_event().unwrap_or_else(|error| panic!("{name}: {error}")) {
                quick_xml::events::Event::Eof => break,
                // Attributes are read only where they are asked for.
                quick_xml::events::Event::Start(tag) | quick_xml::events::Event::Empty(tag) => {
                    tag.attributes().for_each(|attribute| drop(attribute.unwrap().unescape_value().unwrap()));
                }
                quick_xml::events::Event::Text(text) => drop(text.decode().unwrap()),
                _ => {}
            }
        }
        parts += 1;
    }
    assert!(parts > 8, "{parts}");
}

#[test]
fn workbooks_open_whatever_the_names_hold() {
    let scene = Scene::new();
    // Characters that reach a text file's cell, in the names of pallets and fixtures.
    let odd = "\u{1}\u{b}\u{1f}\u{7f}\u{85}\u{fffe}\u{ffff}<&>\"'";
    let mut changed_files = 0;
    for file in files(&scene.path("plant")).into_keys().filter(|file| file.extension() == Some("csv".as_ref())) {
        let text = fs::read_to_string(&file).unwrap();
        let mut changed = text.clone();
        for name in ["T02", "T03", "Q01", "left", "plate"] {
            changed = changed.replace(&format!(",{name},"), &format!(",\"{name}{}\",", odd.replace('"', "\"\"")));
        }
        changed_files += usize::from(changed != text);
        fs::write(file, changed).unwrap();
    }
    assert!(changed_files > 2, "the sample plant's names are others now");
    scene.written(&["--out", "a.xlsx", "--cards", "c.xlsx"]);
    assert_opens(&scene.path("a.xlsx"));
    assert_opens(&scene.path("c.xlsx"));
}
