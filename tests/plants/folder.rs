//! Folders of files, copied and read whole.

#![allow(dead_code, clippy::unwrap_used, reason = "each test uses a part of it, and stops where it fails")]

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};

/// Copies a folder with all that is in it.
pub fn copy(from: &Path, to: &Path) {
    fs::create_dir_all(to).unwrap();
    for entry in fs::read_dir(from).unwrap().map(|entry| entry.unwrap().path()) {
        let target = to.join(entry.file_name().unwrap());
        if entry.is_dir() {
            copy(&entry, &target);
        } else {
            fs::copy(&entry, target).unwrap();
        }
    }
}

/// Every file below a folder, with its bytes.
pub fn files(folder: &Path) -> BTreeMap<PathBuf, Vec<u8>> {
    let mut found = BTreeMap::new();
    for entry in fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path()) {
        if entry.is_dir() {
            found.extend(files(&entry));
        } else {
            found.insert(entry.clone(), fs::read(&entry).unwrap());
        }
    }
    found
}
