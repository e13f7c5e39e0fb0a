//! No file of elsewhere, and none that was made to take the machine, takes more than 1 GiB or a
//! minute: a table or a sentence comes of each.
//!
//! The memory is what the system says of the child processes that have ended, so this test has a
//! program of its own and runs them one after the other. A child begins with the most that its
//! parent ever held, so the files are written to disk piece by piece.

#![cfg(unix)]
#![allow(clippy::unwrap_used, clippy::expect_used)]
#![allow(clippy::print_stdout, reason = "tells the peak file by file")]

#[path = "child/ended.rs"]
mod ended;

use std::fmt::Write as _;
use std::fs::{self, File};
use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

use ended::ended;
use nix::sys::resource::{UsageWho, getrusage};
use zip::ZipWriter;
use zip::write::SimpleFileOptions;

const MOST_BYTES: i64 = 1 << 30;
const MOST_TIME: Duration = Duration::from_mins(1);
const COMPONENTS: &str = "part_no,kind,rated_pressure [bar]\nCL-1,clamp,350\n";

/// The most memory that any child so far has held.
fn peak() -> i64 {
    let unit = if cfg!(target_os = "macos") { 1 } else { 1024 };
    getrusage(UsageWho::RUSAGE_CHILDREN).unwrap().max_rss() * unit
}

fn foreign() -> Vec<(String, Vec<u8>)> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/foreign");
    let mut paths: Vec<PathBuf> = ["csv-spectrum", "libreoffice", "npm-xlsx"]
        .iter()
        .flat_map(|folder| fs::read_dir(root.join(folder)).unwrap())
        .map(|entry| entry.unwrap().path())
        .filter(|path| {
            path.extension()
                .is_some_and(|ending| ["csv", "xlsx", "xls", "xlsb", "ods"].iter().any(|one| ending == *one))
        })
        .collect();
    paths.sort();
    let name = |path: &Path| path.file_name().unwrap().to_str().unwrap().to_owned();
    paths.iter().map(|path| (name(path), fs::read(path).unwrap())).collect()
}

struct Archive(ZipWriter<File>);

impl Archive {
    fn new(path: &Path) -> Self {
        Self(ZipWriter::new(File::create(path).unwrap()))
    }

    fn part(mut self, name: &str, write: impl FnOnce(&mut dyn Write)) -> Self {
        self.0.start_file(name, SimpleFileOptions::default().compression_level(Some(1))).unwrap();
        write(&mut self.0);
        self
    }

    fn text(self, name: &str, text: &str) -> Self {
        self.part(name, |part| part.write_all(text.as_bytes()).unwrap())
    }

    fn end(self) {
        self.0.finish().unwrap();
    }
}

fn repeated(part: &mut dyn Write, text: &str, mib: usize) {
    let block = text.repeat((1 << 20) / text.len());
    for _ in 0..mib {
        part.write_all(block.as_bytes()).unwrap();
    }
}

const MAIN: &str = "http://schemas.openxmlformats.org/spreadsheetml/2006/main";
const RELATIONS: &str = "http://schemas.openxmlformats.org/officeDocument/2006/relationships";

/// A document that breaks off.
fn ods_that_ends(path: &Path, rows: &str) {
    let space = "urn:oasis:names:tc:opendocument:xmlns";
    Archive::new(path)
        .text("mimetype", "application/vnd.oasis.opendocument.spreadsheet")
        .text("content.xml", &format!("<office:document-content xmlns:office=\"{space}:office:1.0\" xmlns:table=\"{space}:table:1.0\" xmlns:text=\"{space}:text:1.0\"><office:body><office:spreadsheet><table:table table:name=\"A\">{rows}"))
        .end();
}

/// A workbook of the older kind whose directory follows itself ([MS-CFB] 2.3).
fn xls_in_a_circle(to: &Path) {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/foreign/libreoffice/days-1900.xls");
    let mut bytes = fs::read(path).unwrap();
    let long = |at: usize| u32::from_le_bytes(bytes[at..at + 4].try_into().unwrap());
    let (table, directory) = (long(76) as usize, long(48));
    let at = 512 * (table + 1) + 4 * directory as usize;
    bytes[at..at + 4].copy_from_slice(&directory.to_le_bytes());
    fs::write(to, bytes).unwrap();
}

/// A workbook with the sheet that `rows` writes.
fn xlsx(path: &Path, rows: impl FnOnce(&mut dyn Write)) -> Archive {
    let relation = |id: &str, kind: &str, target: &str| {
        format!("<Relationship Id=\"{id}\" Type=\"{RELATIONS}/{kind}\" Target=\"{target}\"/>")
    };
    let relations = |inner: &str| {
        format!(
            "<Relationships xmlns=\"http://schemas.openxmlformats.org/package/2006/relationships\">{inner}</Relationships>"
        )
    };
    Archive::new(path)
        .text("_rels/.rels", &relations(&relation("r1", "officeDocument", "xl/workbook.xml")))
        .text("xl/workbook.xml", &format!("<workbook xmlns=\"{MAIN}\" xmlns:r=\"{RELATIONS}\"><sheets><sheet name=\"A\" sheetId=\"1\" r:id=\"r1\"/></sheets></workbook>"))
        .text("xl/_rels/workbook.xml.rels", &relations(&(relation("r1", "worksheet", "worksheets/sheet1.xml") + &relation("r2", "sharedStrings", "sharedStrings.xml") + &relation("r3", "styles", "styles.xml"))))
        .part("xl/worksheets/sheet1.xml", |part| {
            write!(part, "<worksheet xmlns=\"{MAIN}\"><sheetData>").unwrap();
            rows(part);
            part.write_all(b"</sheetData></worksheet>").unwrap();
        })
}

fn cell(place: &str, text: &str) -> String {
    format!("<c r=\"{place}\" t=\"inlineStr\"><is><t>{text}</t></is></c>")
}

fn list_rows(part: &mut dyn Write) {
    write!(part, "<row r=\"1\">{}{}</row>", cell("A1", "part_no"), cell("B1", "qty")).unwrap();
    write!(part, "<row r=\"2\">{}<c r=\"B2\"><v>1</v></c></row>", cell("A2", "CL-1")).unwrap();
}

/// A workbook whose one list is whole, with what `more` adds.
fn xlsx_with(path: &Path, more: impl FnOnce(Archive) -> Archive) {
    more(xlsx(path, list_rows)).end();
}

fn sheet(path: &Path, rows: impl FnOnce(&mut dyn Write)) {
    xlsx(path, rows).end();
}

fn ods(path: &Path, rows: &str) {
    let text = |text: &str| {
        format!("<table:table-cell office:value-type=\"string\"><text:p>{text}</text:p></table:table-cell>")
    };
    let header = format!("<table:table-row>{}{}</table:table-row>", text("part_no"), text("qty"));
    let line = format!(
        "<table:table-row>{}<table:table-cell office:value-type=\"float\" office:value=\"1\"/></table:table-row>",
        text("CL-1")
    );
    let space = "urn:oasis:names:tc:opendocument:xmlns";
    Archive::new(path)
        .text("mimetype", "application/vnd.oasis.opendocument.spreadsheet")
        .text("META-INF/manifest.xml", &format!("<manifest:manifest xmlns:manifest=\"{space}:manifest:1.0\"/>"))
        .text("content.xml", &format!("<office:document-content xmlns:office=\"{space}:office:1.0\" xmlns:table=\"{space}:table:1.0\" xmlns:text=\"{space}:text:1.0\"><office:body><office:spreadsheet><table:table table:name=\"A\">{header}{line}{rows}</table:table></office:spreadsheet></office:body></office:document-content>"))
        .end();
}

/// `far-corner.xls` with another claim of how many rows its sheet has.
fn xls_claiming(to: &Path, rows: u32) {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/foreign/npm-xlsx/far-corner.xls");
    let mut bytes = fs::read(path).unwrap();
    let claim = [0x00, 0x02, 14, 0, 0, 0, 0, 0, 0, 0, 1, 0];
    let at = bytes.windows(claim.len()).position(|found| found == claim).expect("the claim of 65,536 rows");
    bytes[at + 8..at + 12].copy_from_slice(&rows.to_le_bytes());
    fs::write(to, bytes).unwrap();
}

fn rows_of(part: &mut dyn Write, numbers: impl Iterator<Item = u32>, row: impl Fn(u32) -> String) {
    let mut block = String::new();
    for number in numbers {
        block.push_str(&row(number));
        if block.len() > 1 << 20 {
            part.write_all(block.as_bytes()).unwrap();
            block.clear();
        }
    }
    part.write_all(block.as_bytes()).unwrap();
}

const ROWS: u32 = 1 << 20;

fn value(attributes: &str) -> String {
    format!("<table:table-cell {attributes} office:value-type=\"float\" office:value=\"1\"/>")
}

/// Files that were made to take the machine, with the status that they end with: 2 where they are refused.
const HOSTILE: [(&str, fn(&Path), i32); 22] = [
    (
        "ends early.ods",
        |path| ods_that_ends(path, "<table:table-row><table:table-cell office:value-type=\"string\"><text:p>x"),
        2,
    ),
    (
        "long formula in many cells.ods",
        |path| {
            ods(
                path,
                &format!(
                    "<table:table-row table:number-rows-repeated=\"400000\"><table:table-cell table:formula=\"of:={}1\" table:number-columns-repeated=\"10\"/></table:table-row>",
                    "1+".repeat(1000)
                ),
            );
        },
        2,
    ),
    (
        "one text in many cells.xlsx",
        |path| {
            let more = |part: &mut dyn Write| {
                list_rows(part);
                rows_of(part, 3..=60_000, |row| format!("<row r=\"{row}\"><c r=\"C{row}\" t=\"s\"><v>0</v></c></row>"));
            };
            xlsx(path, more)
                .part("xl/sharedStrings.xml", |part| {
                    write!(part, "<sst xmlns=\"{MAIN}\"><si><t>{}</t></si></sst>", "z".repeat(32_767)).unwrap();
                })
                .end();
        },
        2,
    ),
    (
        "text of many runs.xlsx",
        |path| {
            xlsx_with(path, |book| {
                book.part("xl/sharedStrings.xml", |part| {
                    write!(part, "<sst xmlns=\"{MAIN}\"><si>").unwrap();
                    repeated(part, &format!("<r><t>{}</t></r>", "a".repeat(1 << 19)), 700);
                    part.write_all(b"</si></sst>").unwrap();
                })
            });
        },
        2,
    ),
    ("sectors in a circle.xls", xls_in_a_circle, 2),
    (
        "million empty rows.xlsx",
        |path| {
            sheet(path, |part| {
                list_rows(part);
                rows_of(part, 3..=ROWS, |row| format!("<row r=\"{row}\"/>"));
            });
        },
        0,
    ),
    (
        "million rows upwards.xlsx",
        |path| {
            sheet(path, |part| {
                // A blank is kept until the rows are in order, and no line.
                rows_of(part, (3..=ROWS).rev(), |row| {
                    format!(
                        "<row r=\"{row}\"><c r=\"A{row}\" t=\"inlineStr\"><is><t xml:space=\"preserve\"> </t></is></c></row>"
                    )
                });
                list_rows(part);
            });
        },
        0,
    ),
    (
        "last column of each row.xlsx",
        |path| {
            sheet(path, |part| {
                list_rows(part);
                rows_of(part, 3..=ROWS, |row| format!("<row r=\"{row}\"><c r=\"AMJ{row}\"><v>1</v></c></row>"));
            });
        },
        2,
    ),
    (
        "far corner.xlsx",
        |path| {
            sheet(path, |part| {
                list_rows(part);
                write!(part, "<row r=\"{ROWS}\"><c r=\"XFD{ROWS}\"><v>1</v></c></row>").unwrap();
            });
        },
        2,
    ),
    (
        "repeated rows.ods",
        |path| {
            ods(
                path,
                &format!(
                    "<table:table-row table:number-rows-repeated=\"1048574\">{}</table:table-row>",
                    value("table:number-columns-repeated=\"16384\"")
                ),
            );
        },
        2,
    ),
    (
        "repeats just let in.ods",
        |path| {
            ods(
                path,
                &format!(
                    "</table:table><table:table table:name=\"B\"><table:table-row table:number-rows-repeated=\"262000\">{}</table:table-row>",
                    value("table:number-columns-repeated=\"19\"")
                ),
            );
        },
        0,
    ),
    (
        "blank repeats.ods",
        |path| {
            ods(path, &"<table:table-row><table:table-cell office:value-type=\"float\" office:value=\"1\"/><table:table-cell table:number-columns-repeated=\"16383\"/></table:table-row>".repeat(6000));
        },
        0,
    ),
    (
        "empty repeats.ods",
        |path| {
            ods(
                path,
                "<table:table-row table:number-rows-repeated=\"1048574\"><table:table-cell table:number-columns-repeated=\"16384\"/></table:table-row>",
            );
        },
        0,
    ),
    ("four billion rows.xls", |path| xls_claiming(path, u32::MAX), 2),
    ("zip bomb.xlsx", |path| xlsx_with(path, |book| book.part("xl/media/a.bin", |part| repeated(part, "0", 1100))), 2),
    (
        "long text.xlsx",
        |path| {
            xlsx_with(path, |book| {
                book.part("xl/sharedStrings.xml", |part| {
                    write!(part, "<sst xmlns=\"{MAIN}\"><si><t>").unwrap();
                    repeated(part, "a", 700);
                    part.write_all(b"</t></si></sst>").unwrap();
                })
            });
        },
        2,
    ),
    (
        "many texts.xlsx",
        |path| {
            xlsx_with(path, |book| {
                book.part("xl/sharedStrings.xml", |part| {
                    write!(part, "<sst xmlns=\"{MAIN}\">").unwrap();
                    repeated(part, "<si><t/></si>", 700);
                    part.write_all(b"</sst>").unwrap();
                })
            });
        },
        2,
    ),
    (
        "many texts claimed.xlsx",
        |path| {
            xlsx_with(path, |book| {
                book.text("xl/sharedStrings.xml", &format!("<sst xmlns=\"{MAIN}\" uniqueCount=\"1000000000000000\"/>"))
            });
        },
        2,
    ),
    (
        "many styles.xlsx",
        |path| {
            xlsx_with(path, |book| {
                book.part("xl/styles.xml", |part| {
                    write!(part, "<styleSheet xmlns=\"{MAIN}\"><numFmts>").unwrap();
                    for mib in 0..300_u32 {
                        let mut block = String::new();
                        for index in 0..20_000 {
                            write!(block, "<numFmt numFmtId=\"{}\" formatCode=\"0.000\"/>", mib * 20_000 + index)
                                .unwrap();
                        }
                        part.write_all(block.as_bytes()).unwrap();
                    }
                    part.write_all(b"</numFmts></styleSheet>").unwrap();
                })
            });
        },
        2,
    ),
    (
        // The reader would keep the format of 50,000 styles 50,000 times, 500 KiB each.
        "long number formats.xlsx",
        |path| {
            xlsx_with(path, |book| {
                book.part("xl/styles.xml", |part| {
                    let code = "\\k".repeat(250_000);
                    write!(part, "<styleSheet xmlns=\"{MAIN}\"><numFmts><numFmt numFmtId=\"200\" formatCode=\"0{code}\"/></numFmts><cellXfs>").unwrap();
                    part.write_all("<xf numFmtId=\"200\"/>".repeat(50_000).as_bytes()).unwrap();
                    part.write_all(b"</cellXfs></styleSheet>").unwrap();
                })
            });
        },
        2,
    ),
    (
        // Each cell of a list with a format of its own that shows a unit.
        "many number formats.xlsx",
        |path| {
            let rows = 100_000;
            let book = xlsx(path, |part| {
                write!(
                    part,
                    "<row r=\"1\">{}{}{}</row>",
                    cell("A1", "part_no"),
                    cell("B1", "qty"),
                    cell("C1", "length")
                )
                .unwrap();
                for row in 2..=rows {
                    write!(
                        part,
                        "<row r=\"{row}\">{}<c r=\"B{row}\"><v>1</v></c><c r=\"C{row}\" s=\"{}\"><v>5</v></c></row>",
                        cell(&format!("A{row}"), "CL-1"),
                        row - 2
                    )
                    .unwrap();
                }
            });
            book.part("xl/styles.xml", |part| {
                write!(part, "<styleSheet xmlns=\"{MAIN}\"><numFmts>").unwrap();
                for index in 0..rows {
                    write!(
                        part,
                        "<numFmt numFmtId=\"{}\" formatCode=\"0&quot; u{index}&quot;{}\"/>",
                        index + 200,
                        ";0".repeat(200)
                    )
                    .unwrap();
                }
                part.write_all(b"</numFmts><cellXfs>").unwrap();
                for index in 0..rows {
                    write!(part, "<xf numFmtId=\"{}\"/>", index + 200).unwrap();
                }
                part.write_all(b"</cellXfs></styleSheet>").unwrap();
            })
            .end();
        },
        1,
    ),
    (
        "one long row.csv",
        |path| {
            let mut file = File::create(path).unwrap();
            file.write_all(b"part_no,qty\n\"").unwrap();
            repeated(&mut file, "a", 200);
        },
        2,
    ),
];

/// Checks a plant with this file among its lists: the status and what was said.
fn checked(name: &str, write: &dyn Fn(&Path)) -> (i32, String, Duration) {
    let folder = tempfile::tempdir().unwrap();
    let plant = folder.path().join("plant");
    fs::create_dir_all(plant.join("lists")).unwrap();
    fs::write(plant.join("components.csv"), COMPONENTS).unwrap();
    write(&plant.join("lists").join(name));
    let mut child = Command::new("sh")
        // A bound on the addresses keeps a failure of this test from taking the machine.
        .args([
            "-c",
            "ulimit -v 16000000; exec \"$0\" check plant --data data --quiet",
            env!("CARGO_BIN_EXE_clampbook"),
        ])
        .current_dir(folder.path())
        .stdout(Stdio::null())
        .stderr(fs::File::create(folder.path().join("said")).unwrap())
        .spawn()
        .unwrap();
    let begun = Instant::now();
    let status = ended(&mut child, MOST_TIME);
    let status = status.unwrap_or_else(|| panic!("{name} takes more than {MOST_TIME:?}"));
    let said = fs::read_to_string(folder.path().join("said")).unwrap();
    (status.code().unwrap_or_else(|| panic!("{name}: ended by {status}: {said}")), said, begun.elapsed())
}

#[test]
fn no_file_takes_more_than_a_gibibyte() {
    let ordinary = foreign();
    assert_eq!(ordinary.len(), 12 + 7 + 3);
    let mut faults = Vec::new();
    let ordinary = ordinary.into_iter().map(|(name, bytes)| {
        let write: Box<dyn Fn(&Path)> = Box::new(move |path| fs::write(path, &bytes).unwrap());
        (name, write, None)
    });
    let hostile = HOSTILE.into_iter().map(|(name, write, wanted)| {
        let write: Box<dyn Fn(&Path)> = Box::new(write);
        (name.to_owned(), write, Some(wanted))
    });
    for (name, write, wanted) in ordinary.chain(hostile) {
        let before = peak();
        let (status, said, time) = checked(&name, &*write);
        let held = peak();
        println!("{name}: peak so far {} MiB, {:.2} s, status {status}", held >> 20, time.as_secs_f64());
        let is_one_sentence = said.trim_end().ends_with('.') && said.contains(&format!("lists/{name}"));
        let is_fine = match status {
            0 | 1 => wanted != Some(2),
            2 => wanted.is_none_or(|wanted| wanted == 2) && is_one_sentence && said.trim_end().lines().count() == 1,
            _ => false,
        };
        if !is_fine || said.contains("panicked") {
            faults.push(format!("{name}: status {status}: {said}"));
        }
        if held >= MOST_BYTES && before < MOST_BYTES {
            faults.push(format!("{name}: {} MiB", held >> 20));
        }
    }
    println!("the most: {} MiB", peak() >> 20);
    assert!(peak() > 1 << 20, "the system tells nothing of memory");
    assert!(faults.is_empty(), "{}", faults.join("\n"));
}

/// Tables that are read whole, made to take the machine.
#[test]
fn no_table_takes_more_than_its_bound() {
    type Write = fn(&mut File);
    let cases: [(&str, Write, &str); 4] = [
        (
            "orders.csv",
            |file| {
                file.write_all(b"part_no,qty,order_no\nCL-1,1,\"").unwrap();
                repeated(file, "x", 900);
                file.write_all(b"\"\n").unwrap();
            },
            "memory_mib",
        ),
        (
            "orders.csv",
            |file| {
                file.write_all(b"part_no,qty,order_no\n").unwrap();
                repeated(file, "CL-1,1,\n", 200);
            },
            "memory_mib",
        ),
        (
            "components.csv",
            |file| {
                file.write_all(b"part_no,kind\n").unwrap();
                repeated(file, &format!("CL-1{}\n", ",".repeat(1000)), 400);
            },
            "memory_mib",
        ),
        (
            "lists/x.csv",
            |file| {
                // Windows-1252, and so decoded as a whole.
                file.write_all(b"part_no,qty\nCL\xe4,1\n").unwrap();
                repeated(file, "CL-1,1\n", 900);
            },
            "memory_mib",
        ),
    ];
    let folder = tempfile::tempdir().unwrap();
    let plant = folder.path().join("plant");
    for (name, write, key) in cases {
        let _ = fs::remove_dir_all(&plant);
        fs::create_dir_all(plant.join("lists")).unwrap();
        fs::write(plant.join("components.csv"), COMPONENTS).unwrap();
        fs::write(plant.join("lists/a.csv"), "part_no,qty\nCL-1,1\n").unwrap();
        write(&mut File::create(plant.join(name)).unwrap());
        let mut child = Command::new("sh")
            .args(["-c", "ulimit -v 16000000; exec \"$0\" check plant --quiet", env!("CARGO_BIN_EXE_clampbook")])
            .current_dir(folder.path())
            .stdout(Stdio::null())
            .stderr(File::create(folder.path().join("said")).unwrap())
            .spawn()
            .unwrap();
        let status = ended(&mut child, MOST_TIME).expect("it ends");
        let said = fs::read_to_string(folder.path().join("said")).unwrap();
        println!("{name} ({key}): {said}peak so far {} MiB", peak() >> 20);
        assert_eq!(status.code(), Some(2), "{name}: {said}");
        assert!(said.contains(&format!("[bounds] {key}")) && said.trim_end().lines().count() == 1, "{name}: {said}");
        assert!(peak() < MOST_BYTES, "{name}: {} MiB", peak() >> 20);
    }
}
