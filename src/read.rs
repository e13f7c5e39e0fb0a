//! Files to tables.
pub mod error;
pub mod lists;
pub struct Reading{pub plant:crate::model::plant::Plant,pub lists:lists::Lists}
pub fn open(_p:&std::path::Path,_q:Option<&std::path::Path>,_d:chrono::NaiveDate)->Result<Reading,error::ReadError>{unimplemented!()}
pub fn policy(_q:Option<&std::path::Path>,_d:chrono::NaiveDate)->Result<crate::model::policy::Policy,error::ReadError>{unimplemented!()}
