//! A run that is killed, interrupted or refused by the disk: reports are old or new, never half.

#![allow(clippy::unwrap_used, reason = "a test stops where it fails")]
#![cfg(unix)]

#[path = "plants/folder.rs"]
mod folder;
#[path = "benches/bench_plant/plant.rs"]
#[allow(dead_code, reason = "written for plants of more kinds")]
mod plant;

use std::collections::BTreeMap;
use std::env;
use std::ffi::OsStr;
use std::fs;
use std::os::unix::fs::PermissionsExt;
use std::os::unix::process::ExitStatusExt;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Output, Stdio};
use std::thread;
use std::time::{Duration, Instant};

use folder::files;
use sha2::Digest;

const KILLS: u64 = 400;
/// Kills of a part of a run.
const PART_KILLS: u64 = 60;
/// What a run should take: long enough to be hit in all its phases, 400 times within a minute or so.
const SPAN: Duration = Duration::from_millis(120);
/// How the names of temporary files begin.
const STRAY: &str = ".clampbook-";

type Files = BTreeMap<PathBuf, Vec<u8>>;

/// The program; another one than Cargo built where the variable names it.
fn program() -> PathBuf {
    env::var_os("CLAMPBOOK_BIN").map_or_else(|| PathBuf::from(env!("CARGO_BIN_EXE_clampbook")), PathBuf::from)
}

/// A folder with plants that readers of other rights may enter, and a folder for reports.
struct Scene {
    root: tempfile::TempDir,
}

impl Scene {
    fn new() -> Self {
        let root = tempfile::tempdir().unwrap();
        fs::set_permissions(root.path(), fs::Permissions::from_mode(0o755)).unwrap();
        fs::create_dir(root.path().join("out")).unwrap();
        Self { root }
    }

    fn path(&self, name: &str) -> PathBuf {
        self.root.path().join(name)
    }

    fn plant(&self, name: &str, lines: u64, seed: u64) -> PathBuf {
        let folder = self.path(name);
        let _ = fs::remove_dir_all(&folder);
        plant::write(&plant::Order {
            folder: &folder,
            lines,
            seed,
            files: 2,
            lines_per_circuit: 20,
            kind: plant::Kind::Mixed,
        })
        .unwrap();
        folder
    }

    fn check(plant: &Path, report: &Path, data: &Path) -> Command {
        let mut command = Command::new(program());
        command.arg("check").arg(plant).arg("--out").arg(report).arg("--data").arg(data).arg("--quiet");
        command.stdout(Stdio::null()).stderr(Stdio::null());
        command
    }

    /// With all outputs that a run may have.
    fn usual(&self, plant: &Path) -> Command {
        let mut command = Self::check(plant, &self.path("out/report.xlsx"), &self.path("out/data"));
        command.arg("--parquet").arg("--cards").arg(self.path("out/cards.xlsx"));
        command.arg("--history").arg(self.path("out/history.csv"));
        command
    }

    fn whole_run(&self, plant: &Path) -> (Files, Duration) {
        let start = Instant::now();
        let status = self.usual(plant).status().unwrap();
        let took = start.elapsed();
        assert!(matches!(status.code(), Some(0 | 1)), "{status}");
        let files = files(&self.path("out"));
        assert!(files.len() > 5 && files.keys().all(|name| !is_stray(name)), "{:?}", files.keys());
        (files, took)
    }
}

/// A temporary file, or one in a folder on its way.
fn is_stray(path: &Path) -> bool {
    path.iter().any(|name| name.to_string_lossy().starts_with(STRAY))
}

/// Numbers that only have to lie anywhere, the same in every run.
fn moments(count: u64, span: Duration) -> impl Iterator<Item = Duration> {
    let step = 0x9E37_79B9_7F4A_7C15_u64;
    (1..=count).map(move |index| {
        let mixed = (index.wrapping_mul(step) ^ (index.wrapping_mul(step) >> 29)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        span.mul_f64(f64::from(u32::try_from(mixed >> 32).unwrap()) / f64::from(u32::MAX))
    })
}

/// Lines with which a run takes about [`SPAN`], whatever the build and the machine.
fn fitting_lines(scene: &Scene) -> u64 {
    let mut lines = 1_000;
    for _ in 0..3 {
        let plant = scene.plant("trial", lines, 1);
        let took = (0..3).map(|_| scene.whole_run(&plant).1).min().unwrap();
        if took > SPAN {
            break;
        }
        lines = if took * 2 < SPAN { lines * 3 } else { lines * 3 / 2 };
    }
    lines
}

/// What a killed run left behind.
#[derive(Default, Debug)]
struct Seen {
    killed: u64,
    with_strays: u64,
    new: u64,
    mixed: u64,
    /// Sets that `--previous` took.
    accepted: u64,
    /// Reports that could be sent with their data.
    mailed: u64,
}

/// Whether `--previous` takes the data folder that a kill left: only where its files are those of
/// one run. The hashes are held against the files here too, by hand.
fn is_accepted(scene: &Scene, plant: &Path) -> bool {
    let data = scene.path("out/data");
    let summary: serde_json::Value = serde_json::from_slice(&fs::read(data.join("summary.json")).unwrap()).unwrap();
    let findings = fs::read(data.join("findings.csv")).unwrap();
    let is_one_run = summary["files"]["findings.csv"] == format!("{:x}", sha2::Sha256::digest(findings));
    let mut command = Command::new(program());
    command.arg("check").arg(plant).arg("--quiet").arg("--previous").arg(&data);
    // Refused or not shows before the audit: the output is a folder, and that is said after it.
    let output = command.arg("--out").arg(scene.path("out")).output().unwrap();
    let said = String::from_utf8_lossy(&output.stderr).into_owned();
    let is_refused = said.contains("files of different runs");
    assert!(is_refused || said.contains("this is a folder"), "{said}");
    assert_eq!(is_refused, !is_one_run, "{said}");
    !is_refused
}

/// Whether a report is sent with a data folder: a message file is written instead of a mail.
fn is_mailed(scene: &Scene) -> bool {
    let policy = scene.path("mail.toml");
    fs::write(&policy, "[mail]\nhost = \"localhost\"\nfrom = \"audit@example.com\"\n").unwrap();
    let mut command = Command::new(program());
    command.arg("mail").arg(scene.path("out/report.xlsx")).arg("--data").arg(scene.path("out/data"));
    command.args(["--to", "boss@example.com", "--policy"]).arg(&policy).arg("--eml").arg(scene.path("note.eml"));
    let output = command.output().unwrap();
    let said = String::from_utf8_lossy(&output.stderr).into_owned();
    assert!(matches!(output.status.code(), Some(0 | 2)), "{said}");
    output.status.success()
}

/// The files of the data folder and the report, of which run they are: the old or the new one.
fn is_of_one_run(found: &Files, old: &Files, new: &Files) -> bool {
    let belongs = |name: &Path| name.ends_with("report.xlsx") || name.iter().any(|part| part == "data");
    let of = |run: &Files| {
        found.iter().filter(|(name, _)| !is_stray(name) && belongs(name)).all(|(name, bytes)| run[name] == *bytes)
    };
    of(old) || of(new)
}

impl Seen {
    /// Every file is whole: byte for byte that of the run before or of this one.
    fn look(&mut self, found: &Files, old: &Files, new: &Files, moment: Duration) {
        let named: BTreeMap<_, _> = found.iter().filter(|(name, _)| !is_stray(name)).collect();
        assert!(named.keys().copied().eq(new.keys()), "{moment:?}: {:?}", named.keys());
        let mut news = 0;
        for (name, bytes) in named {
            assert!(*bytes == old[name] || *bytes == new[name], "{moment:?}: {} is neither", name.display());
            news += usize::from(*bytes != old[name]);
        }
        let changes = new.iter().filter(|(name, bytes)| **bytes != old[*name]).count();
        if cfg!(target_os = "linux") {
            let of_data = || found.iter().filter(|(name, _)| !is_stray(name) && name.iter().any(|part| part == "data"));
            let is_of = |run: &Files| of_data().all(|(name, bytes)| run[name] == *bytes);
            assert!(is_of(old) || is_of(new), "{moment:?}: the data folder holds files of two runs");
        }
        self.with_strays += u64::from(found.keys().any(|name| is_stray(name)));
        self.new += u64::from(news == changes);
        self.mixed += u64::from(news > 0 && news < changes);
    }
}

#[test]
fn killed_at_any_moment_it_leaves_old_reports_or_new_ones_and_the_next_run_tidies_up() {
    let scene = Scene::new();
    let lines = fitting_lines(&scene);
    let plants = [scene.plant("one", lines, 1), scene.plant("two", lines, 2)];
    let inputs = plants.each_ref().map(|plant| files(plant));
    let runs = plants.each_ref().map(|plant| scene.whole_run(plant));
    let took = runs[0].1.min(runs[1].1);
    let whole = runs.map(|(files, _)| files);
    assert!(whole[0].iter().any(|(name, bytes)| name.ends_with("report.xlsx") && *bytes != whole[1][name]));
    let mut seen = Seen::default();
    // The report that stands is that of the second plant.
    let mut standing = 1;
    // A run is now faster, now slower than the measured one, by what else the machine does: the moments follow it.
    let mut pace = 1.0;
    for (index, moment) in (0_u64..).zip(moments(KILLS, took.mul_f64(1.1))) {
        let next = 1 - standing;
        let moment = moment.mul_f64(pace);
        let mut child = scene.usual(&plants[next]).spawn().unwrap();
        thread::sleep(moment);
        child.kill().unwrap();
        let was_killed = child.wait().unwrap().signal() == Some(9);
        seen.killed += u64::from(was_killed);
        pace *= if was_killed { 1.03 } else { 0.85 };
        seen.accepted += u64::from(is_accepted(&scene, &plants[next]));
        let found = files(&scene.path("out"));
        seen.look(&found, &whole[standing], &whole[next], moment);
        let is_sent = is_mailed(&scene);
        assert_eq!(is_sent, is_of_one_run(&found, &whole[standing], &whole[next]), "{moment:?}: sent or not");
        seen.mailed += u64::from(is_sent);
        // A whole run now and then, so that the files before a kill are known to the last one.
        if index % 8 == 7 || seen.new + seen.mixed > 0 {
            assert!(scene.whole_run(&plants[next]).0 == whole[next], "the run after {moment:?} differs");
            standing = next;
            seen = Seen { new: 0, mixed: 0, ..seen };
        }
    }
    scene.whole_run(&plants[0]);
    // Else the moments have missed what they were meant to hit.
    assert!(seen.accepted > KILLS / 2 && seen.mailed > KILLS / 2, "{seen:?}");
    assert!(seen.killed > KILLS / 2 && seen.with_strays > KILLS / 10, "{seen:?}, a run takes {took:?}");
    assert!(plants.each_ref().map(|plant| files(plant)) == inputs, "an input was changed");
}

#[test]
fn a_part_that_was_killed_is_joined_as_one_run_or_not_at_all() {
    let scene = Scene::new();
    let lines = fitting_lines(&scene);
    let plants = [scene.plant("one", lines, 1), scene.plant("two", lines, 2)];
    let whole = plants.each_ref().map(|plant| {
        scene.whole_run(plant);
        ["circuits.csv", "findings.csv"].map(|name| fs::read(scene.path("out/data").join(name)).unwrap())
    });
    let part = |plant: &Path| {
        let mut command = Command::new(program());
        command.arg("check").arg(plant).args(["--quiet", "--shard", "1/1", "--data"]).arg(scene.path("out/part"));
        command.stdout(Stdio::null()).stderr(Stdio::null());
        command
    };
    let begun = Instant::now();
    assert!(part(&plants[0]).status().unwrap().success());
    let took = begun.elapsed();
    let mut joined = 0;
    for (index, moment) in (0_u64..).zip(moments(PART_KILLS, took.mul_f64(1.2))) {
        let mut child = part(&plants[usize::from(index % 2 == 0)]).spawn().unwrap();
        thread::sleep(moment);
        child.kill().unwrap();
        child.wait().unwrap();
        let mut command = Command::new(program());
        command.arg("merge").arg(scene.path("out/part")).arg("--data").arg(scene.path("out/joined"));
        let output = command.output().unwrap();
        let said = String::from_utf8_lossy(&output.stderr).into_owned();
        if output.status.code() == Some(2) {
            assert!(said.contains("files of different runs"), "{moment:?}: {said}");
            continue;
        }
        joined += 1;
        let found = ["circuits.csv", "findings.csv"].map(|name| fs::read(scene.path("out/joined").join(name)).unwrap());
        assert!(whole.contains(&found), "{moment:?}: the joined files are of neither run");
    }
    assert!(joined > PART_KILLS / 2, "{joined}");
}

fn wait_for_stray(folder: &Path, child: &mut Child) -> bool {
    let start = Instant::now();
    while !fs::read_dir(folder).unwrap().any(|entry| is_stray(&entry.unwrap().path())) {
        if child.try_wait().unwrap().is_some() {
            return false;
        }
        assert!(start.elapsed() < Duration::from_secs(20));
        thread::sleep(Duration::from_millis(1));
    }
    true
}

#[test]
fn interrupted_it_ends_within_a_second_and_leaves_nothing() {
    let scene = Scene::new();
    let lines = fitting_lines(&scene) * 40;
    let plant = scene.plant("plant", lines, 1);
    let (new, took) = scene.whole_run(&plant);
    let old: Files = new.keys().map(|name| (name.clone(), b"old".to_vec())).collect();
    let mut interrupted = 0;
    for moment in moments(8, took / 2) {
        old.iter().for_each(|(name, bytes)| fs::write(name, bytes).unwrap());
        let mut child = scene.usual(&plant).arg("--replace").spawn().unwrap();
        if !wait_for_stray(&scene.path("out"), &mut child) {
            continue;
        }
        thread::sleep(moment);
        let sent = Instant::now();
        let _ = Command::new("kill").args(["-INT", &child.id().to_string()]).stderr(Stdio::null()).status().unwrap();
        let status = child.wait().unwrap();
        if matches!(status.code(), Some(0 | 1)) {
            // It was done before the interrupt came.
            continue;
        }
        interrupted += 1;
        assert_eq!(status.code(), Some(130), "after {moment:?}");
        assert!(sent.elapsed() < Duration::from_secs(1), "{:?}", sent.elapsed());
        let found = files(&scene.path("out"));
        assert!(found.keys().eq(new.keys()), "after {moment:?}: {:?}", found.keys());
        // The interrupt may come when the last file has its name: then all of them have.
        assert!(found == old || found == new, "after {moment:?} some files are old and some new");
    }
    assert!(interrupted >= 3, "{interrupted} of 8 runs of {lines} lines were still there to be interrupted");
}

/// A small plant, and reports that stand.
fn scene_with_reports() -> (Scene, PathBuf) {
    let scene = Scene::new();
    let plant = scene.plant("plant", 400, 1);
    fs::write(scene.path("out/report.xlsx"), "old").unwrap();
    (scene, plant)
}

fn is_one_sentence(output: &Output) -> String {
    let said = String::from_utf8(output.stderr.clone()).unwrap();
    assert_eq!(output.status.code(), Some(2), "{said}");
    assert!(
        said.trim_end().lines().count() == 1 && said.trim_end().ends_with('.') && !said.contains("panicked"),
        "{said}"
    );
    said
}

/// Runs it for outputs that can't be, and answers with what was said.
fn refused(plant: &Path, arguments: &[&OsStr]) -> String {
    let before = files(plant);
    let output = Command::new(program()).arg("check").arg(plant).args(arguments).arg("--quiet").output().unwrap();
    assert!(files(plant) == before, "an input was changed by {arguments:?}");
    is_one_sentence(&output)
}

#[test]
fn an_output_that_is_an_input_is_refused() {
    let (scene, plant) = scene_with_reports();
    let outside = scene.path("out/orders.csv");
    std::os::unix::fs::symlink(plant.join("components.csv"), scene.path("out/link.xlsx")).unwrap();
    fs::hard_link(plant.join("lists/lines-0001.csv"), &outside).unwrap();
    for input in [
        "plant/components.csv",
        "plant/circuits.csv",
        "plant/policy.toml",
        "plant/lists/lines-0002.csv",
        "out/link.xlsx",
        "out/orders.csv",
    ] {
        let said = refused(&plant, &["--out".as_ref(), scene.path(input).as_os_str()]);
        assert!(said.contains("Inputs are never written to"), "{input}: {said}");
    }
    for folder in [plant.clone(), plant.join("lists")] {
        refused(&plant, &["--data".as_ref(), folder.as_os_str()]);
    }
}

#[test]
fn a_place_where_nothing_can_be_written_is_said_at_the_start() {
    let (scene, plant) = scene_with_reports();
    let long = "x".repeat(300);
    let deep = "a-folder-of-a-long-name/".repeat(300);
    let places = [
        (scene.path(&format!("out/{long}.xlsx")), "longer than the disk allows"),
        (scene.path(&format!("{deep}report.xlsx")), "longer than the disk allows"),
        (scene.path("no/such/report.xlsx"), "does not exist"),
        (scene.path("no\nsuch\t\u{1b}[1m/report.xlsx"), "does not exist"),
        (scene.path("out/report.xlsx/deeper.xlsx"), "not a folder"),
        (scene.path("out"), "this is a folder"),
        (PathBuf::from("/dev/full"), "not a file"),
    ];
    for (place, why) in &places {
        let said = refused(&plant, &["--out".as_ref(), place.as_os_str()]);
        assert!(said.contains(why), "{said}");
    }
    let said = refused(&plant, &["--data".as_ref(), scene.path("out/report.xlsx").as_os_str()]);
    assert!(said.contains("this is a file"), "{said}");
    assert_eq!(fs::read(scene.path("out/report.xlsx")).unwrap(), b"old");
    assert_eq!(files(&scene.path("out")).len(), 1);
}

#[test]
fn odd_names_are_written_as_they_are() {
    use std::os::unix::ffi::OsStrExt;
    let (scene, _) = scene_with_reports();
    for (index, name) in (0..).zip([
        &b"one two"[..],
        b"line\nbreak",
        b"quote'\"`$(x)",
        b"not \xff utf-8",
        "Spannmittel 夹具".as_bytes(),
        b"-dash",
    ]) {
        let name = OsStr::from_bytes(name);
        let plant = scene.path("out").join(name).with_extension("plant");
        plant::write(&plant::Order {
            folder: &plant,
            lines: 200,
            seed: index,
            files: 1,
            lines_per_circuit: 20,
            kind: plant::Kind::Mixed,
        })
        .unwrap();
        let report = scene.path("out").join(name).with_extension("xlsx");
        let data = scene.path("out").join(name);
        let output = Scene::check(&plant, &report, &data).stderr(Stdio::piped()).output().unwrap();
        let said = String::from_utf8_lossy(&output.stderr).into_owned();
        if output.status.code() == Some(2) {
            is_one_sentence(&output);
        } else {
            assert!(matches!(output.status.code(), Some(0 | 1)), "{name:?}: {said}");
            assert!(fs::read(&report).unwrap().starts_with(b"PK") && data.join("summary.json").is_file(), "{name:?}");
        }
    }
}

#[test]
fn a_folder_without_permission_is_said() {
    let (scene, plant) = scene_with_reports();
    let out = scene.path("out");
    fs::set_permissions(&out, fs::Permissions::from_mode(0o555)).unwrap();
    // The mark binds everyone but root, whose rights are laid down first.
    let is_root = fs::write(out.join("probe"), "").is_ok();
    let _ = fs::remove_file(out.join("probe"));
    let mut command = Command::new(if is_root { "setpriv" } else { "env" });
    if is_root {
        command.args(["--bounding-set=-all", "--inh-caps=-all", "--reuid=65534", "--clear-groups"]);
    }
    command
        .arg(program())
        .arg("check")
        .arg(&plant)
        .args(["--quiet", "--replace", "--out"])
        .arg(out.join("report.xlsx"));
    let said = is_one_sentence(&command.output().unwrap());
    assert!(said.contains("no permission to write in the folder"), "{said}");
    assert_eq!(fs::read(out.join("report.xlsx")).unwrap(), b"old");
    fs::set_permissions(&out, fs::Permissions::from_mode(0o755)).unwrap();
}

/// What stands in the disk's folders after a run on a disk of this size, its status and words.
fn on_a_disk_of(kibibytes: u32, scene: &Scene, plant: &Path) -> Option<(String, String)> {
    let disk = scene.path("out");
    let probe = Command::new("unshare").args(["-rm", "mount", "-t", "tmpfs", "tmpfs"]).arg(&disk).output();
    if !probe.is_ok_and(|output| output.status.success()) {
        return None;
    }
    let line = format!(
        "mount -t tmpfs -o size={kibibytes}k tmpfs \"$1\" && cd \"$1\" && mkdir data && printf old > report.xlsx && \
         printf old > data/findings.csv; \"$0\" check \"$2\" --quiet --replace --out report.xlsx --data data; echo \"status $?\"; \
         head -c 3 report.xlsx data/findings.csv; echo; find . -type f | sort"
    );
    let output =
        Command::new("unshare").args(["-rm", "sh", "-c", &line]).arg(program()).arg(&disk).arg(plant).output().unwrap();
    let text = |bytes: Vec<u8>| String::from_utf8_lossy(&bytes).into_owned();
    Some((text(output.stdout), text(output.stderr)))
}

#[test]
fn a_disk_that_fills_up_is_said_and_the_old_reports_stand() {
    let (scene, _) = scene_with_reports();
    // Large enough that data files and the workbook fill the larger disks at different stages.
    let plant = scene.plant("plant", 4_000, 1);
    for kibibytes in [16, 64, 128, 256, 400] {
        let Some((found, said)) = on_a_disk_of(kibibytes, &scene, &plant) else {
            eprintln!("Not run: this system lets no process mount a disk of its own.");
            return;
        };
        assert!(found.starts_with("status 2\n"), "{kibibytes} KiB: {found}{said}");
        assert!(said.contains("the disk is full") && said.trim_end().lines().count() == 1, "{kibibytes} KiB: {said}");
        assert!(
            found.ends_with("<==\nold\n./data/findings.csv\n./report.xlsx\n") && found.matches("old").count() == 2,
            "{kibibytes} KiB: {found}"
        );
    }
    let (found, said) = on_a_disk_of(64 * 1024, &scene, &plant).unwrap();
    assert!(found.contains("\nstatus 1\n") && !found.contains(STRAY), "{found}{said}");
}
