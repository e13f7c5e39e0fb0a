//! Remedies do what they say: each by itself, the split with the fewest groups, the changed copy.

#![allow(clippy::unwrap_used, clippy::expect_used, reason = "a test stops where it fails")]

#[path = "remedies/alike.rs"]
mod alike;
#[path = "remedies/by_hand.rs"]
mod by_hand;
#[path = "remedies/changed_copy.rs"]
mod changed_copy;
#[path = "plants/edited.rs"]
mod edited;
#[path = "random_plants/making.rs"]
mod making;
#[path = "remedies/nothing_missed.rs"]
mod nothing_missed;
#[path = "remedies/one_by_one.rs"]
mod one_by_one;
#[path = "remedies/rule_alone.rs"]
mod rule_alone;
#[path = "plants/run.rs"]
mod run;
#[path = "plants/small.rs"]
mod small;
#[path = "remedies/split.rs"]
mod split;
#[path = "random_plants/tables.rs"]
#[allow(dead_code, reason = "what only the test of random plants looks at")]
mod tables;
#[path = "remedies/together.rs"]
mod together;
#[path = "remedies/touched_alone.rs"]
mod touched_alone;
