//! Parts of the reader fed with inputs that are wrong by chance. Compiled into the tests of the
//! library, since the parts are no part of its interface.

mod chance;
mod doors;
mod mutation;
mod targets;

#[test]
fn nothing_is_found_in_a_short_run() {
    for target in targets::TARGETS {
        // A build without optimisation takes ten times as long.
        let runs = if cfg!(debug_assertions) { 2_000 } else { 20_000 };
        if let Err(found) = mutation::run(target, runs, 7) {
            panic!("{found}");
        }
    }
}

/// A long run, its length and seed from `FUZZ_RUNS` and `FUZZ_SEED`.
#[test]
#[ignore = "it takes as long as it is told to"]
fn nothing_is_found_in_a_long_run() {
    let number = |name: &str, default: u64| std::env::var(name).map_or(default, |text| text.parse().unwrap());
    let (runs, seed) = (number("FUZZ_RUNS", 1_000_000), number("FUZZ_SEED", 1));
    for target in targets::TARGETS {
        match mutation::run(target, runs, seed) {
            Ok(time) => eprintln!("{}: {runs} runs with seed {seed}, {:.1} s", target.name, time.as_secs_f64()),
            Err(found) => panic!("{found}"),
        }
    }
}

#[test]
fn the_loop_sees_what_does_not_hold() {
    static BROKEN: targets::Target = targets::Target {
        name: "broken",
        check: |bytes| assert!(!bytes.contains(&b'z'), "a z"),
        seeds: &["abc"],
        words: &["z"],
    };
    let found = mutation::run(&BROKEN, 1000, 1).unwrap_err();
    assert!(found.contains("broken, seed 1, run ") && found.contains("a z"), "{found}");
}

/// The rows that the package itself gives for a file, from its `json` folder.
#[test]
fn rows_of_csv_spectrum_are_those_that_it_states() {
    let rows = |name: &str| {
        let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/foreign/csv-spectrum");
        let bytes = std::fs::read(format!("{folder}/{name}.csv")).unwrap();
        doors::rows(&doors::text(bytes), b',').unwrap()
    };
    assert_eq!(
        rows("comma_in_quotes"),
        [vec!["first", "last", "address", "city", "zip"], vec!["John", "Doe", "120 any st.", "Anytown, WW", "08123"]]
    );
    assert_eq!(rows("escaped_quotes"), [["a", "b"], ["1", "ha \"ha\" ha"], ["3", "4"]]);
    assert_eq!(rows("json"), [["key", "val"], ["1", "{\"type\": \"Point\", \"coordinates\": [102.0, 0.5]}"]]);
    assert_eq!(rows("newlines"), [["a", "b", "c"], ["1", "2", "3"], ["Once upon \na time", "5", "6"], ["7", "8", "9"]]);
    assert_eq!(
        rows("newlines_crlf"),
        [["a", "b", "c"], ["1", "2", "3"], ["Once upon \r\na time", "5", "6"], ["7", "8", "9"]]
    );
    assert_eq!(rows("quotes_and_newlines"), [["a", "b"], ["1", "ha \n\"ha\" \nha"], ["3", "4"]]);
    assert_eq!(rows("empty"), [["a", "b", "c"], ["1", "", ""], ["2", "3", "4"]]);
    assert_eq!(rows("empty_crlf"), rows("empty"));
    assert_eq!(rows("utf8"), [["a", "b", "c"], ["1", "2", "3"], ["4", "5", "ʤ"]]);
    assert_eq!(rows("simple_crlf"), rows("simple"));
}
