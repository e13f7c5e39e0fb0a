//! Changes that put findings right, proved by the audit itself before they are offered.

pub mod alike;
pub mod answer;
pub mod bearing;
pub mod candidates;
pub mod change;
pub mod choice;
pub mod edit;
pub mod edits;
pub mod fit;
pub mod hopeless;
pub mod left_standing;
pub mod nearest;
pub mod need;
pub mod order;
pub mod proof;
pub mod remedy_row;
pub mod row_of;
pub mod search;
pub mod split;
pub mod station;
pub mod stock;
pub mod succession;
pub mod together;
pub mod touched;
pub mod trial;
pub mod words;
