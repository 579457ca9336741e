//! How long something rests that could not be sent.

use std::time::Duration;

use jiff::{SignedDuration, Timestamp};

/// The first pause after a failure; each is twice the one before, up to the longest.
const FIRST_PAUSE: SignedDuration = SignedDuration::from_mins(1);
const LONGEST_PAUSE: SignedDuration = SignedDuration::from_hours(4);

/// A pass over what waits ends after so long, and the next begins with the time as it is by then: what somebody takes until
/// then is to be theirs until then.
pub(super) const LONGEST_PASS: Duration = Duration::from_secs(120);

pub(super) fn later(at: Timestamp, by: SignedDuration) -> Timestamp {
    at.saturating_add(by).unwrap_or(Timestamp::MAX)
}

/// How long something rests that was tried so many times before.
pub(super) fn pause(tries: i64) -> SignedDuration {
    let doubled = u32::try_from(tries.clamp(0, 20)).unwrap_or(0);
    let factor = 2_i32.saturating_pow(doubled);
    FIRST_PAUSE.saturating_mul(factor).min(LONGEST_PAUSE)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn pauses_grow_to_the_longest() {
        let minutes: Vec<i64> = (0..11).map(|tries| pause(tries).as_mins()).collect();
        assert_eq!(minutes, [1, 2, 4, 8, 16, 32, 64, 128, 240, 240, 240]);
        assert_eq!(pause(i64::MAX), LONGEST_PAUSE);
    }
}
