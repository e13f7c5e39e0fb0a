//! What the mutation loop runs, and what must hold for every input.

use clampbook::physics::unit::{DEG_C, MM, UNITS};
use clampbook::read::fuzzing::{self, Says};
use clampbook::tables::column::Table;
use clampbook::tables::policy::{LIMITS, Policy};

/// A part of the reader under test.
pub struct Target {
    pub name: &'static str,
    /// Panics where something does not hold.
    pub check: fn(&[u8]),
    pub seeds: &'static [&'static str],
    /// What mutations put in.
    pub words: &'static [&'static str],
}

pub static TARGETS: &[Target] = &[CSV, QUANTITY, HEADER, POLICY];

const CSV: Target = Target {
    name: "csv",
    check: csv,
    seeds: &[
        "part_no,qty,note\nA-1,2,\"two\nlines\"\nB-1,3,\"said \"\"so\"\"\"\n",
        "sep=;\r\npart_no;qty;length\r\nA-1;2;63,5\r\n;;\r\n",
        "part_no\tqty\rA\t1\rB\t2\r",
        "part_no|qty|note\nA|1|1/4\" tube\n\n\nB|2|\"x\"tail\n",
        "\u{feff}part_no,qty\r\n\"Ä-1\",2\n\rB,3",
        "\"a\"\"b\",\"\",\"c,d\"\n\"\",\"\"\n",
    ],
    words: &["\"", "\"\"", "\"\"\"", ",", ";", "\t", "|", "\n", "\r", "\r\n", "\n\r", "\0", "\u{feff}", "ä", "x", ""],
};

const QUANTITY: Target = Target {
    name: "quantity",
    check: quantity,
    seeds: &[
        "63.5",
        "63,5 mm",
        "1.234,5",
        "1,234",
        "1 1/2 in",
        "½\"",
        "3,000 psi",
        "-40 °F",
        "2026-03-31",
        "1.2E+05",
        "1’234’567",
        "1\u{a0}234,56 N/mm",
        "5'",
        "0.5 [m]",
        "(3 m)",
        "1e308",
        "-0",
        "+7",
        "\u{2212}3,5",
        "12 34",
    ],
    words: &[
        ".", ",", "'", "’", " ", "\u{a0}", "\u{202f}", "-", "\u{2212}", "+", "/", "\u{2044}", "½", "⅞", "e", "E+",
        "e-", "0", "9", "123", "000", "mm", "in", "\"", "″", "bar", "psi", "°C", "degF", "K", "cm3/min", "N/mm", "[",
        "]", "(", ")", "%", "NaN", "inf", "²", "٣", "１",
    ],
};

const HEADER: Target = Target {
    name: "header",
    check: header,
    seeds: &[
        "Clamps of fixture 12\n\nFixture|Part No.|Qty|Length [mm]\n||pcs|[m]\nF12|A-1|2|3",
        "part_no|kind|rated_pressure (psi)|stroke [in]|note (internal)\nA|clamp|5000|1|x",
        "station|pump|drive_ram|pump_setting [bar]\nS1|P|R|320",
        "plant|pallet|fixture|circuit|temp_min [°C]|hold_time|need_date\n|||1|18|8|2027-01-01",
        "rule|reason|approved_by|expires|position\nV01|x|y|2027-01-01|*",
        "ITEM-NO.|QTY|set_pressure|precharge\n|||bar\nTotal||48|",
    ],
    words: &[
        "|", "\n", "[", "]", "(", ")", "mm", "bar", "psi", "furlong", "part_no", "Part No", "qty", "QTY.", "length",
        "total", "Item-no", "_", "-", ".", " ", "\u{a0}", "ß", "İ", "ﬁ", "-–", "kind", "order_no", "sum", "1", "°C",
    ],
};

const POLICY: Target = Target {
    name: "policy",
    check: policy,
    seeds: &[
        "units = \"us\"\ndate = \"2026-11-25\"\n[limits]\nfill = 0.9\ngauge_low = 0.25\n[bounds]\nrows = 1000\n",
        "[fluids.HFC-46]\nbulk_modulus = 2.9e9\nviscosity_40 = 46.0\nviscosity_100 = 9.8\nseals = [\"NBR\"]\n",
        "[rules]\nV01 = \"minor\"\nB05 = \"off\"\n[columns]\npart_no = [\"Item\", \"Material\"]\n[gas]\nmodel = \"ideal\"\n",
        "[metal]\nlinear_expansion = 1e-5\n[mail]\nhost = \"mail.example\"\nport = 587\nsecurity = \"starttls\"\n",
    ],
    words: &[
        "=",
        "[",
        "]",
        "\"",
        "'''",
        "\n",
        ".",
        ",",
        "{",
        "}",
        "#",
        "nan",
        "inf",
        "-1",
        "1e999",
        "0",
        "9223372036854775807",
        "true",
        "limits",
        "fill",
        "units",
        "\"metric\"",
        "fluids",
        "default",
        "rules",
        "V01",
        "\"off\"",
        "columns",
        "qty",
        "[[",
        "]]",
        "\\u0000",
        "2026-02-30",
        "ä",
    ],
};

/// Rows as the csv crate gives them: it leaves empty ones out.
fn reference(text: &str, delimiter: u8) -> Vec<Vec<String>> {
    let mut reader =
        csv::ReaderBuilder::new().has_headers(false).flexible(true).delimiter(delimiter).from_reader(text.as_bytes());
    reader.records().map(|record| record.unwrap().iter().map(str::to_owned).collect()).collect()
}

fn csv(bytes: &[u8]) {
    let text = fuzzing::text(bytes.to_vec());
    for delimiter in *b",;\t|" {
        let whole = fuzzing::whole_rows(text.as_bytes(), delimiter);
        assert!(whole <= text.len());
        let rows = fuzzing::rows(&text, delimiter);
        assert_eq!(rows, fuzzing::rows_one_by_one(&text, delimiter), "two ways to the rows");
        let Some(rows) = rows else { continue };
        let (head, rest) = text.split_at(whole);
        let parts = [head, rest].map(|part| fuzzing::rows(part, delimiter).expect("whole rows are whole"));
        assert_eq!(parts.concat(), rows, "rows taken in two parts");
        // A mark at the start is taken off by one and text for the other.
        if text.starts_with('\u{feff}') {
            continue;
        }
        let is_empty = |row: &Vec<String>| row.iter().all(String::is_empty) && row.len() == 1;
        let held = |rows: Vec<Vec<String>>| rows.into_iter().filter(|row| !is_empty(row)).collect::<Vec<_>>();
        assert_eq!(held(rows), held(reference(&text, delimiter)), "rows of the csv crate, {delimiter}");
    }
}

fn quantity(bytes: &[u8]) {
    let text = String::from_utf8_lossy(bytes);
    for says in Says::ALL {
        for unit in UNITS {
            if let Ok(Some(value)) = fuzzing::quantity(&text, unit, says) {
                assert!(value.is_finite());
                let padded = format!("\u{a0}{text} ");
                assert_eq!(fuzzing::quantity(&padded, unit, says), Ok(Some(value)), "blanks around");
            }
        }
        if let Ok(Some(celsius)) = fuzzing::quantity(&text, &DEG_C, says) {
            assert!(celsius >= 0.0, "below absolute zero");
        }
        let (share, _, _) = fuzzing::other_readings(&text, says);
        assert!(share.is_none_or(|share| (0.0..=1.0).contains(&share)));
        // A plain number with its unit in the cell reads the same, whatever the column's unit.
        if let Ok(Some(number)) = fuzzing::number(&text, says) {
            assert!(number.is_finite());
            let named = format!("{text} mm");
            let inch = UNITS.iter().find(|unit| unit.symbol == "in").unwrap();
            assert_eq!(fuzzing::quantity(&named, inch, says), fuzzing::quantity(&text, &MM, says), "its own unit");
        }
    }
    // Where points and commas change places, so do the styles.
    let swapped: String = text
        .chars()
        .map(|letter| match letter {
            '.' => ',',
            ',' => '.',
            other => other,
        })
        .collect();
    let read = (fuzzing::number(&text, Says::Point), fuzzing::number(&swapped, Says::Comma));
    if let (Ok(Some(one)), Ok(Some(other))) = read {
        assert_eq!(one.to_bits(), other.to_bits(), "the other style");
    }
}

fn header(bytes: &[u8]) {
    let text = String::from_utf8_lossy(bytes);
    let rows: Vec<Vec<String>> = text.split('\n').map(|row| row.split('|').map(str::to_owned).collect()).collect();
    let mut policy = Policy::at(chrono::NaiveDate::default());
    policy.aliases.insert("part_no".to_owned(), vec!["Item No".to_owned()]);
    for table in Table::ALL {
        let found = fuzzing::header(&rows, *table, &policy);
        match &found {
            Ok((at, known)) => {
                assert!(known.len() <= rows[*at].len());
                let mut names: Vec<&str> = known.iter().flatten().copied().collect();
                for column in table.columns().iter().filter(|column| column.required) {
                    assert!(names.contains(&column.name), "{} is required", column.name);
                }
                names.sort_unstable();
                assert!(names.windows(2).all(|pair| pair[0] != pair[1]), "a column twice");
            }
            Err(sentence) => one_sentence(sentence),
        }
        // Capitals make no other columns; units have theirs, so only without brackets.
        if !text.contains(['[', '(']) {
            let capitals: Vec<Vec<String>> =
                rows.iter().map(|row| row.iter().map(|cell| cell.to_ascii_uppercase()).collect()).collect();
            if let (Ok(one), Ok(other)) = (&found, fuzzing::header(&capitals, *table, &policy)) {
                assert_eq!(*one, other, "capitals");
            }
        }
    }
}

fn policy(bytes: &[u8]) {
    match fuzzing::policy(&String::from_utf8_lossy(bytes)) {
        Ok(policy) => {
            for limit in LIMITS {
                assert!((limit.least..=limit.most).contains(&(limit.get)(&policy.limits)), "{}", limit.key);
            }
            assert!(policy.fluids.contains_key("default"));
        }
        Err(error) => {
            assert!(!error.sentences.is_empty());
            error.sentences.iter().for_each(|sentence| one_sentence(sentence));
        }
    }
}

/// A fault is told in one line that ends as a sentence does.
fn one_sentence(sentence: &str) {
    assert!(sentence.ends_with('.'), "{sentence:?}");
    assert!(!sentence.contains('\n'), "{sentence:?}");
}
