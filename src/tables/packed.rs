//! Whole numbers and texts in as few bytes as they need, one after the other: there may be very many, most of them small.

/// Adds a number: seven bits a byte, the lowest first, a bit in each byte for whether another follows.
pub fn push(bytes: &mut Vec<u8>, mut number: u64) {
    while number > 0x7f {
        bytes.push(0x80 | low_bits(number));
        number >>= 7;
    }
    bytes.push(low_bits(number));
}

/// Adds a text behind its length.
pub fn push_text(bytes: &mut Vec<u8>, text: &str) {
    push(bytes, text.len() as u64);
    bytes.extend_from_slice(text.as_bytes());
}

/// Adds how far a number is from another, to either side: near ones take a byte.
pub fn push_step(bytes: &mut Vec<u8>, from: u64, to: u64) {
    let step = to.wrapping_sub(from).cast_signed();
    push(bytes, (step << 1 ^ step >> 63).cast_unsigned());
}

#[allow(clippy::cast_possible_truncation, reason = "seven bits")]
const fn low_bits(number: u64) -> u8 {
    (number & 0x7f) as u8
}

/// Reads what was packed, in the order in which it was.
#[derive(Clone, Copy, Debug)]
pub struct Packed<'a>(pub &'a [u8]);

impl<'a> Packed<'a> {
    /// The next number; 0 past the end.
    #[inline]
    pub fn number(&mut self) -> u64 {
        match self.0.split_first() {
            // As most are.
            Some((byte, rest)) if *byte < 0x80 => {
                self.0 = rest;
                u64::from(*byte)
            }
            _ => self.longer_number(),
        }
    }

    fn longer_number(&mut self) -> u64 {
        let (mut number, mut shift) = (0, 0);
        while let Some((byte, rest)) = self.0.split_first() {
            self.0 = rest;
            number |= u64::from(byte & 0x7f) << shift;
            if byte & 0x80 == 0 || shift >= 63 {
                break;
            }
            shift += 7;
        }
        number
    }

    /// The same as 32 bits, as it was packed.
    #[inline]
    pub fn small(&mut self) -> u32 {
        u32::try_from(self.number()).unwrap_or(u32::MAX)
    }

    /// The next text.
    pub fn text(&mut self) -> &'a str {
        let length = usize::try_from(self.number()).unwrap_or(usize::MAX).min(self.0.len());
        let (text, rest) = self.0.split_at(length);
        self.0 = rest;
        std::str::from_utf8(text).unwrap_or_default()
    }

    /// The same as 32 bits, as both were packed.
    #[inline]
    pub fn small_step(&mut self, from: u32) -> u32 {
        u32::try_from(self.step(from.into())).unwrap_or(u32::MAX)
    }

    /// The number that is the next step away from another.
    #[inline]
    pub fn step(&mut self, from: u64) -> u64 {
        let step = self.number();
        from.wrapping_add((step >> 1) ^ (step & 1).wrapping_neg())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_packed_comes_back_in_the_bytes_that_it_needs() {
        // Seven bits a byte: 127 is the last of one, 16,383 of two, 2^63 - 1 of nine, 2^64 - 1 of ten.
        let numbers = [
            (0, 1),
            (1, 1),
            (127, 1),
            (128, 2),
            (16_383, 2),
            (16_384, 3),
            (u64::from(u32::MAX), 5),
            (u64::MAX >> 1, 9),
            (u64::MAX, 10),
        ];
        let mut all = Vec::new();
        for (number, length) in numbers {
            let before = all.len();
            push(&mut all, number);
            assert_eq!(all.len() - before, length, "{number}");
        }
        push_text(&mut all, "");
        push_text(&mut all, "\u{c4}/1");
        let mut packed = Packed(&all);
        for (number, _) in numbers {
            assert_eq!(packed.number(), number);
        }
        assert_eq!((packed.text(), packed.text()), ("", "\u{c4}/1"));
        assert!(packed.0.is_empty());
        assert_eq!((packed.number(), packed.text()), (0, ""));
    }

    #[test]
    fn steps_lead_to_either_side_and_near_ones_take_a_byte() {
        let ends = [0, 1, 63, 64, 1_000, u64::MAX >> 1, (u64::MAX >> 1) + 1, u64::MAX - 1, u64::MAX];
        for from in ends {
            for to in ends {
                let mut bytes = Vec::new();
                push_step(&mut bytes, from, to);
                assert_eq!(Packed(&bytes).step(from), to, "{from} to {to}");
                assert_eq!(bytes.len() == 1, to.wrapping_sub(from) < 64 || from.wrapping_sub(to) <= 64);
            }
        }
    }
}
