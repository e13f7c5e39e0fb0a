//! stub
use crate::model::finding::Finding; use crate::model::plant::Plant; use crate::rules::Rule;
pub fn reason(_f:&Finding,_r:&Rule,_p:&Plant)->String{String::new()}
