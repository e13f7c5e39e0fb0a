//! Pressure chain: one row per stage, from the pump to the weakest part.

use std::borrow::Cow;

use rust_xlsxwriter::Worksheet;

use crate::audit::outcome::Audit;
use crate::circuit::audited::CircuitAudit;
use crate::physics::quantity::Pressure;
use crate::physics::unit::Dimension;
use crate::rules::{is_above, is_below};
use crate::tables::circuit::Name;
use crate::tables::component::Component;
use crate::tables::figures::{Rating, SideFigures};
use crate::tables::shown::shown;
use crate::tables::value::Value;
use crate::tables::words::{Side, Zone};

use super::circuits::part_of;
use super::grid::{Grid, Layout, SheetColumn};
use super::style::Look;
use super::units::Units;
use super::{Setup, WorkbookError};

const PRESSURE: u16 = 8;
const RATING: u16 = 9;
const MARGIN: u16 = 10;
const VERDICT: u16 = 11;

/// One stage of the chain.
struct Stage<'a> {
    name: Cow<'static, str>,
    part: &'a str,
    position: &'a str,
    pressure: Option<Pressure>,
    rating: Option<Pressure>,
    what: Compared,
}

/// What a pressure is compared with.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Compared {
    /// A rating.
    Rating,
    /// A rating, and the pump is set above it, whatever it gives.
    RatingBelowSetting,
    /// A rating that a relief valve keeps the pressure from.
    GuardedRating,
    /// The setting of a reducing valve, which a higher pressure ahead is there for.
    Reducing,
    /// The setting of a relief valve.
    Relief,
}

impl Compared {
    /// What is said where the pressure is above.
    const fn above(self) -> &'static str {
        match self {
            Self::Rating => "above the rating",
            Self::RatingBelowSetting => "set above the rating",
            Self::GuardedRating => "guarded by a relief valve",
            Self::Reducing => "reduced to the setting",
            Self::Relief => "above the setting",
        }
    }

    /// Whether it may be above without remark: the margin would be read as one that is missing.
    const fn may_be_above(self) -> bool {
        matches!(self, Self::GuardedRating | Self::Reducing)
    }

    const fn is_setting(self) -> bool {
        matches!(self, Self::Reducing | Self::Relief)
    }
}

/// Writes the sheet.
///
/// # Errors
///
/// Where the library refuses a cell.
pub fn write(audit: &Audit, setup: &Setup) -> Result<Vec<Worksheet>, WorkbookError> {
    let is_live = super::circuits::is_live(audit, setup.row_limit);
    let (near, others): (Vec<&CircuitAudit>, Vec<&CircuitAudit>) =
        audit.circuits.iter().partition(|circuit| is_near(audit, circuit, setup.units));
    let layout = layout(setup, near.is_empty());
    let mut grid = Grid::new(setup, &layout)?;
    for (index, circuit) in near.iter().chain(&others).enumerate() {
        if index == near.len() {
            grid.print_until_here();
        }
        for side in circuit.figures.sides() {
            for stage in stages(audit, circuit, side, setup.units) {
                let row = grid.begin_row()? + 1;
                write_key(&mut grid, circuit, side)?;
                write_stage(&mut grid, audit, &stage, is_live.then_some(row))?;
            }
        }
    }
    grid.finish()
}

/// Whether a part of a circuit is above its rating, close to it, or what it sees is unknown: these are printed.
fn is_near(audit: &Audit, circuit: &CircuitAudit, units: Units) -> bool {
    let watch = audit.plant.policy.limits.pressure_watch;
    circuit.figures.sides().flat_map(|side| stages(audit, circuit, side, units)).any(|stage| {
        let Some((pressure, rating)) = stage.pressure.zip(stage.rating) else { return true };
        match stage.what {
            Compared::Reducing | Compared::Relief => false,
            // Close to the rating is worth a look; what the valve keeps from it is not.
            Compared::GuardedRating => {
                is_above(pressure.si(), watch * rating.si()) && !is_above(pressure.si(), rating.si())
            }
            Compared::Rating => is_above(pressure.si(), watch * rating.si()),
            Compared::RatingBelowSetting => true,
        }
    })
}

fn layout(setup: &Setup, is_none_near: bool) -> Layout {
    let widths = setup.widths;
    let text = |header: &str, width| SheetColumn::new(header, width, Look::Text);
    let digits = setup.units.pressure_digits();
    let pressure =
        |header: &str| SheetColumn::new(setup.units.header(header, Dimension::Pressure), 12.0, Look::Number(digits));
    Layout {
        name: "Pressure chain",
        note: if is_none_near {
            "From the pump to the weakest part of each side. No circuit has a part above its rating, close to it, or with \
             an unknown pressure: none is printed."
                .to_owned()
        } else {
            "From the pump to the weakest part of each side. Circuits with a part above its rating, close to it, or with \
             an unknown pressure stand first and are printed."
                .to_owned()
        },
        columns: vec![
            text("Plant", widths.plant),
            text("Pallet", widths.pallet),
            text("Fixture", widths.fixture),
            text("Circuit", widths.circuit),
            text("Side", 8.5),
            text("Stage", 33.0),
            text("Part", widths.part),
            text("Position", 11.0),
            pressure("Pressure there"),
            pressure("Rating or setting"),
            pressure("Margin"),
            text("Verdict", 24.0),
        ],
        frozen: 5,
        printed: 0,
        pages_wide: 1,
    }
}

fn stages<'a>(audit: &'a Audit, circuit: &'a CircuitAudit, side: &'a SideFigures, units: Units) -> Vec<Stage<'a>> {
    let mut stages = station_stages(audit, circuit, side, units);
    let line = side.cylinder.and_then(|line| circuit.circuit.lines.get(line));
    if let Some(part) = line.and_then(|line| line.component(&audit.plant.components)) {
        let position = line.map_or("", |line| &line.position);
        stages.push(rated("Charging cylinder", part, position, side.chain.full));
    }
    let chain = &side.chain;
    let settings = [
        ("Reducing valve, lowest setting", chain.reducing, chain.full, Compared::Reducing),
        (
            "Relief valve, lowest setting",
            chain.relief,
            chain.relief.and_then(|rating| there(side, rating)),
            Compared::Relief,
        ),
    ];
    for (name, rating, pressure, what) in settings {
        if let Some(rating) = rating {
            let part = part_of(audit, circuit, Some(rating)).map_or("", |part| &part.part_no);
            let position = circuit.circuit.lines.get(rating.line).map_or("", |line| &line.position);
            stages.push(Stage { name: name.into(), part, position, pressure, rating: Some(rating.pressure), what });
        }
    }
    stages.extend(weakest_stages(audit, circuit, side));
    stages
}

/// The weakest part at what the station gives, at what it could give, and at what warmth makes of trapped oil.
fn weakest_stages<'a>(audit: &'a Audit, circuit: &'a CircuitAudit, side: &'a SideFigures) -> Vec<Stage<'a>> {
    let chain = &side.chain;
    let zone = chain.weakest.map(|rating| side.zone_of(rating.line));
    let guarded = if chain.weakest.is_some_and(|rating| is_guarded(side, rating)) {
        Compared::GuardedRating
    } else {
        Compared::Rating
    };
    // What the part sees where it sits: behind a reducing valve no more than its setting.
    let (charge, potential) = match zone.map(|zone| side.zone(zone)) {
        Some(zone) => (zone.pressure, zone.potential),
        None => (chain.charge, chain.potential),
    };
    let mut seen = vec![
        ("Weakest part at charge pressure", chain.weakest, charge, Compared::Rating),
        ("Weakest part at potential pressure", chain.weakest, potential, guarded),
    ];
    if side.side == Side::Clamp && circuit.circuit.service().charging().is_uncoupled() {
        let (weakest, hot) = warmest(side);
        seen.push(("Weakest part, warm trapped oil", weakest, hot, Compared::Rating));
    }
    let is_known = |pressure: Option<Pressure>, weakest: Option<Rating>| pressure.is_some() || weakest.is_some();
    let stage = |(name, weakest, pressure, what): (&'static str, Option<Rating>, Option<Pressure>, Compared)| Stage {
        name: name.into(),
        part: part_of(audit, circuit, weakest).map_or("", |part| &part.part_no),
        position: weakest.and_then(|rating| circuit.circuit.lines.get(rating.line)).map_or("", |line| &line.position),
        pressure,
        rating: weakest.map(|rating| rating.pressure),
        what,
    };
    seen.into_iter().filter(|(_, weakest, pressure, _)| is_known(*pressure, *weakest)).map(stage).collect()
}

/// The weakest rating and the pressure at the highest temperature of the trapped zone that is nearest to its rating, or
/// the farthest above; of one in which either is unknown before that.
fn warmest(side: &SideFigures) -> (Option<Rating>, Option<Pressure>) {
    let trapped = [Zone::Full, Zone::Reduced].map(|zone| side.zone(zone)).into_iter();
    let zones = trapped.filter(|zone| !zone.lines.is_empty()).map(|zone| (zone.weakest, zone.hot));
    let excess = |of: &(Option<Rating>, Option<Pressure>)| match of {
        (Some(weakest), Some(hot)) => hot.si() - weakest.pressure.si(),
        _ => f64::INFINITY,
    };
    zones.reduce(|most, next| if excess(&next) > excess(&most) { next } else { most }).unwrap_or_default()
}

/// The pressure where a line sits.
fn there(side: &SideFigures, rating: Rating) -> Option<Pressure> {
    side.zone(side.zone_of(rating.line)).pressure
}

/// Whether a relief valve where a part sits, or ahead of it, is set no higher than the part is rated for.
fn is_guarded(side: &SideFigures, weakest: Rating) -> bool {
    let own = side.zone_of(weakest.line);
    let ahead = [own, Zone::Charge].map(|zone| side.zone(zone).relief);
    ahead.into_iter().flatten().any(|relief| !is_above(relief.pressure.si(), weakest.pressure.si()))
}

/// What the pump gives is what its drive ram sees: a setting beyond that stands beside it.
fn station_stages<'a>(audit: &'a Audit, circuit: &CircuitAudit, side: &SideFigures, units: Units) -> Vec<Stage<'a>> {
    let Some(station) = audit.plant.station(&circuit.circuit.service().station) else { return Vec::new() };
    [("Pump", &station.pump), ("Drive ram", &station.drive_ram)]
        .into_iter()
        .filter_map(|(name, part)| {
            let part = audit.plant.component_at(part.index())?;
            let stage = rated(name, part, &station.station, side.chain.pump);
            let too_high = station.pump_setting.zip(part.rated_pressure);
            let too_high = too_high.filter(|(setting, rating)| is_above(setting.si(), rating.si()));
            let Some((setting, _)) = too_high else { return Some(stage) };
            let set = shown(&Value::Pressure(setting), units.system);
            Some(Stage { name: format!("{name}, set to {set}").into(), what: Compared::RatingBelowSetting, ..stage })
        })
        .collect()
}

fn rated<'a>(name: &'static str, part: &'a Component, position: &'a str, pressure: Option<Pressure>) -> Stage<'a> {
    Stage {
        name: name.into(),
        part: &part.part_no,
        position,
        pressure,
        rating: part.rated_pressure,
        what: Compared::Rating,
    }
}

fn write_key(grid: &mut Grid, circuit: &CircuitAudit, side: &SideFigures) -> Result<(), WorkbookError> {
    let key = &circuit.circuit.key;
    let words = [&key.plant, &key.pallet, &key.fixture, &key.circuit].map(Name::as_str);
    for (column, word) in (0_u16..).zip(words) {
        grid.text(column, word)?;
    }
    grid.text(4, side.side.word())
}

fn write_stage(grid: &mut Grid, audit: &Audit, stage: &Stage, live: Option<u32>) -> Result<(), WorkbookError> {
    let units = grid.setup.units;
    grid.text(5, &stage.name)?;
    grid.text(6, stage.part)?;
    grid.text(7, stage.position)?;
    grid.optional(PRESSURE, stage.pressure.map(|pressure| units.pressure(pressure)))?;
    grid.optional(RATING, stage.rating.map(|rating| units.pressure(rating)))?;
    let (Some(pressure), Some(rating)) = (stage.pressure, stage.rating) else {
        let is_set = stage.what == Compared::RatingBelowSetting;
        return grid.text(VERDICT, if is_set { stage.what.above() } else { "unknown" });
    };
    let margin = units.pressure(rating) - units.pressure(pressure);
    let verdict = verdict(stage, pressure.si(), rating.si(), audit.plant.policy.limits.pressure_watch);
    let is_no_margin = stage.what.may_be_above() && is_above(pressure.si(), rating.si());
    let Some(row) = live else {
        if !is_no_margin {
            grid.number(MARGIN, margin)?;
        }
        return grid.text(VERDICT, verdict);
    };
    let difference = format!("J{row}-I{row}");
    if stage.what.may_be_above() {
        let shown = if is_no_margin { String::new() } else { margin.to_string() };
        grid.formula(MARGIN, &format!("IF(I{row}>J{row}*(1+1E-9),\"\",{difference})"), shown)?;
    } else {
        grid.formula(MARGIN, &difference, margin.to_string())?;
    }
    match stage.what {
        Compared::RatingBelowSetting => grid.text(VERDICT, verdict),
        _ => grid.formula(VERDICT, &verdict_formula(stage, row), verdict),
    }
}

fn verdict(stage: &Stage, pressure: f64, rating: f64, watch: f64) -> &'static str {
    if stage.what == Compared::RatingBelowSetting {
        return stage.what.above();
    }
    let is_above_it = is_above(pressure, rating);
    if stage.what.is_setting() && !is_above_it {
        return if is_below(pressure, rating) { "below the setting" } else { "at the setting" };
    }
    if is_above_it {
        stage.what.above()
    } else if is_above(pressure, watch * rating) {
        "close to the rating"
    } else {
        "within the rating"
    }
}

fn verdict_formula(stage: &Stage, row: u32) -> String {
    let above = stage.what.above();
    if stage.what.is_setting() {
        return format!(
            "IF(I{row}>J{row}*(1+1E-9),\"{above}\",IF(I{row}<J{row}*(1-1E-9),\"below the setting\",\"at the setting\"))"
        );
    }
    format!(
        "IF(I{row}>J{row}*(1+1E-9),\"{above}\",\
         IF(I{row}>limit_pressure_watch*J{row}*(1+1E-9),\"close to the rating\",\"within the rating\"))"
    )
}
