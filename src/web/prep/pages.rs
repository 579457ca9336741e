//! What pages of the prep room share.

use crate::language::Language;
use crate::truth::{Assigned, Keeping, ShelfLife};
use crate::web::Uncertainty;
use crate::workup::{DerivationPart, Recorded};

/// A record with all that leads to its value.
pub struct Shown {
    pub parts: Vec<DerivationPart>,
    /// What makes the value uncertain.
    pub uncertainty: Uncertainty,
}

/// Days as a page shows them.
pub struct Days {
    /// When it was made, or a dash.
    pub made: String,
    /// Until when it keeps, or a dash.
    pub expires: String,
    /// A word of warning.
    pub warning: Option<String>,
    /// Whether it is past its day.
    pub expired: bool,
}

impl Shown {
    pub fn of(recorded: &Recorded) -> Option<Self> {
        Some(Self {
            parts: recorded.derivation(),
            uncertainty: Uncertainty::new(recorded.causes()?, Language::English),
        })
    }
}

impl Days {
    pub fn of(life: Option<&ShelfLife>, today: jiff::civil::Date) -> Self {
        let life = life.copied().unwrap_or_default();
        let keeping = life.keeping(today);
        Self {
            made: day(life.made),
            expires: day(life.expires),
            warning: keeping.words(),
            expired: matches!(keeping, Keeping::Expired(_)),
        }
    }
}

/// A day, such as “14 Sep 2026”, or a dash.
pub fn day(day: Option<jiff::civil::Date>) -> String {
    day.map_or_else(
        || "–".to_owned(),
        |day| day.strftime("%-d %b %Y").to_string(),
    )
}

/// Such as `0.10012 ± 0.00011`.
pub fn in_words(assigned: &Assigned) -> String {
    let (value, u) = assigned.rounded();
    format!("{value} ± {u}")
}
