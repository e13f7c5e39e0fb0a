//! One circuit: its lines joined with their parts, its figures, its findings, its verdict.

mod affected;
pub mod audited;
mod datum;
mod doubt;
pub mod findings;
pub mod fixture;
pub mod group;
pub mod line_oil;
pub mod links;
mod near_oil;
pub mod off_circuit;
pub mod pallet_parts;
mod pressure_chain;
pub mod release;
mod replica;
mod rivals;
pub mod roster;
#[cfg(test)]
mod sample_sets;
pub mod side;
pub mod standing;
pub mod sureness;
mod times;
pub mod trapped;
pub mod waiving;
