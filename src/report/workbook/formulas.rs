//! The live formulas of Circuits, in the words of a spreadsheet.
//!
//! An unknown figure is an empty cell or an empty text; COUNT tells numbers from both in
//! every program, so each formula answers "" where something that it needs is unknown.

use crate::model::words::Charging;

use super::circuits::column::Col;

/// Beyond this part of itself a limit counts as exceeded.
const AT: &str = "1E-9";

/// A formula with the columns that it needs to be known.
pub struct Live {
    pub needs: Vec<Col>,
    pub text: String,
}

/// The formulas of one row.
pub struct RowFormulas {
    /// As the spreadsheet shows it: the first row is 1.
    pub row: u32,
    pub charging: Charging,
}

impl RowFormulas {
    fn at(&self, column: Col) -> String {
        format!("{}{}", column.letter(), self.row)
    }

    /// `then` where all of the cells hold numbers, else empty.
    fn known(&self, needs: &[Col], then: &str) -> Live {
        let cells: Vec<String> = needs.iter().map(|column| self.at(*column)).collect();
        let text = format!("IF(COUNT({})={},{then},\"\")", cells.join(","), cells.len());
        Live { needs: needs.to_vec(), text }
    }

    /// The oil that is compressed: V_0.
    #[must_use]
    pub fn rest(&self) -> Live {
        let third = if self.charging == Charging::Cylinder { Col::Capacity } else { Col::Swept };
        let sum = format!("{}+{}+{}", self.at(Col::Line), self.at(Col::Dead), self.at(third));
        self.known(&[Col::Line, Col::Dead, third], &sum)
    }

    /// V_comp.
    #[must_use]
    pub fn compression(&self) -> Live {
        let (rest, charge, modulus) = (self.at(Col::Rest), self.at(Col::Charge), self.at(Col::Modulus));
        let then = if self.charging == Charging::Cylinder {
            format!("{rest}*(1-EXP(-{charge}*pascals/{modulus}))")
        } else {
            format!("{rest}*(EXP({charge}*pascals/{modulus})-1)")
        };
        self.known(&[Col::Rest, Col::Charge, Col::Modulus], &then)
    }

    /// V_air.
    #[must_use]
    pub fn air(&self) -> Live {
        let (rest, charge, air) = (self.at(Col::Rest), self.at(Col::Charge), self.at(Col::FreeAir));
        let then = format!("{air}*{rest}*{charge}/({charge}+p_atm)");
        self.known(&[Col::Rest, Col::Charge, Col::FreeAir], &then)
    }

    /// p1 times a compliance.
    #[must_use]
    pub fn yielding(&self, per: Col) -> Live {
        self.known(&[Col::Charge, per], &format!("{}*{}", self.at(Col::Charge), self.at(per)))
    }

    /// D.
    #[must_use]
    pub fn demand(&self) -> Live {
        let terms = [Col::Swept, Col::Compression, Col::Air, Col::Dilation, Col::Elastic, Col::Accumulator];
        let sum: Vec<String> = terms.iter().map(|term| self.at(*term)).collect();
        self.known(&terms, &sum.join("+"))
    }

    /// u = D/C.
    #[must_use]
    pub fn fill(&self) -> Live {
        let (demand, capacity) = (self.at(Col::Demand), self.at(Col::Capacity));
        self.known(&[Col::Demand, Col::Capacity], &format!("IF({capacity}>0,{demand}/{capacity},\"\")"))
    }

    /// limits.fill x C.
    #[must_use]
    pub fn usable(&self) -> Live {
        self.known(&[Col::Capacity], &format!("limit_fill*{}", self.at(Col::Capacity)))
    }

    /// Usable oil less demand.
    #[must_use]
    pub fn reserve(&self) -> Live {
        self.known(&[Col::Usable, Col::Demand], &format!("{}-{}", self.at(Col::Usable), self.at(Col::Demand)))
    }

    /// The lower of the pump's setting and rating, of those given.
    #[must_use]
    pub fn pump(&self, has_setting: bool) -> Live {
        let (setting, rating) = (self.at(Col::PumpSetting), self.at(Col::PumpRating));
        let text = format!("IF(COUNT({setting},{rating})=0,\"\",MIN({setting},{rating}))");
        Live { needs: vec![if has_setting { Col::PumpSetting } else { Col::PumpRating }], text }
    }

    /// p_full.
    #[must_use]
    pub fn full(&self, has_station: bool) -> Live {
        if !has_station {
            return self.known(&[Col::Wanted], &self.at(Col::Wanted));
        }
        let then = format!("{}*{}-{}", self.at(Col::Pump), self.at(Col::Ratio), self.at(Col::ReturnLoss));
        self.known(&[Col::Pump, Col::Ratio, Col::ReturnLoss], &then)
    }

    /// p1: MIN passes over an empty cell.
    #[must_use]
    pub fn charge(&self) -> Live {
        let full = self.at(Col::Full);
        let then = format!("IF({full}<0,\"\",MIN({full},{}))", self.at(Col::Reducing));
        self.known(&[Col::Full], &then)
    }

    /// (pressure_set + return_loss)/ratio.
    #[must_use]
    pub fn pump_needed(&self) -> Live {
        let then = format!("({}+{})/{}", self.at(Col::Wanted), self.at(Col::ReturnLoss), self.at(Col::Ratio));
        self.known(&[Col::Wanted, Col::ReturnLoss, Col::Ratio], &then)
    }

    /// Pump rating x ratio - return_loss.
    #[must_use]
    pub fn potential(&self) -> Live {
        let then = format!("{}*{}-{}", self.at(Col::PumpRating), self.at(Col::Ratio), self.at(Col::ReturnLoss));
        self.known(&[Col::PumpRating, Col::Ratio, Col::ReturnLoss], &then)
    }

    /// A rule: the word where it is not met, `met`, or empty where a figure is unknown.
    #[must_use]
    pub fn rule(&self, rule: Col, word: &str) -> Live {
        let (needs, fires) = self.condition(rule);
        self.known(&needs, &format!("IF({fires},\"{word}\",\"met\")"))
    }

    fn condition(&self, rule: Col) -> (Vec<Col>, String) {
        let at = |column| self.at(column);
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
    #[must_use]
    pub fn current(&self) -> String {
        let pairs = [(Col::Full, Col::FullAtRun), (Col::Charge, Col::ChargeAtRun), (Col::Demand, Col::DemandAtRun)];
        let tests: Vec<String> = pairs
            .iter()
            .map(|(now, then)| {
                let (now, then) = (self.at(*now), self.at(*then));
                format!("COUNT({now})=COUNT({then}),ABS(SUM({now})-SUM({then}))<={AT}*ABS(SUM({then}))")
            })
            .collect();
        format!("IF(AND({}),\"yes\",\"no\")", tests.join(","))
    }

    /// The circuit's verdict, from the rules on its rows and the findings that are not live.
    #[must_use]
    pub fn verdict(&self, last_row: u32) -> String {
        let range = |from: Col, to: Col| format!("{}{}:{}{last_row}", from.letter(), self.row, to.letter());
        let rules = range(Col::M09, Col::P14);
        let current = range(Col::Current, Col::Current);
        let (others, waived, unassessed) = (self.at(Col::Others), self.at(Col::Waived), self.at(Col::Unassessed));
        format!(
            "IF(COUNTIF({current},\"no\")>0,\"run again\",\
             IF({others}+COUNTIF({rules},\"major\")+COUNTIF({rules},\"minor\")>0,\"does not conform\",\
             IF({unassessed}>0,\"not assessed\",\
             IF({waived}+COUNTIF({rules},\"waived\")>0,\"conforms with waivers\",\"conforms\"))))"
        )
    }

    /// The cell that says the same for the other side.
    #[must_use]
    pub fn same(&self, column: Col, row: u32) -> String {
        format!("{}{row}", column.letter())
    }
}
