//! Every row of `tests/published/*.csv` against the formula that it names.
#![allow(clippy::unwrap_used)]

mod published {
    pub mod by_hand;
    pub mod formulas;
    pub mod row;
    pub mod uncertainty;
    pub mod zones;
}

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;

use clampbook::physics::formula::Formula;
use clampbook::physics::formulas::{FORMULAS, SURENESS_FORMULAS};
use published::formulas::evaluate;
use published::row::{Row, rows};

const KINDS: [&str; 5] = ["table", "worked example", "hand", "other library", "common practice"];

/// Rows of composed checks, which have no formula of their name.
const COMPOSED: [&str; 4] = ["force_pressure", "oil_let_out", "to_unit", "unclamp_time"];

#[test]
fn every_published_value_is_reproduced() {
    let mut wrong = Vec::new();
    for row in rows() {
        let found = evaluate(&row);
        let off = (found - row.expected).abs();
        if off.is_nan() || off > row.tolerance {
            wrong.push(format!(
                "{}: {}({}) is {found} {unit}, expected {} ± {} {unit} [{}]",
                row.place,
                row.function,
                row.arguments,
                row.expected,
                row.tolerance,
                row.source,
                unit = row.unit,
            ));
        }
    }
    assert!(wrong.is_empty(), "{} values differ:\n{}", wrong.len(), wrong.join("\n"));
}

#[test]
fn every_row_states_where_it_is_from() {
    let mut kinds: BTreeMap<&str, usize> = KINDS.iter().map(|kind| (*kind, 0)).collect();
    let all = rows();
    for row in &all {
        assert!(row.source.len() > 4, "{}: no source", row.place);
        let count = kinds.get_mut(row.kind.as_str());
        *count.unwrap_or_else(|| panic!("{}: kind '{}'", row.place, row.kind)) += 1;
        if row.kind == "common practice" {
            assert!(row.source.starts_with("common practice, no source"), "{}", row.place);
        }
        let scale = row.expected.abs().max(1e-300);
        assert!(row.tolerance / scale <= 0.1, "{}: a tolerance that proves nothing", row.place);
    }
    for (kind, least) in KINDS.iter().zip([15, 20, 30, 200, 5]) {
        assert!(kinds[kind] >= least, "{} rows of kind '{kind}', expected {least}", kinds[kind]);
    }
}

#[test]
fn every_formula_has_an_outside_row() {
    let tried: BTreeSet<String> = rows().into_iter().map(|row| row.function).collect();
    for formula in formulas() {
        assert!(tried.contains(row_name(formula)), "no outside row for the formula '{}'", formula.function);
    }
    for name in &tried {
        let known = formulas().any(|formula| row_name(formula) == name) || COMPOSED.contains(&name.as_str());
        assert!(known, "rows for '{name}', which is no formula");
    }
}

/// Files of functions that are no formulas of the trade: what units, numbers, limits and ranges are.
const NO_FORMULAS: [&str; 4] = ["validity.rs", "unit.rs", "quantity.rs", "limit.rs"];

#[test]
fn every_public_function_is_a_formula_that_is_listed() {
    let found = functions_and_entries();
    assert!(found.functions.len() > 50, "only {} functions found in the sources", found.functions.len());
    let mut wrong = Vec::new();
    for (file, path, doc) in &found.functions {
        let entry = formulas().find(|formula| formula.function == path);
        // A method without a value worked out by hand gives what stands in the circuit, or starts a calculation.
        let is_none = path.contains("::") && !doc.contains("By hand") || NO_FORMULAS.contains(&file.as_str());
        if entry.is_none() && !is_none {
            wrong.push(format!("{file}: '{path}' is not in physics::formulas"));
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn every_formula_stands_beside_its_function() {
    let found = functions_and_entries();
    let mut seen = BTreeSet::new();
    for formula in formulas() {
        let name = formula.function;
        assert!(seen.insert(name), "'{name}' is listed twice");
        let (file, entry) = &found.entries.get(name).unwrap_or_else(|| panic!("no entry says '{name}'"))[0];
        let function = found.functions.iter().find(|(of, path, _)| of == file && path == name);
        let (_, _, doc) = function.unwrap_or_else(|| panic!("{file}: no function '{name}'"));
        assert!(doc.contains(&format!("[`{entry}`]")), "{file}: the documentation of '{name}' does not name {entry}");
        for text in [formula.figure, formula.unit, formula.formula, formula.symbols, formula.validity, formula.source] {
            assert!(!text.is_empty() && !text.ends_with('.'), "{name}: '{text}'");
        }
        assert!(
            !doc.contains("Source:") && !doc.contains("Validity:"),
            "{file}: '{name}' says twice what its entry says"
        );
    }
    for (name, entries) in &found.entries {
        assert!(seen.contains(name.as_str()), "the entry of '{name}' is not in physics::formulas");
        assert_eq!(entries.len(), 1, "'{name}' has two entries");
    }
}

fn formulas() -> impl Iterator<Item = &'static Formula> {
    FORMULAS.iter().chain(SURENESS_FORMULAS).copied()
}

/// What the rows of a formula are called.
fn row_name(formula: &Formula) -> &'static str {
    let name = formula.function.rsplit("::").next().unwrap();
    // The sum of a demand is called by what it is.
    if name == "total" { "demand" } else { name }
}

/// What the sources of physics hold.
#[derive(Default)]
struct Sources {
    /// File, path and documentation of each public function.
    functions: Vec<(String, String, String)>,
    /// By the function that they say they are of: file and name of the `Formula` items.
    entries: BTreeMap<String, Vec<(String, String)>>,
}

fn functions_and_entries() -> Sources {
    let mut found = Sources::default();
    for (file, text) in sources() {
        for item in syn::parse_file(&text).unwrap().items {
            match item {
                syn::Item::Fn(function) => found.add(&file, "", &function.vis, &function.sig, &function.attrs),
                syn::Item::Impl(block) if block.trait_.is_none() => {
                    let syn::Type::Path(of) = &*block.self_ty else { continue };
                    let of = of.path.segments.last().unwrap().ident.to_string() + "::";
                    for item in &block.items {
                        if let syn::ImplItem::Fn(function) = item {
                            found.add(&file, &of, &function.vis, &function.sig, &function.attrs);
                        }
                    }
                }
                syn::Item::Static(item) => {
                    let syn::Expr::Struct(entry) = &*item.expr else { continue };
                    let is_function = |field: &&syn::FieldValue| matches!(&field.member, syn::Member::Named(name) if name == "function");
                    let Some(field) = entry.fields.iter().find(is_function) else { continue };
                    let name = literal(&field.expr);
                    found.entries.entry(name).or_default().push((file.clone(), item.ident.to_string()));
                }
                _ => {}
            }
        }
    }
    found
}

impl Sources {
    fn add(
        &mut self,
        file: &str,
        of: &str,
        vis: &syn::Visibility,
        signature: &syn::Signature,
        attributes: &[syn::Attribute],
    ) {
        if !matches!(vis, syn::Visibility::Public(_)) {
            return;
        }
        let lines = attributes.iter().filter_map(|attribute| match &attribute.meta {
            syn::Meta::NameValue(pair) if pair.path.is_ident("doc") => Some(literal(&pair.value)),
            _ => None,
        });
        let doc: Vec<String> = lines.collect();
        self.functions.push((file.to_owned(), format!("{of}{}", signature.ident), doc.join("\n")));
    }
}

fn literal(expression: &syn::Expr) -> String {
    match expression {
        syn::Expr::Lit(syn::ExprLit { lit: syn::Lit::Str(text), .. }) => text.value(),
        _ => String::new(),
    }
}

fn sources() -> Vec<(String, String)> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("src/physics");
    let mut found: Vec<_> = std::fs::read_dir(folder)
        .unwrap()
        .map(|entry| entry.unwrap())
        .filter(|entry| entry.path().extension().is_some_and(|ending| ending == "rs"))
        .map(|entry| {
            let name = entry.file_name().into_string().unwrap();
            (name, std::fs::read_to_string(entry.path()).unwrap())
        })
        .collect();
    found.sort();
    found
}

/// A circuit by hand: 210 bar, K = 1.6 GPa by the shop rule V p/K, lines already full. 6
/// single-acting clamps 25 mm × 12 mm; 2 pull clamps 40/22 mm × 20 mm; 4 m of tube 10 × 1.5 and
/// 1.5 m of 8 × 1.5 (steel 206 GPa, ν 0.3); manifold passages 60 cm³; 0.8 m of hose, bore 6.4 mm,
/// 1.0 cm³/m per 70 bar. Expected values: summed by hand from the same data.
#[test]
fn a_whole_circuit_by_hand() {
    use clampbook::physics::dilation::{hose_compliance, tube_compliance};
    use clampbook::physics::flow::clamp_time;
    use clampbook::physics::quantity::{Area, Expansion, Flow, Length, Pressure, Volume};
    use clampbook::physics::volume::{circle_area, conductor_volume, fill, swept_volume};

    let mm = Length::from_mm;
    let swept = |area: Area, stroke: f64| swept_volume(Some(area), Some(mm(stroke)), None, None).unwrap();
    let near = |found: f64, expected: f64| {
        assert!((found / expected - 1.0).abs() < 1e-6, "{found} instead of {expected}");
    };
    let (pressure, modulus) = (Pressure::from_bar(210.0), Pressure::from_gpa(1.6));

    let clamps =
        swept(circle_area(mm(25.0)), 12.0) * 6.0 + swept(circle_area(mm(40.0)) - circle_area(mm(22.0)), 20.0) * 2.0;
    near(clamps.cm3(), 70.40309);
    let tubes = conductor_volume(mm(7.0), Length::new(4.0)) + conductor_volume(mm(5.0), Length::new(1.5));
    near(tubes.cm3(), 183.3905);
    let rest = Volume::from_cm3(60.0) + conductor_volume(mm(6.4), Length::new(0.8));
    near(rest.cm3(), 85.73593);
    let compression = (clamps + tubes + rest) * (pressure / modulus);
    near(compression.cm3(), 4.456_325);

    let steel = Pressure::from_gpa(206.0);
    let tube = |bore, outside, length| tube_compliance(mm(bore), mm(outside), Length::new(length), steel, 0.3);
    let dilation = (tube(7.0, 10.0, 4.0) + tube(5.0, 8.0, 1.5)) * pressure;
    near(dilation.cm3(), 0.113_214_8);
    let hose = hose_compliance(Length::new(0.8), Expansion::from_cm3_per_m(1.0), Pressure::from_bar(70.0)) * pressure;
    near(hose.cm3(), 2.4);

    let delivered = clamps + compression + dilation + hose;
    near(delivered.cm3(), 77.37263);
    near(fill(delivered, Volume::from_cm3(120.0)).unwrap(), 0.644_771_9);
    near(clamp_time(1.0, delivered, delivered, Flow::from_l_per_min(0.5), None).si(), 9.284_716);
}

#[test]
fn a_wrong_row_is_noticed() {
    let mut row: Row = rows().into_iter().find(|row| row.function == "density").unwrap();
    row.expected *= 1.0001;
    assert!((evaluate(&row) - row.expected).abs() > row.tolerance);
}
