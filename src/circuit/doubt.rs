//! What the spread of each datum does to each figure that is compared with a limit.

#[cfg(test)]
mod tests;

use crate::physics::draws::{Draws, Sample};
use crate::physics::propagation::{
    Combined, REACH, combined_uncertainty, contribution, curvature, margin, probability_of_conformity,
};
use crate::rules::{Asked, Rule};

use super::affected::Affected;
use super::datum::{Bundle, Datum, data};
use super::replica::{Compared, Replica, put_slacks};
use super::rivals::Rival;

/// Of its uncertainty as propagated: a figure that bends by more is drawn at random.
const BENDS: f64 = 0.2;
/// Share of a variance below which a datum is moved to one side alone.
const NEXT_TO_NOTHING: f64 = 1e-3;
/// Times the least margin, as far as it is known from one side: beyond, a comparison is not looked at from the other.
const IN_QUESTION: f64 = 2.0;
/// Margins beyond which no draw at random would change what is said.
const CLEAR: f64 = 4.0;
/// Cosine of the angle between two steepest ways from which on a look along one tells of the other.
const ALONG: f64 = 0.95;

/// Standard uncertainties of a gap up to which two figures may change places: beyond, one draw of a thousand does.
const ACROSS: f64 = 3.0;
/// How far beyond the change a look goes.
const BEYOND: f64 = 1.0;

/// One comparison with what is known of its uncertainty.
#[derive(Clone, Copy)]
pub(super) struct Judged {
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
    /// By what is affected: those of them that it concerns, and where their comparisons stand.
    concerned: Vec<Concerned>,
    asked: Asked,
    pub(super) data: Vec<Datum>,
    /// As the circuits stand.
    pub(super) compared: Vec<Compared>,
    pub(super) judged: Vec<Judged>,
    /// What each datum adds to the uncertainty of each comparison, with its sign.
    moves: Moves,
    draws: u64,
    is_drawn: bool,
    /// Filled again at each look.
    now: Vec<Compared>,
}

/// The rules that what is affected concerns.
struct Concerned {
    affected: Affected,
    rules: Vec<&'static Rule>,
    /// Places of their comparisons.
    places: Vec<usize>,
}

/// What each datum adds to the comparisons that it concerns and how much that bends; a side to which it was not moved
/// mirrors the other.
#[derive(Default)]
struct Moves {
    /// The slacks as they are.
    value: Vec<f64>,
    /// By datum; `None` where it was not moved by itself.
    of_data: Vec<Option<Moved>>,
    /// Of all data one after the other, with each moved up.
    above: Vec<f64>,
    parts: Vec<f64>,
    bends: Vec<f64>,
}

/// A datum that was moved by itself.
#[derive(Clone, Copy)]
struct Moved {
    /// Which comparisons it concerns.
    concerned: usize,
    /// Where they begin among those of all data.
    start: usize,
    is_mirrored: bool,
}

impl Moves {
    /// Nothing is moved yet.
    fn of(data: usize, value: Vec<f64>) -> Self {
        Self { value, of_data: vec![None; data], ..Self::default() }
    }

    fn put_above(&mut self, datum: usize, concerned: usize, places: &[usize], slacks: &[f64]) {
        let start = self.above.len();
        self.of_data[datum] = Some(Moved { concerned, start, is_mirrored: true });
        self.above.extend_from_slice(slacks);
        self.parts.resize(self.above.len(), 0.0);
        self.bends.resize(self.above.len(), 0.0);
        self.put(start, places, |above, value| 2.0 * value - above, slacks);
    }

    fn put_below(&mut self, datum: usize, places: &[usize], slacks: &[f64]) {
        if let Some(moved) = &mut self.of_data[datum] {
            moved.is_mirrored = false;
            let start = moved.start;
            self.put(start, places, |below, _| below, slacks);
        }
    }

    /// With the datum moved down, by what the slacks there, or those above and as they are, make of it.
    fn put(&mut self, start: usize, places: &[usize], below: impl Fn(f64, f64) -> f64, slacks: &[f64]) {
        let range = start..start + places.len();
        let (above, parts, bends) =
            (&self.above[range.clone()], &mut self.parts[range.clone()], &mut self.bends[range]);
        for ((((above, part), bend), slack), place) in above.iter().zip(parts).zip(bends).zip(slacks).zip(places) {
            let value = self.value[*place];
            let below = below(*slack, value);
            // Most data move hardly any of the comparisons.
            let is_still = above.total_cmp(&value).is_eq() && below.total_cmp(&value).is_eq();
            (*part, *bend) = if is_still {
                (0.0, 0.0)
            } else {
                (contribution(value, *above, below), curvature(value, *above, below))
            };
        }
    }

    /// Comparisons with what a datum adds to each, and how much that bends.
    fn of_datum<'a>(
        &'a self,
        datum: usize,
        concerned: &'a [Concerned],
    ) -> impl Iterator<Item = (usize, f64, f64)> + use<'a> {
        let moved = self.of_data.get(datum).copied().flatten();
        moved.into_iter().flat_map(move |moved| {
            let places = &concerned[moved.concerned].places;
            let range = moved.start..moved.start + places.len();
            let both = self.parts[range.clone()].iter().zip(&self.bends[range]);
            places.iter().zip(both).map(|(place, (part, bend))| (*place, *part, *bend))
        })
    }

    /// What a datum adds to a comparison.
    fn part(&self, datum: usize, place: usize, concerned: &[Concerned]) -> f64 {
        let moved = self.of_data.get(datum).copied().flatten();
        let at =
            moved.and_then(|moved| Some(moved.start + concerned[moved.concerned].places.binary_search(&place).ok()?));
        at.map_or(0.0, |at| self.parts[at])
    }

    /// By comparison, of all data together.
    fn variances(&self, concerned: &[Concerned]) -> Vec<f64> {
        let mut variances = vec![0.0; self.value.len()];
        for datum in 0..self.of_data.len() {
            self.of_datum(datum, concerned).for_each(|(place, part, _)| variances[place] += part * part);
        }
        variances
    }

    /// Takes what is no number for nothing.
    fn without_blanks(mut self) -> Self {
        self.parts.iter_mut().filter(|part| part.is_nan()).for_each(|part| *part = 0.0);
        self
    }
}

/// Whether a part of a variance is more than next to nothing; what is no number is.
fn matters(part: f64, variance: f64) -> bool {
    part.is_nan() || variance.is_nan() || part * part > NEXT_TO_NOTHING * variance
}

impl Doubt {
    /// The circuits with what is compared on them; nothing is moved yet.
    pub(super) fn about(mut replica: Replica, draws: u64) -> Self {
        let all = replica.weighing_rules();
        let mut compared = Vec::new();
        replica.first_look(&all, &mut compared);
        let is_used = |rule: &&Rule| compared.iter().any(|one: &Compared| std::ptr::eq(one.rule, *rule));
        let rules: Vec<&'static Rule> = all.into_iter().filter(is_used).collect();
        let asked = Asked::by(&rules);
        let blank = Judged { propagated: 0.0, uncertainty: 0.0, bends: false, drawn: None };
        let judged = vec![blank; compared.len()];
        Self {
            replica,
            rules,
            concerned: Vec::new(),
            asked,
            data: Vec::new(),
            compared,
            judged,
            moves: Moves::default(),
            draws,
            is_drawn: false,
            now: Vec::new(),
        }
    }

    /// The circuits as they are altered.
    pub(super) const fn replica(&self) -> &Replica {
        &self.replica
    }

    /// What each datum adds to the uncertainty of a comparison, with its sign.
    pub(super) fn contributions(&self, place: usize) -> impl Iterator<Item = f64> {
        (0..self.data.len()).map(move |datum| self.contribution(datum, place))
    }

    /// What a datum adds to it.
    pub(super) fn contribution(&self, datum: usize, place: usize) -> f64 {
        self.moves.part(datum, place, &self.concerned)
    }

    /// The slacks with each of some data at a value; the data are as before afterwards.
    ///
    /// * `is_near` – whether they are moved a little, so that trapped oil may be interpolated
    fn slacks_at(&mut self, moved: impl Iterator<Item = (usize, f64)> + Clone, is_near: bool, into: &mut Vec<f64>) {
        let mut concerned = Vec::new();
        let places = self.concerned_slacks(moved, is_near, &mut concerned);
        // What rules found that are not concerned is what they find.
        into.clear();
        into.extend(self.compared.iter().map(|compared| compared.slack));
        for (place, slack) in self.concerned[places].places.iter().zip(concerned) {
            into[*place] = slack;
        }
    }

    /// Those of the comparisons that the data concern; gives which these are.
    fn concerned_slacks(
        &mut self,
        moved: impl Iterator<Item = (usize, f64)> + Clone,
        is_near: bool,
        into: &mut Vec<f64>,
    ) -> usize {
        let mut affected = Affected::default();
        for (index, value) in moved.clone() {
            self.data[index].put(&mut self.replica, value);
            affected = affected.and(self.data[index].affected);
        }
        let concerned = self.concerned(affected);
        let Concerned { rules, places, .. } = &self.concerned[concerned];
        self.replica.compared(rules, self.asked, affected, is_near, &mut self.now);
        put_slacks(&self.compared, places, &self.now, into);
        for (index, _) in moved {
            let datum = self.data[index];
            datum.put(&mut self.replica, datum.value);
        }
        concerned
    }

    /// The place of the rules that what is affected concerns.
    fn concerned(&mut self, affected: Affected) -> usize {
        self.concerned.iter().position(|known| known.affected == affected).unwrap_or_else(|| {
            let rules: Vec<&'static Rule> = self.rules.iter().copied().filter(|rule| affected.concerns(rule)).collect();
            // Comparisons of a circuit stand in the order of the rules.
            let mut last = (std::ptr::null::<Rule>(), false);
            let mut is_concerned = |rule: &'static Rule| {
                if !std::ptr::eq(last.0, rule) {
                    last = (rule, rules.iter().any(|concerned| std::ptr::eq(*concerned, rule)));
                }
                last.1
            };
            let all = self.compared.iter().enumerate();
            let places = all.filter(|(_, one)| is_concerned(one.rule)).map(|(place, _)| place).collect();
            self.concerned.push(Concerned { affected, rules, places });
            self.concerned.len() - 1
        })
    }

    /// The slacks with one datum at a value, everything worked out again.
    pub(super) fn slacks_with(&mut self, datum: usize, value: f64, into: &mut Vec<f64>) {
        self.slacks_at(std::iter::once((datum, value)), false, into);
    }

    /// Those that a datum concerns, which is moved by its own uncertainty; gives which these are.
    fn slacks_near(&mut self, index: usize, deviates: f64, into: &mut Vec<f64>) -> usize {
        let value = self.data[index].away(deviates);
        self.concerned_slacks(std::iter::once((index, value)), true, into)
    }

    /// Propagates the spread of every datum, as exactly as is needed to know the least margin among some comparisons
    /// of each circuit; with none nothing is asked.
    pub(super) fn propagate(&mut self, wanted: &[Vec<usize>]) {
        if wanted.iter().all(Vec::is_empty) {
            return;
        }
        self.data = data(&self.replica, self.asked);
        let moves = self.moves(wanted);
        let width = self.compared.len();
        let (mut combined, mut curved) = (vec![Combined::default(); width], vec![Combined::default(); width]);
        for datum in 0..self.data.len() {
            for (place, part, bend) in moves.of_datum(datum, &self.concerned) {
                if part.is_nan() {
                    // Where a figure ends nothing that is propagated holds.
                    self.judged[place].bends = true;
                } else {
                    combined[place].add(part);
                    curved[place].add(bend);
                }
            }
        }
        for ((judged, combined), curved) in self.judged.iter_mut().zip(combined).zip(curved) {
            judged.propagated = combined.uncertainty();
            judged.uncertainty = judged.propagated;
            judged.bends |= curved.uncertainty() > BENDS * judged.propagated;
        }
        self.moves = moves.without_blanks();
        self.look_ahead();
        self.look_across();
    }

    /// Every datum moved to one side, and to the other where that may matter; of those that are moved together, each by
    /// itself where that may matter.
    fn moves(&mut self, wanted: &[Vec<usize>]) -> Moves {
        let width = self.compared.len();
        let value: Vec<f64> = self.compared.iter().map(|compared| compared.slack).collect();
        let mut moves = Moves::of(self.data.len(), value.clone());
        let bundles = self.bundles();
        let bundled: Vec<usize> = bundles.iter().flatten().copied().collect();
        for index in 0..self.data.len() {
            if !bundled.contains(&index) {
                self.move_by_itself(index, &mut moves);
            }
        }
        let alone = moves.variances(&self.concerned);
        let together: Vec<Vec<f64>> = bundles.iter().map(|bundle| self.moved_together(bundle, &value)).collect();
        let most = |place: usize| alone[place] + together.iter().map(|parts| parts[place].powi(2)).sum::<f64>();
        let most: Vec<f64> = (0..width).map(most).collect();
        let in_question = self.in_question(&alone, &most, wanted);
        for (bundle, parts) in bundles.iter().zip(&together) {
            if in_question.iter().any(|place| matters(parts[*place], most[*place])) {
                bundle.iter().for_each(|index| self.move_by_itself(*index, &mut moves));
            }
        }
        let variances = moves.variances(&self.concerned);
        let mut slacks = Vec::new();
        for index in 0..self.data.len() {
            let is_mirrored = moves.of_data[index].is_some_and(|moved| moved.is_mirrored);
            let does = |place: &usize| matters(moves.part(index, *place, &self.concerned), variances[*place]);
            if is_mirrored && in_question.iter().any(does) {
                let concerned = self.slacks_near(index, -REACH, &mut slacks);
                moves.put_below(index, &self.concerned[concerned].places, &slacks);
            }
        }
        moves
    }

    /// Moves a datum up, and down where one side does not tell.
    fn move_by_itself(&mut self, index: usize, moves: &mut Moves) {
        let mut slacks = Vec::new();
        let concerned = self.slacks_near(index, REACH, &mut slacks);
        moves.put_above(index, concerned, &self.concerned[concerned].places, &slacks);
        if !self.data[index].is_smooth(&self.replica) {
            let concerned = self.slacks_near(index, -REACH, &mut slacks);
            moves.put_below(index, &self.concerned[concerned].places, &slacks);
        }
    }

    /// Data of each bundle, where it has more than one.
    fn bundles(&self) -> Vec<Vec<usize>> {
        let of_bundle = |bundle: Bundle| -> Vec<usize> {
            let is_in = |index: &usize| self.data[*index].bundle(&self.replica) == Some(bundle);
            (0..self.data.len()).filter(is_in).collect()
        };
        Bundle::ALL.into_iter().map(of_bundle).filter(|data| data.len() > 1).collect()
    }

    /// What data of a bundle do together, at most, as a standard uncertainty: no less than what they do by themselves.
    fn moved_together(&mut self, bundle: &[usize], value: &[f64]) -> Vec<f64> {
        let mut parts = vec![0.0_f64; value.len()];
        let mut slacks = Vec::new();
        for deviates in [REACH, -REACH] {
            if deviates < 0.0 && bundle.iter().all(|index| self.data[*index].is_smooth(&self.replica)) {
                continue;
            }
            let moved: Vec<(usize, f64)> =
                bundle.iter().map(|index| (*index, self.data[*index].away(deviates))).collect();
            self.slacks_at(moved.iter().copied(), true, &mut slacks);
            for ((part, slack), value) in parts.iter_mut().zip(&slacks).zip(value) {
                let change = (slack - value).abs() / REACH;
                *part = if change.is_nan() { f64::NAN } else { part.max(change) };
            }
        }
        parts
    }

    /// The comparisons that may turn out to be the nearest to their limits, of those wanted by circuit.
    ///
    /// * `least`, `most` – their variances at least and at most
    fn in_question(&self, least: &[f64], most: &[f64], wanted: &[Vec<usize>]) -> Vec<usize> {
        let margin_by =
            |variances: &[f64], place: usize| margin(self.compared[place].slack, variances[place].sqrt()).abs();
        let mut in_question = Vec::new();
        for places in wanted {
            let kept = places.iter().copied().filter(|place| self.compared[*place].slack >= 0.0);
            let nearest = kept.clone().map(|place| margin_by(least, place)).fold(f64::INFINITY, f64::min);
            let missed = places.iter().copied().filter(|place| self.compared[*place].slack < 0.0);
            // What is no number is in question, too.
            let is_clear = |place: &usize| margin_by(most, *place) > IN_QUESTION * nearest + 0.5;
            in_question.extend(kept.filter(|place| !is_clear(place)).chain(missed));
        }
        in_question
    }

    /// Looks where the limit is neared fastest, as far away as a sure verdict reaches: a figure that falls off
    /// there bends, though it does not where each datum is moved by itself.
    fn look_ahead(&mut self) {
        let sure = self.replica.plant.policy.limits.sure;
        let mut there = Vec::new();
        let mut left = self.nearest_that_may_bend();
        left.retain(|place| self.judged[*place].propagated > 0.0 && sure > 0.0);
        while let Some(leader) = left.first().copied() {
            let reach = -sure * self.compared[leader].slack.signum() / self.judged[leader].propagated;
            let parts = self.contributions(leader).map(|part| reach * part);
            let deviates: Vec<(usize, f64)> = parts.enumerate().filter(|(_, away)| *away != 0.0).collect();
            let toward: Vec<(usize, f64)> =
                deviates.iter().map(|(index, away)| (*index, self.data[*index].away(*away))).collect();
            self.slacks_at(toward.iter().copied(), false, &mut there);
            let straight = self.straight(&deviates);
            self.mark_bends(&straight, &there, sure);
            let mut others = Vec::new();
            for place in left {
                let (slack, propagated) = (self.compared[place].slack, self.judged[place].propagated);
                let along = straight[place];
                let is_near = -along * slack.signum() >= ALONG * sure * propagated;
                if place != leader && !is_near {
                    others.push(place);
                    continue;
                }
                let moved = (there[place] - slack) / along;
                let judged = &mut self.judged[place];
                if moved.is_nan() {
                    judged.bends = true;
                } else if (moved - 1.0).abs() > BENDS {
                    judged.bends = true;
                    judged.uncertainty = judged.uncertainty.max(moved * propagated);
                }
            }
            left = others;
        }
    }

    /// Looks beyond where two figures change places of which only one counts, and marks what is other there than it would
    /// be with the one that counts now.
    fn look_across(&mut self) {
        let mut there = Vec::new();
        for rival in Rival::all(&self.replica) {
            let Some(gap) = rival.gap(&self.replica) else { continue };
            let mut parts: Vec<(usize, f64)> = Vec::new();
            for index in 0..self.data.len() {
                let datum = self.data[index];
                if rival.hangs_on(datum.key()) {
                    datum.put(&mut self.replica, datum.away(1.0));
                    let moved = rival.gap(&self.replica).map_or(0.0, |moved| moved - gap);
                    datum.put(&mut self.replica, datum.value);
                    parts.extend((moved != 0.0).then_some((index, moved)));
                }
            }
            let uncertainty = combined_uncertainty(parts.iter().map(|(_, part)| *part));
            let distance = margin(gap.abs(), uncertainty);
            if distance > ACROSS {
                continue;
            }
            let reach = -(distance + BEYOND) * gap.signum() / uncertainty;
            let deviates: Vec<(usize, f64)> = parts.iter().map(|(index, part)| (*index, part * reach)).collect();
            let moved: Vec<(usize, f64)> =
                deviates.iter().map(|(index, away)| (*index, self.data[*index].away(*away))).collect();
            self.slacks_at(moved.iter().copied(), false, &mut there);
            self.mark_bends(&self.straight(&deviates), &there, BEYOND);
        }
    }

    /// By how much the straight line moves each comparison with data so many standard uncertainties away.
    fn straight(&self, deviates: &[(usize, f64)]) -> Vec<f64> {
        let mut straight = vec![0.0; self.compared.len()];
        for (index, away) in deviates {
            let moved = self.moves.of_datum(*index, &self.concerned);
            moved.for_each(|(place, part, _)| straight[place] += part * away);
        }
        straight
    }

    /// Marks every comparison that is not where the straight line has it with all data moved so far: something that
    /// none of them showed by itself has come into play, as the one of two settings that was not the lower before.
    ///
    /// * `reach` – standard uncertainties over which it may have bent
    fn mark_bends(&mut self, straight: &[f64], there: &[f64], reach: f64) {
        for (place, judged) in self.judged.iter_mut().enumerate() {
            let slack = self.compared[place].slack;
            let off = there[place] - slack - straight[place];
            judged.bends |= off.is_nan() || off.abs() > BENDS * reach * judged.propagated + 1e-9 * slack.abs();
        }
    }

    /// Of each circuit the comparison that is nearest to its limit, and of each rule on trapped oil.
    fn nearest_that_may_bend(&self) -> Vec<usize> {
        let margin_of = |place: usize| margin(self.compared[place].slack, self.judged[place].propagated);
        let mut nearest: Vec<usize> = Vec::new();
        for circuit in 0..self.replica.circuits.len() {
            let own = (0..self.compared.len()).filter(|place| self.compared[*place].circuit == circuit);
            nearest.extend(own.min_by(|one, other| margin_of(*one).abs().total_cmp(&margin_of(*other).abs())));
        }
        let of_circuits = nearest.len();
        for (place, compared) in self.compared.iter().enumerate() {
            if compared.rule.figures == Asked::SIDES {
                continue;
            }
            let is_same = |other: &&mut usize| {
                let other = &self.compared[**other];
                other.circuit == compared.circuit && std::ptr::eq(other.rule, compared.rule)
            };
            match nearest[of_circuits..].iter_mut().find(is_same) {
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
            self.slacks_at(drawn.iter().copied(), false, &mut slacks);
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
