//! The commands that only print: completions, the manual page, rules about a word, columns.

#![allow(clippy::unwrap_used)]

use std::io::Write;
use std::process::{Command, Stdio};

fn printed(arguments: &[&str]) -> (i32, String) {
    let output = Command::new(env!("CARGO_BIN_EXE_clampbook")).args(arguments).output().unwrap();
    (output.status.code().unwrap(), String::from_utf8(output.stdout).unwrap())
}

/// Whether a program takes a text on its standard input without a complaint; `None` where it isn't installed.
fn takes(program: &str, arguments: &[&str], text: &str) -> Option<bool> {
    let mut command = Command::new(program);
    command.args(arguments).stdin(Stdio::piped()).stdout(Stdio::null()).stderr(Stdio::piped());
    let mut child = command.spawn().ok()?;
    child.stdin.take()?.write_all(text.as_bytes()).ok()?;
    let output = child.wait_with_output().ok()?;
    Some(output.status.success() && output.stderr.is_empty())
}

const COMMANDS: [&str; 10] =
    ["check", "explain", "find", "mail", "headers", "merge", "rules", "columns", "starter", "manual"];

#[test]
fn every_shell_gets_completions_of_every_command() {
    for shell in ["bash", "zsh", "fish", "powershell", "elvish"] {
        let (status, text) = printed(&["completions", shell]);
        assert_eq!(status, 0, "{shell}");
        for command in COMMANDS {
            assert!(text.contains(command), "{shell}: {command}");
        }
        assert!(text.contains("apply-remedies"), "{shell}");
    }
    // The shell itself reads the script, where it is there.
    assert_ne!(takes("bash", &["-n"], &printed(&["completions", "bash"]).1), Some(false));
}

#[test]
fn the_manual_page_has_every_command_and_option() {
    let (status, page) = printed(&["manual"]);
    assert_eq!(status, 0);
    for command in COMMANDS {
        assert!(page.contains(&format!(".SH \"CLAMPBOOK {}\"", command.to_uppercase())), "{command}");
    }
    for option in ["out", "data", "previous", "history", "cards", "apply", "shard", "threads", "eml", "write"] {
        assert!(page.replace("\\-", "-").contains(&format!("--{option}")), "{option}");
    }
}

#[test]
fn rules_are_found_by_code_and_by_word() {
    assert!(printed(&["rules", "p05"]).1.starts_with("P05 part-rated-below-charge"));
    let (status, text) = printed(&["rules", "accumulator"]);
    assert_eq!(status, 0);
    assert!(text.contains("H04") && text.ends_with("shows one in full.\n"), "{text}");
    assert_eq!(printed(&["rules", "no such thing"]), (2, String::new()));
}

#[test]
fn columns_are_told_for_one_table_or_all() {
    let (status, lists) = printed(&["columns", "lists"]);
    assert_eq!(status, 0);
    assert!(lists.starts_with("lists\n") && lists.contains("  qty: number; required.\n"), "{lists}");
    let all = printed(&["columns"]).1;
    assert!(all.contains(&lists) && all.contains("\nwaivers\n"), "{all}");
    assert_eq!(printed(&["columns", "clamps"]), (2, String::new()));
}
