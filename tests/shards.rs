//! Parts of a run, joined, are the whole run: every data file, byte for byte.

#![allow(clippy::unwrap_used, clippy::expect_used)]

#[path = "plants/folder.rs"]
mod folder;
#[path = "plants/small.rs"]
mod small;

use folder::copy;
use std::collections::BTreeMap;
use std::fs;
use std::path::Path;
use std::process::Command;

const PARTS: usize = 3;

/// Runs the program; its standard output.
fn clampbook<'a>(folder: &Path, arguments: impl IntoIterator<Item = &'a str>) -> String {
    ran(folder, arguments).0
}

/// Runs the program; its standard output and its standard error output.
fn ran<'a>(folder: &Path, arguments: impl IntoIterator<Item = &'a str>) -> (String, String) {
    let ran = Command::new(env!("CARGO_BIN_EXE_clampbook")).current_dir(folder).args(arguments).output().unwrap();
    let said = String::from_utf8_lossy(&ran.stderr).into_owned();
    assert!(matches!(ran.status.code(), Some(0 | 1)), "{said}");
    (String::from_utf8(ran.stdout).unwrap(), said)
}

fn files(folder: &Path) -> BTreeMap<String, String> {
    let entries = fs::read_dir(folder).unwrap().map(Result::unwrap);
    entries
        .map(|entry| (entry.file_name().to_string_lossy().into_owned(), fs::read_to_string(entry.path()).unwrap()))
        .collect()
}

fn rows(folder: &Path, name: &str) -> usize {
    csv::Reader::from_path(folder.join(name)).unwrap().records().map(Result::unwrap).count()
}

/// Audits `plant` whole and in parts, and holds one against the other; `options` go with both.
fn parts_are_the_whole(folder: &Path, plant: &str, options: &[&str]) -> Vec<String> {
    let joined = joined(folder, plant, PARTS, options, options);
    let circuits: Vec<usize> =
        (1..=PARTS).map(|part| rows(&folder.join(format!("part-{part}")), "circuits.csv")).collect();
    assert!(circuits.iter().all(|count| *count > 0), "every part has circuits: {circuits:?}");
    joined.parts
}

/// What the parts and the merge said of a run in parts that is the whole.
struct Joined {
    /// Of each part, its last sentence: what it read.
    parts: Vec<String>,
    /// On the merge's standard error output.
    merge: String,
}

/// The same for any number of parts, which may be without a circuit; `of_merge` are the options of the merge.
fn joined(folder: &Path, plant: &str, of: usize, options: &[&str], of_merge: &[&str]) -> Joined {
    let whole = clampbook(folder, ["check", plant, "--data", "whole"].iter().chain(options).copied());
    let (mut parts, mut said) = (Vec::new(), Vec::new());
    for part in 1..=of {
        let (shard, data) = (format!("{part}/{of}"), format!("part-{part}"));
        let told =
            clampbook(folder, ["check", plant, "--data", &data, "--shard", &shard].iter().chain(options).copied());
        said.push(told.split("joins the parts. ").nth(1).expect("it says what it read").trim().to_owned());
        parts.push(data);
    }
    // The order in which the parts are named doesn't matter.
    parts.reverse();
    let _ = fs::remove_dir_all(folder.join("joined"));
    let named = parts.iter().map(String::as_str);
    let arguments = ["merge", "--data", "joined"].into_iter().chain(named).chain(of_merge.iter().copied());
    let (merged, complaint) = ran(folder, arguments);
    let (whole_files, joined) = (files(&folder.join("whole")), files(&folder.join("joined")));
    assert_eq!(joined.keys().collect::<Vec<_>>(), whole_files.keys().collect::<Vec<_>>());
    for (name, text) in &whole_files {
        let differing = text.lines().zip(joined[name].lines()).find(|(whole, joined)| whole != joined);
        assert_eq!(differing, None, "{plant} {options:?}: {name}");
        assert!(*text == joined[name], "{plant} {options:?}: {name}");
    }
    assert_eq!(whole, merged);
    let left = fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().file_name().to_string_lossy().into_owned());
    assert!(left.filter(|name| name.starts_with('.')).count() == 0, "nothing stays behind");
    Joined { parts: said, merge: complaint }
}

fn sample(folder: &Path) {
    copy(&Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-data/plant"), &folder.join("plant"));
}

/// Takes rows out of a table of the plant: those that `is_kept` refuses.
fn keep_rows(file: &Path, is_kept: impl Fn(usize) -> bool) {
    let text = fs::read_to_string(file).unwrap();
    let kept = text.lines().enumerate().filter(|(row, _)| *row == 0 || is_kept(*row)).map(|(_, line)| line);
    let kept: Vec<&str> = kept.collect();
    assert!(kept.len() < text.lines().count());
    fs::write(file, format!("{}\n", kept.join("\n"))).unwrap();
}

#[test]
fn parts_of_the_sample_plant_join_to_the_whole() {
    let folder = tempfile::tempdir().unwrap();
    sample(folder.path());
    parts_are_the_whole(folder.path(), "plant", &[]);
    assert!(rows(&folder.path().join("whole"), "findings.csv") > 50);
    assert!(rows(&folder.path().join("whole"), "remedies.csv") > 0);
}

#[test]
fn with_an_earlier_run_states_and_cleared_findings_are_the_same() {
    let folder = tempfile::tempdir().unwrap();
    sample(folder.path());
    // The earlier run saw a plant without waivers and without every fifth part, so that there are
    // findings of every state.
    copy(&folder.path().join("plant"), &folder.path().join("earlier"));
    fs::remove_file(folder.path().join("earlier/waivers.csv")).unwrap();
    keep_rows(&folder.path().join("earlier/components.csv"), |row| row % 5 != 0);
    clampbook(folder.path(), ["check", "earlier", "--data", "before"]);
    parts_are_the_whole(folder.path(), "plant", &["--previous", "before"]);
    let findings = fs::read_to_string(folder.path().join("whole/findings.csv")).unwrap();
    for state in ["new", "standing", "waived"] {
        assert!(findings.contains(&format!(",{state},")), "{state}");
    }
    assert!(rows(&folder.path().join("whole"), "cleared.csv") > 0);
}

/// The sample plant several times over under other plant names, with a stray row on each list.
#[test]
fn parts_of_several_plants_with_strays_join_to_the_whole() {
    let folder = tempfile::tempdir().unwrap();
    sample(folder.path());
    let plant = folder.path().join("plant");
    for list in fs::read_dir(plant.join("lists")).unwrap().map(|entry| entry.unwrap().path()) {
        if list.extension().is_none_or(|ending| ending != "csv") {
            continue;
        }
        let text = fs::read_to_string(&list).unwrap();
        let again = text.lines().skip(1).map(|line| format!("Second {line}\n"));
        let lines: String = again.collect();
        fs::write(&list, format!("{}\n{lines}astray\n", text.trim_end())).unwrap();
    }
    let circuits = plant.join("circuits.csv");
    let text = fs::read_to_string(&circuits).unwrap();
    let again: String = text.lines().skip(1).map(|line| format!("Second {line}\n")).collect();
    fs::write(&circuits, format!("{}\n{again}", text.trim_end())).unwrap();
    parts_are_the_whole(folder.path(), "plant", &[]);
    let input = fs::read_to_string(folder.path().join("whole/input.csv")).unwrap();
    assert!(input.contains("astray") && input.contains("can't be told"));
}

#[test]
fn a_missing_part_and_a_part_given_twice_are_refused() {
    let folder = tempfile::tempdir().unwrap();
    sample(folder.path());
    for part in ["1", "2"] {
        let shard = format!("{part}/2");
        clampbook(folder.path(), ["check", "plant", "--data", part, "--shard", &shard]);
    }
    for (parts, sentence) in [(&["1"][..], "Part 2/2 is missing."), (&["1", "2", "1"], "Part 1/2 is given twice.")] {
        let mut command = Command::new(env!("CARGO_BIN_EXE_clampbook"));
        let ran = command.current_dir(folder.path()).args(["merge", "--data", "joined"]).args(parts).output().unwrap();
        assert_eq!(ran.status.code(), Some(2));
        assert!(String::from_utf8_lossy(&ran.stderr).contains(sentence), "{parts:?}");
        assert!(!folder.path().join("joined/circuits.csv").exists());
    }
}

/// Three plants in folders of their own, each the sample plant with load stations of its own, so that nothing that a
/// part looks at stands in the lists of another; the pallets without lines are those of the circuits table alone.
fn three_plants(folder: &Path) -> std::path::PathBuf {
    let given = Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-data/plant");
    let plant = folder.join("plant");
    copy(&given, &plant);
    fs::remove_dir_all(plant.join("lists")).unwrap();
    let names = ["North", "South", "West"];
    let renamed = |text: &str| -> String {
        let mut all = format!("{}\n", text.lines().next().unwrap());
        for name in names {
            let rows = text.lines().skip(1).map(|row| row.replace(",TH-", &format!(",{name} TH-")));
            rows.for_each(|row| all.extend([name, " ", &row, "\n"]));
        }
        all
    };
    for table in ["circuits.csv", "stations.csv"] {
        fs::write(plant.join(table), renamed(&fs::read_to_string(given.join(table)).unwrap())).unwrap();
    }
    for name in names {
        fs::create_dir_all(plant.join("lists").join(name)).unwrap();
        for list in fs::read_dir(given.join("lists")).unwrap().map(|entry| entry.unwrap().path()) {
            let Ok(text) = fs::read_to_string(&list) else { continue };
            let rows = text.lines().map(|line| {
                let is_place = line.starts_with("Tarnholm") || line.starts_with("Quarrow");
                if is_place { format!("{name} {line}\n") } else { format!("{line}\n") }
            });
            let rows: String = rows.collect();
            fs::write(plant.join("lists").join(name).join(list.file_name().unwrap()), rows).unwrap();
        }
    }
    plant
}

#[test]
fn plants_in_folders_are_read_by_their_own_parts_alone() {
    let folder = tempfile::tempdir().unwrap();
    let plant = three_plants(folder.path());
    // A circuit of each plant, and a pallet, of which there are no lines.
    let circuits = plant.join("circuits.csv");
    let text = fs::read_to_string(&circuits).unwrap();
    let added = ["North Tarnholm,T02,left,9", "North Tarnholm,T99,none,1", "Nowhere,X1,none,1"];
    let commas = ",".repeat(text.lines().next().unwrap().matches(',').count() - 3);
    let rows: String = added.iter().map(|place| format!("{place}{commas}\n")).collect();
    fs::write(&circuits, format!("{text}{rows}")).unwrap();
    // A list with a header and no row, and one with a row whose circuit can't be told.
    fs::write(plant.join("lists/North/blank.csv"), "plant,pallet,fixture,circuit,part_no,qty\n").unwrap();
    let told = joined(folder.path(), "plant", PARTS, &[], &[]);
    let read = ["It read 8 of 22 list files, its own.", "It read 7 of 22 list files, its own."];
    assert_eq!(told.parts, [read[0], read[1], read[1]]);
    assert!(!told.merge.contains("audited again"), "{}", told.merge);
    let findings = fs::read_to_string(folder.path().join("joined/findings.csv")).unwrap();
    for place in ["North Tarnholm,T99,none,1", "Nowhere,X1,none,1"] {
        assert!(findings.lines().any(|row| row.starts_with("L08") && row.contains(place)), "{place}");
    }
    // Parts that read their own lists do without the others.
    let other = plant.join("lists/West");
    fs::rename(&other, folder.path().join("West")).unwrap();
    fs::create_dir(&other).unwrap();
    for list in fs::read_dir(folder.path().join("West")).unwrap().map(|entry| entry.unwrap().path()) {
        let length = fs::metadata(&list).unwrap().len();
        let written = fs::File::create(other.join(list.file_name().unwrap())).unwrap();
        written.set_len(length).unwrap();
    }
    let again = clampbook(folder.path(), ["check", "plant", "--data", "again", "--shard", "1/3"]);
    assert!(again.contains(read[0]), "{again}");
    let named = "circuits.csv";
    assert!(files(&folder.path().join("again"))[named] == files(&folder.path().join("part-1"))[named]);
}

#[test]
fn a_pallet_cut_between_two_parts_is_audited_once_more_by_the_merge() {
    let folder = tempfile::tempdir().unwrap();
    let plant = three_plants(folder.path());
    // Lines of one circuit, the same among them, go on in the lists of another part: in its midst, where no edge is.
    let (north, west) = (plant.join("lists/North/bridge.csv"), plant.join("lists/West/tarnholm-t02-t03.csv"));
    let text = fs::read_to_string(&west).unwrap();
    let (head, rows) = text.split_once('\n').unwrap();
    let own: Vec<&str> = rows.lines().collect();
    let header = "plant,pallet,fixture,circuit,position,part_no,qty";
    let cut: String =
        own[6..9].iter().map(|row| format!("{}\n", row.split(',').take(7).collect::<Vec<_>>().join(","))).collect();
    fs::write(plant.join("lists/North/cut.csv"), format!("{header}\n{cut}")).unwrap();
    fs::write(&west, format!("{head}\n{rows}")).unwrap();
    assert!(north.exists());
    let told = joined(folder.path(), "plant", PARTS, &[], &[]);
    assert!(told.merge.contains("1/3, 3/3") && !told.merge.contains("2/3"), "{}", told.merge);
    let findings = fs::read_to_string(folder.path().join("joined/findings.csv")).unwrap();
    assert!(findings.lines().any(|row| row.starts_with("L12") || row.starts_with("L03")), "the doubled lines are told");
}

/// A pallet in the lists of two parts, of which the first had to read all lists, for a pump setting that is tried on every
/// circuit of its load station: the second, which has no pallet of its own, brings nothing in.
#[test]
fn a_part_whose_only_pallet_is_of_another_brings_nothing_in() {
    let folder = tempfile::tempdir().unwrap();
    let list = small::LIST.replace("\nA,f,1,", "\nA,f,2,");
    let of_other = small::LIST.replace("\nA,f,", "\n0,f,");
    let row = small::CIRCUITS.lines().nth(1).unwrap();
    // 280 bar × 0.5 - 3 bar are wanted of the others, and too little for the first.
    let others = row.replace(",160,85,", ",137,85,");
    let circuits =
        [small::CIRCUITS, &others.replace("A,f,1,", "A,f,2,"), "\n", &others.replace("A,f,", "0,f,"), "\n"].concat();
    let files = [
        ("lists/a.csv", of_other.as_str()),
        ("lists/l.csv", small::LIST),
        ("lists/m.csv", list.as_str()),
        ("circuits.csv", circuits.as_str()),
        ("stations.csv", "station,pump,drive_ram,pump_setting\nS1,OT,BO,280\n"),
    ];
    small::write(&folder.path().join("plant"), &files);
    let told = joined(folder.path(), "plant", 3, &[], &[]);
    assert!(told.parts.iter().any(|said| said.contains("load station S1")), "{:?}", told.parts);
    assert!(told.parts.iter().any(|said| said.ends_with("its own.")), "{:?}", told.parts);
}

#[test]
fn where_others_may_go_on_with_its_lists_a_part_says_why_it_read_all() {
    // One load station for all: a change of it is tried on circuits of every file.
    let folder = tempfile::tempdir().unwrap();
    let plant = three_plants(folder.path());
    for table in ["circuits.csv", "stations.csv"] {
        let text = fs::read_to_string(plant.join(table)).unwrap();
        let mut seen = std::collections::BTreeSet::new();
        let text = text.replace("North TH-", "TH-").replace("South TH-", "TH-").replace("West TH-", "TH-");
        let text = text.replace("TH-1,OTTER-345,BOAR-145,326", "TH-1,OTTER-345,BOAR-145,250");
        let rows: Vec<&str> = text.lines().filter(|row| seen.insert(row.to_owned())).collect();
        fs::write(plant.join(table), format!("{}\n", rows.join("\n"))).unwrap();
    }
    let told = joined(folder.path(), "plant", PARTS, &[], &[]);
    let station = "since a change of load station TH-1 had to be tried on circuits in other files, too.";
    assert!(told.parts.iter().any(|said| said.contains(station)), "{:?}", told.parts);
    // Without remedies no change is tried.
    let told = joined(folder.path(), "plant", PARTS, &["--no-remedies"], &[]);
    assert!(told.parts.iter().all(|said| said.ends_with("its own.")), "{:?}", told.parts);
    // A clamp without area, of which must be known what any circuit asks of it.
    let components = plant.join("components.csv");
    let text = fs::read_to_string(&components).unwrap();
    fs::write(
        &components,
        text.replace("WREN-9,clamp,\"push clamp, small\",230,25,130,", "WREN-9,clamp,\"push clamp, small\",230,25,,"),
    )
    .unwrap();
    let told = joined(folder.path(), "plant", PARTS, &[], &[]);
    assert!(told.parts.iter().all(|said| said.contains("clamps without area_clamp")), "{:?}", told.parts);
    // More parts than files.
    sample(&folder.path().join("small"));
    let told = joined(&folder.path().join("small"), "plant", 9, &[], &[]);
    assert!(told.parts.iter().all(|said| said.contains("fewer list files (8) than parts (9)")), "{:?}", told.parts);
}

/// A file for each fixture, most of them on a pallet with others, and lists that name no pallet at all.
#[test]
fn many_small_lists_join_to_the_whole() {
    let folder = tempfile::tempdir().unwrap();
    let given = Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-data/plant");
    let plant = folder.path().join("plant");
    copy(&given, &plant);
    fs::remove_dir_all(plant.join("lists")).unwrap();
    fs::create_dir_all(plant.join("lists")).unwrap();
    let text = fs::read_to_string(given.join("lists/tarnholm-t02-t03.csv")).unwrap();
    let (head, rows) = text.split_once('\n').unwrap();
    let rows: Vec<&str> = rows.lines().collect();
    for (index, lines) in rows.chunks(5).enumerate() {
        let copies = (0..12).map(|copy| format!("{}\n", lines.join("\n")).replace("Tarnholm,T", &format!("P{copy},T")));
        for (copy, lines) in copies.enumerate() {
            fs::write(plant.join(format!("lists/{copy:02}-{index:02}.csv")), format!("{head}\n{lines}")).unwrap();
        }
    }
    for of in [2, 5] {
        let told = joined(folder.path(), "plant", of, &[], &[]);
        assert!(told.parts.iter().all(|said| said.ends_with("list files, its own.")), "{:?}", told.parts);
    }
    let nameless = rows.iter().map(|row| format!("{}\n", row.split(',').skip(2).collect::<Vec<_>>().join(",")));
    let head = head.split(',').skip(2).collect::<Vec<_>>().join(",");
    let nameless = format!("{head}\n{}", nameless.collect::<String>());
    fs::write(plant.join("lists/00-nameless.csv"), &nameless).unwrap();
    fs::write(plant.join("lists/11-nameless.csv"), nameless).unwrap();
    let told = joined(folder.path(), "plant", 2, &[], &[]);
    let why =
        "since some of its circuits name neither plant nor pallet, and circuits of other files may stand beside them.";
    assert_eq!(told.parts, [format!("It read all lists, {why}"), format!("It read all lists, {why}")]);
}

#[test]
fn lists_that_are_no_longer_those_of_the_parts_are_refused() {
    let folder = tempfile::tempdir().unwrap();
    let plant = three_plants(folder.path());
    for part in ["1", "2"] {
        clampbook(folder.path(), ["check", "plant", "--data", part, "--shard", &format!("{part}/2")]);
    }
    let refused = |sentence: &str| {
        let mut command = Command::new(env!("CARGO_BIN_EXE_clampbook"));
        let ran = command.current_dir(folder.path()).args(["merge", "--data", "joined", "1", "2"]).output().unwrap();
        assert_eq!(ran.status.code(), Some(2));
        assert!(String::from_utf8_lossy(&ran.stderr).contains(sentence), "{}", String::from_utf8_lossy(&ran.stderr));
    };
    let list = plant.join("lists/West/bridge.csv");
    let text = fs::read_to_string(&list).unwrap();
    fs::write(&list, text.replacen("PIKE-48", "PIKE-96", 1)).unwrap();
    refused("the plant's files or its policy are not those that the parts read");
    fs::write(&list, format!("{text}\n")).unwrap();
    refused("the names or sizes of the lists are not those that the parts found");
}
