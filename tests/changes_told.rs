//! What is to be changed is told once: like changes in one row, one sum in workbook and mail, and no page without a row.

#![allow(clippy::unwrap_used, reason = "a test stops where it fails")]

#[path = "plants/folder.rs"]
mod folder;
#[path = "plants/run.rs"]
mod run;

use std::collections::BTreeMap;
use std::fs;
use std::io::Read;
use std::path::{Path, PathBuf};
use std::process::Command;

use calamine::{Reader, Xlsx, open_workbook};
use mail_parser::MessageParser;
use run::Row;

type Sheet = Vec<Vec<String>>;

fn sample() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-data/plant")
}

/// A run with its sheets as text, its mail and the rows of `remedies.csv`.
struct Told {
    folder: tempfile::TempDir,
    remedies: Vec<Row>,
    mail: String,
}

impl Told {
    fn of(plant: &Path) -> Self {
        let folder = tempfile::tempdir().unwrap();
        let path = |name: &str| folder.path().join(name).to_str().unwrap().to_owned();
        run::check(plant, Path::new(&path("data")), &["--quiet", "--out", &path("report.xlsx")]);
        let mail = ["mail", &path("report.xlsx"), "--data", &path("data"), "--to", "manager@example.com"];
        let more = ["--from", "audit@example.com", "--eml", &path("mail.eml")];
        let done = Command::new(env!("CARGO_BIN_EXE_clampbook")).args(mail).args(more).output().unwrap();
        assert!(done.status.success(), "{}", String::from_utf8_lossy(&done.stderr));
        let bytes = fs::read(path("mail.eml")).unwrap();
        let mail = MessageParser::default().parse(&bytes).unwrap().body_text(0).unwrap().into_owned();
        let mail = mail.split_whitespace().collect::<Vec<_>>().join(" ");
        let remedies = run::rows(&folder.path().join("data/remedies.csv"));
        Self { folder, remedies, mail }
    }

    fn report(&self) -> PathBuf {
        self.folder.path().join("report.xlsx")
    }

    fn sheet(&self, name: &str) -> Sheet {
        let mut book: Xlsx<_> = open_workbook(self.report()).unwrap();
        let range = book.worksheet_range(name).unwrap();
        range.rows().map(|row| row.iter().map(ToString::to_string).collect()).collect()
    }

    /// The last printed row of a sheet, as its own file has it.
    fn printed_until(&self, sheet: &str) -> u32 {
        let mut archive = zip::ZipArchive::new(fs::File::open(self.report()).unwrap()).unwrap();
        let mut text = String::new();
        archive.by_name("xl/workbook.xml").unwrap().read_to_string(&mut text).unwrap();
        let areas = text.split("_xlnm.Print_Area").skip(1);
        let area = areas.filter_map(|area| area.split_once('>')?.1.split_once('<')).map(|(area, _)| area);
        let (_, cells) =
            area.filter_map(|area| area.split_once('!')).find(|(name, _)| name.trim_matches('\'') == sheet).unwrap();
        cells.rsplit('$').next().unwrap().parse().unwrap()
    }
}

fn column(sheet: &Sheet, name: &str) -> usize {
    sheet[1].iter().position(|header| header == name).unwrap_or_else(|| panic!("{name}: {:?}", sheet[1]))
}

/// `1234.50 EUR + 2610.00 USD` of rows with a price.
fn in_words(sums: &BTreeMap<String, f64>) -> String {
    sums.iter().map(|(currency, sum)| format!("{sum:.2} {currency}")).collect::<Vec<_>>().join(" + ")
}

#[test]
fn mail_and_sheet_count_the_same_changes_once() {
    let told = Told::of(&sample());
    let sheet = told.sheet("Remedies");
    let [words, price, currency, counts] =
        ["In words, before and after", "Price", "Currency", "Counts"].map(|name| column(&sheet, name));
    let (mut count, mut sums) = (0, BTreeMap::<String, f64>::new());
    for row in sheet[2..].iter().filter(|row| row[counts] == "yes") {
        count += 1;
        if let Ok(price) = row[price].parse::<f64>() {
            *sums.entry(row[currency].clone()).or_default() += price;
        }
    }
    // What is counted is what the sums and the mail say.
    let first = sheet.iter().position(|row| row[0] == "Sum").unwrap();
    assert!(sheet[first][words].starts_with(&format!("{count} changes that count")), "{:?}", sheet[first]);
    let stated: BTreeMap<String, f64> = sheet[first..first + sums.len()]
        .iter()
        .map(|row| (row[currency].clone(), row[price].parse::<f64>().unwrap()))
        .collect();
    assert_eq!(in_words(&stated), in_words(&sums));
    assert!(told.mail.contains(&in_words(&sums)), "{} {}", in_words(&sums), told.mail);
    assert!(told.mail.contains(&format!("{count} ")), "{}", told.mail);
    // Two changes clear P05 of T02 / left / 2; the clamp that clears L07 too counts, and not the cheaper one.
    let row_of = |what: &str| sheet.iter().position(|row| row[words].contains(what)).unwrap();
    let (both, one) = (row_of("PLOVER-20 by GULL-20"), row_of("PLOVER-20 by TERN-20"));
    assert_eq!(sheet[one][counts], format!("no: alternative to row {}", both + 1));
    assert_eq!(sheet[both][counts], "yes");
    // Of three changes of load station TH-3, each proved without the others, one counts.
    let of_station = |row: &&Vec<String>| row[words].contains("TH-3");
    let counted: Vec<&str> = sheet[2..].iter().filter(of_station).map(|row| row[counts].as_str()).collect();
    assert!(counted.len() >= 3, "{counted:?}");
    let others = counted.iter().filter(|words| words.starts_with("no: same load station as row")).count();
    assert_eq!(
        (counted.iter().filter(|words| **words == "yes").count(), others),
        (1, counted.len() - 1),
        "{counted:?}"
    );
}

/// The sample plant's circuit of one pallet, so often on pallets of their own.
fn so_many(times: usize, key: [&str; 4]) -> (tempfile::TempDir, PathBuf) {
    let folder = tempfile::tempdir().unwrap();
    let plant = folder.path().join("plant");
    folder::copy(&sample(), &plant);
    fs::remove_file(plant.join("orders.csv")).unwrap();
    fs::remove_file(plant.join("waivers.csv")).unwrap();
    let copied = |path: &Path| {
        let text = fs::read_to_string(path).unwrap();
        let (header, rows) = text.split_once('\n').unwrap();
        let start = key.join(",") + ",";
        let own: Vec<&str> = rows.lines().filter_map(|row| row.strip_prefix(&start)).collect();
        assert!(!own.is_empty());
        let pallets = (1..=times).flat_map(|pallet| {
            own.iter().map(move |row| format!("{},K{pallet:02},{},{},{row}\n", key[0], key[2], key[3]))
        });
        format!("{header}\n{}", pallets.collect::<String>())
    };
    let list = copied(&plant.join("lists/tarnholm-t02-t03.csv"));
    let circuits = copied(&plant.join("circuits.csv"));
    fs::remove_dir_all(plant.join("lists")).unwrap();
    fs::create_dir(plant.join("lists")).unwrap();
    fs::write(plant.join("lists/all.csv"), list).unwrap();
    fs::write(plant.join("circuits.csv"), circuits).unwrap();
    (folder, plant)
}

#[test]
fn like_changes_stand_in_one_row_and_with_their_cause() {
    const TIMES: usize = 12;
    let (_folder, plant) = so_many(TIMES, ["Tarnholm", "T02", "left", "2"]);
    let told = Told::of(&plant);
    let sheet = told.sheet("Remedies");
    let words = column(&sheet, "In words, before and after");
    let price = column(&sheet, "Price");
    // 12 valves at 71.50 EUR each.
    let together = sheet.iter().position(|row| row[words].starts_with("12 × WEIR-6A to WEIR-6.")).unwrap();
    assert_eq!(sheet[together][price].parse::<f64>().unwrap().to_string(), "858");
    assert!(
        sheet[together][0].starts_with("12 circuits, first Tarnholm / K01 / left / 2, at IV"),
        "{:?}",
        sheet[together]
    );
    // Each by itself is below what is printed, and links lead there.
    let is_one = |row: &&Vec<String>| row[words].starts_with("Replace WEIR-6A by WEIR-6 at position IV");
    assert_eq!(sheet.iter().filter(is_one).count(), TIMES);
    let until = usize::try_from(told.printed_until("Remedies")).unwrap();
    assert!(together < until && sheet[until..].iter().filter(is_one).count() == TIMES, "{until}");
    assert!(until < 20, "{until}");
    let findings = told.sheet("Findings");
    let link = column(&findings, "Remedy (link)");
    let row = findings.iter().find(|row| row[0] == "P06").unwrap();
    let (_, target) = row[link].rsplit_once("row ").unwrap();
    assert!(is_one(&&sheet[target.parse::<usize>().unwrap() - 1]), "{target}");
    // The page of causes says what puts them right.
    let causes = told.sheet("Causes");
    let (change, part) = (column(&causes, "Change that clears it"), column(&causes, "Part"));
    let cause = causes.iter().find(|row| row[0] == "P06" && row[part] == "WEIR-6A").unwrap();
    assert_eq!(cause[change], "12 × WEIR-6A to WEIR-6, 858.00 EUR");
    assert_eq!(told.remedies.iter().filter(|row| row["part_from"] == "WEIR-6A").count(), TIMES);
}

/// Keeps the rows of a table whose first cell is one of these.
fn keep(path: &Path, keys: &[&str]) {
    let text = fs::read_to_string(path).unwrap();
    let is_kept = |(at, row): &(usize, &str)| *at == 0 || keys.contains(&row.split(',').next().unwrap());
    let rows: String = text.lines().enumerate().filter(is_kept).map(|(_, row)| format!("{row}\n")).collect();
    fs::write(path, rows).unwrap();
}

#[test]
fn a_sheet_without_a_row_to_print_prints_one_sentence() {
    // A circuit that conforms, with the parts on its list and its load station: there is nothing else in this plant.
    let (_folder, plant) = so_many(1, ["Tarnholm", "T02", "left", "1"]);
    let parts = [
        "PIKE-48",
        "BROOK-6",
        "WEIR-6",
        "DIAL-250",
        "HERON-20",
        "SWIFT-16",
        "ROWAN-24",
        "REED-8",
        "120E3",
        "OTTER-345",
        "BOAR-145",
    ];
    keep(&plant.join("components.csv"), &parts);
    keep(&plant.join("stations.csv"), &["TH-1"]);
    // Its fill is watched from a twentieth on: an observation.
    fs::write(plant.join("policy.toml"), "date = \"2026-11-25\"\n[limits]\nfill_watch = 0.05\nfill_low = 0.01\n")
        .unwrap();
    let told = Told::of(&plant);
    for (sheet, sentence) in [
        ("Findings", "Findings: no major and no minor; 1 observation below, on the screen."),
        ("Causes", "Causes: no two findings are of one rule and one part or station"),
        ("Lines", "Lines: no line has a remark"),
    ] {
        let cells = told.sheet(sheet);
        assert!(cells[0][0].starts_with(sentence), "{:?}", cells[0]);
        assert_eq!(told.printed_until(sheet), 1, "{sheet}");
        assert!(cells.len() > 2, "{cells:?}");
    }
    // Where there is something to print it is.
    let whole = Told::of(&sample());
    assert!(["Findings", "Causes", "Lines"].iter().all(|sheet| whole.printed_until(sheet) > 2));
    assert!(whole.sheet("Findings")[0][0].contains("Printed: 92 majors and minors, and 2 waived."));
}
