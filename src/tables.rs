//! Components, lines, circuits, stations, policy, a circuit's figures and findings.

pub mod card_words;
pub mod circuit;
pub mod circuit_key;
pub mod column;
pub mod component;
pub mod counted;
pub mod escaped;
pub mod figures;
pub mod finding;
pub mod kinds;
pub mod line;
pub mod near_column;
pub mod order;
pub mod origin;
pub mod part_names;
pub mod plant;
pub mod policy;
pub mod purchase;
pub mod shown;
pub mod station;
pub mod station_part;
pub mod trade_unit;
pub mod usage;
pub mod value;
pub mod words;
