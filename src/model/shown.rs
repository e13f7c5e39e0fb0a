//! stub
use super::value::Value; use crate::physics::unit::UnitSystem;
pub fn shown(_v:&Value,_u:UnitSystem)->String{String::new()}
