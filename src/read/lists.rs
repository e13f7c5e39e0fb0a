//! stub
use crate::model::circuit::CircuitKey; use crate::model::line::Line; use crate::model::origin::*; use crate::model::plant::Plant; use super::error::ReadError;
pub struct ListedCircuit { pub key: CircuitKey }
pub struct Lists; pub struct Parsed { pub lines: Vec<Line>, pub notes: Vec<InputNote> }
impl Lists { pub fn circuits(&self)->&[ListedCircuit]{&[]} pub fn lines(&self,_i:usize,_p:&Plant)->Result<Parsed,ReadError>{unimplemented!()} pub fn stray_rows(&self,_i:usize)->Vec<Origin>{vec![]}
pub fn input_paths(&self)->Vec<std::path::PathBuf>{vec![]} pub fn lines_read(&self)->u64{0} pub fn stray_count(&self)->u64{0}
pub fn listed_rows(&self,_p:&Plant,_a:&[crate::assess::audit::CircuitAudit])->Result<(Vec<crate::assess::audit::ListedRow>,u64),ReadError>{unimplemented!()} }
