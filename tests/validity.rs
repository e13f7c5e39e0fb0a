//! Figures outside a formula's validity are marked in the report, and on which circuit.

#![allow(clippy::unwrap_used, reason = "a test stops where it fails")]

use std::fs;
use std::process::Command;

#[test]
fn an_oil_thinner_than_the_viscosity_equation_knows_is_marked() {
    let folder = tempfile::tempdir().unwrap();
    let (plant, data) = (folder.path().join("plant"), folder.path().join("data"));
    let program = env!("CARGO_BIN_EXE_clampbook");
    assert!(Command::new(program).arg("starter").arg(&plant).output().unwrap().status.success());
    let notes = |policy: &str| {
        fs::write(plant.join("policy.toml"), policy).unwrap();
        let run = Command::new(program).arg("check").arg(&plant).arg("--data").arg(&data).output().unwrap();
        assert!(run.status.code().is_some_and(|code| code < 2), "{run:?}");
        fs::read_to_string(data.join("input.csv")).unwrap()
    };
    assert!(!notes("").contains("validity"));
    // ASTM D341 is meant for 2 mm²/s and more; 1.2 mm²/s at 40 °C is less at the starter's temperatures too.
    let thin = notes("[fluids.default]\nviscosity_40 = 1.2\nviscosity_100 = 0.6\n");
    assert!(thin.contains("outside a formula's validity") && thin.contains("ASTM D341"), "{thin}");
}
