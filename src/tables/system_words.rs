//! What the system says of a file, in words for a sentence.

use std::io;

/// The words of an error, without its number and the library's names.
#[must_use]
pub fn system_words(error: &io::Error) -> String {
    use io::ErrorKind as Kind;
    let plain = match error.kind() {
        Kind::NotFound => "it does not exist",
        Kind::PermissionDenied => "there is no permission to",
        Kind::IsADirectory => "it is a folder",
        Kind::NotADirectory => "a part of its path is no folder",
        Kind::OutOfMemory => "there is not enough memory",
        Kind::StorageFull | Kind::QuotaExceeded => "the disk is full or its quota is used up",
        Kind::ReadOnlyFilesystem => "the disk is read-only",
        Kind::InvalidFilename => "its name is longer than the disk allows",
        Kind::CrossesDevices => "it would have to cross from one disk to another",
        _ => return format!("the system says '{}'", without_numbers(&error.to_string()).trim_end_matches('.')),
    };
    plain.to_owned()
}

/// A text without the numbers that the system gives its errors, and without the path that a library
/// adds.
#[must_use]
pub fn without_numbers(text: &str) -> String {
    let mut rest = text;
    let mut plain = String::new();
    while let Some(at) = rest.find(" (os error ") {
        let Some(end) = rest[at..].find(')') else { break };
        plain.push_str(&rest[..at]);
        rest = &rest[at + end + 1..];
    }
    plain.push_str(rest);
    match plain.split_once(" at path \"") {
        Some((before, _)) => before.to_owned(),
        None => plain,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_number_of_the_system_reaches_a_sentence() {
        for number in 1..140 {
            let words = system_words(&io::Error::from_raw_os_error(number));
            assert!(!words.contains("os error") && !words.ends_with('.'), "{number}: {words}");
        }
        assert_eq!(without_numbers("a: No such file (os error 2) at path \"/x\""), "a: No such file");
        assert_eq!(without_numbers("a (os error 2) and b (os error 13)."), "a and b.");
    }
}
