//! Guards `reports/` against drift, and proves nothing else: it is this program's own output, written by
//! `tests/reports/make.py`.

#![allow(clippy::unwrap_used, reason = "a test stops where something is amiss")]

use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::fs;
use std::io::Read;
use std::path::{Path, PathBuf};
use std::process::Command;

use mail_parser::{MessageParser, MimeHeaders};
use sha2::{Digest, Sha256};

const HOW: &str = "cargo build --release && python3 tests/reports/make.py writes reports/ anew";

fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).to_owned()
}

fn parts(path: &Path) -> BTreeMap<String, Vec<u8>> {
    let mut archive = zip::ZipArchive::new(fs::File::open(path).unwrap()).unwrap();
    let names: Vec<String> = archive.file_names().map(|name| name.unwrap().into_owned()).collect();
    let bytes = |name: String| {
        let mut bytes = Vec::new();
        archive.by_name(&name).unwrap().read_to_end(&mut bytes).unwrap();
        (name, bytes)
    };
    names.into_iter().map(bytes).collect()
}

/// As the script sums a workbook.
fn sum(parts: &BTreeMap<String, Vec<u8>>) -> String {
    let mut whole = Sha256::new();
    for (name, bytes) in parts {
        whole.update(name);
        whole.update([0]);
        whole.update(bytes);
    }
    format!("{:x}", whole.finalize())
}

#[test]
fn workbook_and_cards_are_what_a_run_writes_and_the_pictures_are_of_them() {
    let folder = tempfile::tempdir().unwrap();
    let files = ["report.xlsx", "cards.xlsx"];
    let [report, cards] = files.map(|name| folder.path().join(name));
    let output = Command::new(env!("CARGO_BIN_EXE_clampbook"))
        .current_dir(root())
        .args(["check", "sample-data/plant", "--quiet", "--out"])
        .arg(&report)
        .arg("--cards")
        .arg(&cards)
        .output()
        .unwrap();
    assert_eq!(output.status.code(), Some(1), "{}", String::from_utf8_lossy(&output.stderr));
    let mut made_from = String::new();
    for (name, fresh) in files.into_iter().zip([report, cards]) {
        let (fresh, committed) = (parts(&fresh), parts(&root().join("reports").join(name)));
        let stale = fresh.iter().find(|(part, bytes)| committed.get(*part) != Some(bytes)).map(|(part, _)| part);
        assert!(stale.is_none() && fresh.len() == committed.len(), "reports/{name} is stale, {stale:?}: {HOW}.");
        writeln!(made_from, "{}  {name}", sum(&committed)).unwrap();
    }
    let noted = fs::read_to_string(root().join("reports/pages.sha256")).unwrap();
    assert_eq!(noted, made_from, "the pictures in reports/ are of another run: {HOW}.");
    for picture in ["summary.png", "findings.png", "card.png"] {
        let bytes = fs::read(root().join("reports").join(picture)).unwrap();
        // Eight bits a pixel, grey: the header's bytes behind the size.
        assert_eq!((&bytes[1..4], &bytes[24..26]), (&b"PNG"[..], &[8, 0][..]), "{picture}");
        assert!(fs::read_to_string(root().join("README.md")).unwrap().contains(&format!("(reports/{picture})")));
    }
}

/// Apart from its date, its identity and the workbook attached.
#[test]
fn the_mail_is_of_the_month_after() {
    let bytes = fs::read(root().join("reports/mail.eml")).unwrap();
    let message = MessageParser::default().parse(&bytes).unwrap();
    let text = message.body_text(0).unwrap();
    assert!(message.subject().unwrap().starts_with("Clamping audit 2026-12: "), "{:?}", message.subject());
    assert!(text.lines().count() <= 40, "{text}");
    assert!(text.contains("Since 2026-11-25:") && text.contains("Trend since"), "{text}");
    let picture = message.attachments().find(|part| part.content_id() == Some("trend")).unwrap();
    // One bit a pixel, grey: there is no room for a colour.
    assert_eq!((&picture.contents()[1..4], &picture.contents()[24..26]), (&b"PNG"[..], &[1, 0][..]));
    let html = message.body_html(0).unwrap().to_lowercase();
    for word in ["color", "<style", "rgb", "<font", "background", "#"] {
        assert!(!html.contains(word), "{word}");
    }
}
