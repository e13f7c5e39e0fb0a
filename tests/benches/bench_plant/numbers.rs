//! Numbers by chance that a seed gives again.

/// Numbers that follow from a seed (splitmix64).
pub struct Numbers(pub u64);

impl Numbers {
    pub const fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let a = (self.0 ^ (self.0 >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        let b = (a ^ (a >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        b ^ (b >> 31)
    }

    /// A number below `count`.
    pub const fn below(&mut self, count: usize) -> usize {
        // The high half times the count needs no division, and no more than 64 bits.
        (((self.next() >> 32) * count as u64) >> 32) as usize
    }

    pub fn of<'a, T>(&mut self, choice: &'a [T]) -> &'a T {
        &choice[self.below(choice.len())]
    }
}
