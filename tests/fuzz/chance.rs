//! A sequence that looks like chance and is the same in every run.

/// splitmix64.
pub struct Chance(u64);

impl Chance {
    pub const fn of(seed: u64, run: u64) -> Self {
        Self(seed.wrapping_mul(0x0100_0000_01b3) ^ run.wrapping_mul(0x9e37_79b9))
    }

    pub const fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut mixed = self.0;
        mixed = (mixed ^ (mixed >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        mixed ^ (mixed >> 31)
    }

    #[allow(clippy::cast_possible_truncation)]
    pub fn below(&mut self, limit: usize) -> usize {
        (self.next() % limit.max(1) as u64) as usize
    }
}
