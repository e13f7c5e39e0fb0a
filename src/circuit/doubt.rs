//! What the spread of each datum does to each figure that is compared with a limit.

#[cfg(test)]
mod tests;

use crate::physics::draws::{Draws, Sample};
use crate::physics::propagation::{combined_uncertainty, contribution, curvature, margin, probability_of_conformity};
use crate::rules::{Asked, Rule, pressure};

use super::datum::{Datum, data};
use super::replica::{Compared, Replica, put_slacks};

/// Of its uncertainty as propagated: a figure that bends by more is drawn at random.
const BENDS: f64 = 0.2;
/// Share of a variance below which a datum that only enters sums is moved to one side alone.
const NEXT_TO_NOTHING: f64 = 1e-3;
/// Margins beyond which no draw at random would change what is said.
const CLEAR: f64 = 4.0;

/// One comparison with what is known of its uncertainty.
pub(super) struct Judged {
    /// By datum: what it adds, with its sign.
    pub(super) contributions: Vec<f64>,
    /// As propagated.
    propagated: f64,
    /// What counts: as propagated, or more where the figure bends.
    pub(super) uncertainty: f64,
    bends: bool,
    /// Share of the draws that keep the limit, where it was drawn.
    pub(super) drawn: Option<f64>,
}

/// A set of circuits with the doubts about its figures.
pub(super) struct Doubt {
    replica: Replica,
    rules: Vec<&'static Rule>,
    /// Those of them that hang on the oil, and where their comparisons stand.
    of_oil: (Vec<&'static Rule>, Vec<usize>),
    asked: Asked,
    pub(super) data: Vec<Datum>,
    /// As the circuits stand.
    pub(super) compared: Vec<Compared>,
    pub(super) judged: Vec<Judged>,
    draws: u64,
    is_drawn: bool,
    /// Places of all comparisons.
    all: Vec<usize>,
    /// Filled again at each look.
    now: Vec<Compared>,
}

impl Doubt {
    /// Propagates the spread of every datum of the circuits.
    pub(super) fn about(replica: Replica, draws: u64) -> Self {
        let all = replica.weighing_rules();
        let mut compared = Vec::new();
        replica.compared(&all, Asked::ALL, &mut compared);
        let is_used = |rule: &&Rule| compared.iter().any(|one: &Compared| std::ptr::eq(one.rule, *rule));
        let rules: Vec<&'static Rule> = all.into_iter().filter(is_used).collect();
        let asked = rules.iter().fold(Asked::SIDES, |asked, rule| asked.and(rule.figures));
        let data = data(&replica, asked);
        let judged = compared
            .iter()
            .map(|_| Judged {
                contributions: Vec::with_capacity(data.len()),
                propagated: 0.0,
                uncertainty: 0.0,
                bends: false,
                drawn: None,
            })
            .collect();
        let hangs = |rule: &'static Rule| rule.figures != Asked::SIDES || rule.family.letter != pressure::FAMILY.letter;
        let places = compared.iter().enumerate().filter(|(_, one)| hangs(one.rule)).map(|(place, _)| place);
        let of_oil = (rules.iter().copied().filter(|rule| hangs(rule)).collect(), places.collect());
        let now = Vec::new();
        let mut doubt = Self {
            replica,
            rules,
            of_oil,
            asked,
            data,
            compared,
            judged,
            draws,
            is_drawn: false,
            all: Vec::new(),
            now,
        };
        doubt.all = (0..doubt.compared.len()).collect();
        doubt.propagate();
        doubt
    }

    /// The circuits as they are altered.
    pub(super) const fn replica(&self) -> &Replica {
        &self.replica
    }

    /// The slacks with each of some data at a value; the data are as before afterwards.
    fn slacks_at(&mut self, moved: impl Iterator<Item = (usize, f64)> + Clone, into: &mut Vec<f64>) {
        for (index, value) in moved.clone() {
            self.data[index].put(&mut self.replica, value);
        }
        if moved.clone().all(|(index, _)| self.data[index].is_of_oil()) {
            // Rules on the chain of pressures, settings and ratings find what they found.
            let (rules, places) = &self.of_oil;
            self.replica.compared(rules, self.asked, &mut self.now);
            into.clear();
            into.extend(self.compared.iter().map(|compared| compared.slack));
            put_slacks(&self.compared, places, &self.now, into);
        } else {
            self.replica.compared(&self.rules, self.asked, &mut self.now);
            into.resize(self.compared.len(), 0.0);
            put_slacks(&self.compared, &self.all, &self.now, into);
        }
        for (index, _) in moved {
            let datum = self.data[index];
            datum.put(&mut self.replica, datum.value);
        }
    }

    /// The slacks with one datum at a value.
    pub(super) fn slacks_with(&mut self, datum: usize, value: f64, into: &mut Vec<f64>) {
        self.slacks_at(std::iter::once((datum, value)), into);
    }

    fn propagate(&mut self) {
        let value: Vec<f64> = self.compared.iter().map(|compared| compared.slack).collect();
        let mut above: Vec<Vec<f64>> = vec![Vec::new(); self.data.len()];
        let mut below: Vec<Vec<f64>> = vec![Vec::new(); self.data.len()];
        for index in 0..self.data.len() {
            let datum = self.data[index];
            self.slacks_with(index, datum.away(1.0), &mut above[index]);
            if !datum.is_of_sums() {
                self.slacks_with(index, datum.away(-1.0), &mut below[index]);
            }
        }
        // By what they do to one side, sums that add next to nothing are known well enough.
        let squares = |place: usize| -> f64 { above.iter().map(|slacks| (slacks[place] - value[place]).powi(2)).sum() };
        let variances: Vec<f64> = (0..value.len()).map(squares).collect();
        for index in 0..self.data.len() {
            let matters = |place: usize| {
                let part = above[index][place] - value[place];
                part.is_nan() || variances[place].is_nan() || part * part > NEXT_TO_NOTHING * variances[place]
            };
            if below[index].is_empty() && (0..value.len()).any(matters) {
                let datum = self.data[index];
                self.slacks_with(index, datum.away(-1.0), &mut below[index]);
            }
        }
        for (place, judged) in self.judged.iter_mut().enumerate() {
            let mut curved = 0.0;
            for (above, below) in above.iter().zip(&below) {
                let (above, value) = (above[place], value[place]);
                let below = below.get(place).copied().unwrap_or(2.0 * value - above);
                let part = contribution(above, below);
                // Where a figure ends nothing that is propagated holds.
                judged.bends |= part.is_nan();
                judged.contributions.push(if part.is_nan() { 0.0 } else { part });
                curved += if part.is_nan() { 0.0 } else { curvature(value, above, below).powi(2) };
            }
            judged.propagated = combined_uncertainty(judged.contributions.iter().copied());
            judged.uncertainty = judged.propagated;
            judged.bends |= curved.sqrt() > BENDS * judged.propagated;
        }
        self.look_ahead();
    }

    /// Looks where the limit is neared fastest, as far away as a sure verdict reaches: a figure that falls off
    /// there bends, though it does not where each datum is moved by itself.
    fn look_ahead(&mut self) {
        let sure = self.replica.plant.policy.limits.sure;
        let mut there = Vec::new();
        for place in self.nearest_that_may_bend() {
            let (slack, propagated) = (self.compared[place].slack, self.judged[place].propagated);
            if propagated <= 0.0 || sure <= 0.0 {
                continue;
            }
            let reach = -sure * slack.signum();
            let toward: Vec<(usize, f64)> = self
                .data
                .iter()
                .zip(&self.judged[place].contributions)
                .enumerate()
                .filter(|(_, (_, part))| **part != 0.0)
                .map(|(index, (datum, part))| (index, datum.away(reach * part / propagated)))
                .collect();
            self.slacks_at(toward.iter().copied(), &mut there);
            let moved = (there[place] - slack) / reach;
            let judged = &mut self.judged[place];
            if moved.is_nan() {
                judged.bends = true;
            } else if (moved - propagated).abs() > BENDS * propagated {
                judged.bends = true;
                judged.uncertainty = judged.uncertainty.max(moved);
            }
        }
    }

    /// Of each circuit and rule on trapped oil the comparison that is nearest to its limit.
    fn nearest_that_may_bend(&self) -> Vec<usize> {
        let mut nearest: Vec<usize> = Vec::new();
        for (place, compared) in self.compared.iter().enumerate() {
            if compared.rule.figures == Asked::SIDES {
                continue;
            }
            let margin_of = |place: usize| margin(self.compared[place].slack, self.judged[place].propagated);
            let is_same = |other: &&mut usize| {
                let other = &self.compared[**other];
                other.circuit == compared.circuit && std::ptr::eq(other.rule, compared.rule)
            };
            match nearest.iter_mut().find(is_same) {
                Some(known) if margin_of(place) < margin_of(*known) => *known = place,
                Some(_) => {}
                None => nearest.push(place),
            }
        }
        nearest
    }

    /// The distance of a comparison from its limit in standard uncertainties.
    pub(super) fn margin(&self, place: usize) -> f64 {
        margin(self.compared[place].slack, self.judged[place].uncertainty)
    }

    /// The probability that its limit is kept.
    pub(super) fn probability(&self, place: usize) -> f64 {
        let judged = &self.judged[place];
        judged.drawn.unwrap_or_else(|| probability_of_conformity(self.compared[place].slack, judged.uncertainty))
    }

    /// Of some comparisons that with the least margin; where it bends, all that bend are drawn at random first.
    pub(super) fn least(&mut self, places: &[usize]) -> Option<usize> {
        let least = |doubt: &Self| {
            places
                .iter()
                .copied()
                .reduce(|least, next| if doubt.margin(next) < doubt.margin(least) { next } else { least })
        };
        let first = least(self)?;
        if self.judged[first].bends && !self.is_drawn && self.margin(first).abs() <= CLEAR {
            self.draw();
        }
        least(self)
    }

    /// Draws all data at random, again and again, and takes what the figures that bend show.
    fn draw(&mut self) {
        self.is_drawn = true;
        let samples = self.samples(self.draws);
        for (judged, sample) in self.judged.iter_mut().zip(&samples).filter(|(judged, _)| judged.bends) {
            // A bend never makes a verdict look surer than the straight line does.
            judged.uncertainty = judged.uncertainty.max(sample.standard_deviation());
            judged.drawn = Some(sample.share_within());
        }
    }

    /// What every comparison shows over so many draws.
    fn samples(&mut self, draws: u64) -> Vec<Sample> {
        let mut row = Draws::of(self.seed());
        let mut samples = vec![Sample::default(); self.compared.len()];
        let (mut drawn, mut slacks) = (Vec::with_capacity(self.data.len()), Vec::new());
        for _ in 0..draws {
            drawn.clear();
            drawn.extend(self.data.iter().enumerate().map(|(index, datum)| (index, datum.away(row.deviate()))));
            self.slacks_at(drawn.iter().copied(), &mut slacks);
            for (sample, slack) in samples.iter_mut().zip(&slacks) {
                sample.add(*slack);
            }
        }
        samples
    }

    /// By what the circuits are called and what stands in them, so that a run elsewhere draws the same.
    fn seed(&self) -> u64 {
        let keys = self.replica.circuits.iter().map(|circuit| circuit.key.to_string());
        let mut seed = Draws::of(self.compared.len() as u64);
        for key in keys {
            for byte in key.bytes() {
                seed = Draws::of(seed.bits() ^ u64::from(byte));
            }
        }
        for datum in &self.data {
            seed = Draws::of(seed.bits() ^ datum.value.to_bits());
        }
        seed.bits()
    }
}
