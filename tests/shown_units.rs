//! Units that stand in the number formats of a workbook's cells count as if they stood in the cells.

#![allow(clippy::unwrap_used, reason = "a test stops where something is amiss")]

use std::path::Path;

use chrono::NaiveDate;
use clampbook::physics::quantity::{Force, Length};
use clampbook::read::{Reading, open, sentence};
use clampbook::tables::component::Component;
use clampbook::tables::line::{Cell, Line};
use clampbook::tables::spread::{Uncertain, own_spread};
use rust_xlsxwriter::{Format, Formula, Workbook};

/// NIST SP 811, appendix B: 1 psi = 6894.757 Pa, 1 in = 0.0254 m exactly.
const PSI: f64 = 6894.757;

fn write(folder: &Path, name: &str, text: impl AsRef<[u8]>) {
    let path = folder.join(name);
    std::fs::create_dir_all(path.parent().unwrap()).unwrap();
    std::fs::write(path, text).unwrap();
}

/// What a cell of a made sheet holds: a text, or a number with the code of its format.
#[derive(Clone, Copy)]
enum Made<'a> {
    Text(&'a str),
    Number(f64, &'a str),
    /// A formula with this result.
    Result(f64, &'a str),
}

use Made::{Number as N, Result as R, Text as T};

fn sheet(rows: &[&[Made]]) -> Vec<u8> {
    let mut book = Workbook::new();
    let sheet = book.add_worksheet();
    for (row, cells) in (0..).zip(rows) {
        for (column, cell) in (0..).zip(*cells) {
            match cell {
                T(text) => sheet.write_string(row, column, *text).unwrap(),
                N(number, code) => {
                    sheet.write_number_with_format(row, column, *number, &Format::new().set_num_format(*code)).unwrap()
                }
                R(number, code) => sheet
                    .write_formula_with_format(
                        row,
                        column,
                        Formula::new("=1+1").set_result(number.to_string()),
                        &Format::new().set_num_format(*code),
                    )
                    .unwrap(),
            };
        }
    }
    book.save_to_buffer().unwrap()
}

const COMPONENTS: &str = "part_no,kind,rated_pressure [bar]\nCL-1,clamp,350\nTB-1,tube,400\n";

fn read(folder: &Path) -> Reading {
    open(folder, None, NaiveDate::from_ymd_opt(2026, 3, 31).unwrap()).unwrap()
}

fn lines(reading: &Reading) -> Vec<Line> {
    (0..reading.lists.circuits().len()).flat_map(|index| reading.lists.lines(index).unwrap().lines).collect()
}

fn notes(reading: &Reading) -> Vec<String> {
    let of_lists = (0..reading.lists.circuits().len()).flat_map(|index| reading.lists.lines(index).unwrap().notes);
    let all = reading.plant.notes.iter().cloned().chain(of_lists);
    all.map(|note| sentence(&note, &reading.plant.sources)).collect()
}

/// The plant whose one list has these rows.
fn of_list(rows: &[&[Made]]) -> Reading {
    let folder = tempfile::tempdir().unwrap();
    write(folder.path(), "components.csv", COMPONENTS);
    write(folder.path(), "lists/a.xlsx", sheet(rows));
    read(folder.path())
}

/// The plant whose components are these rows.
fn of_components(rows: &[&[Made]], policy: &str) -> Reading {
    let folder = tempfile::tempdir().unwrap();
    write(folder.path(), "components.xlsx", sheet(rows));
    write(folder.path(), "lists/a.csv", "part_no,qty\nCL-1,1\n");
    write(folder.path(), "policy.toml", policy);
    read(folder.path())
}

fn close(found: f64, wanted: f64) -> bool {
    (found - wanted).abs() <= 1e-6 * wanted.abs()
}

fn forces(rows: &[&[Made]]) -> Vec<Option<f64>> {
    lines(&of_list(rows)).iter().map(|line| line.force_required.map(Force::si)).collect()
}

const HEAD: &[Made] = &[T("fixture"), T("part_no"), T("qty"), T("force_required")];
const HEAD_N: &[Made] = &[T("fixture"), T("part_no"), T("qty"), T("force_required [N]")];

fn row(cell: Made<'_>) -> [Made<'_>; 4] {
    [T("F1"), T("CL-1"), N(1.0, "0"), cell]
}

#[test]
fn a_number_counts_in_the_unit_that_its_format_shows() {
    // 1 kN = 1000 N; a kip is 1000 lbf, and 1 lbf = 4.448 222 N (NIST SP 811).
    for (code, stored, newton) in [
        ("0.0\" kN\"", 12.5, 12_500.0),
        ("0 \"lbf\"", 100.0, 444.8222),
        ("#,##0\\ \\k\\N", 2.0, 2000.0),
        ("[$-409]0.0\" kN\"", 12.5, 12_500.0),
        ("[Blue]0.0\" kN\";[Red]-0.0\" kN\";\"-\"", 12.5, 12_500.0),
        ("[>=1000]0.0,\" kN\";0\" N\"", 12_500.0, 12_500.0),
        ("[>=1000]0.0,\" kN\";0\" N\"", 999.0, 999.0),
        ("0.000\" kN\"", 1.234, 1234.0),
        ("0.0 [$kN]", 0.5, 500.0),
        ("\"F = \"0.0\" kN\"", 0.5, 500.0),
        ("General\" kN\"", 0.125, 125.0),
    ] {
        for head in [HEAD, HEAD_N] {
            for cell in [N(stored, code), R(stored, code)] {
                let found = forces(&[head, &row(cell)]);
                assert!(found[0].is_some_and(|found| close(found, newton)), "{code}: {found:?}");
            }
        }
    }
}

#[test]
fn each_column_whose_unit_came_from_formats_is_told_once() {
    let reading = of_list(&[HEAD, &row(N(12.5, "0.0\" kN\"")), &row(N(13.0, "0.0\" kN\"")), &row(N(5.0, "0"))]);
    let forces: Vec<f64> = lines(&reading).iter().map(|line| line.force_required.unwrap().si()).collect();
    assert_eq!(forces, [12_500.0, 13_000.0, 5.0]);
    let told: Vec<String> = notes(&reading).into_iter().filter(|note| note.contains("number format")).collect();
    assert_eq!(
        told,
        [
            "lists/a.xlsx, sheet 'Sheet1', cell D2 (force_required): found '12.5 kN'. The number format of 2 cells of the column shows kN; their numbers were read in it."
        ]
    );
    // Where the header says the same, nothing was taken.
    let same = of_list(&[
        &[T("part_no"), T("qty"), T("force_required [kN]")],
        &[T("CL-1"), N(1.0, "0"), N(12.5, "0.0\" kN\"")],
    ]);
    assert_eq!(lines(&same)[0].force_required.map(Force::si), Some(12_500.0));
    assert!(!notes(&same).iter().any(|note| note.contains("number format")));
}

#[test]
fn a_pressure_shown_in_psi_is_no_pressure_in_bar() {
    let reading = of_components(
        &[&[T("part_no"), T("kind"), T("rated_pressure [bar]")], &[T("CL-1"), T("clamp"), N(5000.0, "#,##0\" psi\"")]],
        "",
    );
    let rated = |part: &Component| part.rated_pressure.unwrap().si();
    assert!(close(rated(&reading.plant.components[0]), 5000.0 * PSI));
}

#[test]
fn what_a_text_could_not_say_a_format_can_not_say_either() {
    // As the text '12.5 bar' in a column of forces: another measure.
    for (code, found) in [
        ("0.0\" bar\"", "12.5 bar"),
        ("0.0\" mm\"", "12.5 mm"),
        ("0.0\" daN\"", "12.5 daN"),
        ("0.0\" kg\"", "12.5 kg"),
        ("0.0\" kN per clamp\"", "12.5 kN per clamp"),
        ("0.0%", "1250 %"),
        ("0.0\"%\"", "12.5 %"),
        ("0.0\\\"", "12.5 \""),
    ] {
        let reading = of_list(&[HEAD_N, &row(N(12.5, code))]);
        let line = &lines(&reading)[0];
        assert_eq!((line.force_required, line.faults.len()), (None, 1), "{code}");
        assert_eq!((line.faults[0].letter.as_str(), line.faults[0].found.as_str()), ("D", found));
        let as_text = of_list(&[HEAD_N, &row(T(found))]);
        assert_eq!(line.faults, lines(&as_text)[0].faults, "{code}");
    }
    // Pieces shown as metres are no pieces.
    let reading = of_list(&[&[T("part_no"), T("qty")], &[T("CL-1"), N(3.0, "0\" m\"")]]);
    assert_eq!(lines(&reading)[0].qty, Cell::Unreadable);
}

#[test]
fn what_is_no_unit_leaves_the_number_as_it_is() {
    for code in [
        "0\" pcs\"",
        "0\" Stk\"",
        "0\" x\"",
        "\"x \"0",
        "0\" ea.\"",
        "#,##0\\ [$€-407]",
        "0_);(0)",
        "0;-0;;@",
        "\"about \"0",
    ] {
        let reading = of_list(&[&[T("part_no"), T("qty")], &[T("CL-1"), N(3.0, code)]]);
        assert_eq!(lines(&reading)[0].qty, Cell::Value(3.0), "{code}");
    }
    let reading = of_components(
        &[
            &[T("part_no"), T("kind"), T("rated_pressure [bar]"), T("unit_price"), T("lead_time_days")],
            &[T("CL-1"), T("clamp"), N(350.0, "0\" bar\""), N(12.5, "#,##0.00\\ [$€-407]"), N(14.0, "0\" days\"")],
            &[T("CL-2"), T("clamp"), N(350.0, "0\" bar\""), N(1_200_000.0, "0.0,,\" M\""), N(2.0, "0\" weeks\"")],
        ],
        "",
    );
    let price = |at: usize| reading.plant.components[at].unit_price.map(|price| price.to_string());
    assert_eq!((price(0).as_deref(), price(1).as_deref()), (Some("12.5"), Some("1200000")));
    assert!(!notes(&reading).iter().any(|note| note.contains("number format")), "{:?}", notes(&reading));
}

/// Behind the number it is what the same text in the cell would be; in front may stand what the number is called.
#[test]
fn a_text_that_may_be_a_unit_counts_behind_a_number_and_is_told_in_front_of_it() {
    for code in ["0.0\" Fz\"", "0.0\" t\"", "0.0\" tons\"", "0.0\" lb/in2\"", "0.0\" p.s.i.\""] {
        let reading = of_list(&[HEAD_N, &row(N(12.5, code))]);
        let line = &lines(&reading)[0];
        assert_eq!((line.force_required, line.faults.len()), (None, 1), "{code}");
    }
    let pairs = of_list(&[&[T("part_no"), T("qty")], &[T("CL-1"), N(4.0, "0\" pairs\"")]]);
    assert_eq!(lines(&pairs)[0].qty, Cell::Unreadable);
    let reading = of_list(&[HEAD_N, &row(N(12.5, "\"Fz \"0.0"))]);
    assert_eq!(lines(&reading)[0].force_required.map(Force::si), Some(12.5));
    assert!(notes(&reading).contains(&
        "lists/a.xlsx, sheet 'Sheet1', cell D2 (force_required): found 'Fz 12.5'. The number format of the cell shows 'Fz', which is no known unit; its number was read as if nothing stood there, in N. [values.unit] of the policy takes other names of units.".to_owned()
    ), "{:?}", notes(&reading));
}

#[test]
fn the_plants_own_name_of_a_unit_is_one_in_a_format_too() {
    let rows: &[&[Made]] =
        &[&[T("part_no"), T("kind"), T("rated_pressure [bar]")], &[T("CL-1"), T("clamp"), N(5000.0, "0\" PSIG\"")]];
    let reading = of_components(rows, "[values.unit]\npsi = [\"psig\"]\n");
    assert!(close(reading.plant.components[0].rated_pressure.unwrap().si(), 5000.0 * PSI));
}

#[test]
fn hundredths_of_a_plain_number_are_the_number_that_is_stored() {
    let reading = of_components(
        &[
            &[T("part_no"), T("kind"), T("rated_pressure [bar]"), T("accuracy"), T("rated_pressure ±")],
            &[T("GA-1"), T("gauge"), N(350.0, "0"), N(0.016, "0.0%"), N(0.05, "0.0%")],
        ],
        "",
    );
    let part = &reading.plant.components[0];
    assert_eq!(part.accuracy, Some(0.016));
    // An uncertainty of 5 % is a share, as the text '5 %' is, and not 0.05 bar.
    let stated = own_spread(&part.spreads, "rated_pressure");
    assert!(matches!(stated, Some(Uncertain::Share(share)) if close(share, 0.05)), "{stated:?}");
    let told = "cell E2 (rated_pressure): found '5 %'. The number format of the cell shows per cent; its number was read in it.";
    assert!(notes(&reading).iter().any(|note| note.ends_with(told)), "{:?}", notes(&reading));
}

/// An open document whose one sheet has these rows; `styles` stand in the part of common styles, `own` with the sheet.
fn ods(styles: &str, own: &str, rows: &str) -> Vec<u8> {
    let urn = "urn:oasis:names:tc:opendocument:xmlns";
    let spaces: String =
        [("office", "office"), ("table", "table"), ("text", "text"), ("style", "style"), ("number", "datastyle")]
            .map(|(prefix, name)| format!(" xmlns:{prefix}=\"{urn}:{name}:1.0\""))
            .concat();
    let parts = [
        ("mimetype", "application/vnd.oasis.opendocument.spreadsheet".to_owned()),
        ("META-INF/manifest.xml", format!("<manifest:manifest xmlns:manifest=\"{urn}:manifest:1.0\"/>")),
        (
            "content.xml",
            format!(
                "<office:document-content{spaces}><office:automatic-styles>{own}</office:automatic-styles><office:body><office:spreadsheet><table:table table:name=\"A\">{rows}</table:table></office:spreadsheet></office:body></office:document-content>"
            ),
        ),
        (
            "styles.xml",
            format!("<office:document-styles{spaces}><office:styles>{styles}</office:styles></office:document-styles>"),
        ),
    ];
    let mut archive = zip::ZipWriter::new(std::io::Cursor::new(Vec::new()));
    for (name, text) in parts {
        archive.start_file(name, zip::write::SimpleFileOptions::default()).unwrap();
        std::io::Write::write_all(&mut archive, text.as_bytes()).unwrap();
    }
    archive.finish().unwrap().into_inner()
}

/// OpenDocument 1.3 part 3, 16.29: the styles as a spreadsheet writes them.
#[test]
fn units_in_the_formats_of_an_open_document_count_too() {
    let number = "<number:number number:min-integer-digits=\"1\"/>";
    let style = |name: &str, data: &str| {
        format!("<style:style style:name=\"{name}\" style:family=\"table-cell\" style:data-style-name=\"{data}\"/>")
    };
    let common = format!(
        "<number:number-style style:name=\"N1\">{number}<number:text> kN</number:text></number:number-style>{}",
        style("Loads", "N1")
    );
    let own = [
        "<style:style style:name=\"ce1\" style:family=\"table-cell\" style:parent-style-name=\"Loads\"/>".to_owned(),
        format!("<number:number-style style:name=\"N2\">{number}<number:text> lbf</number:text></number:number-style>"),
        style("ce2", "N2"),
        format!("<number:number-style style:name=\"N3P0\">{number}<number:text> N</number:text></number:number-style><number:number-style style:name=\"N3\">{number}<number:text> kN</number:text><style:map style:condition=\"value()&gt;=1000\" style:apply-style-name=\"N3P0\"/></number:number-style>"),
        style("ce3", "N3"),
        "<number:number-style style:name=\"N4\"><number:number number:display-factor=\"1000\"/><number:text> kN</number:text></number:number-style>".to_owned(),
        style("ce4", "N4"),
        format!("<number:percentage-style style:name=\"N5\">{number}<number:text>%</number:text></number:percentage-style>"),
        style("ce5", "N5"),
        format!("<number:number-style style:name=\"N6\">{number}<number:text>&quot;</number:text></number:number-style>"),
        style("ce6", "N6"),
    ]
    .concat();
    let text = |text: &str| {
        format!("<table:table-cell office:value-type=\"string\"><text:p>{text}</text:p></table:table-cell>")
    };
    let cell = |style: &str, value: &str| {
        let named = if style.is_empty() { String::new() } else { format!(" table:style-name=\"{style}\"") };
        format!("<table:table-cell{named} office:value-type=\"float\" office:value=\"{value}\"/>")
    };
    let line = |force: &str, length: &str| {
        format!("<table:table-row>{}{}{force}{length}</table:table-row>", text("TB-1"), cell("ce9", "1"))
    };
    let rows = [
        "<table:table-column table:number-columns-repeated=\"2\" table:default-cell-style-name=\"Default\"/><table:table-column table:default-cell-style-name=\"ce2\"/><table:table-column table:default-cell-style-name=\"ce6\"/>".to_owned(),
        format!("<table:table-row>{}{}{}{}</table:table-row>", text("part_no"), text("qty"), text("force_required [N]"), text("length [mm]")),
        line(&cell("ce1", "12.5"), &cell("", "2")),
        line(&cell("", "100"), &cell("Default", "2")),
        line(&cell("ce3", "1500"), &cell("ce6", "0.5")),
        line(&cell("ce3", "1.5"), ""),
        line(&cell("ce4", "1500"), ""),
        line(&cell("ce5", "0.5"), ""),
    ]
    .concat();
    let folder = tempfile::tempdir().unwrap();
    write(folder.path(), "components.csv", COMPONENTS);
    write(folder.path(), "lists/a.ods", ods(&common, &own, &rows));
    let reading = read(folder.path());
    let lines = lines(&reading);
    // 100 lbf = 444.8222 N; 2 in = 50.8 mm (NIST SP 811).
    let wanted = [Some(12_500.0), Some(444.8222), Some(1500.0), Some(1500.0), Some(1500.0), None];
    for (line, wanted) in lines.iter().zip(wanted) {
        let found = line.force_required.map(Force::si);
        assert!(
            found.zip(wanted).map_or(found == wanted, |(found, wanted)| close(found, wanted)),
            "{found:?} {wanted:?}"
        );
    }
    assert_eq!((lines.len(), lines[5].faults[0].found.as_str()), (6, "50 %"));
    let length = |at: usize| lines[at].length.value().map(Length::si);
    assert!([(0, 0.0508), (1, 0.002), (2, 0.0127)].into_iter().all(|(at, wanted)| close(length(at).unwrap(), wanted)));
    assert!(notes(&reading).iter().any(|note| note.contains("(length): found '2 \"'. The number format of 2 cells")));
}
