//! Chemical formulae: `CaCO3`, `Fe(NH4)2(SO4)2.6H2O`, `SO4^2-`.

use std::collections::BTreeMap;
use std::fmt;
use std::sync::Arc;

use rust_decimal::Decimal;

use super::atomic_weights::atomic_weight;

/// A formula: atoms of each element and the charge.
///
/// Two formulae are the same species here if composition and charge agree, however they are written.
#[derive(Clone, Debug)]
pub struct Formula {
    written: Arc<str>,
    atoms: BTreeMap<&'static str, u32>,
    charge: i32,
    molar_mass: MolarMass,
}

/// A molar mass with its standard uncertainty, both g/mol.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct MolarMass {
    /// Exact sum of the tabulated atomic weights.
    pub value: Decimal,
    /// √Σ(n·u)² over the elements.
    pub standard_uncertainty: f64,
}

/// Why a piece of text is not a formula; `at` counts characters from 1.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("formula \u{201c}{formula}\u{201d}, character {at}: {what}")]
pub struct FormulaError {
    pub formula: String,
    /// Where it went wrong.
    pub at: usize,
    /// What was found and what was expected.
    pub what: String,
}

/// Most characters of a formula.
const LONGEST: usize = 200;

impl Formula {
    /// Reads element symbols, counts, nested `()` and `[]`, hydrates after `.` or `·`, and a charge after `^`
    /// (`Fe^3+`, `SO4^2-`, `Na^+`).
    pub fn parse(text: &str) -> Result<Self, FormulaError> {
        let written = text.trim();
        let length = written.chars().count();
        if length > LONGEST {
            return Err(FormulaError {
                formula: written.chars().take(LONGEST).collect(),
                at: LONGEST.saturating_add(1),
                what: format!("found {length} characters, expected at most {LONGEST}"),
            });
        }
        let mut reader = Reader {
            text: written,
            chars: written.chars().collect(),
            at: 0,
        };
        let mut atoms = BTreeMap::new();
        loop {
            // a hydrate's part may carry a number in front: .5H2O
            let times = if reader.at > 0 {
                reader.count()?.unwrap_or(1)
            } else {
                1
            };
            let part = reader.group(None, 0)?;
            add(&mut atoms, &part, times).ok_or_else(|| reader.error("counts too large".into()))?;
            if !reader.take('.') && !reader.take('·') {
                break;
            }
        }
        let charge = reader.charge()?;
        if let Some(found) = reader.peek() {
            return Err(reader.error(format!(
                "found \u{201c}{found}\u{201d}, expected an element, a count or the end"
            )));
        }
        Ok(Self {
            written: written.into(),
            molar_mass: molar_mass(&atoms),
            atoms,
            charge,
        })
    }

    /// The electron of a half reaction: no atoms, one negative charge.
    pub(super) fn electron() -> Self {
        Self {
            written: "e^-".into(),
            molar_mass: molar_mass(&BTreeMap::new()),
            atoms: BTreeMap::new(),
            charge: -1,
        }
    }

    /// As it was written.
    pub fn written(&self) -> &str {
        &self.written
    }

    /// As it was written, to keep.
    pub fn shared(&self) -> Arc<str> {
        self.written.clone()
    }

    /// Electric charge in elementary charges.
    pub fn charge(&self) -> i32 {
        self.charge
    }

    /// Atoms of each element, in order of symbol.
    pub fn atoms(&self) -> &BTreeMap<&'static str, u32> {
        &self.atoms
    }

    /// Molar mass from the 2021 standard atomic weights, g/mol. The electrons of a charge are not counted
    /// (0.0005 g/mol each, below the uncertainty of the weights).
    pub fn molar_mass(&self) -> MolarMass {
        self.molar_mass
    }
}

fn molar_mass(atoms: &BTreeMap<&'static str, u32>) -> MolarMass {
    let mut value = Decimal::ZERO;
    let mut variance = 0.0;
    for (symbol, count) in atoms {
        if let Some(weight) = atomic_weight(symbol) {
            let mass = weight.value.saturating_mul(Decimal::from(*count));
            value = value.saturating_add(mass);
            variance += (f64::from(*count) * weight.standard_uncertainty()).powi(2);
        }
    }
    MolarMass {
        value,
        standard_uncertainty: variance.sqrt(),
    }
}

impl PartialEq for Formula {
    fn eq(&self, other: &Self) -> bool {
        self.atoms == other.atoms && self.charge == other.charge
    }
}

impl Eq for Formula {}

impl fmt::Display for Formula {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.written)
    }
}

/// Adds `times` × `part` to `atoms`; none on overflow.
fn add(
    atoms: &mut BTreeMap<&'static str, u32>,
    part: &BTreeMap<&'static str, u32>,
    times: u32,
) -> Option<()> {
    for (symbol, count) in part {
        let sum = atoms.entry(symbol).or_insert(0);
        *sum = sum.checked_add(count.checked_mul(times)?)?;
    }
    Some(())
}

struct Reader<'a> {
    text: &'a str,
    chars: Vec<char>,
    at: usize,
}

impl Reader<'_> {
    /// Brackets deeper than this are refused, so that no text can exhaust the stack.
    const DEEPEST: u32 = 8;

    fn peek(&self) -> Option<char> {
        self.chars.get(self.at).copied()
    }

    fn take(&mut self, wanted: char) -> bool {
        let found = self.peek() == Some(wanted);
        if found {
            self.at = self.at.saturating_add(1);
        }
        found
    }

    fn error(&self, what: String) -> FormulaError {
        FormulaError {
            formula: self.text.to_owned(),
            at: self.at.saturating_add(1),
            what,
        }
    }

    /// Elements and brackets up to `close` (not taken), a hydrate's dot, a charge or the end.
    fn group(
        &mut self,
        close: Option<char>,
        depth: u32,
    ) -> Result<BTreeMap<&'static str, u32>, FormulaError> {
        if depth > Self::DEEPEST {
            return Err(self.error(format!("found brackets more than {} deep", Self::DEEPEST)));
        }
        let mut atoms = BTreeMap::new();
        loop {
            let part = match self.peek() {
                Some(c) if c.is_ascii_uppercase() => BTreeMap::from([(self.element()?, 1)]),
                Some(open @ ('(' | '[')) => {
                    let wanted = if open == '(' { ')' } else { ']' };
                    self.at = self.at.saturating_add(1);
                    let inner = self.group(Some(wanted), depth.saturating_add(1))?;
                    if !self.take(wanted) {
                        return Err(self.error(format!(
                            "expected \u{201c}{wanted}\u{201d} to close the bracket"
                        )));
                    }
                    inner
                }
                found => {
                    let ended = match close {
                        Some(close) => found == Some(close),
                        None => matches!(found, None | Some('.' | '·' | '^')),
                    };
                    if ended && !atoms.is_empty() {
                        return Ok(atoms);
                    }
                    let found =
                        found.map_or("the end".to_owned(), |c| format!("\u{201c}{c}\u{201d}"));
                    return Err(self.error(format!(
                        "found {found}, expected an element symbol such as Ca"
                    )));
                }
            };
            let times = self.count()?.unwrap_or(1);
            add(&mut atoms, &part, times).ok_or_else(|| self.error("counts too large".into()))?;
        }
    }

    fn element(&mut self) -> Result<&'static str, FormulaError> {
        let rest = &self.chars[self.at.min(self.chars.len())..];
        let long: String = rest.iter().take(2).collect();
        let short: String = rest.iter().take(1).collect();
        let lower = rest.get(1).is_some_and(char::is_ascii_lowercase);
        let symbol = if lower { long } else { short };
        match atomic_weight(&symbol) {
            Some(weight) => {
                self.at = self.at.saturating_add(symbol.len());
                Ok(weight.symbol)
            }
            None => Err(self.error(format!(
                "found \u{201c}{symbol}\u{201d}, expected an element with a standard atomic weight"
            ))),
        }
    }

    fn count(&mut self) -> Result<Option<u32>, FormulaError> {
        let start = self.at;
        while self.peek().is_some_and(|c| c.is_ascii_digit()) {
            self.at = self.at.saturating_add(1);
        }
        if start == self.at {
            return Ok(None);
        }
        let digits: String = self.chars[start..self.at].iter().collect();
        match digits.parse::<u32>() {
            Ok(count @ 1..=9999) if !digits.starts_with('0') => Ok(Some(count)),
            _ => {
                self.at = start;
                Err(self.error(format!("found the count {digits}, expected 1 to 9999")))
            }
        }
    }

    fn charge(&mut self) -> Result<i32, FormulaError> {
        if !self.take('^') {
            return Ok(0);
        }
        let size = self.count()?.unwrap_or(1);
        let size = i32::try_from(size).unwrap_or(1);
        if self.take('+') {
            Ok(size)
        } else if self.take('-') || self.take('\u{2212}') {
            Ok(size.saturating_neg())
        } else {
            Err(self.error("expected a charge such as ^2+ or ^-".into()))
        }
    }
}
