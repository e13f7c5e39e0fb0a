//! One circuit of a bench plant: lines that conform, and where one is planted, a single fault.

use super::Kind;
use super::catalogue::{Catalogue, LEVELS, Level, Part};
use super::fault::Fault;
use super::numbers::Numbers;

/// How a part number is spoilt on its line.
#[derive(Clone, Copy, PartialEq, Eq)]
pub enum Spoilt {
    No,
    Unknown,
    Altered,
}

/// A line of a list; a quantity or length of 0 stands for what it should not be.
pub struct Line<'a> {
    pub part: &'a Part,
    pub qty: usize,
    pub length: Length,
    pub position: usize,
    pub spoilt: Spoilt,
}

/// The length cell of a line, mm.
#[derive(Clone, Copy, PartialEq, Eq)]
pub enum Length {
    Blank,
    Of(usize),
    Unreadable,
}

/// The circuit's row in `circuits`.
#[derive(Clone, Copy)]
pub struct Row {
    pub charge: f64,
    pub pressure_set: f64,
    pub pressure_min: f64,
    /// Coldest, hottest (°C), and minutes to hold.
    pub holding: Option<(f64, f64, f64)>,
    pub clamp_time_max: Option<f64>,
    pub unclamp_time_max: Option<f64>,
    pub is_coupled: bool,
}

/// What a circuit is to be.
pub struct Wish {
    /// Lines.
    pub size: usize,
    /// Of the station, into [`LEVELS`].
    pub level: usize,
    pub is_coupled: bool,
    pub fault: Option<Fault>,
    pub kind: Kind,
}

/// A circuit under way.
pub struct Circuit<'a> {
    pub lines: Vec<Line<'a>>,
    pub row: Row,
    pub fault: Option<Fault>,
    kind: Kind,
    holds: bool,
    level: usize,
    charging: Charging<'a>,
}

#[derive(Clone, Copy)]
struct Charging<'a> {
    cylinders: &'a [Part],
    at: usize,
    pieces: usize,
}

impl<'a> Circuit<'a> {
    /// A place for circuits: its lines are kept from one to the next.
    #[must_use]
    pub fn empty(catalogue: &'a Catalogue) -> Self {
        let charging = Charging { cylinders: &catalogue.cylinders, at: 0, pieces: 0 };
        let row = Row {
            charge: 0.0,
            pressure_set: 0.0,
            pressure_min: 0.0,
            holding: None,
            clamp_time_max: None,
            unclamp_time_max: None,
            is_coupled: false,
        };
        Self { lines: Vec::new(), row, fault: None, kind: Kind::Mixed, holds: false, level: 0, charging }
    }

    /// Makes it the circuit of `size` lines that follows from the numbers.
    pub fn fill(&mut self, catalogue: &'a Catalogue, numbers: &mut Numbers, wish: &Wish) {
        let Wish { size, level, is_coupled, fault, kind } = *wish;
        self.lines.clear();
        self.level = level;
        self.fault = fault;
        self.kind = kind;
        self.holds = match self.fault {
            Some(fault) => fault.is_about_holding(),
            None => match kind {
                Kind::Holding => true,
                // No accumulator is large enough, or there is no line for one.
                Kind::OneCircuit | Kind::ThreeLines => false,
                _ => numbers.below(6) == 0,
            },
        };
        self.row = self.row_of(&LEVELS[level], numbers, is_coupled);
        if kind == Kind::ThreeLines {
            self.add(numbers.of(&catalogue.hubs), 1);
            self.add(numbers.of(&catalogue.clamps), 1 + numbers.below(4));
            let next =
                if is_coupled { numbers.of(&catalogue.couplings) } else { self.cylinder_for(&catalogue.cylinders) };
            self.add(next, 1);
            return;
        }
        self.valves(catalogue, numbers);
        self.block(catalogue, numbers);
        self.movers(catalogue, numbers, size);
        self.conductors(catalogue, numbers, size);
        if self.holds {
            self.accumulator(catalogue);
        }
        if !is_coupled {
            self.cylinder(catalogue);
        }
        while self.lines.len() < size {
            let part = numbers.of(&catalogue.fittings);
            self.add(part, 1 + numbers.below(4));
        }
        self.spoil();
    }

    fn row_of(&self, level: &Level, numbers: &mut Numbers, is_coupled: bool) -> Row {
        let is = |fault| self.fault == Some(fault);
        let charge = level.charge;
        Row {
            charge,
            pressure_set: charge
                * if is(Fault::SetTooHigh) {
                    1.15
                } else if is(Fault::SetTooLow) {
                    0.9
                } else {
                    1.0
                },
            // Oil without an accumulator loses this within a few degrees, one with it does not.
            pressure_min: (charge * if is(Fault::Cools) { 0.99 } else { 0.7 }).round(),
            holding: self.holds.then_some((15.0, 28.0, 240.0)),
            clamp_time_max: if is(Fault::SlowClamping) { Some(0.01) } else { (numbers.below(3) == 0).then_some(300.0) },
            unclamp_time_max: if is(Fault::SlowUnclamping) {
                Some(0.0001)
            } else {
                (numbers.below(4) == 0).then_some(3000.0)
            },
            is_coupled,
        }
    }

    fn valves(&mut self, catalogue: &'a Catalogue, numbers: &mut Numbers) {
        let fault = self.fault;
        if fault != Some(Fault::NoCheckValve) {
            let choice = if fault == Some(Fault::WrongSeal) { &catalogue.bad_seals } else { &catalogue.check_valves };
            self.add(numbers.of(choice), 1);
        }
        if fault != Some(Fault::NoIsolationValve) {
            let choice = match fault {
                Some(Fault::WeakValve) => &catalogue.bad_isolation_valves,
                Some(Fault::Leaks) => &catalogue.bad_leaking_valves,
                _ => &catalogue.isolation_valves,
            };
            self.add(numbers.of(choice), 1);
        }
        if fault != Some(Fault::NoGauge) {
            let choice = if fault == Some(Fault::CoarseGauge) { &catalogue.bad_gauges } else { &catalogue.gauges };
            self.add(numbers.of(choice), 1);
            if fault.is_none() && numbers.below(3) == 0 {
                self.add(numbers.of(&catalogue.test_points), 1);
            }
        }
        if self.row.is_coupled {
            self.add(numbers.of(&catalogue.couplings), 1);
            self.add(numbers.of(&catalogue.filters), 1);
        }
    }

    /// Relief, sequence and manifold.
    fn block(&mut self, catalogue: &'a Catalogue, numbers: &mut Numbers) {
        let extra = match self.fault {
            Some(Fault::EarlyRelief) => Some(&catalogue.bad_relief_valves),
            Some(Fault::LateSequence) => Some(&catalogue.bad_sequence_valves),
            None if numbers.below(8) == 0 => Some(&catalogue.relief_valves),
            None if numbers.below(8) == 0 => Some(&catalogue.sequence_valves),
            _ => None,
        };
        if let Some(valves) = extra {
            self.add(numbers.of(valves), 1);
        }
        let block = match self.fault {
            Some(Fault::PotentialTooHigh) => &catalogue.bad_manifolds[self.level],
            Some(Fault::WeakFitting) => numbers.of(&catalogue.bad_fittings),
            _ => numbers.of(&catalogue.manifolds),
        };
        self.add(block, 1);
    }

    fn movers(&mut self, catalogue: &'a Catalogue, numbers: &mut Numbers, size: usize) {
        let weak = self.kind.weak_clamps();
        for _ in 0..weak {
            // Every third is rated high enough.
            let at = numbers.below(1000) * 3 + numbers.below(2);
            self.add(&catalogue.many_clamps[at], 1 + numbers.below(4));
        }
        for index in weak..(size / 4).max(1) {
            let choice = match self.fault {
                Some(Fault::DoubleActing) if index == 0 => &catalogue.bad_double_clamps,
                Some(Fault::DemandingClamp) if index == 0 => &catalogue.bad_demanding_clamps,
                _ => &catalogue.clamps,
            };
            self.add(numbers.of(choice), 1 + numbers.below(4));
        }
        for _ in 0..size / 8 {
            self.add(numbers.of(&catalogue.supports), 1 + numbers.below(3));
        }
    }

    fn conductors(&mut self, catalogue: &'a Catalogue, numbers: &mut Numbers, size: usize) {
        for index in 0..(size / 8).max(1) {
            let is_thin = index == 0 && self.fault == Some(Fault::ThinTube);
            let choice = if is_thin { &catalogue.bad_tubes } else { &catalogue.tubes };
            self.add(numbers.of(choice), 1 + numbers.below(3)).length = Length::Of(120 + 10 * numbers.below(140));
        }
        for _ in 0..size / 16 {
            self.add(numbers.of(&catalogue.hoses), 1).length = Length::Of(250 + 50 * numbers.below(20));
        }
    }

    /// A gas volume that gives and takes what the oil of this circuit loses and gains.
    fn accumulator(&mut self, catalogue: &'a Catalogue) {
        if self.fault == Some(Fault::LowPrecharge) {
            let part = &catalogue.bad_accumulators[self.level];
            let needed = 2.0 * self.oil() / part.gas_volume;
            let pieces = (1..1000_u16).find(|pieces| f64::from(*pieces) >= needed).unwrap_or(1000);
            self.add(part, usize::from(pieces));
            return;
        }
        let oil = self.oil();
        let sizes = &catalogue.accumulators[self.level];
        self.add(sizes.iter().find(|part| part.gas_volume > 0.8 * oil).unwrap_or(&sizes[sizes.len() - 1]), 1);
    }

    /// The smallest cylinder that is filled to 0.62 at most; for the fault one that is filled over 1.
    fn cylinder(&mut self, catalogue: &'a Catalogue) {
        let fault = self.fault;
        let cylinders = match fault {
            Some(Fault::LongCylinder) => &catalogue.bad_long_cylinders,
            _ if self.kind == Kind::OneCircuit => &catalogue.giant_cylinders,
            _ => &catalogue.cylinders,
        };
        let pieces = if fault == Some(Fault::TwoCylinders) { 2 } else { 1 };
        // The drive ram goes 100 mm of its 140 mm.
        let reach = if fault == Some(Fault::LongCylinder) { 100.0 / 140.0 } else { 1.0 };
        let fills: Vec<f64> = cylinders
            .iter()
            .map(|part| {
                #[allow(clippy::cast_precision_loss, reason = "one or two")]
                let capacity = part.capacity * pieces as f64 * reach;
                self.demand(capacity) / capacity
            })
            .collect();
        let at = if fault == Some(Fault::SmallCylinder) {
            fills.iter().rposition(|fill| *fill > 1.05).unwrap_or(0)
        } else {
            self.fitting(&fills)
        };
        self.charging = Charging { cylinders, at, pieces };
        if fault != Some(Fault::NoCylinder) {
            self.add(&self.charging.cylinders[self.charging.at], self.charging.pieces);
        }
    }

    fn fitting(&self, fills: &[f64]) -> usize {
        let most = if self.kind == Kind::LowFill { 0.22 } else { 0.62 };
        fills.iter().position(|fill| *fill < most).unwrap_or(fills.len() - 1)
    }

    fn cylinder_for(&self, cylinders: &'a [Part]) -> &'a Part {
        let fills: Vec<f64> = cylinders.iter().map(|part| self.demand(part.capacity) / part.capacity).collect();
        &cylinders[self.fitting(&fills)]
    }

    /// The rules that it breaks by its kind, or by what else follows from its fault.
    pub fn rules(&self) -> Vec<&'static str> {
        // A relief valve set to 190 bar closes at nine tenths of it.
        let is_let_out = self.fault == Some(Fault::EarlyRelief) && self.row.charge > 190.0;
        if is_let_out && self.row.pressure_min > 0.9 * 190.0 {
            return vec!["H02"];
        }
        let has_relief = self.lines.iter().any(|line| line.part.kind == "relief_valve");
        match self.kind {
            Kind::LowFill => vec!["V03"],
            Kind::LowStation => vec!["P03"],
            Kind::WeakParts | Kind::NoCure => {
                let mut rules = vec!["P05"; self.kind.weak_clamps()];
                // A relief valve that is set above the weakest rating, or none.
                rules.push(if has_relief { "P10" } else { "P13" });
                if self.holds {
                    rules.push("H01");
                }
                rules
            }
            _ => Vec::new(),
        }
    }

    /// Oil that stands in the circuit, cm³.
    fn oil(&self) -> f64 {
        self.sum(|line| line.part.dead + line.part.swept + line.part.bore * line.metres())
    }

    fn sum(&self, of: impl Fn(&Line) -> f64) -> f64 {
        #[allow(clippy::cast_precision_loss, reason = "a handful of pieces")]
        self.lines.iter().map(|line| line.qty as f64 * of(line)).sum()
    }

    /// The oil that the circuit takes from rest to charge pressure through a cylinder of this
    /// capacity, cm³: swept, compression and free air, dilation, and accumulators as of an ideal
    /// gas, which takes up to a fifth more than nitrogen does.
    fn demand(&self, capacity: f64) -> f64 {
        let charge = self.row.charge;
        let swept = self.sum(|line| line.part.swept);
        let standing = self.oil() - swept + capacity;
        let compressed = standing * -(-charge / 15_000.0).exp_m1();
        let air = 0.005 * standing * (1.0 - 1.01325 / (charge + 1.01325));
        let dilation = charge * self.sum(|line| line.part.compliance * line.metres());
        let gas = self.sum(|line| line.part.gas_volume * (1.0 - (line.part.precharge + 1.01) / (charge + 1.01)));
        swept + compressed + air + dilation + gas
    }

    fn add(&mut self, part: &'a Part, qty: usize) -> &mut Line<'a> {
        let position = 10 * (self.lines.len() + 1);
        self.lines.push_mut(Line { part, qty, length: Length::Blank, position, spoilt: Spoilt::No })
    }

    /// Faults of a cell, once all lines stand.
    fn spoil(&mut self) {
        let first = |kind: &str| self.lines.iter().position(|line| line.part.kind == kind).unwrap_or(0);
        let (clamp, tube) = (first("clamp"), first("tube"));
        match self.fault {
            Some(Fault::UnknownPart) => self.lines[clamp].spoilt = Spoilt::Unknown,
            Some(Fault::AlteredPart) => self.lines[clamp].spoilt = Spoilt::Altered,
            Some(Fault::NoQuantity) => self.lines[clamp].qty = 0,
            Some(Fault::SamePosition) => self.lines[clamp + 1].position = self.lines[clamp].position,
            Some(Fault::UnreadableLength) => self.lines[tube].length = Length::Unreadable,
            Some(Fault::NoLength) => self.lines[tube].length = Length::Blank,
            _ => {}
        }
    }
}

impl Line<'_> {
    fn metres(&self) -> f64 {
        match self.length {
            #[allow(clippy::cast_precision_loss, reason = "millimetres of a tube")]
            Length::Of(millimetres) => millimetres as f64 / 1000.0,
            _ => 0.0,
        }
    }
}
