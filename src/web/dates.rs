//! Dates as pages write them.

use jiff::Timestamp;

use crate::course::Zone;
pub use crate::words::local;

/// An instant as the clocks of the course show it.
pub fn instant(zone: &Zone, at: Timestamp) -> String {
    local(zone.local(at))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_instant_is_shown_by_the_clocks_of_the_course() {
        let zone = Zone::new("Europe/Lisbon").expect("is a zone");
        let at = "2026-09-14T16:00:00Z".parse().expect("is an instant");
        assert_eq!(instant(&zone, at), "Mon 14 Sep 2026, 17:00");
    }
}
