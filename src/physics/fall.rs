//! How the pressure of trapped zones falls with time.

use std::cell::{Cell, OnceCell, RefCell};

use crate::physics::formula::Formula;
use crate::physics::leak::GONE;
use crate::physics::nitrogen::GasState;
use crate::physics::quantity::{Compliance, Conductance, Pressure, Time, Volume};
use crate::physics::zone::{HIGHEST, OilPoint, ZoneState, root};

/// Width of a panel of integration in ln p: the air's compressibility, the most sharply bent
/// part, has its nearest singularity π away from the real axis, so that five points leave less
/// than 1e-11 of a panel.
const PANEL: f64 = 0.5;

/// Width up to which three points leave as little as five do on a whole panel.
const NARROW: f64 = 0.06;

/// Gauss–Legendre, five points and three, from the top down: abscissas and weights. Abramowitz
/// and Stegun, Handbook of Mathematical Functions, table 25.4.
const FIVE: [(f64, f64); 5] = [
    (0.906_179_845_938_664, 0.236_926_885_056_189_1),
    (0.538_469_310_105_683_1, 0.478_628_670_499_366_5),
    (0.0, 0.568_888_888_888_888_9),
    (-0.538_469_310_105_683_1, 0.478_628_670_499_366_5),
    (-0.906_179_845_938_664, 0.236_926_885_056_189_1),
];
const THREE: [(f64, f64); 3] = [
    (0.774_596_669_241_483_4, 0.555_555_555_555_555_6),
    (0.0, 0.888_888_888_888_889),
    (-0.774_596_669_241_483_4, 0.555_555_555_555_555_6),
];

/// Both zones of a circuit at one temperature.
#[derive(Clone, Debug)]
pub struct CircuitState {
    pub full: ZoneState,
    /// Behind a reducing valve.
    pub reduced: Option<ZoneState>,
    /// s
    setting: Pressure,
    /// M_reduced(s, T)
    at_setting: f64,
    /// Where a search starts.
    charge: Pressure,
}

pub static REDUCED_PRESSURE: Formula = Formula {
    function: "CircuitState::at_clamps",
    figure: "Pressure behind a reducing valve",
    unit: "Pa",
    formula: "p1 = q(p_full), q(p) = min(p, s)",
    symbols: "s lowest setting of the side's reducing valves",
    validity: "falling pressure; a reducing valve lets oil through while the zone behind it is below its setting, and nothing back",
    source: "balance of a reducing valve's spool, ISO 1219-1; ISO 5598, pressure-reducing valve",
};

pub static OIL_AT: Formula = Formula {
    function: "CircuitState::oil_at",
    figure: "Trapped oil of a circuit",
    unit: "m³",
    formula: "M(p,T) = M_full(p,T) + M_reduced(q(p),T)",
    symbols: "q as for a reducing valve",
    validity: "as for the trapped oil of a zone",
    source: "volume balance of the parts above: the zones add up",
};

impl CircuitState {
    pub(super) fn new(full: ZoneState, reduced: Option<(ZoneState, Pressure)>, charge: Pressure) -> Self {
        let charge = charge.max(Pressure::ZERO);
        match reduced {
            None => Self { full, reduced: None, setting: Pressure::new(f64::INFINITY), at_setting: 0.0, charge },
            Some((reduced, setting)) => {
                let at_setting = reduced.point(setting, None).referred;
                Self { full, reduced: Some(reduced), setting, at_setting, charge }
            }
        }
    }

    /// What the clamps see of one state of pressure of both zones.
    ///
    /// Formula, validity and source: [`REDUCED_PRESSURE`].
    ///
    /// * `pressure` – p
    ///
    /// By hand: behind a valve of 120 bar 300 bar are 120, and 90 bar are 90.
    #[must_use]
    pub fn at_clamps(&self, pressure: Pressure) -> Pressure {
        pressure.min(self.setting)
    }

    /// M of both zones in one state of pressure.
    ///
    /// Formula, validity and source: [`OIL_AT`].
    ///
    /// * `pressure` – p, gauge, 0 or more
    ///
    /// By hand: as for [`ZoneState::referred_oil`], 500 + 494.04 cm³.
    #[must_use]
    pub fn oil_at(&self, pressure: Pressure) -> Volume {
        Volume::new(self.point(pressure, None).referred)
    }

    /// ∂M/∂p of one state of pressure.
    #[must_use]
    pub fn oil_per_pressure(&self, pressure: Pressure) -> Compliance {
        Compliance::new(self.point(pressure, None).slope)
    }

    /// State p of an amount of oil: where both zones hold just that much; 0 where even without
    /// pressure they would hold more and the clamps are slack.
    #[must_use]
    pub fn state_of(&self, oil: Volume) -> Pressure {
        self.state_from(oil, None)
    }

    /// [`CircuitState::state_of`] with the pressure where the search starts; without one at that of charging.
    pub(super) fn state_from(&self, oil: Volume, start: Option<Pressure>) -> Pressure {
        let target = oil.si();
        let start = start.unwrap_or(self.charge);
        let Some(reduced) = &self.reduced else {
            return self.full.pressure_from(oil, start);
        };
        let setting = self.setting.si();
        let above = target - self.at_setting;
        if above >= self.full.point(self.setting, None).referred {
            let start = start.max(self.setting).si();
            return Pressure::new(root(above, start, setting, f64::INFINITY, |p, close| self.full.point(p, close)));
        }
        let start = start.min(self.setting).si();
        Pressure::new(root(target, start, 0.0, setting, |p, close| both(&self.full, reduced, p, close)))
    }

    fn point(&self, pressure: Pressure, close: Option<GasState>) -> OilPoint {
        match &self.reduced {
            Some(reduced) if pressure < self.setting => both(&self.full, reduced, pressure, close),
            _ => {
                let point = self.full.point(pressure, close);
                OilPoint { referred: point.referred + self.at_setting, ..point }
            }
        }
    }

    /// Pressures where the fall bends.
    fn kinks(&self) -> Vec<Pressure> {
        let mut kinks: Vec<Pressure> = self.full.empty_pressures().collect();
        if let Some(reduced) = &self.reduced {
            kinks.extend(reduced.empty_pressures().filter(|empty| *empty < self.setting));
            kinks.push(self.setting);
        }
        kinks
    }
}

/// Two zones at one pressure; the gas of both has one state.
fn both(full: &ZoneState, reduced: &ZoneState, pressure: Pressure, close: Option<GasState>) -> OilPoint {
    let one = full.point(pressure, close);
    let other = reduced.point(pressure, one.gas);
    OilPoint { referred: one.referred + other.referred, slope: one.slope + other.slope, gas: other.gas }
}

/// What leaks: a zone by itself, or the zones of a circuit in one state of pressure.
#[derive(Clone, Copy, Debug)]
pub(super) enum Leaking<'a> {
    Zone(&'a ZoneState, Conductance),
    /// With G of `full` and of `reduced`.
    Circuit(&'a CircuitState, Conductance, Conductance),
}

impl Leaking<'_> {
    fn point(&self, pressure: Pressure, close: Option<GasState>) -> OilPoint {
        match self {
            Self::Zone(zone, _) => zone.point(pressure, close),
            Self::Circuit(circuit, ..) => circuit.point(pressure, close),
        }
    }

    /// Q/p at a pressure.
    fn conductance(&self, pressure: Pressure) -> f64 {
        match self {
            Self::Zone(_, conductance) => conductance.si(),
            Self::Circuit(circuit, full, reduced) => full.si() + reduced.si() * (circuit.setting / pressure).min(1.0),
        }
    }

    fn kinks(&self) -> Vec<Pressure> {
        match self {
            Self::Zone(zone, _) => zone.empty_pressures().collect(),
            Self::Circuit(circuit, ..) => circuit.kinks(),
        }
    }

    /// The pressure before a time at whose end there is `end`; nothing where no formula reaches
    /// it, or nothing leaks.
    pub(super) fn start_for(&self, end: Pressure, time: Time) -> Option<Pressure> {
        let end = end.max(GONE);
        if self.conductance(end) <= 0.0 {
            return None;
        }
        let mut close = None;
        let mut missing = time.si();
        if missing <= 0.0 {
            return Some(end);
        }
        let bounds = bounds(&self.kinks(), end, HIGHEST);
        for pair in bounds.windows(2) {
            match self.within(Panel { from: pair[0], to: pair[1] }, missing, &mut close) {
                Ok(pressure) => return Some(pressure),
                Err(passed) => missing -= passed,
            }
        }
        None
    }

    /// Seconds for each unit of ln p. Where pressure exceeds K the formulas lose their sense, and
    /// M its order: less than 0 counts as 0.
    fn seconds_per_log(&self, log: f64, close: &mut Option<GasState>) -> f64 {
        let pressure = Pressure::new(log.exp());
        let point = self.point(pressure, *close);
        *close = point.gas;
        point.slope.max(0.0) / self.conductance(pressure)
    }

    /// Seconds that a panel takes; its points follow each other, so that densities do.
    fn seconds(&self, panel: Panel, close: &mut Option<GasState>) -> f64 {
        let half = (panel.from - panel.to) / 2.0;
        let middle = f64::midpoint(panel.from, panel.to);
        let nodes = if 2.0 * half.abs() <= NARROW { &THREE[..] } else { &FIVE[..] };
        let at = |&(node, weight): &(f64, f64)| weight * self.seconds_per_log(middle + half * node, close);
        half.abs() * nodes.iter().map(at).sum::<f64>()
    }

    /// Where in a panel so many seconds have passed since its `from`; all that it takes where that
    /// is less.
    ///
    /// Newton's method, kept inside a bracket that shrinks; each step adds the integral over
    /// itself alone.
    fn within(&self, panel: Panel, wanted: f64, close: &mut Option<GasState>) -> Result<Pressure, f64> {
        let way = (panel.to - panel.from).signum();
        let (mut near, mut far) = (panel.from, panel.to);
        let (mut log, mut passed) = (panel.from, 0.0);
        let mut is_bracketed = false;
        for _ in 0..100 {
            let missing = wanted - passed;
            if missing > 0.0 && (panel.to - log) * way <= 0.0 {
                return Err(passed);
            }
            if missing > 0.0 {
                near = log;
            } else {
                (far, is_bracketed) = (log, true);
            }
            let newton = log + way * missing / self.seconds_per_log(log, close);
            // What is left after a step is its square.
            if (newton - log).abs() <= 1e-9 {
                log = newton.clamp(panel.from.min(panel.to), panel.from.max(panel.to));
                break;
            }
            let next = if (newton - near) * way > 0.0 && (far - newton) * way > 0.0 {
                newton
            } else if missing > 0.0 && !is_bracketed {
                panel.to
            } else {
                f64::midpoint(near, far)
            };
            let step = self.seconds(Panel { from: log, to: next }, close);
            passed += if (next - log) * way < 0.0 { -step } else { step };
            log = next;
        }
        Ok(Pressure::new(log.exp()))
    }
}

/// A stretch of ln p between kinks, in the direction in which it is gone through.
#[derive(Clone, Copy, Debug)]
struct Panel {
    from: f64,
    to: f64,
}

/// Logarithms of the bounds of all panels from one pressure to another, split at the kinks.
fn bounds(kinks: &[Pressure], from: Pressure, to: Pressure) -> Vec<f64> {
    let (low, high) = (from.min(to), from.max(to));
    let mut stops: Vec<Pressure> = kinks.iter().copied().filter(|kink| *kink > low && *kink < high).collect();
    stops.extend([low, high]);
    stops.sort_by(|one, other| one.total_cmp(*other));
    if from > to {
        stops.reverse();
    }
    let stops: Vec<f64> = stops.into_iter().map(|stop| stop.si().ln()).collect();
    let count_of = |width: f64| (width.abs() / PANEL).ceil().clamp(1.0, 10_000.0);
    let count: f64 = stops.windows(2).map(|pair| count_of(pair[1] - pair[0])).sum();
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a count of some ten thousands at most")]
    let mut bounds = Vec::with_capacity(count as usize + 1);
    bounds.push(stops[0]);
    for pair in stops.windows(2) {
        let width = pair[1] - pair[0];
        let count = count_of(width);
        let mut piece = 1.0;
        while piece < count {
            bounds.push(pair[0] + width * (piece / count));
            piece += 1.0;
        }
        bounds.push(pair[1]);
    }
    bounds
}

/// A fall of pressure from a start at one temperature. What was integrated once is kept.
#[derive(Clone, Debug)]
pub(super) struct Fall<'a> {
    leaking: Leaking<'a>,
    start: Pressure,
    bounds: OnceCell<Vec<f64>>,
    /// Seconds until each bound, as far as they were asked for.
    passed: RefCell<Vec<f64>>,
    /// A state of the gas close to the next one.
    close: Cell<Option<GasState>>,
}

impl<'a> Fall<'a> {
    /// * `start` – the pressure before the leak
    pub(super) fn new(leaking: Leaking<'a>, start: Pressure) -> Self {
        Self { leaking, start, bounds: OnceCell::new(), passed: RefCell::new(vec![0.0]), close: Cell::new(None) }
    }

    /// Logarithms of the bounds of its panels, from the start down; none where nothing falls.
    fn bounds(&self) -> &[f64] {
        self.bounds.get_or_init(|| {
            let falls = self.start > GONE && self.leaks();
            if falls { bounds(&self.leaking.kinks(), self.start, GONE) } else { Vec::new() }
        })
    }

    fn leaks(&self) -> bool {
        self.leaking.conductance(GONE) > 0.0
    }

    fn seconds(&self, panel: Panel) -> f64 {
        let mut close = self.close.get();
        let seconds = self.leaking.seconds(panel, &mut close);
        self.close.set(close);
        seconds
    }

    /// Seconds from the start to a bound.
    fn until(&self, index: usize) -> f64 {
        let bounds = self.bounds();
        let mut passed = self.passed.borrow_mut();
        while passed.len() <= index {
            let at = passed.len();
            let panel = Panel { from: bounds[at - 1], to: bounds[at] };
            let before = passed.last().copied().unwrap_or(0.0);
            passed.push(before + self.seconds(panel));
        }
        passed[index]
    }

    /// Seconds until the pressure is down to a wanted one; 0 where the start is below it already,
    /// without end where nothing leaks. Below 1 Pa counts as 1 Pa.
    pub(super) fn seconds_to(&self, pressure: Pressure) -> f64 {
        if self.start < pressure || self.start < GONE {
            return 0.0;
        }
        if !self.leaks() {
            return f64::INFINITY;
        }
        let wanted = pressure.max(GONE).si().ln();
        let bounds = self.bounds();
        let index = bounds.iter().rposition(|bound| *bound >= wanted).unwrap_or(0);
        let Some(from) = bounds.get(index).copied() else { return 0.0 };
        let rest = if from > wanted { self.seconds(Panel { from, to: wanted }) } else { 0.0 };
        self.until(index) + rest
    }

    /// Pressure after some seconds; 0 where it is gone sooner.
    pub(super) fn pressure_after(&self, seconds: f64) -> Pressure {
        if self.start < GONE {
            return Pressure::ZERO;
        }
        if seconds.is_nan() || seconds <= 0.0 || !self.leaks() {
            return self.start;
        }
        let bounds = self.bounds();
        for index in 1..bounds.len() {
            let known = self.passed.borrow().get(index).copied();
            if known.is_some_and(|known| known < seconds) {
                continue;
            }
            let before = self.until(index - 1);
            let panel = Panel { from: bounds[index - 1], to: bounds[index] };
            let mut close = self.close.get();
            let found = self.leaking.within(panel, seconds - before, &mut close);
            self.close.set(close);
            match found {
                Ok(pressure) => return pressure,
                Err(took) => {
                    let mut passed = self.passed.borrow_mut();
                    if passed.len() == index {
                        passed.push(before + took);
                    }
                }
            }
        }
        Pressure::ZERO
    }
}
