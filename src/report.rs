//! Workbook, data files, mail.

pub mod applied;
pub mod buying_words;
pub mod calendar;
pub mod cards;
pub mod cautions;
pub mod column_pages;
pub mod data_rows;
pub mod explanation;
pub mod history;
pub mod mail;
pub mod parquet;
pub mod plain_text;
pub mod policy_hash;
pub mod policy_keys;
pub mod remedy_rows;
pub mod rule_pages;
pub mod run_folder;
pub mod run_json;
pub mod shard;
pub mod starter;
pub mod summary;
pub mod whole_file;
pub mod workbook;
