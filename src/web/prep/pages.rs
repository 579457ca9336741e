//! What pages of the prep room share.

use crate::measure::{plain, to_decimals, to_figures};
use crate::truth::{Assigned, Keeping, ShelfLife};
use crate::web::{Fields, Uncertainty};
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
            uncertainty: Uncertainty::new(recorded.causes()?),
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

/// A value to the last digit that its uncertainty to two figures has, and that uncertainty.
pub fn both(assigned: &Assigned) -> (String, String) {
    let u = assigned.standard_uncertainty;
    if u.is_zero() {
        return (plain(to_figures(assigned.value, 6)), "0".to_owned());
    }
    let u = to_figures(u, 2);
    (
        to_decimals(assigned.value, u.scale()).to_string(),
        u.to_string(),
    )
}

/// Such as `0.10012 ± 0.00011`.
pub fn in_words(assigned: &Assigned) -> String {
    let (value, u) = both(assigned);
    format!("{value} ± {u}")
}

/// What is wrong with the days of a form.
pub fn day_faults(typed: &Fields) -> Vec<(String, String)> {
    let mut faults = Vec::new();
    let mut read = |name: &str| {
        let text = typed.text(name);
        if text.is_empty() {
            return None;
        }
        crate::text::day(text)
            .map_err(|what| faults.push((name.to_owned(), what)))
            .ok()
    };
    let (made, expires) = (read("made"), read("expires"));
    if let (Some(made), Some(expires)) = (made, expires)
        && expires < made
    {
        let what = format!("found {expires}, expected a day from {made} on, when it was made");
        faults.push(("expires".to_owned(), what));
    }
    faults
}
