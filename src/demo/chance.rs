//! A small generator of numbers that is the same everywhere for the same seed (splitmix64, Steele et al., 2014). For
//! invented data only, never for a secret.

/// The generator.
#[derive(Clone, Debug)]
pub struct Chance(u64);

impl Chance {
    /// From a seed.
    pub fn new(seed: u64) -> Self {
        Self(seed)
    }

    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^ (z >> 31)
    }

    /// A number from `low` to `high`, both included.
    pub fn between(&mut self, low: i64, high: i64) -> i64 {
        let span = u64::try_from(high - low + 1).unwrap_or(1);
        low + i64::try_from(self.next() % span).unwrap_or(0)
    }

    /// One of a list.
    pub fn one<'a, T: ?Sized>(&mut self, list: &[&'a T]) -> Option<&'a T> {
        let end = i64::try_from(list.len()).unwrap_or(1) - 1;
        let at = usize::try_from(self.between(0, end.max(0))).unwrap_or(0);
        list.get(at).copied()
    }
}
