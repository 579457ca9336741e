//! Reactions with real formulae; only a balanced one can be constructed.

use std::collections::BTreeMap;
use std::fmt;

use super::balance::{BalanceFault, balance_sides};
use super::formula::{Formula, FormulaError};
use super::ratio::Ratio;

/// Most characters; the longest of a handbook has some hundred.
const LONGEST: usize = 1_000;

/// A reaction in which every element and the charge balance.
#[derive(Clone, Debug, PartialEq)]
pub struct Reaction {
    written: String,
    /// Species with their coefficients, consumed negative.
    terms: Vec<(Formula, Ratio)>,
}

/// Why a piece of text is not a balanced reaction.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum ReactionError {
    /// Longer than any reaction is.
    #[error(
        "reaction \u{201c}{begins}\u{2026}\u{201d}: found {found} characters, expected at most {LONGEST}"
    )]
    Long { begins: String, found: usize },
    /// There is not exactly one arrow.
    #[error(
        "reaction \u{201c}{reaction}\u{201d}: found {found} arrows, expected one \u{201c}->\u{201d}"
    )]
    Arrow {
        reaction: String,
        /// How many arrows it has.
        found: usize,
    },
    /// A coefficient that is not a whole number or a fraction.
    #[error(
        "reaction \u{201c}{reaction}\u{201d}: found the coefficient \u{201c}{found}\u{201d}, expected a whole number or a fraction such as 1/2"
    )]
    Coefficient { reaction: String, found: String },
    /// A species that is not a formula.
    #[error(transparent)]
    Formula(#[from] FormulaError),
    /// Atoms or charge differ between the sides.
    #[error("reaction \u{201c}{reaction}\u{201d} does not balance: {imbalance}; {}", remedy(.balanced))]
    Unbalanced {
        reaction: String,
        /// Each element (or the charge) with its sums left and right.
        imbalance: String,
        /// The reaction balanced, or why it cannot be.
        balanced: Result<String, BalanceFault>,
    },
    /// A half reaction.
    #[error(
        "reaction \u{201c}{reaction}\u{201d}: found electrons, expected the overall reaction, in which they cancel"
    )]
    Electron { reaction: String },
}

impl Reaction {
    /// Reads `A + 2 B -> C`, with whole or fractional coefficients; a state such as `(aq)` after a species is ignored.
    ///
    /// # Errors
    /// [`ReactionError`]; an imbalance names every element, and the charge, with its sum on both sides, and the reaction
    /// as it would balance.
    pub fn parse(text: &str) -> Result<Self, ReactionError> {
        let sides = read_sides(text)?;
        let mut terms: Vec<(Formula, Ratio)> = Vec::new();
        let mut sums: BTreeMap<&str, [Ratio; 2]> = BTreeMap::new();
        for (side, part) in sides.iter().enumerate() {
            for Term {
                coefficient,
                formula,
                ..
            } in part
            {
                if formula.atoms().is_empty() {
                    return Err(ReactionError::Electron {
                        reaction: text.trim().to_owned(),
                    });
                }
                let counts = formula
                    .atoms()
                    .iter()
                    .map(|(symbol, n)| (*symbol, i64::from(*n)));
                for (what, count) in counts.chain([(CHARGE, i64::from(formula.charge()))]) {
                    let sum = sums.entry(what).or_insert([Ratio::ZERO; 2]);
                    sum[side] = sum[side].plus(coefficient.times(Ratio::whole(count)));
                }
                let signed = if side == 0 {
                    coefficient.negated()
                } else {
                    *coefficient
                };
                match terms.iter_mut().find(|(known, _)| known == formula) {
                    Some((_, total)) => *total = total.plus(signed),
                    None => terms.push((formula.clone(), signed)),
                }
            }
        }
        let imbalance: Vec<String> = sums
            .iter()
            .filter(|(_, [left, right])| left != right)
            .map(|(what, [left, right])| format!("{what} {left} left, {right} right"))
            .collect();
        if !imbalance.is_empty() {
            return Err(ReactionError::Unbalanced {
                reaction: text.trim().to_owned(),
                imbalance: imbalance.join("; "),
                balanced: balance_sides(&sides),
            });
        }
        Ok(Self {
            written: text.trim().to_owned(),
            terms,
        })
    }

    /// As it was written.
    pub fn written(&self) -> &str {
        &self.written
    }

    /// Moles consumed per turn of the reaction; none if the species is not consumed.
    pub fn consumed(&self, species: &Formula) -> Option<Ratio> {
        self.net(species)
            .map(Ratio::negated)
            .filter(Ratio::is_positive)
    }

    /// Moles produced per turn of the reaction; none if the species is not produced.
    pub fn produced(&self, species: &Formula) -> Option<Ratio> {
        self.net(species).filter(Ratio::is_positive)
    }

    /// All species on either side.
    pub fn species(&self) -> impl Iterator<Item = &Formula> {
        self.terms.iter().map(|(formula, _)| formula)
    }

    fn net(&self, species: &Formula) -> Option<Ratio> {
        self.terms
            .iter()
            .find(|(known, _)| known == species)
            .map(|(_, coefficient)| *coefficient)
    }
}

impl fmt::Display for Reaction {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.written)
    }
}

const CHARGE: &str = "charge";

/// Names of the sides of a reaction, in order.
pub(super) const SIDES: [&str; 2] = ["left", "right"];

/// One species of a side, as read.
#[derive(Clone, Debug)]
pub(super) struct Term {
    /// 1 if none is written.
    pub(super) coefficient: Ratio,
    /// The species with its state, as written.
    pub(super) written: String,
    pub(super) formula: Formula,
}

/// Both sides of a reaction, balanced or not; `e^-` is a species here.
pub(super) fn read_sides(text: &str) -> Result<[Vec<Term>; 2], ReactionError> {
    let text = text.trim();
    let found = text.chars().count();
    if found > LONGEST {
        let begins = text.chars().take(60).collect();
        return Err(ReactionError::Long { begins, found });
    }
    let unified = text.replace('\u{2192}', "->");
    let sides: Vec<&str> = unified.split("->").collect();
    let [left, right] = sides.as_slice() else {
        return Err(ReactionError::Arrow {
            reaction: text.to_owned(),
            found: sides.len().saturating_sub(1),
        });
    };
    let read = |side: &str| -> Result<Vec<Term>, ReactionError> {
        side.split(" + ")
            .map(|term| read_term(text, term))
            .collect()
    };
    Ok([read(left)?, read(right)?])
}

fn remedy(balanced: &Result<String, BalanceFault>) -> String {
    match balanced {
        Ok(text) => format!("balanced it reads \u{201c}{text}\u{201d}"),
        Err(why) => format!("it cannot be balanced: {why}"),
    }
}

fn read_term(reaction: &str, term: &str) -> Result<Term, ReactionError> {
    let term = term.trim();
    let length = term
        .find(|c: char| !c.is_ascii_digit() && c != '/' && c != '.')
        .unwrap_or(term.len());
    let (coefficient, species) = term.split_at(length);
    let ratio = if coefficient.is_empty() {
        Some(Ratio::ONE)
    } else {
        read_coefficient(coefficient)
    };
    let ratio = ratio.ok_or_else(|| ReactionError::Coefficient {
        reaction: reaction.to_owned(),
        found: coefficient.to_owned(),
    })?;
    let species = species.trim();
    let bare = ["(aq)", "(s)", "(l)", "(g)"]
        .iter()
        .find_map(|state| species.strip_suffix(state))
        .unwrap_or(species);
    let formula = if matches!(bare, "e^-" | "e^\u{2212}") {
        Formula::electron()
    } else {
        Formula::parse(bare)?
    };
    Ok(Term {
        coefficient: ratio,
        written: species.to_owned(),
        formula,
    })
}

fn read_coefficient(text: &str) -> Option<Ratio> {
    // small enough that no sum over a reaction can overflow
    let whole = |s: &str| s.parse::<i64>().ok().filter(|n| (1..=9999).contains(n));
    match text.split_once('/') {
        Some((top, bottom)) => Some(Ratio::fraction(whole(top)?, whole(bottom)?)),
        None => whole(text).map(Ratio::whole),
    }
}
