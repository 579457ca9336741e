//! Balancing: the coefficients with which a reaction holds for every element and the charge, exactly.

use std::collections::BTreeSet;

use super::formula::Formula;
use super::null_space::{lowest_terms, null_space};
use super::reaction::{ReactionError, SIDES, Term, read_sides};

/// Reactions with more species than this are not balanced: the search for two balances would take long.
const MOST_SPECIES: usize = 12;

/// Largest coefficient a reaction can be written with.
const LARGEST: i128 = 9999;

/// Why a reaction cannot be balanced.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum BalanceFault {
    #[error("found {found} species, expected at most {MOST_SPECIES}")]
    TooMany {
        /// How many there are.
        found: usize,
    },
    /// A species written twice has no coefficient of its own.
    #[error("found {species} more than once, expected each species on one side and once")]
    Repeated { species: String },
    /// Elements, or the charge, that one side has and the other lacks.
    #[error("found {what}, expected each on both sides")]
    OneSided {
        /// Each symbol with its side.
        what: String,
    },
    /// Charges of the sides that no amounts make equal.
    #[error(
        "found charges that no amounts of these species make equal on both sides, expected another charged species"
    )]
    Charge,
    /// Nothing satisfies every element and the charge at once.
    #[error(
        "found no amounts above 0 that balance every element and the charge: a species is missing or does not belong"
    )]
    NoSolution,
    /// It balances only as another reaction.
    #[error("it balances only {how}, as \u{201c}{balanced}\u{201d}")]
    Otherwise {
        /// Which species would have to move or go.
        how: String,
        /// The reaction it would then be.
        balanced: String,
    },
    /// More than one independent solution.
    #[error(
        "{independent} independent balances fit, such as {}; state the coefficients, or balance the half reactions apart (with e^-) and add them",
        quoted(.examples)
    )]
    Several {
        /// How many are independent.
        independent: usize,
        examples: Vec<String>,
    },
    /// Coefficients no reaction is written with.
    #[error("found coefficients above {LARGEST}")]
    TooLarge,
}

/// Why a text cannot be balanced.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum BalanceError {
    /// It is not a reaction at all.
    #[error(transparent)]
    Reaction(#[from] ReactionError),
    /// It is one, but cannot be balanced, or not in one way.
    #[error("reaction \u{201c}{reaction}\u{201d} cannot be balanced: {fault}")]
    Fault {
        reaction: String,
        fault: BalanceFault,
    },
}

/// The reaction with the smallest whole coefficients that balance it; those it was written with are passed over.
///
/// Unlike [`super::Reaction::parse`] this also takes electrons, `e^-`, so that half reactions can be balanced.
///
/// # Errors
/// [`BalanceError`] if the text is no reaction, or if there is not exactly one way to balance it.
pub fn balance(text: &str) -> Result<String, BalanceError> {
    let sides = read_sides(text)?;
    balance_sides(&sides).map_err(|fault| BalanceError::Fault {
        reaction: text.trim().to_owned(),
        fault,
    })
}

/// As [`balance`], of terms already read.
pub(super) fn balance_sides(sides: &[Vec<Term>; 2]) -> Result<String, BalanceFault> {
    let unknowns = Unknowns::of(sides)?;
    unknowns.check_one_sided()?;
    let basis = unknowns.solve(&unknowns.all())?;
    match basis.as_slice() {
        [] => Err(BalanceFault::NoSolution),
        [only] => unknowns.single(only),
        many => Err(unknowns.several(many.len())?),
    }
}

/// The species whose coefficients are sought.
struct Unknowns<'a> {
    /// Each with its side.
    terms: Vec<(usize, &'a Term)>,
}

/// Coefficients in the order of the species.
type Coefficients = Vec<i128>;

impl<'a> Unknowns<'a> {
    fn of(sides: &'a [Vec<Term>; 2]) -> Result<Self, BalanceFault> {
        let [left, right] = sides;
        let terms: Vec<(usize, &Term)> = left
            .iter()
            .map(|term| (0, term))
            .chain(right.iter().map(|term| (1, term)))
            .collect();
        if terms.len() > MOST_SPECIES {
            return Err(BalanceFault::TooMany { found: terms.len() });
        }
        for (index, (_, term)) in terms.iter().enumerate() {
            let before = terms.iter().take(index);
            if before
                .into_iter()
                .any(|(_, other)| other.formula == term.formula)
            {
                let species = term.formula.to_string();
                return Err(BalanceFault::Repeated { species });
            }
        }
        Ok(Self { terms })
    }

    fn all(&self) -> Vec<usize> {
        (0..self.terms.len()).collect()
    }

    /// For each element and the charge, how much of it each species brings.
    fn rows(&self) -> Vec<(&'static str, Vec<i128>)> {
        let formulae = || self.terms.iter().map(|(_, term)| &term.formula);
        let symbols: BTreeSet<&'static str> =
            formulae().flat_map(|f| f.atoms().keys().copied()).collect();
        let of_element = |symbol: &'static str| {
            let count = |f: &Formula| f.atoms().get(symbol).map_or(0, |n| i128::from(*n));
            (symbol, formulae().map(count).collect())
        };
        let charge = formulae().map(|f| i128::from(f.charge())).collect();
        let mut rows: Vec<_> = symbols.into_iter().map(of_element).collect();
        rows.push(("charge", charge));
        rows
    }

    /// What all species bring with one sign, seen across the arrow, cannot add up to nothing.
    fn check_one_sided(&self) -> Result<(), BalanceFault> {
        let mut one_sided = Vec::new();
        let mut charge = false;
        for (what, row) in self.rows() {
            let amounts = || self.terms.iter().zip(&row).filter(|(_, n)| **n != 0);
            let sides: BTreeSet<usize> = amounts().map(|((side, _), _)| *side).collect();
            let signs: BTreeSet<i128> = amounts()
                .map(|((side, _), n)| {
                    if *side == 0 {
                        n.signum()
                    } else {
                        n.signum().saturating_neg()
                    }
                })
                .collect();
            match (signs.len(), sides.first()) {
                (1, Some(side)) if sides.len() == 1 => {
                    one_sided.push(format!("{what} on the {} only", SIDES[*side]));
                }
                (1, _) => charge = true,
                _ => {}
            }
        }
        if !one_sided.is_empty() {
            let what = one_sided.join(", ");
            Err(BalanceFault::OneSided { what })
        } else if charge {
            Err(BalanceFault::Charge)
        } else {
            Ok(())
        }
    }

    /// A basis of what balances with the chosen species alone; numbers in the order chosen.
    fn solve(&self, chosen: &[usize]) -> Result<Vec<Coefficients>, BalanceFault> {
        let matrix = self
            .rows()
            .iter()
            .map(|(_, row)| {
                let signed = |index: &usize| {
                    let (side, _) = self.terms[*index];
                    if side == 0 {
                        row[*index]
                    } else {
                        row[*index].saturating_neg()
                    }
                };
                chosen.iter().map(signed).collect()
            })
            .collect();
        null_space(matrix, chosen.len()).ok_or(BalanceFault::TooLarge)
    }

    /// The one solution, if its coefficients are all above 0; else how it would have to be written.
    fn single(&self, found: &[i128]) -> Result<String, BalanceFault> {
        let above = |numbers: &[i128]| numbers.iter().filter(|n| **n > 0).count();
        let opposite: Coefficients = found.iter().map(|n| n.saturating_neg()).collect();
        let found = if above(&opposite) > above(found) {
            opposite.as_slice()
        } else {
            found
        };
        if above(found) == self.terms.len() {
            return self.written(found);
        }
        Err(self.otherwise(found)?)
    }

    fn otherwise(&self, found: &[i128]) -> Result<BalanceFault, BalanceFault> {
        let names = |keep: fn(&i128) -> bool| {
            let terms = self.terms.iter().zip(found).filter(|(_, n)| keep(n));
            let names: Vec<String> = terms.map(|((_, t), _)| t.formula.to_string()).collect();
            names.join(" and ")
        };
        let (moved, left_out) = (names(|n| *n < 0), names(|n| *n == 0));
        let mut how = Vec::new();
        if !moved.is_empty() {
            how.push(format!("with {moved} on the other side"));
        }
        if !left_out.is_empty() {
            how.push(format!("without {left_out}"));
        }
        Ok(BalanceFault::Otherwise {
            how: how.join(" and "),
            balanced: self.written(found)?,
        })
    }

    /// Two of the balances, where there are more than one. Those with fewest species add up to every other; where a
    /// species is in none of them, it cannot take part.
    fn several(&self, independent: usize) -> Result<BalanceFault, BalanceFault> {
        let simplest = self.simplest()?;
        if simplest.is_empty() {
            return Ok(BalanceFault::NoSolution);
        }
        let total = |weights: &dyn Fn(usize) -> i128| -> Option<Coefficients> {
            let mut sum = vec![0_i128; self.terms.len()];
            for (index, solution) in simplest.iter().enumerate() {
                for (total, n) in sum.iter_mut().zip(solution) {
                    *total = total.checked_add(n.checked_mul(weights(index))?)?;
                }
            }
            Some(lowest_terms(&sum))
        };
        let all = total(&|_| 1).ok_or(BalanceFault::TooLarge)?;
        if all.contains(&0) {
            return self.otherwise(&all);
        }
        let more = (0..simplest.len())
            .flat_map(|which| [2, 3].map(|times| (which, times)))
            .filter_map(|(which, times)| total(&|index| if index == which { times } else { 1 }));
        let mut found: Vec<Coefficients> = more.chain([all]).collect();
        found.sort_by_key(|numbers| {
            let sum = numbers
                .iter()
                .fold(0, |sum: i128, n| sum.saturating_add(*n));
            (sum, numbers.clone())
        });
        found.dedup();
        let examples = found.iter().take(2).map(|numbers| self.written(numbers));
        Ok(BalanceFault::Several {
            independent,
            examples: examples.collect::<Result<_, _>>()?,
        })
    }

    /// Every balance that none with fewer species makes up, coefficients 0 or above.
    fn simplest(&self) -> Result<Vec<Coefficients>, BalanceFault> {
        let mut found = Vec::new();
        for subset in 1_u32..1 << self.terms.len() {
            let chosen: Vec<usize> = self
                .all()
                .into_iter()
                .filter(|index| subset & 1 << index != 0)
                .collect();
            let basis = self.solve(&chosen)?;
            let [only] = basis.as_slice() else { continue };
            let sign = only.first().map_or(0, |n| n.signum());
            if sign != 0 && only.iter().all(|n| n.signum() == sign) {
                let mut numbers = vec![0; self.terms.len()];
                for (index, n) in chosen.iter().zip(only) {
                    numbers[*index] = n.saturating_abs();
                }
                found.push(numbers);
            }
        }
        Ok(found)
    }

    /// Written out; a species with a number below 0 changes sides, one with 0 is left out.
    fn written(&self, numbers: &[i128]) -> Result<String, BalanceFault> {
        let mut sides = [Vec::new(), Vec::new()];
        for ((side, term), number) in self.terms.iter().zip(numbers) {
            let amount = number.saturating_abs();
            if amount > LARGEST {
                return Err(BalanceFault::TooLarge);
            }
            let side = usize::from((*side == 0) == (*number < 0));
            match amount {
                0 => {}
                1 => sides[side].push(term.written.clone()),
                _ => sides[side].push(format!("{amount} {}", term.written)),
            }
        }
        Ok(sides.map(|side| side.join(" + ")).join(" -> "))
    }
}

fn quoted(texts: &[String]) -> String {
    let quoted: Vec<String> = texts
        .iter()
        .map(|text| format!("\u{201c}{text}\u{201d}"))
        .collect();
    quoted.join(" and ")
}
