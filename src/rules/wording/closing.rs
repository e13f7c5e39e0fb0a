//! Whether the sums in a sentence come out as they are printed, for a reader who does them again.

use crate::physics::unit::{UNITS, Unit};

/// What computing with figures in other units may round off, as a share.
const ROUNDED_OFF: f64 = 1e-9;

/// What a sentence with a sum is made of, as far as the sum goes.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Token {
    /// In SI, with half of what its last printed place is worth.
    Number(f64, f64),
    Sign(char),
    Open,
    Close,
    Word,
    /// The end of a clause.
    Stop,
}

/// Whether each sum whose figures all stand in the words comes out as printed, rounded to its last place.
#[must_use]
pub fn closes(words: &str) -> bool {
    words.match_indices('=').all(|(at, sign)| {
        let sides = words[..at].strip_suffix(' ').zip(words[at + sign.len()..].strip_prefix(' '));
        sides.and_then(|(ahead, behind)| comes_out(ahead, behind)).unwrap_or(true)
    })
}

/// `None` where the words ahead of the sign are no sum, or what follows it is no figure.
fn comes_out(ahead: &str, behind: &str) -> Option<bool> {
    /// A figure, its unit and what follows them.
    const LOOKED_AT: usize = 3;
    let behind = tokens(behind.split_ascii_whitespace().take(LOOKED_AT));
    let (Token::Number(printed, half_place), rest) = behind.split_first()? else { return None };
    if matches!(rest.first(), Some(Token::Sign(_))) {
        return None;
    }
    let mut clause = tokens(last_clause(ahead).split_ascii_whitespace());
    clause.retain(|token| *token != Token::Word);
    // The sum is the longest that leads up to the sign.
    let value = (0..clause.len()).find_map(|from| whole(&clause[from..]))?;
    Some((value - printed).abs() <= half_place * (1.0 + ROUNDED_OFF) + printed.abs() * ROUNDED_OFF)
}

/// The words behind the last that ends a clause, or is a sign of equality.
fn last_clause(words: &str) -> &str {
    let mut start = words.len();
    while let Some(at) = words.as_bytes()[..start].iter().rposition(|byte| *byte == b' ') {
        if ends_clause(&words[at + 1..start]) {
            return &words[start..];
        }
        start = at;
    }
    if ends_clause(&words[..start]) { &words[start..] } else { words }
}

fn ends_clause(word: &str) -> bool {
    let last = word.bytes().rev().find(|byte| *byte != b')');
    word == "=" || last.is_some_and(|last| CLAUSE_ENDS.contains(&last))
}

const CLAUSE_ENDS: [u8; 4] = [b',', b'.', b';', b':'];

/// The value of a sum of more than one figure that takes up all of the tokens.
fn whole(tokens: &[Token]) -> Option<f64> {
    if tokens.len() < 3 {
        return None;
    }
    let mut rest = tokens;
    let value = sum(&mut rest)?;
    rest.is_empty().then_some(value)
}

fn sum(rest: &mut &[Token]) -> Option<f64> {
    let mut value = product(rest)?;
    while let Some(sign @ ('+' | '-')) = sign(rest) {
        let other = product(rest)?;
        value += if sign == '+' { other } else { -other };
    }
    Some(value)
}

fn product(rest: &mut &[Token]) -> Option<f64> {
    let mut value = factor(rest)?;
    while let Some(Token::Sign(sign @ ('×' | '/'))) = rest.first().copied() {
        *rest = &rest[1..];
        let other = factor(rest)?;
        value = if sign == '×' { value * other } else { value / other };
    }
    Some(value)
}

fn sign(rest: &mut &[Token]) -> Option<char> {
    let Some(Token::Sign(sign @ ('+' | '-'))) = rest.first().copied() else { return None };
    *rest = &rest[1..];
    Some(sign)
}

fn factor(rest: &mut &[Token]) -> Option<f64> {
    let (first, behind) = rest.split_first()?;
    *rest = behind;
    match first {
        Token::Number(value, _) => Some(*value),
        Token::Open => {
            let value = sum(rest)?;
            let (Token::Close, behind) = rest.split_first()? else { return None };
            *rest = behind;
            Some(value)
        }
        _ => None,
    }
}

fn tokens<'a>(words: impl Iterator<Item = &'a str>) -> Vec<Token> {
    /// Most sums have fewer.
    const USUAL: usize = 16;
    let mut all = Vec::with_capacity(USUAL);
    for word in words {
        let opened = word.trim_start_matches('(');
        all.extend(std::iter::repeat_n(Token::Open, word.len() - opened.len()));
        let is_mark = |byte: &u8| *byte == b')' || CLAUSE_ENDS.contains(byte);
        let marks = opened.bytes().rev().take_while(is_mark).count();
        let (core, marks) = opened.split_at(opened.len() - marks);
        add_core(core, &mut all);
        all.extend(marks.bytes().map(|mark| if mark == b')' { Token::Close } else { Token::Stop }));
    }
    all
}

fn add_core(core: &str, all: &mut Vec<Token>) {
    match core {
        "" => {}
        "×" => all.push(Token::Sign('×')),
        "/" => all.push(Token::Sign('/')),
        "+" => all.push(Token::Sign('+')),
        "-" | "−" => all.push(Token::Sign('-')),
        _ => match (number(core), all.last_mut()) {
            (Some((value, half_place)), _) => all.push(Token::Number(value, half_place)),
            // A figure and its unit.
            (None, Some(Token::Number(value, half_place))) => match unit(core) {
                Some(unit) => (*value, *half_place) = (unit.to_si(*value), unit.to_si(*half_place)),
                None => all.push(Token::Word),
            },
            (None, _) => all.push(Token::Word),
        },
    }
}

/// A unit as it is printed, whose zero is that of SI: degrees are in no sum.
fn unit(word: &str) -> Option<&'static Unit> {
    let unit = UNITS.iter().copied().find(|unit| unit.name == word)?;
    (unit.to_si(0.0).abs() < f64::EPSILON).then_some(unit)
}

fn number(text: &str) -> Option<(f64, f64)> {
    let is_plain = text.bytes().all(|byte| byte.is_ascii_digit() || matches!(byte, b'.' | b'-'));
    let value: f64 = if is_plain { text.parse().ok()? } else { return None };
    let point = text.bytes().position(|byte| byte == b'.');
    let decimals = point.map_or(0, |point| text.len() - point - 1);
    Some((value, 0.5 * 0.1_f64.powi(i32::try_from(decimals).ok()?)))
}

#[cfg(test)]
mod tests {
    use super::closes;

    /// Each done by hand.
    #[test]
    fn a_sum_comes_out_or_does_not() {
        for sentence in [
            "The clamps hold down to 75 bar: 75 bar - 0 bar = 75 bar short.",
            // 1450.4 - 475.5 = 974.9.
            "1450.4 psi - 475.5 psi = 974.9 psi short.",
            "Pump 282 bar × ratio 0.5 − return loss 3 bar = 138 bar.",
            // 2 × 24000 × 185.43 / 230 = 38698.4.
            "S1: 2 × 24000 N × (185.43 bar - 0 bar) / (230 bar - 0 bar) = 38698 N is what the support bears.",
            "(1 + 0.1) × 138 bar = 151.8 bar on the clamp side: it weeps.",
            // 100 bar × 5 cm² = 1e7 Pa × 5e-4 m² = 5000 N.
            "C1 holds 100 bar × 5 cm² = 5000 N.",
            // 60 cm³ / 2 L/min = 0.03 min.
            "The clamp time is 60 cm³ / 2 L/min = 1.8 s.",
            // No sums, or none whose figures stand there.
            "Ordered today, 2026-11-25 + 90 days = 2027-02-23; needed on 2027-02-15.",
            "Demand = swept 181 cm³ + compression 2.228 cm³.",
            "A circuit of 5 lines at 20 °C = warm.",
        ] {
            assert!(closes(sentence), "{sentence}");
        }
        for sentence in [
            "1450 psi - 475.5 psi = 974.8 psi short.",
            "the bound of 0.5 × 1450 psi = 725.2 psi; the other bound is 0.9 × 1450 psi = 1305 psi.",
            "2 × 24000 N × (185.4 bar - 0 bar) / (230 bar - 0 bar) = 38698 N.",
            "Pump 4728 psi × ratio 0.5 − return loss 43.51 psi = 2321 psi.",
        ] {
            assert!(!closes(sentence), "{sentence}");
        }
    }
}
