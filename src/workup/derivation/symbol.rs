//! Symbols as a step's name has them (`V̄b`, `M(CaCO3)`, `n′₂`), taken apart to be typeset.

use super::mathml::Math;
use crate::chem::printed;

/// A symbol's parts. What is none of them is kept as text.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(super) struct Symbol {
    base: String,
    barred: bool,
    /// Letters below the line.
    letters: String,
    /// A number below the line.
    number: String,
    marks: String,
    /// A species in brackets.
    species: Option<String>,
}

const BAR: char = '\u{304}';
const DOT: char = '\u{b7}';

impl Symbol {
    /// Takes a single symbol apart; none if it is something else.
    pub fn read(text: &str) -> Option<Self> {
        let mut chars = text.chars().peekable();
        let mut symbol = Self::default();
        symbol
            .base
            .extend(chars.next().filter(|c| c.is_alphanumeric()));
        if symbol.base.is_empty() {
            return None;
        }
        symbol.barred = chars.next_if_eq(&BAR).is_some();
        while let Some(c) = chars.next() {
            match c {
                '(' if symbol.species.is_none() => {
                    let rest: String = chars.by_ref().collect();
                    let close = rest.rfind(')')?;
                    symbol.species = Some(rest[..close].to_owned());
                    chars_after(&mut symbol, &rest[close.saturating_add(1)..])?;
                }
                c if c.is_alphabetic() && symbol.number.is_empty() => symbol.letters.push(c),
                c => chars_after(&mut symbol, c.encode_utf8(&mut [0; 4]))?,
            }
        }
        Some(symbol)
    }

    /// The same with another number below the line.
    pub fn numbered(mut self, number: &str) -> Self {
        self.number = number.to_owned();
        self
    }

    /// The mean of symbols that differ in what stands below the line.
    pub fn averaged(self) -> Self {
        Self {
            barred: true,
            letters: String::new(),
            number: String::new(),
            ..self
        }
    }

    pub fn number(&self) -> Option<u32> {
        self.number.parse().ok()
    }

    pub fn typeset(&self) -> Math {
        let is_digit = self.base.chars().all(|c| c.is_ascii_digit());
        let mut base = if is_digit {
            Math::number(&self.base)
        } else {
            Math::identifier(&self.base)
        };
        if self.barred {
            base = base.with_bar();
        }
        let mut below = Vec::new();
        if !self.letters.is_empty() {
            below.push(Math::upright(&self.letters));
        }
        if !self.number.is_empty() {
            if !below.is_empty() {
                below.push(Math::words(","));
            }
            let is_number = self.number.chars().all(|c| c.is_ascii_digit() || c == ',');
            let token = if is_number {
                Math::number
            } else {
                Math::identifier
            };
            below.push(token(&self.number));
        }
        let lowered = (!below.is_empty()).then(|| Math::row(below));
        let raised = (!self.marks.is_empty()).then(|| Math::primes(&self.marks));
        let whole = base.with_scripts(lowered, raised);
        match &self.species {
            Some(species) => Math::row([whole, Math::species(species).in_brackets()]),
            None => whole,
        }
    }
}

fn chars_after(symbol: &mut Symbol, text: &str) -> Option<()> {
    for c in text.chars() {
        match c {
            '\u{2080}'..='\u{2089}' => {
                let digit = u32::from(c).checked_sub(0x2080)?;
                symbol.number.push(char::from_digit(digit, 10)?);
            }
            // the point of a curve, after the row
            ',' => symbol.number.push(','),
            '\u{2032}' | '\u{2033}' | '*' => symbol.marks.push(c),
            _ => return None,
        }
    }
    Some(())
}

/// A step's symbol typeset: a single one, a ratio of two, a product, or else as text.
pub(super) fn typeset(text: &str) -> Math {
    let single = |text: &str| {
        Symbol::read(text).map_or_else(|| Math::words(text), |symbol| symbol.typeset())
    };
    for (between, sign) in [(DOT, "\u{b7}"), ('/', "/")] {
        if let Some((left, right)) = text.split_once(between)
            && !left.contains('(')
        {
            return Math::row([single(left), Math::words(sign), single(right)]);
        }
    }
    single(text)
}

/// A step's symbol as plain text, its species as it is printed: `M(CaCO₃)`.
pub(super) fn plain(text: &str) -> String {
    match text
        .split_once('(')
        .map(|(head, rest)| (head, rest.rsplit_once(')')))
    {
        Some((head, Some((species, tail)))) => format!("{head}({}){tail}", printed(species)),
        _ => text.to_owned(),
    }
}
