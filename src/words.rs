//! Grammar of the sentences that pages, files and commands say.

use std::fmt::Display;

/// A number with its noun, or whatever else goes by its number: `1 trial`, `2 trials`, `1.5 points`.
pub fn counted(n: impl Display, one: &str, many: &str) -> String {
    let n = n.to_string();
    let noun = if n == "1" { one } else { many };
    format!("{n} {noun}")
}

/// A local date and time, such as “Mon 14 Sep 2026, 17:00”.
pub fn local(at: jiff::civil::DateTime) -> String {
    at.strftime("%a %-d %b %Y, %H:%M").to_string()
}

/// A number with its sign, as people write it.
pub fn signed(points: rust_decimal::Decimal) -> String {
    let sign = if points.is_sign_negative() {
        "\u{2212}"
    } else {
        "+"
    };
    format!("{sign}{}", crate::measure::plain(points.abs()))
}
