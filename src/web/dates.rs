//! Dates as people read them.

use jiff::Timestamp;
use jiff::civil::DateTime;

use crate::course::Zone;

/// A local date and time, such as “Fri 20 Nov 2026, 17:00”.
#[must_use]
pub fn local(at: DateTime) -> String {
    at.strftime("%a %-d %b %Y, %H:%M").to_string()
}

/// An instant in the course's zone.
#[must_use]
pub fn instant(zone: &Zone, at: Timestamp) -> String {
    local(zone.local(at))
}
