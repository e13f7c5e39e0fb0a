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
    fs::create_dir(scene.path("other")).unwrap();
    fs::write(scene.path("other/purchase.csv"), "my,purchases\n").unwrap();
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
                    tag.attributes().for_each(|attribute| {
                        drop(attribute.unwrap().normalized_value(quick_xml::XmlVersion::Implicit1_0).unwrap());
                    });
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

#[test]
fn no_output_stands_where_a_plant_would_read_it() {
    let scene = Scene::new();
    fs::create_dir_all(scene.path("other/lists")).unwrap();
    fs::write(scene.path("other/components.csv"), "part_no,kind\n").unwrap();
    fs::write(scene.path("other/lists/a.csv"), "part_no,qty\n").unwrap();
    let before = files(scene.0.path());
    let cases: [&[&str]; 9] = [
        &["--data", "other"],
        &["--data", "other/lists"],
        &["--data", "other/lists/below"],
        &["--data", "plant"],
        &["--out", "other/lists/report.xlsx"],
        &["--out", "other/circuits.xlsx"],
        &["--cards", "other/Stations.xlsx"],
        &["--out", "a.xlsx", "--history", "other/lists/history.csv"],
        &["--out", "a.xlsx", "--history", "other/policy.toml"],
    ];
    for options in cases {
        let said = scene.refused(&[options, &["--replace"]].concat());
        assert!(said.contains("would read this as its") || said.contains("which this run reads"), "{said}");
        assert_eq!(files(scene.0.path()), before, "{options:?}");
    }
    // The name of the folder counts as reading takes it, whatever its letters.
    fs::rename(scene.path("plant/lists"), scene.path("plant/Lists")).unwrap();
    for options in [["--out", "plant/Lists/report.xlsx"], ["--data", "plant/Lists/data"]] {
        assert!(scene.refused(&options).contains("which this run reads"), "{options:?}");
    }
    let copied = scene.command(&["check", "plant", "--quiet", "--apply-remedies", "other/lists/new"]).output().unwrap();
    assert_eq!(copied.status.code(), Some(2));
    assert!(!scene.path("other/lists/new").exists());
    let begun = scene.command(&["starter", "other/lists/new"]).output().unwrap();
    assert_eq!(begun.status.code(), Some(2));
    assert!(!scene.path("other/lists/new").exists());
    // A folder of the plant that is not read is free.
    scene.written(&["--data", "plant/data", "--out", "plant/report.xlsx"]);
}

#[test]
fn a_plant_of_one_workbook_gets_no_second_one_and_no_tables() {
    let scene = Scene::new();
    assert!(scene.command(&["starter", "one", "--xlsx"]).output().unwrap().status.success());
    let before = files(&scene.path("one"));
    let ran = |arguments: &[&str]| {
        let output = scene.command(&[&["check"], arguments].concat()).output().unwrap();
        (output.status.code(), String::from_utf8(output.stderr).unwrap())
    };
    for arguments in [
        ["one", "--out", "one/report.xlsx"],
        ["one", "--data", "one"],
        ["one/plant.xlsx", "--data", "one"],
        ["one/plant.xlsx", "--out", "one/lists.xlsx"],
    ] {
        let (status, said) = ran(&arguments);
        assert_eq!(status, Some(2), "{arguments:?}");
        assert!(said.contains("would read this as its") || said.contains("could not tell which"), "{said}");
        assert_eq!(files(&scene.path("one")), before, "{arguments:?}");
    }
    // The workbook itself is named, so that another beside it is no matter.
    assert_eq!(ran(&["one/plant.xlsx", "--out", "one/report.xlsx"]).0, Some(0));
}

#[test]
fn a_report_of_this_program_is_no_list_whatever_its_sheets() {
    let scene = Scene::new();
    scene.written(&["--out", "a.xlsx", "--cards", "c.xlsx"]);
    scene.written(&["--out", "p.xlsx", "--only", "purchase"]);
    for name in ["a.xlsx", "c.xlsx", "p.xlsx"] {
        let list = scene.path("plant/lists").join(name);
        fs::copy(scene.path(name), &list).unwrap();
        assert!(scene.refused(&["--data", "data"]).contains("a report that this program wrote"), "{name}");
        fs::remove_file(list).unwrap();
    }
    scene.written(&["--data", "data"]);
}

/// The names in a folder.
fn names(folder: &Path) -> Vec<String> {
    let entries = fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().file_name());
    let mut names: Vec<String> = entries.map(|name| name.to_string_lossy().into_owned()).collect();
    names.sort();
    names
}

#[test]
fn a_data_folder_holds_the_files_of_one_run_and_what_others_put_there() {
    let scene = Scene::new();
    let data = scene.path("data");
    scene.written(&["--data", "data"]);
    let usual = names(&data);
    scene.written(&["--data", "more", "--previous", "data", "--parquet"]);
    fs::rename(scene.path("more"), &data).unwrap_err();
    fs::remove_dir_all(&data).unwrap();
    fs::rename(scene.path("more"), &data).unwrap();
    assert!(names(&data).contains(&"cleared.csv".to_owned()) && names(&data).contains(&"circuits.parquet".to_owned()));
    fs::write(data.join("notes.txt"), "mine").unwrap();
    // A twin's name alone doesn't make it one.
    fs::write(data.join("due.parquet"), "mine too").unwrap();
    scene.written(&["--data", "data", "--out", "data/report.xlsx"]);
    let kept = ["due.parquet", "notes.txt", "report.xlsx"].map(str::to_owned);
    let mut wanted = [usual.as_slice(), &kept].concat();
    wanted.sort();
    assert_eq!(names(&data), wanted);
    assert_eq!(fs::read(data.join("notes.txt")).unwrap(), b"mine");
    assert_eq!(fs::read(data.join("due.parquet")).unwrap(), b"mine too");
    // With a folder in it, and worked in, it stays the same folder.
    fs::create_dir(data.join("below")).unwrap();
    fs::write(data.join("below/notes.txt"), "mine").unwrap();
    scene.written(&["--data", "data"]);
    assert_eq!(fs::read(data.join("below/notes.txt")).unwrap(), b"mine");
    let mut command = scene.command(&["check", "../plant", "--no-remedies", "--quiet", "--data", "."]);
    assert_eq!(command.current_dir(&data).output().unwrap().status.code(), Some(1));
    assert!(names(scene.0.path()).iter().all(|name| !name.starts_with(".clampbook-")));
    assert!(names(&data).iter().all(|name| !name.starts_with(".clampbook-")));
}

#[cfg(unix)]
#[test]
fn a_data_folder_keeps_its_rights_and_its_links() {
    use std::os::unix::fs::PermissionsExt;
    let scene = Scene::new();
    scene.written(&["--data", "data"]);
    let mode = |path: &Path| fs::metadata(path).unwrap().permissions().mode() & 0o7777;
    fs::set_permissions(scene.path("data"), fs::Permissions::from_mode(0o2750)).unwrap();
    fs::set_permissions(scene.path("data/due.csv"), fs::Permissions::from_mode(0o640)).unwrap();
    fs::create_dir(scene.path("elsewhere")).unwrap();
    fs::rename(scene.path("data/causes.csv"), scene.path("elsewhere/causes.csv")).unwrap();
    std::os::unix::fs::symlink("../elsewhere/causes.csv", scene.path("data/causes.csv")).unwrap();
    let before = fs::read(scene.path("elsewhere/causes.csv")).unwrap();
    fs::write(scene.path("elsewhere/causes.csv"), [before.clone(), b"old".to_vec()].concat()).unwrap();
    scene.written(&["--data", "data"]);
    assert_eq!((mode(&scene.path("data")), mode(&scene.path("data/due.csv"))), (0o2750, 0o640));
    assert!(fs::symlink_metadata(scene.path("data/causes.csv")).unwrap().is_symlink());
    assert_eq!(fs::read(scene.path("elsewhere/causes.csv")).unwrap(), before);
    std::os::unix::fs::symlink("data", scene.path("link")).unwrap();
    scene.written(&["--data", "link"]);
    assert!(fs::symlink_metadata(scene.path("link")).unwrap().is_symlink());
    assert_eq!(
        fs::read_to_string(scene.path("link/summary.json")).unwrap(),
        fs::read_to_string(scene.path("data/summary.json")).unwrap()
    );
}

#[test]
fn two_outputs_of_one_name_are_refused_before_anything_is_read() {
    let scene = Scene::new();
    for options in [
        ["--out", "a.xlsx", "--cards", "./a.xlsx"],
        ["--data", "data", "--history", "data/circuits.csv"],
        ["--data", "data", "--history", "./data/../data/summary.json"],
    ] {
        let said = scene.refused(&options);
        assert!(said.contains("has this name") || said.contains("have this name"), "{said}");
    }
}

#[cfg(unix)]
#[test]
fn what_is_no_file_is_told_and_not_waited_for() {
    let scene = Scene::new();
    let pipe = |name: &str| assert!(Command::new("mkfifo").arg(scene.path(name)).status().unwrap().success());
    let told = |arguments: &[&str]| {
        let mut child = scene.command(arguments).stdout(Stdio::null()).stderr(Stdio::piped()).spawn().unwrap();
        let begun = std::time::Instant::now();
        while child.try_wait().unwrap().is_none() {
            if begun.elapsed().as_secs() > 20 {
                child.kill().unwrap();
                panic!("{arguments:?} waits for ever");
            }
            std::thread::sleep(std::time::Duration::from_millis(5));
        }
        let output = child.wait_with_output().unwrap();
        let said = String::from_utf8(output.stderr).unwrap();
        assert_eq!(output.status.code(), Some(2), "{arguments:?}: {said}");
        said
    };
    pipe("policy.toml");
    assert!(told(&["check", "plant", "--policy", "policy.toml"]).contains("a pipe, a device or a socket"));
    assert!(told(&["check", "policy.toml"]).contains("a pipe or a device"));
    fs::create_dir(scene.path("part")).unwrap();
    pipe("part/shard.json");
    assert!(told(&["merge", "part", "--data", "joined"]).contains("this is not a file"));
    assert!(
        told(&["mail", "report.xlsx", "--data", "x", "--to", "a@b.example"]).contains("a pipe, a device or a socket")
    );
    pipe("plant/lists/a.csv");
    assert!(told(&["check", "plant"]).contains("stands a pipe or a device"));
    fs::remove_file(scene.path("plant/lists/a.csv")).unwrap();
    fs::create_dir(scene.path("plant/lists/a.csv")).unwrap();
    assert!(told(&["check", "plant"]).contains("under the name of a list stands a folder"));
    fs::remove_dir(scene.path("plant/lists/a.csv")).unwrap();
    pipe("plant/odd.csv");
    let output = scene.command(&["headers", "plant"]).output();
    assert!(matches!(output.unwrap().status.code(), Some(0 | 2)));
}

#[cfg(unix)]
#[test]
fn lists_whose_names_are_no_utf8_are_in_the_changed_copy() {
    use std::os::unix::ffi::OsStrExt;
    let scene = Scene::new();
    let line =
        |fixture: &str| format!("plant,pallet,fixture,circuit,part_no,qty\nTarnholm,T99,{fixture},1,HERON-20,1\n");
    for (name, fixture) in [(&b"\xffz.csv"[..], "one"), (b"\xfez.csv", "two")] {
        fs::write(scene.path("plant/lists").join(OsStr::from_bytes(name)), line(fixture)).unwrap();
    }
    let output = scene.command(&["check", "plant", "--quiet", "--apply-remedies", "new"]).output().unwrap();
    assert_eq!(output.status.code(), Some(1), "{}", String::from_utf8_lossy(&output.stderr));
    let texts: Vec<String> = files(&scene.path("new/lists"))
        .into_values()
        .map(|bytes| String::from_utf8_lossy(&bytes).into_owned())
        .collect();
    for fixture in ["one", "two"] {
        let place = format!("Tarnholm,T99,{fixture},1");
        assert!(texts.iter().any(|text| text.contains(&place)), "{fixture}");
    }
}

/// Signs that steer a terminal, none of which may reach it.
fn steers(text: &str) -> bool {
    text.chars()
        .any(|sign| sign.is_control() && sign != '\n' && sign != '\t' || ('\u{202a}'..='\u{202e}').contains(&sign))
}

#[test]
fn no_sign_that_steers_reaches_the_terminal() {
    let scene = Scene::new();
    let odd = "x\u{1b}[31m\u{7}\u{202e}\u{9b}2J\r";
    for file in files(&scene.path("plant")).into_keys().filter(|file| file.extension() == Some("csv".as_ref())) {
        let text = fs::read_to_string(&file).unwrap();
        let changed = ["T02", "left", "PLOVER-20", "HERON-20"].iter().fold(text, |text, name| {
            text.replace(&format!(",{name},"), &format!(",\"{name}\u{1b}[5m\u{7}\u{202e}\","))
        });
        fs::write(file, changed).unwrap();
    }
    let policy = fs::read_to_string(scene.path("plant/policy.toml")).unwrap();
    fs::write(scene.path("odd.toml"), format!("{policy}\n[\"bo\\u001bgus\"]\n")).unwrap();
    fs::create_dir(scene.path(odd)).unwrap();
    fs::write(scene.path(odd).join("shard.json"), "{\u{1b}").unwrap();
    let cases: [&[&str]; 15] = [
        &["check", "plant", "--all", "--out", "a.xlsx"],
        &["check", "plant", "--apply-remedies", "new"],
        &["check", "plant", "--apply-remedies", odd],
        &["check", "plant", "--out", odd],
        &["check", "plant", "--policy", "odd.toml"],
        &["check", odd],
        &["check", "plant", odd],
        &["check", "plant", "--shard", odd],
        &["check", "plant", "--threads", odd],
        &["headers", "plant"],
        &["headers", odd],
        &["merge", odd, "--data", "joined"],
        &["rules", odd],
        &["mail", odd, "--data", odd, "--to", odd],
        &[odd],
    ];
    for arguments in cases {
        let output = scene.command(arguments).output().unwrap();
        for said in [output.stdout, output.stderr] {
            let said = String::from_utf8(said).unwrap();
            assert!(!steers(&said), "{arguments:?}: {said:?}");
        }
    }
}

#[cfg(unix)]
#[test]
fn what_goes_wrong_is_told_without_the_systems_numbers() {
    let scene = Scene::new();
    fs::write(scene.path("file"), "x").unwrap();
    let cases: [&[&str]; 8] = [
        &["check", "none"],
        &["check", "plant", "--quiet", "--apply-remedies", "/proc/none"],
        &["check", "plant", "--policy", "file/none"],
        &["check", "plant", "--data", "file/none"],
        &["check", "plant", "--data", "/proc/none"],
        &["check", "plant", "--previous", "none", "--data", "data"],
        &["merge", "none", "--data", "joined"],
        &["starter", "/proc/none"],
    ];
    for arguments in cases {
        let output = scene.command(arguments).output().unwrap();
        let said = String::from_utf8(output.stderr).unwrap();
        assert_eq!(output.status.code(), Some(2), "{arguments:?}: {said}");
        for raw in ["os error", "Error(", "Os {", "panicked", "kind:"] {
            assert!(!said.contains(raw), "{arguments:?}: {said}");
        }
        assert!(said.trim_end().ends_with('.'), "{arguments:?}: {said}");
    }
}

#[cfg(unix)]
#[test]
fn a_full_disk_behind_the_terminal_changes_no_command() {
    let scene = Scene::new();
    let full = || fs::OpenOptions::new().write(true).open("/dev/full").unwrap();
    let ran = |arguments: &[&str]| {
        let mut command = scene.command(arguments);
        command.stdout(full()).stderr(full()).status().unwrap().code()
    };
    assert_eq!(ran(&["check", "none"]), Some(2));
    assert_eq!(ran(&["starter", "new"]), Some(0));
    assert!(scene.path("new/components.csv").exists());
    assert_eq!(ran(&["rules"]), Some(0));
    let policy = scene.path("plant/policy.toml");
    fs::remove_file(&policy).unwrap();
    assert_eq!(ran(&["headers", "plant", "--write"]), Some(0));
    assert!(policy.exists());
    assert_eq!(ran(&["check", "plant", "--data", "data", "--apply-remedies", "changed", "--no-such-option"]), Some(2));
}

#[test]
fn where_nothing_could_be_checked_nothing_conforms() {
    let scene = Scene::new();
    let plant = scene.path("bare");
    fs::create_dir_all(plant.join("lists")).unwrap();
    fs::write(plant.join("components.csv"), "part_no,kind,rated_pressure [bar]\nA,clamp,100\n").unwrap();
    // No line at all; and lines with too few cells, whose circuits can't be told.
    for (rows, expected) in [("", "none was checked"), ("F,1,A,2\nF,1,A,1\n", "2 lines were set aside")] {
        fs::write(plant.join("lists/a.csv"), format!("fixture,circuit,part_no,qty,note\n{rows}")).unwrap();
        let output = scene.command(&["check", "bare", "--quiet"]).output().unwrap();
        assert_eq!(output.status.code(), Some(1), "{rows:?}");
        let said = String::from_utf8(output.stdout).unwrap();
        assert!(said.contains(expected), "{said}");
    }
}

#[cfg(unix)]
#[test]
fn a_list_that_changes_under_the_run_ends_it() {
    let scene = Scene::new();
    let list = scene.path("plant/lists/long.csv");
    let mut text = String::from("plant,pallet,fixture,circuit,position,part_no,qty\n");
    for line in 0..200_000 {
        std::fmt::Write::write_fmt(
            &mut text,
            format_args!("Tarnholm,P{},left,1,C{},HERON-20,2\n", line / 20, line % 20),
        )
        .unwrap();
    }
    fs::write(&list, &text).unwrap();
    let times = fs::metadata(&list).unwrap().modified().unwrap();
    let mut said = String::new();
    // The moment differs from machine to machine: it must fall between the two readings once.
    for wait in [150, 80, 40, 20, 300, 10] {
        let mut command = scene.command(&["check", "plant", "--no-remedies", "--quiet", "--data", "data"]);
        let child = command.stdout(Stdio::null()).stderr(Stdio::piped()).spawn().unwrap();
        std::thread::sleep(std::time::Duration::from_millis(wait));
        // Other digits in the same bytes, and the time set back: only the bytes tell.
        let mut changed = fs::OpenOptions::new().write(true).open(&list).unwrap();
        std::io::Write::write_all(&mut changed, text.replace(",2\n", ",3\n").as_bytes()).unwrap();
        changed.set_modified(times).unwrap();
        let output = child.wait_with_output().unwrap();
        said = String::from_utf8(output.stderr).unwrap();
        fs::write(&list, &text).unwrap();
        fs::File::options().write(true).open(&list).unwrap().set_modified(times).unwrap();
        if output.status.code() == Some(2) {
            assert!(!scene.path("data/summary.json").exists(), "nothing is written of what was not one file");
            break;
        }
        let _ = fs::remove_dir_all(scene.path("data"));
    }
    assert!(said.contains("lists/long.csv: the file changed while it was read"), "{said}");
}

#[test]
fn runs_at_once_into_one_folder_leave_the_files_of_one() {
    let scene = Scene::new();
    copy(&scene.path("plant"), &scene.path("other"));
    let components = scene.path("other/components.csv");
    let text = fs::read_to_string(&components).unwrap();
    let kept: Vec<&str> = text.lines().enumerate().filter(|(row, _)| row % 5 != 3).map(|(_, line)| line).collect();
    fs::write(&components, kept.join("\n")).unwrap();
    fs::write(scene.path("mail.toml"), "[mail]\nhost = \"localhost\"\nfrom = \"audit@example.com\"\n").unwrap();
    for _ in 0..5 {
        let children: Vec<_> = ["plant", "other", "plant", "other"]
            .iter()
            .map(|plant| {
                let mut command = scene.command(&["check", plant, "--no-remedies", "--quiet"]);
                command.args(["--data", "data", "--out", "report.xlsx", "--history", "history.csv"]);
                command.stdout(Stdio::null()).stderr(Stdio::null()).spawn().unwrap()
            })
            .collect();
        for mut child in children {
            assert_eq!(child.wait().unwrap().code(), Some(1));
        }
        let mail = [
            "mail",
            "report.xlsx",
            "--data",
            "data",
            "--to",
            "a@example.com",
            "--policy",
            "mail.toml",
            "--eml",
            "a.eml",
        ];
        let output = scene.command(&mail).output().unwrap();
        assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    }
    assert!(names(scene.0.path()).iter().all(|name| !name.starts_with(".clampbook-")));
}
