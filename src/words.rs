//! Grammar of the sentences that pages, files and commands say.

use std::fmt::Display;

/// A number with its noun, or whatever else goes by its number: `1 trial`, `2 trials`, `1.5 points`.
pub fn counted(n: impl Display, one: &str, many: &str) -> String {
    let n = n.to_string();
    let noun = if n == "1" { one } else { many };
    format!("{n} {noun}")
}
