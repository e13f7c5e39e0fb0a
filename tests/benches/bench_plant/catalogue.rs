//! The invented component table of a bench plant.

use std::f64::consts::PI;
use std::io::{self, Write};

use super::Kind;

/// Every rating that is to hold, bar: far above all pressures of the plant.
const RATED: f64 = 350.0;

/// The figures of the table, in the units that columns have without one.
const FIGURES: [&str; 24] = [
    "rated_pressure",
    "min_pressure",
    "area_clamp",
    "area_unclamp",
    "stroke",
    "dead_volume",
    "capacity",
    "pressure_ratio",
    "return_loss",
    "set_pressure",
    "full_scale",
    "inner_diameter",
    "outer_diameter",
    "tensile_strength",
    "expansion",
    "gas_volume",
    "precharge",
    "flow",
    "leak",
    "return_pressure",
    "force_max",
    "support_capacity",
    "unit_price",
    "lead_time",
];

/// A row of the component table and what a piece of it does to a circuit.
pub struct Part {
    pub part_no: String,
    pub kind: &'static str,
    seal: &'static str,
    /// Kinds built in.
    includes: &'static str,
    figures: Vec<(&'static str, f64)>,
    /// Oil to fill it from rest, cm³.
    pub swept: f64,
    /// Oil that stands in it, cm³.
    pub dead: f64,
    /// Oil that stands in a metre of it, cm³.
    pub bore: f64,
    /// Oil that a metre of it takes per bar, cm³.
    pub compliance: f64,
    pub capacity: f64,
    pub gas_volume: f64,
    pub precharge: f64,
}

impl Part {
    fn new(part_no: String, kind: &'static str, figures: &[(&'static str, f64)]) -> Self {
        let of = |name| figures.iter().find(|(key, _)| *key == name).map_or(0.0, |(_, value)| *value);
        let (inner, outer) = (of("inner_diameter"), of("outer_diameter"));
        let compliance = if of("expansion") > 0.0 {
            of("expansion") / of("rated_pressure")
        } else if outer > 0.0 {
            // Thick wall, closed ends; 205 GPa and 0.3, the table's defaults.
            let walls = (3.0 * 0.4 * inner.powi(2) + 2.0 * 1.3 * outer.powi(2)) / (outer.powi(2) - inner.powi(2));
            PI / 4.0 * inner.powi(2) * walls / 2.05e6
        } else {
            0.0
        };
        let moves = matches!(kind, "clamp" | "work_support");
        Self {
            part_no,
            kind,
            seal: "",
            includes: "",
            swept: if moves { of("area_clamp") * of("stroke") / 1000.0 } else { 0.0 },
            dead: of("dead_volume"),
            bore: PI / 4.0 * inner.powi(2),
            compliance,
            capacity: of("capacity"),
            gas_volume: of("gas_volume"),
            precharge: of("precharge"),
            figures: figures.to_vec(),
        }
    }
}

/// A pressure that circuits of a station are charged to.
#[derive(Clone, Copy)]
pub struct Level {
    /// Charge pressure, bar.
    pub charge: f64,
    /// Setting and rating of the pump that drives a charging cylinder, bar.
    pub driving: (f64, f64),
    /// Setting and rating of the pump on a coupler, bar.
    pub coupled: (f64, f64),
    /// Rating between charge and potential pressure, and clear of `pressure_watch`, bar.
    pub between: f64,
}

/// With a ratio of 2.5 and a return loss of 5 bar: 82 × 2.5 − 5 = 200, potential 92 × 2.5 − 5 = 225.
pub const LEVELS: [Level; 2] = [
    Level { charge: 200.0, driving: (82.0, 92.0), coupled: (200.0, 225.0), between: 215.0 },
    Level { charge: 250.0, driving: (102.0, 112.0), coupled: (250.0, 275.0), between: 268.0 },
];

/// Parts by what they are for. `bad_` ones break the rule in their name, and what follows from it.
pub struct Catalogue {
    pub clamps: Vec<Part>,
    pub supports: Vec<Part>,
    pub cylinders: Vec<Part>,
    pub check_valves: Vec<Part>,
    pub isolation_valves: Vec<Part>,
    pub gauges: Vec<Part>,
    pub test_points: Vec<Part>,
    pub tubes: Vec<Part>,
    pub hoses: Vec<Part>,
    pub manifolds: Vec<Part>,
    pub fittings: Vec<Part>,
    pub couplings: Vec<Part>,
    pub filters: Vec<Part>,
    pub relief_valves: Vec<Part>,
    pub sequence_valves: Vec<Part>,
    /// By level, five sizes each.
    pub accumulators: [Vec<Part>; 2],
    /// Pumps of cylinder stations, of coupler stations, by level; the drive ram.
    pub sources: Vec<Part>,
    /// Longer than the drive ram, M08.
    pub bad_long_cylinders: Vec<Part>,
    pub bad_double_clamps: Vec<Part>,
    pub bad_seals: Vec<Part>,
    pub bad_fittings: Vec<Part>,
    pub bad_isolation_valves: Vec<Part>,
    pub bad_demanding_clamps: Vec<Part>,
    pub bad_tubes: Vec<Part>,
    pub bad_relief_valves: Vec<Part>,
    pub bad_sequence_valves: Vec<Part>,
    pub bad_gauges: Vec<Part>,
    /// By level: rated between charge and potential pressure, P13.
    pub bad_manifolds: Vec<Part>,
    /// By level: precharge too low, H04.
    pub bad_accumulators: Vec<Part>,
    pub bad_leaking_valves: Vec<Part>,
    /// 3,000 clamps, one of three rated for the highest pressure of the plant.
    pub many_clamps: Vec<Part>,
    /// Blocks with valves, filter and gauge built in.
    pub hubs: Vec<Part>,
    /// Charging cylinders for a circuit of any size.
    pub giant_cylinders: Vec<Part>,
}

/// A family of `count` parts of one kind, figures from the number.
fn family<const N: usize>(
    stem: &str,
    kind: &'static str,
    count: u32,
    figures: impl Fn(f64) -> [(&'static str, f64); N],
) -> Vec<Part> {
    let part = |number: u32| {
        let given = figures(f64::from(number));
        let priced = [("unit_price", 12.0 + f64::from(number * 37 % 211)), ("lead_time", f64::from(5 + number % 30))];
        Part::new(format!("{stem}-{number:04}"), kind, &[given.as_slice(), &priced].concat())
    };
    (1..=count).map(part).collect()
}

fn valves(stem: &str, kind: &'static str, count: u32, rated: f64, leak: f64) -> Vec<Part> {
    family(stem, kind, count, |n| [("rated_pressure", rated), ("leak", leak), ("dead_volume", 0.1 + n % 5.0 * 0.1)])
}

fn clamps(stem: &str, count: u32, unclamp: f64, lowest: f64) -> Vec<Part> {
    family(stem, "clamp", count, |n| {
        let area = 200.0 + n % 29.0 * 20.0;
        [
            ("rated_pressure", RATED),
            ("min_pressure", lowest),
            ("area_clamp", area),
            ("area_unclamp", unclamp * area),
            ("stroke", 6.0 + n % 11.0),
            ("leak", 0.0001),
            ("return_pressure", 4.0 + n % 3.0),
            ("force_max", area * 36.0),
        ]
    })
}

fn cylinders(stem: &str, stroke: f64) -> Vec<Part> {
    family(stem, "charging_cylinder", 64, |n| {
        let capacity = (8.0 * 1.12_f64.powf(n - 1.0) * 10.0).round() / 10.0;
        [
            ("rated_pressure", RATED),
            ("capacity", capacity),
            ("pressure_ratio", 2.5),
            ("return_loss", 5.0),
            ("stroke", stroke),
        ]
    })
}

/// Clamps of the kinds of plant that fail everywhere: one of three is rated high enough, or none.
fn many_clamps(kind: Kind) -> Vec<Part> {
    if kind.weak_clamps() == 0 {
        return Vec::new();
    }
    // No clamp of the table has the area of those that nothing is to serve for.
    let least = if kind == Kind::NoCure { 800.0 } else { 200.0 };
    let rated = |n: f64| if kind == Kind::WeakParts && n % 3.0 == 0.0 { RATED } else { 120.0 + n % 50.0 };
    family("CLAMPW", "clamp", 3000, |n| {
        [
            ("rated_pressure", rated(n)),
            ("min_pressure", 20.0),
            ("area_clamp", least + n % 29.0 * 20.0),
            ("stroke", 6.0 + n % 11.0),
            ("leak", 0.0001),
            ("return_pressure", 4.0 + n % 3.0),
        ]
    })
}

fn hubs() -> Vec<Part> {
    let mut all = plain("HUB", "manifold", 20, RATED);
    all.iter_mut().for_each(|part| part.includes = "check_valve isolation_valve gauge filter");
    all
}

fn giant_cylinders() -> Vec<Part> {
    family("CHARGX", "charging_cylinder", 20, |n| {
        let capacity = 10_000.0 * 2.0_f64.powf(n);
        [
            ("rated_pressure", RATED),
            ("capacity", capacity),
            ("pressure_ratio", 2.5),
            ("return_loss", 5.0),
            ("stroke", 60.0),
        ]
    })
}

fn gauges(stem: &str, count: u32, full_scale: f64) -> Vec<Part> {
    family(stem, "gauge", count, |n| {
        [("rated_pressure", full_scale), ("full_scale", full_scale), ("dead_volume", 0.1 + n * 0.01)]
    })
}

fn tubes(stem: &str, count: u32, wall: f64) -> Vec<Part> {
    family(stem, "tube", count, |n| {
        let inner = 4.0 + n % 5.0;
        [("inner_diameter", inner), ("outer_diameter", inner + 2.0 * wall), ("tensile_strength", 4500.0)]
    })
}

fn settings(stem: &str, kind: &'static str, set_pressure: f64) -> Vec<Part> {
    let mut all = family(stem, kind, 6, |_| [("rated_pressure", RATED), ("set_pressure", set_pressure), ("leak", 0.0)]);
    if kind == "sequence_valve" {
        // Oil behind it has to flow back.
        all.iter_mut().for_each(|part| part.includes = "check_valve");
    }
    all
}

fn accumulators(stem: &str, count: u32, precharge: f64) -> Vec<Part> {
    family(stem, "accumulator", count, |n| {
        [("rated_pressure", RATED), ("gas_volume", 10.0 * 2.0_f64.powf(n)), ("precharge", precharge)]
    })
}

fn plain(stem: &str, kind: &'static str, count: u32, rated: f64) -> Vec<Part> {
    family(stem, kind, count, |n| [("rated_pressure", rated), ("dead_volume", 0.05 * (n % 8.0))])
}

fn sources(kind: Kind) -> Vec<Part> {
    let capacity = if kind == Kind::OneCircuit { 1e12 } else { 50_000.0 };
    let pump = |stem: &str, rated: f64| {
        family(stem, "pump", 1, |_| [("rated_pressure", rated), ("capacity", capacity), ("flow", 4.0)])
    };
    let driving = LEVELS.iter().map(|level| pump(&format!("DRIVE{}", level.charge), level.driving.1));
    let coupled = LEVELS.iter().map(|level| pump(&format!("PUMP{}", level.charge), level.coupled.1));
    let ram = family("RAM", "drive_ram", 1, |_| [("rated_pressure", 250.0), ("stroke", 100.0)]);
    driving.chain(coupled).flatten().chain(ram).collect()
}

impl Catalogue {
    #[must_use]
    pub fn new(kind: Kind) -> Self {
        let mut bad_seals = valves("CHECKE", "check_valve", 3, RATED, 0.0);
        bad_seals.iter_mut().for_each(|part| part.seal = "EPDM");
        let by_level = |stem: &str, share: f64, count: u32| -> [Vec<Part>; 2] {
            LEVELS.map(|level| accumulators(&format!("{stem}{}", level.charge), count, (level.charge * share).round()))
        };
        let between =
            LEVELS.iter().flat_map(|level| plain(&format!("BLOCKM{}", level.charge), "manifold", 1, level.between));
        Self {
            clamps: clamps("CLAMP", 220, 0.0, 20.0),
            supports: family("STEADY", "work_support", 60, |n| {
                [
                    ("rated_pressure", RATED),
                    ("area_clamp", 100.0 + n % 13.0 * 20.0),
                    ("stroke", 5.0 + n % 7.0),
                    ("support_capacity", 9000.0 + 500.0 * n),
                    ("leak", 0.0001),
                ]
            }),
            cylinders: cylinders("CHARGE", 60.0),
            check_valves: valves("CHECK", "check_valve", 20, RATED, 0.0),
            isolation_valves: valves("VALVE", "isolation_valve", 20, RATED, 0.0002),
            gauges: gauges("GAUGE", 8, 400.0),
            test_points: plain("TEST", "test_point", 6, RATED),
            tubes: tubes("TUBE", 40, 2.0),
            hoses: family("HOSE", "hose", 20, |n| {
                [("rated_pressure", RATED), ("inner_diameter", 4.0 + n % 4.0), ("expansion", 0.5 + n % 4.0 * 0.25)]
            }),
            manifolds: plain("BLOCK", "manifold", 40, RATED),
            fittings: plain("FITTING", "fitting", 120, RATED),
            couplings: valves("COUPLE", "coupling", 8, RATED, 0.0),
            filters: plain("FILTER", "filter", 6, RATED),
            relief_valves: settings("RELIEF", "relief_valve", 300.0),
            sequence_valves: settings("STEP", "sequence_valve", 90.0),
            accumulators: by_level("GAS", 0.55, 8),
            sources: sources(kind),
            bad_long_cylinders: cylinders("CHARGL", 140.0),
            bad_double_clamps: clamps("CLAMPD", 6, 0.8, 20.0),
            bad_seals,
            bad_fittings: plain("FITLOW", "fitting", 6, 160.0),
            bad_isolation_valves: valves("VALVEL", "isolation_valve", 6, 150.0, 0.0002),
            bad_demanding_clamps: clamps("CLAMPM", 6, 0.0, 300.0),
            bad_tubes: tubes("TUBETH", 5, 0.3),
            bad_relief_valves: settings("RELIEL", "relief_valve", 190.0),
            bad_sequence_valves: settings("STEPHI", "sequence_valve", 240.0),
            bad_gauges: gauges("GAUGEX", 3, 1200.0),
            bad_manifolds: between.collect(),
            bad_accumulators: by_level("GASLOW", 0.25, 1).into_iter().flatten().collect(),
            bad_leaking_valves: valves("VALVEO", "isolation_valve", 3, RATED, 50.0),
            many_clamps: many_clamps(kind),
            hubs: if kind == Kind::ThreeLines { hubs() } else { Vec::new() },
            giant_cylinders: if kind == Kind::OneCircuit { giant_cylinders() } else { Vec::new() },
        }
    }

    fn families(&self) -> [&[Part]; 34] {
        [
            &self.clamps,
            &self.supports,
            &self.cylinders,
            &self.check_valves,
            &self.isolation_valves,
            &self.gauges,
            &self.test_points,
            &self.tubes,
            &self.hoses,
            &self.manifolds,
            &self.fittings,
            &self.couplings,
            &self.filters,
            &self.relief_valves,
            &self.sequence_valves,
            &self.accumulators[0],
            &self.accumulators[1],
            &self.sources,
            &self.bad_long_cylinders,
            &self.bad_double_clamps,
            &self.bad_seals,
            &self.bad_fittings,
            &self.bad_isolation_valves,
            &self.bad_demanding_clamps,
            &self.bad_tubes,
            &self.bad_relief_valves,
            &self.bad_sequence_valves,
            &self.bad_gauges,
            &self.bad_manifolds,
            &self.bad_accumulators,
            &self.bad_leaking_valves,
            &self.many_clamps,
            &self.hubs,
            &self.giant_cylinders,
        ]
    }

    /// Writes `components.csv`.
    ///
    /// # Errors
    /// Where the disk refuses.
    pub fn write(&self, out: &mut impl Write) -> io::Result<()> {
        writeln!(out, "part_no,kind,description,seal,includes,status,currency,supplier,{}", FIGURES.join(","))?;
        for part in self.families().into_iter().flatten() {
            let words = part.kind.replace('_', " ");
            write!(
                out,
                "{},{},{words} {},{},{},active,EUR,Skelby Supply",
                part.part_no, part.kind, part.part_no, part.seal, part.includes
            )?;
            for name in FIGURES {
                match part.figures.iter().find(|(key, _)| *key == name) {
                    // A clamp without an unclamp area is a single-acting one.
                    Some((_, value)) if name != "area_unclamp" || *value > 0.0 => write!(out, ",{value}")?,
                    _ => write!(out, ",")?,
                }
            }
            writeln!(out)?;
        }
        Ok(())
    }
}
