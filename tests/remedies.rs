//! Remedies do what they say: each by itself, the split with the fewest groups, the changed copy.

#![allow(clippy::unwrap_used, clippy::expect_used, reason = "a test stops where it fails")]

#[path = "remedies/changed_copy.rs"]
mod changed_copy;
#[path = "remedies/one_by_one.rs"]
mod one_by_one;
#[path = "remedies/plant.rs"]
#[allow(dead_code, reason = "the random plants of another test")]
mod plant;
#[path = "remedies/split.rs"]
mod split;
