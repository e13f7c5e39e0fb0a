//! Whole files altered by chance: their bytes, or the bytes of their parts, packed again so that a reader gets
//! as far as the parts.

use std::collections::BTreeMap;
use std::fs;
use std::io::{Cursor, Read, Write};
use std::path::{Path, PathBuf};

use zip::write::SimpleFileOptions;
use zip::{CompressionMethod, ZipArchive, ZipWriter};

use super::chance::Chance;

/// Endings, each with the same share of the files.
pub const FORMATS: [&str; 8] = ["csv", "tsv", "xlsx", "xlsm", "ods", "xls", "xlsb", "parquet"];

/// What mutations put in.
const WORDS: [&[u8]; 28] = [
    b"\"",
    b",",
    b";",
    b"\t",
    b"\n",
    b"\r\n",
    b"\0",
    b"\xef\xbb\xbf",
    b"\xff\xfe",
    b"\x1b[2J",
    b"<row>",
    b"</row>",
    b"<c r=\"A1\">",
    b"</c>",
    b"&#10;",
    b"&amp;",
    b"<![CDATA[",
    b"<!--",
    b"4294967295",
    b"-1",
    b"1048577",
    b"99999999999999999999",
    b"table:number-rows-repeated=\"1048576\"",
    b"table:number-columns-repeated=\"16384\"",
    b"t=\"s\"",
    b"\xff\xff\xff\xff",
    b"\x00\x00\x00\x80",
    b"part_no,qty\n",
];

/// Files that are right.
pub struct Seeds(BTreeMap<&'static str, Vec<Vec<u8>>>);

impl Seeds {
    pub fn load() -> Self {
        let root = Path::new(env!("CARGO_MANIFEST_DIR"));
        let mut all: BTreeMap<&'static str, Vec<Vec<u8>>> = BTreeMap::new();
        let mut files: Vec<PathBuf> = Vec::new();
        for folder in ["tests/foreign", "sample-data/plant"] {
            below(&root.join(folder), &mut files);
        }
        files.sort();
        for file in files {
            let ending = file.extension().unwrap_or_default().to_string_lossy().into_owned();
            let bytes = fs::read(&file).unwrap();
            // Short ones, so that a run is short.
            if let Some(format) = FORMATS.iter().find(|format| **format == ending).filter(|_| bytes.len() < 40_000) {
                all.entry(format).or_default().push(bytes);
            }
        }
        // Endings of which no file of elsewhere is kept.
        let xlsx = all["xlsx"].clone();
        all.entry("xlsm").or_default().extend(xlsx);
        all.entry("ods").or_default().push(document());
        for format in FORMATS {
            assert!(!all[format].is_empty(), "{format}");
        }
        Self(all)
    }

    /// The file of one run; seed and run give it again.
    pub fn altered(&self, format: &str, seed: u64, run: u64) -> Vec<u8> {
        let mut chance = Chance::of(seed, run);
        let seeds = &self.0[format];
        let file = &seeds[chance.below(seeds.len())];
        let is_packed = file.starts_with(b"PK\x03\x04");
        if is_packed && chance.below(4) > 0 { repacked(file, &mut chance) } else { mutated(file.clone(), &mut chance) }
    }
}

fn below(folder: &Path, files: &mut Vec<PathBuf>) {
    for entry in fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path()) {
        if entry.is_dir() {
            below(&entry, files);
        } else {
            files.push(entry);
        }
    }
}

/// A list in an open document.
fn document() -> Vec<u8> {
    let space = "urn:oasis:names:tc:opendocument:xmlns";
    let cell = |text: &str| {
        format!("<table:table-cell office:value-type=\"string\"><text:p>{text}</text:p></table:table-cell>")
    };
    let row = |cells: &str| format!("<table:table-row table:number-rows-repeated=\"1\">{cells}</table:table-row>");
    let number =
        "<table:table-cell table:number-columns-repeated=\"1\" office:value-type=\"float\" office:value=\"2\"/>";
    let rows = row(&(cell("part_no") + &cell("qty"))) + &row(&(cell("CL-1") + number)) + &row(&(cell("CL-2") + number));
    let content = format!(
        "<office:document-content xmlns:office=\"{space}:office:1.0\" xmlns:table=\"{space}:table:1.0\" xmlns:text=\"{space}:text:1.0\"><office:body><office:spreadsheet><table:table table:name=\"A\">{rows}</table:table></office:spreadsheet></office:body></office:document-content>"
    );
    let manifest = format!("<manifest:manifest xmlns:manifest=\"{space}:manifest:1.0\"/>");
    let mut archive = ZipWriter::new(Cursor::new(Vec::new()));
    for (name, text) in [
        ("mimetype", "application/vnd.oasis.opendocument.spreadsheet"),
        ("META-INF/manifest.xml", manifest.as_str()),
        ("content.xml", content.as_str()),
    ] {
        archive.start_file(name, SimpleFileOptions::default()).unwrap();
        archive.write_all(text.as_bytes()).unwrap();
    }
    archive.finish().unwrap().into_inner()
}

/// A package of which one or two parts are altered.
fn repacked(file: &[u8], chance: &mut Chance) -> Vec<u8> {
    let mut archive = ZipArchive::new(Cursor::new(file)).unwrap();
    let count = archive.len();
    let chosen = [chance.below(count), chance.below(count)];
    let mut packed = ZipWriter::new(Cursor::new(Vec::new()));
    let options = SimpleFileOptions::default().compression_method(CompressionMethod::Stored);
    for index in 0..count {
        let mut part = archive.by_index(index).unwrap();
        let name = part.name().unwrap().into_owned();
        let mut bytes = Vec::new();
        part.read_to_end(&mut bytes).unwrap();
        // The sheets and what they share hold what is read.
        let is_telling = ["sheet", "content", "sharedStrings", "workbook"].iter().any(|word| name.contains(word));
        if chosen.contains(&index) || is_telling && chance.below(2) == 0 {
            bytes = mutated(bytes, chance);
        }
        packed.start_file(name, options).unwrap();
        packed.write_all(&bytes).unwrap();
    }
    packed.finish().unwrap().into_inner()
}

fn mutated(mut bytes: Vec<u8>, chance: &mut Chance) -> Vec<u8> {
    for _ in 0..=chance.below(6) {
        let at = chance.below(bytes.len() + 1);
        let end = (at + chance.below(40)).min(bytes.len());
        match chance.below(9) {
            0 => drop(bytes.drain(at..end)),
            1 => {
                let again = bytes[at..end].repeat(1 + chance.below(20));
                bytes.splice(at..at, again);
            }
            2 | 3 if at < bytes.len() => bytes[at] ^= 1 << chance.below(8),
            4 => bytes.truncate(at),
            5 if end - at >= 4 => {
                // A number of four bytes, which may be a length or a place.
                let number = [0, 1, 0x7fff_ffff, 0xffff_ffff, 0x0001_0000, 0xffff][chance.below(6)];
                bytes[at..at + 4].copy_from_slice(&u32::to_le_bytes(number));
            }
            6 => {
                let byte = u8::try_from(chance.below(256)).unwrap();
                bytes.insert(at, byte);
            }
            _ => drop(bytes.splice(at..at, WORDS[chance.below(WORDS.len())].iter().copied())),
        }
    }
    bytes
}
