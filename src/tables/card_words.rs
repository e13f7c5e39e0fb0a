//! The words of a load card: what stands on it, and what a plant puts in its place for its operators.

use std::collections::BTreeMap;

/// A label of the cards: its key in `[cards.words]` and its text. What stands in braces is filled in.
#[derive(Clone, Copy, Debug)]
pub struct CardWord {
    pub key: &'static str,
    pub text: &'static str,
}

macro_rules! card_words {
    ($($key:ident = $text:literal;)+) => {
        /// A label of the cards.
        #[derive(Clone, Copy, Debug, PartialEq, Eq)]
        #[allow(non_camel_case_types, reason = "named as the keys of the policy")]
        pub enum CardLabel { $($key),+ }

        /// Every label of a card, in the order of a card.
        pub static CARD_WORDS: &[CardWord] = &[$(CardWord { key: stringify!($key), text: $text }),+];
    };
}

card_words! {
    title = "Load card: pallet {pallet}";
    revision = "Revision {date}, run {run}. Pressures are gauge.";
    may_travel = "May travel once charged as below, each gauge within its readings.";
    may_travel_once_proved = "May travel once its planned circuits have passed the proof test and it is charged as below, each gauge within its readings.";
    may_be_used = "May be used while it stays connected.";
    may_be_used_once_proved = "May be used while it stays connected, once its planned circuits have passed the proof test.";
    as_allowed = "TRAVELS ONLY AS THE ENGINEER ALLOWS.";
    must_not_travel = "THIS PALLET MUST NOT TRAVEL.";
    release_and_tag = "Release its pressure, tag it and call the engineer.";
    tag_and_call = "Tag it and call the engineer.";
    kept_shut = "OPEN NO FITTING of {circuits}: nothing listed releases all its oil by hand.";
    kept_unseen = "OPEN NO FITTING of {circuits}: no gauge listed shows that it is released.";
    do_not_use = "DO NOT USE: {fixture}, circuit {circuit}. {why}";
    do_not_use_too = "DO NOT USE: {circuits}.";
    shared_cause = "Its load station or a part on it does not conform.";
    not_assessed = "{fixture}, circuit {circuit}: NOT ASSESSED, use only as the engineer allows. {why}";
    and_more = "{first}, and {number} more.";
    circuit = "{fixture}, circuit {circuit}";
    planned = "Planned: proof test first.";
    station = "Load station {station}, pump setting {pressure}.";
    air_station = "Load station {station}, air pressure {pressure}.";
    charge_at = "Charge at {temperature}.";
    after_charging = "Gauge just after charging {pressure}, settled {settled}.";
    charged_at = "{gauge} just after charging {pressure}.";
    behind = "Behind the reducing valve {pressure}, settled {settled}.";
    no_gauge = "No gauge and no test point shows the trapped oil.";
    no_reading = "{gauge} can't show at every temperature that {fixture}, circuit {circuit} is safe: use only as the engineer allows.";
    charged = "Gauge after charging {pressure}.";
    connected = "Stays connected.";
    needed = "The clamps need at least {pressure}.";
    read_again = "Read again within {time}.";
    read_often = "Read again at every stop.";
    minutes = "{number} min";
    hours = "{number} h";
    topped_up = "Oil last added {date}.";
    top_up_by = "Add oil by {date}.";
    top_up_overdue = "OIL OVERDUE since {date}: add oil before it travels.";
    past_life = "PAST ITS LIFE: {parts}. Call the engineer.";
    not_looked_at = "Not looked at: {what}.";
    asked_holding = "whether the pressure holds";
    asked_force = "whether the clamps' force will do";
    temperatures_missing = "Not all temperatures are stated: heat or cold was not looked at.";
    softer = "Stiffness of trapped {fluids} is not stated: heat, cold and leaks may change its pressure by more than the readings allow for.";
    waived = "Waived: {what}: {condition} ({who}, until {date}).";
    gauge_at = "Gauge by temperature [{unit}]";
    gauge = "Gauge";
    test_point = "Test point";
    lowest = "{gauge}: lowest [{unit}]";
    highest = "{gauge}: highest [{unit}]";
    between = "Between two: lowest of the warmer, highest of the colder oil.";
    outside = "-: not made for this temperature.";
    not_known = "?: not known, so only as the engineer allows.";
    beyond_charging = "x: charged as stated it settles lower, so only as the engineer allows. Do not raise the pump setting.";
    unknown = "unknown";
    accuracy_missing = "The gauge's accuracy is not stated: nothing is allowed for it.";
    leak_missing = "A leak is not stated: it may need to read more than the lowest.";
    check_valve_missing = "No check valve is listed: nothing is known to hold its pressure.";
    below_lowest = "Below the lowest, or not known: do not move the pallet. Release the pressure, look for oil outside, charge again as stated and watch the gauge; if it falls again, tag the pallet and call maintenance.";
    above_highest = "Above the highest: release pressure before it gets warmer.";
    below_lowest_kept_shut = "Below the lowest, or not known: do not move the pallet. Tag it and call the engineer.";
    above_highest_kept_shut = "Above the highest: keep the pallet from getting warmer and call the engineer.";
    connection_lost = "A circuit that stays connected: stop the machine if the gauge falls, check pump and connection, tag the pallet if the pressure does not come back.";
    caution_energy = "Trapped oil is stored energy. Release it and see the gauge read zero before any work on a circuit; lock out and tag the load station.";
    caution_zones = "A gauge shows its own zone: pressure can remain behind a sequence, reducing or check valve. Release every zone.";
    caution_energy_kept_shut = "Trapped oil is stored energy. Do no work on a circuit of which no fitting may be opened. Release any other and see its gauge read zero before any work on it; lock out and tag the load station.";
    caution_zones_kept_shut = "A gauge shows its own zone: pressure can remain behind a sequence, reducing or check valve. Release every zone of a circuit that may be opened.";
    caution_gas = "An accumulator's gas stays under pressure.";
    caution_proof = "New or changed circuits: proof test first.";
    why_below = "Why: see below.";
    for_the_engineer = "For the engineer: {what}";
    checked_by = "Checked by";
    date = "Date";
    signature = "Signature";
    page = "Page";
}

impl CardWord {
    /// The names in braces of a text.
    pub fn blanks(text: &str) -> impl Iterator<Item = &str> {
        text.split('{').skip(1).filter_map(|rest| rest.split_once('}').map(|(name, _)| name))
    }

    /// What keeps a text from standing in this one's place: a name in braces that is not filled in here, or one that
    /// is left out.
    ///
    /// # Errors
    ///
    /// The sentence that says so.
    pub fn accept(&self, text: &str) -> Result<(), String> {
        let of = |text: &'static str| Self::blanks(text).collect::<Vec<_>>();
        let (wanted, given) = (of(self.text), Self::blanks(text).collect::<Vec<_>>());
        let braced = |names: &[&str]| names.iter().map(|name| format!("{{{name}}}")).collect::<Vec<_>>().join(", ");
        let is_same = wanted.iter().all(|name| given.contains(name)) && given.iter().all(|name| wanted.contains(name));
        if is_same {
            return Ok(());
        }
        let wanted = if wanted.is_empty() { "no braces".to_owned() } else { braced(&wanted) };
        Err(format!("found {text:?}, expected a text with {wanted}"))
    }
}

impl CardLabel {
    /// The label, with the plant's own words where it has some, filled in.
    #[must_use]
    pub fn said(self, own: &BTreeMap<String, String>, filled: &[(&str, &str)]) -> String {
        let Some(word) = CARD_WORDS.get(self as usize) else { return String::new() };
        let text = own.get(word.key).map_or(word.text, String::as_str);
        let mut said = String::new();
        let mut rest = text;
        while let Some((before, after)) = rest.split_once('{') {
            said.push_str(before);
            let Some((name, further)) = after.split_once('}') else { break };
            said.push_str(filled.iter().find(|(known, _)| *known == name).map_or("", |(_, value)| value));
            rest = further;
        }
        said.push_str(rest);
        said
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_plants_own_words_stand_in_their_place() {
        let filled = [("number", "90")];
        assert_eq!(CardLabel::minutes.said(&BTreeMap::new(), &filled), "90 min");
        let own = BTreeMap::from([("minutes".to_owned(), "nach {number} Minuten".to_owned())]);
        assert_eq!(CardLabel::minutes.said(&own, &filled), "nach 90 Minuten");
        // What is filled in is not looked at again.
        assert_eq!(CardLabel::minutes.said(&own, &[("number", "{number}")]), "nach {number} Minuten");
    }

    #[test]
    fn words_that_leave_a_figure_out_are_refused() {
        let word = CARD_WORDS.iter().find(|word| word.key == "do_not_use").unwrap();
        assert!(word.accept("NICHT BENUTZEN: {fixture}, Kreis {circuit}. {why}").is_ok());
        for text in ["NICHT BENUTZEN", "{fixture} {circuit}", "{fixture} {circuit} {why} {who}"] {
            let sentence = word.accept(text).unwrap_err();
            assert!(sentence.ends_with("expected a text with {fixture}, {circuit}, {why}"), "{sentence}");
        }
    }
}
