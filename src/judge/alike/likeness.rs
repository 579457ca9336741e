//! What two sets of readings share, in figures and in words.

use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};

use crate::judge::flags::{Flag, FlagCode};
use crate::measure::{from_f64, plain, to_figures};
use crate::submission::TrialLabel;

/// Bounds below it are said as this: nobody can picture rarer ones.
const RAREST: f64 = 1e-9;

/// What a student's readings share with another's, beyond chance.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Likeness {
    /// Ids of the others: one, or several of a bench group.
    pub others: Vec<String>,
    /// The others' section, where it is another.
    pub section: Option<String>,
    /// Trials laid beside each other: own, the other's.
    pub rows: Vec<(TrialLabel, TrialLabel)>,
    /// By how much the own burette readings are higher, mL; 0 where they are the same.
    pub shift: Decimal,
    /// Delivered volumes that coincide, and all compared.
    pub volumes: (usize, usize),
    /// Starts of the burette that coincide (shifted), and all compared.
    pub starts: (usize, usize),
    /// Masses by difference that coincide, and all compared.
    pub differences: (usize, usize),
    /// Weighings and sample volumes that coincide, and all compared.
    pub amounts: (usize, usize),
    /// Of delivered volumes that coincide, those that do but for a digit.
    pub but_for_a_digit: usize,
    /// At most this is the chance that two honest students share as much.
    pub bound: f64,
    /// Chance that a student who copied from nobody gets the flag.
    pub flag_chance: f64,
}

impl Likeness {
    /// The same, seen from the other.
    pub(super) fn turned(&self) -> Self {
        let mut rows: Vec<_> = self
            .rows
            .iter()
            .map(|(own, other)| (*other, *own))
            .collect();
        rows.sort_unstable();
        Self {
            rows,
            shift: Decimal::ZERO.saturating_sub(self.shift),
            ..self.clone()
        }
    }

    /// Whether trials are laid beside others than those of the same number.
    pub fn is_reordered(&self) -> bool {
        self.rows.iter().any(|(own, other)| own != other)
    }

    /// The same with others, as whoever reads it may know them.
    pub fn with(self, others: String) -> Self {
        Self {
            others: vec![others],
            section: None,
            ..self
        }
    }

    /// The evidence in a sentence; it names the others by their ids, for staff.
    pub fn words(&self) -> String {
        let mut what = Vec::new();
        let digit = match self.but_for_a_digit {
            0 => String::new(),
            n => format!(" ({n} of them but for a digit)"),
        };
        for ((coincide, all), name, but) in [
            (self.volumes, "delivered volumes", digit.as_str()),
            (self.starts, "starts of the burette", ""),
            (self.differences, "masses by difference", ""),
            (self.amounts, "weighings or sample volumes", ""),
        ] {
            if all > 0 {
                what.push(format!("{coincide} of {all} {name}{but}"));
            }
        }
        let mut how = String::new();
        if self.is_reordered() {
            let pairs = self
                .rows
                .iter()
                .map(|(own, other)| format!("{own} as {other}"));
            let pairs: Vec<String> = pairs.collect();
            how = format!(" with trials in another order ({})", pairs.join(", "));
        }
        if !self.shift.is_zero() {
            let way = if self.shift > Decimal::ZERO {
                "higher"
            } else {
                "lower"
            };
            let by = plain(self.shift.abs());
            how.push_str(&format!(" with all burette readings {by} mL {way}"));
        }
        let among = from_f64(1.0 / self.bound.max(RAREST), 2);
        let among = among.map_or_else(String::new, |n| thousands(&n));
        let section = self.section.as_ref();
        let section = section.map_or_else(String::new, |name| format!(" of section {name}"));
        format!(
            "with {}{section}{how}: {}; two people reading on their own share this much less than once in {among} pairs",
            self.others.join(", "),
            what.join(", "),
        )
    }
}

/// A count to two figures, in groups of three digits.
fn thousands(count: &Decimal) -> String {
    let digits = plain(to_figures(*count, 2).trunc());
    let mut grouped = String::with_capacity(digits.len().saturating_add(8));
    for (place, digit) in digits.chars().enumerate() {
        let behind = digits.len().saturating_sub(place);
        if place > 0 && behind.checked_rem(3) == Some(0) {
            grouped.push(',');
        }
        grouped.push(digit);
    }
    grouped
}

/// The flag of a student whose readings another shares.
pub(in crate::judge) fn alike(found: &[Likeness]) -> Option<Flag> {
    let evidence: Vec<String> = found.iter().map(Likeness::words).collect();
    let chance = found.first()?.flag_chance;
    Some(Flag::by_chance(
        FlagCode::Alike,
        evidence.join("; "),
        chance,
    ))
}
