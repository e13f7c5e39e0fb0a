//! Words behind the header of a plain number by which it counts something else than the column: pieces in pairs, days in
//! weeks.

/// Words that give a plain number another size, and are no unit of a quantity, whoever says what the header means.
pub(crate) const OTHER_SIZES: [&str; 20] = [
    "%", "‰", "percent", "per cent", "dozen", "week", "weeks", "wk", "wks", "month", "months", "mo", "year", "years",
    "yr", "yrs", "hours", "hrs", "minutes", "seconds",
];

/// What else pieces come in, times that are no days, and measures of flow and accuracy that differ from the column's (common
/// practice, no source), in the languages in which lists are kept.
const OTHER: &str = "pair pairs paar paare paire paires coppia coppie par pares set sets satz sätze kit kits jeu jeux serie pack \
    packs packet packets package packages pkg pkgs packung packungen paquet paquets confezione confezioni \
    paquete paquetes box boxes boîte boîtes scatola scatole caja cajas karton kartons carton cartons bag bags \
    beutel roll rolls rolle rollen dozens doz dz dutzend gross hundred thousand woche wochen semaine semaines \
    settimana settimane semana semanas monat monate mois mese mesi mes meses jahr jahre an ans année années anno \
    anni año años hour hr std stunde stunden heure heures ore horas minute minuten second sekunden shift shifts \
    schicht schichten working workdays business arbeitstag arbeitstage werktag werktage wt ouvrés ouvrables \
    lavorativi laborables cv gpm prozent fixture fixtures pallet pallets vorrichtung palette paletten";

/// Whether words count something else than one piece, one day or one of what a column of plain numbers holds.
pub(crate) fn counts_otherwise(words: &str) -> bool {
    let lower = words.to_lowercase();
    let is_other = |word: &str| OTHER.split(' ').any(|other| other == word) || OTHER_SIZES.contains(&word);
    // Working days, as the German trade shortens them: in small letters it is a word.
    words.split(|letter: char| !letter.is_alphabetic()).any(|word| word == "AT")
        || lower.contains(['%', '‰'])
        || lower.split(|letter: char| !letter.is_alphabetic()).any(is_other)
        || is_multiple(&lower)
}

/// `x2`, `×10`.
fn is_multiple(words: &str) -> bool {
    let behind = |at: usize, sign: char| {
        words[at + sign.len_utf8()..].trim_start().starts_with(|one: char| one.is_ascii_digit())
    };
    words.char_indices().any(|(at, sign)| matches!(sign, 'x' | '×') && behind(at, sign))
}

/// `per mm`, `mm^-1` and `mm⁻¹` as `1/mm`.
pub(crate) fn as_reciprocal(words: &str) -> Option<String> {
    let of = ["^-1", "⁻¹", "-1"].into_iter().find_map(|power| words.strip_suffix(power));
    let of = of.or_else(|| words.strip_prefix("per "))?.trim();
    (!of.is_empty() && !of.contains('/')).then(|| format!("1/{of}"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn words_that_count_otherwise_are_known_and_others_pass() {
        for words in ["pairs", "sets of 2", "x2", "working days", "AT", "Wochen", "jours ouvrés", "% FS", "Cv", "packs"]
        {
            assert!(counts_otherwise(words), "{words}");
        }
        for words in
            ["pcs", "ordered", "total", "per circuit", "static", "max. days", "at", "of FS", "strokes", "in uom"]
        {
            assert!(!counts_otherwise(words), "{words}");
        }
    }

    #[test]
    fn a_reciprocal_is_one_however_it_is_written() {
        for words in ["per mm", "mm^-1", "mm-1", "mm⁻¹"] {
            assert_eq!(as_reciprocal(words).as_deref(), Some("1/mm"), "{words}");
        }
        assert_eq!(as_reciprocal("pcs"), None);
    }
}
