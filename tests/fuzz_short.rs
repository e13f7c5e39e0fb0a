//! A short run of the mutation loop over the reader, and the inputs that it once found.

#![allow(clippy::unwrap_used, clippy::expect_used)]

#[path = "fuzz/mutation.rs"]
mod mutation;
#[path = "fuzz/targets.rs"]
mod targets;

#[test]
fn nothing_is_found_in_a_short_run() {
    for target in targets::TARGETS {
        if let Err(found) = mutation::run(target, 20_000, 7) {
            panic!("{found}");
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
