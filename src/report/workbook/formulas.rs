//! The live formulas of Circuits, in the words of a spreadsheet.
//!
//! An unknown figure is an empty cell or an empty text; COUNT tells numbers from both in
//! every program, so each formula answers "" where something that it needs is unknown.
//!
//! A formula is made once, as a template: `#` stands for its row, `%` for the circuit's last
//! row and `@` for a rule's word.

use crate::tables::words::Charging;

use super::circuits::column::Col;

/// Beyond this part of itself a limit counts as exceeded.
const AT: &str = "1E-9";

/// A formula with the columns that it needs to be known.
pub struct Live {
    pub needs: Vec<Col>,
    pub template: String,
}

/// `then` where all of the cells hold numbers, else empty.
fn known(needs: &[Col], then: &str) -> Live {
    let cells: Vec<String> = needs.iter().map(|column| at(*column)).collect();
    let template = format!("IF(COUNT({})={},{then},\"\")", cells.join(","), cells.len());
    Live { needs: needs.to_vec(), template }
}

/// The oil that is compressed: `V_0`.
fn rest(charging: Charging) -> Live {
    let third = if charging == Charging::Cylinder { Col::Capacity } else { Col::Swept };
    let sum = format!("{}+{}+{}", at(Col::Line), at(Col::Dead), at(third));
    known(&[Col::Line, Col::Dead, third], &sum)
}

/// `V_comp`.
fn compression(charging: Charging) -> Live {
    let (rest, charge, modulus) = (at(Col::Rest), at(Col::Charge), at(Col::Modulus));
    let then = if charging == Charging::Cylinder {
        format!("{rest}*(1-EXP(-{charge}*pa_per_unit/{modulus}))")
    } else {
        format!("{rest}*(EXP({charge}*pa_per_unit/{modulus})-1)")
    };
    known(&[Col::Rest, Col::Charge, Col::Modulus], &then)
}

/// `V_air`.
fn air() -> Live {
    let (rest, charge, air) = (at(Col::Rest), at(Col::Charge), at(Col::FreeAir));
    let then = format!("{air}*{rest}*{charge}/({charge}+p_atm)");
    known(&[Col::Rest, Col::Charge, Col::FreeAir], &then)
}

/// p1 times a compliance.
fn yielding(per: Col) -> Live {
    known(&[Col::Charge, per], &format!("{}*{}", at(Col::Charge), at(per)))
}

/// D.
fn demand() -> Live {
    let terms = [Col::Swept, Col::Compression, Col::Air, Col::Dilation, Col::Elastic, Col::Accumulator];
    let sum: Vec<String> = terms.iter().map(|term| at(*term)).collect();
    known(&terms, &sum.join("+"))
}

/// u = D/C.
fn fill() -> Live {
    let (demand, capacity) = (at(Col::Demand), at(Col::Capacity));
    known(&[Col::Demand, Col::Capacity], &format!("IF({capacity}>0,{demand}/{capacity},\"\")"))
}

/// limits.fill x C.
fn usable() -> Live {
    known(&[Col::Capacity], &format!("limit_fill*{}", at(Col::Capacity)))
}

/// Usable oil less demand.
fn reserve() -> Live {
    known(&[Col::Usable, Col::Demand], &format!("{}-{}", at(Col::Usable), at(Col::Demand)))
}

/// The lower of the pump's setting and rating, of those given.
fn pump() -> Live {
    let (setting, rating) = (at(Col::PumpSetting), at(Col::PumpRating));
    let template = format!("IF(COUNT({setting},{rating})=0,\"\",MIN({setting},{rating}))");
    Live { needs: Vec::new(), template }
}

/// `p_full`.
fn full(has_station: bool) -> Live {
    if !has_station {
        return known(&[Col::Wanted], &at(Col::Wanted));
    }
    let then = format!("{}*{}-{}", at(Col::Pump), at(Col::Ratio), at(Col::ReturnLoss));
    known(&[Col::Pump, Col::Ratio, Col::ReturnLoss], &then)
}

/// p1: MIN passes over an empty cell.
fn charge() -> Live {
    let full = at(Col::Full);
    let then = format!("IF({full}<0,\"\",MIN({full},{}))", at(Col::Reducing));
    known(&[Col::Full], &then)
}

/// `(pressure_set + return_loss)/ratio`.
fn pump_needed() -> Live {
    let then = format!("({}+{})/{}", at(Col::Wanted), at(Col::ReturnLoss), at(Col::Ratio));
    known(&[Col::Wanted, Col::ReturnLoss, Col::Ratio], &then)
}

/// Pump rating x ratio less the return loss.
fn potential() -> Live {
    let then = format!("{}*{}-{}", at(Col::PumpRating), at(Col::Ratio), at(Col::ReturnLoss));
    known(&[Col::PumpRating, Col::Ratio, Col::ReturnLoss], &then)
}

/// A rule: its word where it is not met, `met`, or empty where a figure is unknown.
fn rule(rule: Col) -> Live {
    let (needs, fires) = condition(rule);
    known(&needs, &format!("IF({fires},\"@\",\"met\")"))
}

fn condition(rule: Col) -> (Vec<Col>, String) {
    let above = |value: &str, limit: &str| format!("{value}>{limit}+ABS({limit})*{AT}");
    let below = |value: &str, limit: &str| format!("{value}<{limit}-ABS({limit})*{AT}");
    let (fill, charge) = (at(Col::Fill), at(Col::Charge));
    match rule {
        Col::M09 => {
            let needed = format!("{}*{}", at(Col::Ratio), at(Col::Demand));
            (vec![Col::PumpOil, Col::Ratio, Col::Demand], above(&needed, &at(Col::PumpOil)))
        }
        Col::V01 => (vec![Col::Fill], above(&fill, "limit_fill")),
        Col::V02 => {
            let both = format!("AND({},NOT({}))", above(&fill, "limit_fill_watch"), above(&fill, "limit_fill"));
            (vec![Col::Fill], both)
        }
        Col::P03 => {
            let least = format!("({}*(1-limit_pressure_tolerance))", at(Col::Wanted));
            (vec![Col::Charge, Col::Wanted], below(&charge, &least))
        }
        Col::P11 => {
            let most = format!("({}*(1+limit_pressure_tolerance))", at(Col::Wanted));
            (vec![Col::Charge, Col::Wanted], above(&charge, &most))
        }
        Col::P13 => (vec![Col::Potential, Col::Weakest], above(&at(Col::Potential), &at(Col::Weakest))),
        _ => {
            let watch = format!("({}*limit_pressure_watch)", at(Col::Weakest));
            let both = format!("AND({},NOT({}))", above(&charge, &watch), above(&charge, &at(Col::Weakest)));
            (vec![Col::Charge, Col::Weakest], both)
        }
    }
}

/// Whether the row still has the pressures and the demand that the run had: the rules on
/// lines and the solved figures were found with these.
fn current() -> String {
    let pairs = [(Col::Full, Col::FullAtRun), (Col::Charge, Col::ChargeAtRun), (Col::Demand, Col::DemandAtRun)];
    let tests: Vec<String> = pairs
        .iter()
        .map(|(now, then)| {
            let (now, then) = (at(*now), at(*then));
            format!("COUNT({now})=COUNT({then}),ABS(SUM({now})-SUM({then}))<={AT}*ABS(SUM({then}))")
        })
        .collect();
    format!("IF(AND({}),\"yes\",\"no\")", tests.join(","))
}

/// The circuit's verdict, from the rules on its rows and the findings that are not live.
fn verdict() -> String {
    let range = |from: Col, to: Col| format!("{}#:{}%", from.letter(), to.letter());
    let rules = range(Col::M09, Col::P14);
    let current = range(Col::Current, Col::Current);
    let (others, waived, unassessed) = (at(Col::Others), at(Col::Waived), at(Col::Unassessed));
    format!(
        "IF(COUNTIF({current},\"no\")>0,\"run again\",\
         IF({others}+COUNTIF({rules},\"major\")+COUNTIF({rules},\"minor\")>0,\"does not conform\",\
         IF({unassessed}>0,\"not assessed\",\
         IF({waived}+COUNTIF({rules},\"waived\")>0,\"conforms with waivers\",\"conforms\"))))"
    )
}

/// A cell of the row.
fn at(column: Col) -> String {
    format!("{}#", column.letter())
}

/// All formulas of circuits that are charged in one way.
pub struct Formulas {
    /// By column, where the column has one.
    live: Vec<Option<Live>>,
    current: String,
    verdict: String,
}

impl Formulas {
    /// Makes them.
    #[must_use]
    pub fn of(charging: Charging, has_station: bool) -> Self {
        let live = Col::ALL.iter().map(|column| live(*column, charging, has_station)).collect();
        Self { live, current: current(), verdict: verdict() }
    }

    /// The formula of a column.
    #[must_use]
    pub fn live(&self, column: Col) -> Option<&Live> {
        self.live.get(usize::from(column.index()))?.as_ref()
    }

    /// Whether the row still has the inputs of the run.
    #[must_use]
    pub fn current(&self, row: u32) -> String {
        filled(&self.current, row, row, "")
    }

    /// The verdict of the circuit whose rows these are.
    #[must_use]
    pub fn verdict(&self, row: u32, last_row: u32) -> String {
        filled(&self.verdict, row, last_row, "")
    }
}

impl Live {
    /// The formula on a row, with the word of a rule.
    #[must_use]
    pub fn on(&self, row: u32, word: &str) -> String {
        filled(&self.template, row, row, word)
    }
}

/// The formula of a column, where it has one.
fn live(column: Col, charging: Charging, has_station: bool) -> Option<Live> {
    Some(match column {
        Col::Rest => rest(charging),
        Col::Compression => compression(charging),
        Col::Air => air(),
        Col::Dilation => yielding(Col::DilationPer),
        Col::Elastic => yielding(Col::ElasticPer),
        Col::Demand => demand(),
        Col::Fill => fill(),
        Col::Usable => usable(),
        Col::Reserve => reserve(),
        Col::Pump => pump(),
        Col::Full => full(has_station),
        Col::Charge => charge(),
        Col::PumpNeeded => pump_needed(),
        Col::Potential => potential(),
        Col::M09 | Col::V01 | Col::V02 | Col::P03 | Col::P11 | Col::P13 | Col::P14 => rule(column),
        _ => return None,
    })
}

/// A template with its row, last row and word.
fn filled(template: &str, row: u32, last_row: u32, word: &str) -> String {
    let mut text = String::with_capacity(template.len() + 32);
    let (row, last_row) = (row.to_string(), last_row.to_string());
    for letter in template.chars() {
        match letter {
            '#' => text.push_str(&row),
            '%' => text.push_str(&last_row),
            '@' => text.push_str(word),
            other => text.push(other),
        }
    }
    text
}
