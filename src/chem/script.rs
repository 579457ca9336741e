//! Formulae as they are printed: counts lowered, charges raised.

/// A piece of a formula as it is printed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Glyph<'a> {
    /// An element or a bracket, on the line.
    Symbol(&'a str),
    /// A number in front of a hydrate's part, on the line.
    Number(&'a str),
    /// The dot before a hydrate's part.
    Dot,
    /// A count, lowered.
    Count(&'a str),
    /// A charge, raised, with a true minus.
    Charge(String),
}

/// The pieces of a formula as it is written (`CuSO4.5H2O`, `SO4^2-`), in order. Any text has pieces.
pub fn glyphs(formula: &str) -> Vec<Glyph<'_>> {
    let mut found: Vec<Glyph> = Vec::new();
    let mut rest = formula;
    while let Some(first) = rest.chars().next() {
        let next = |keep: fn(&char) -> bool| {
            let more = rest.chars().skip(1).take_while(keep);
            more.map(char::len_utf8)
                .fold(first.len_utf8(), usize::saturating_add)
        };
        let (length, glyph) = match first {
            '^' => {
                // a state such as (aq) may follow
                let length = rest.find('(').unwrap_or(rest.len());
                let charge = rest[1..length].replace('-', "\u{2212}");
                (length, Glyph::Charge(charge))
            }
            '.' | '\u{b7}' => (first.len_utf8(), Glyph::Dot),
            '0'..='9' => {
                let length = next(char::is_ascii_digit);
                let digits = &rest[..length];
                match found.last() {
                    Some(Glyph::Symbol(_)) => (length, Glyph::Count(digits)),
                    _ => (length, Glyph::Number(digits)),
                }
            }
            _ if first.is_ascii_uppercase() => {
                let length = next(char::is_ascii_lowercase);
                (length, Glyph::Symbol(&rest[..length]))
            }
            _ => (first.len_utf8(), Glyph::Symbol(&rest[..first.len_utf8()])),
        };
        found.push(glyph);
        rest = &rest[length..];
    }
    found
}

/// A formula in plain text as it is printed: `C₁₀H₁₄N₂O₈²⁻`.
pub fn printed(formula: &str) -> String {
    let glyphs = glyphs(formula);
    let text = |glyph: &Glyph| match glyph {
        Glyph::Symbol(text) | Glyph::Number(text) => (*text).to_owned(),
        Glyph::Dot => "\u{b7}".to_owned(),
        Glyph::Count(digits) => digits.chars().map(lowered).collect(),
        Glyph::Charge(charge) => charge.chars().map(raised).collect(),
    };
    glyphs.iter().map(text).collect()
}

/// A reaction as it is printed: `2 MnO₄⁻ + 5 C₂O₄²⁻ + 16 H⁺ → …`.
pub fn printed_reaction(written: &str) -> String {
    let is_coefficient = |word: &str| {
        word.chars()
            .all(|c| c.is_ascii_digit() || matches!(c, '/' | '.'))
    };
    let print = |word: &str| match word {
        "->" => "\u{2192}".to_owned(),
        word if is_coefficient(word) => word.to_owned(),
        word => printed(word),
    };
    let words = written.split_whitespace().map(print);
    words.collect::<Vec<_>>().join(" ")
}

/// A digit below the line; anything else as it is.
fn lowered(c: char) -> char {
    let digit = c.to_digit(10).and_then(|d| 0x2080_u32.checked_add(d));
    digit.and_then(char::from_u32).unwrap_or(c)
}

/// A figure or sign above the line.
fn raised(c: char) -> char {
    match c {
        '1' => '\u{b9}',
        '2' => '\u{b2}',
        '3' => '\u{b3}',
        '+' => '\u{207a}',
        '\u{2212}' => '\u{207b}',
        _ => {
            let digit = c.to_digit(10).and_then(|d| 0x2070_u32.checked_add(d));
            digit.and_then(char::from_u32).unwrap_or(c)
        }
    }
}

#[cfg(test)]
mod tests {
    use super::{Glyph, glyphs, printed, printed_reaction};

    #[test]
    fn counts_are_lowered_and_charges_raised() {
        for (written, expected) in [
            ("CaCO3", "CaCO₃"),
            ("C10H14N2O8^2-", "C₁₀H₁₄N₂O₈²⁻"),
            ("Fe(NH4)2(SO4)2.6H2O", "Fe(NH₄)₂(SO₄)₂·6H₂O"),
            ("Na^+", "Na⁺"),
            ("[Fe(CN)6]^4-", "[Fe(CN)₆]⁴⁻"),
            ("", ""),
            ("<é>^", "<é>"),
        ] {
            assert_eq!(printed(written), expected, "{written}");
        }
    }

    #[test]
    fn coefficients_stay_on_the_line() {
        for (written, expected) in [
            (
                "2 MnO4^- + 16 H^+ -> 2 Mn^2+ + 8 H2O",
                "2 MnO₄⁻ + 16 H⁺ → 2 Mn²⁺ + 8 H₂O",
            ),
            ("H2 + 1/2 O2 -> H2O(l)", "H₂ + 1/2 O₂ → H₂O(l)"),
            (
                "Ag^+(aq) + Cl^-(aq) → AgCl(s)",
                "Ag⁺(aq) + Cl⁻(aq) → AgCl(s)",
            ),
        ] {
            assert_eq!(printed_reaction(written), expected);
        }
    }

    #[test]
    fn a_hydrates_number_stays_on_the_line() {
        use Glyph::{Count, Dot, Number, Symbol};
        let expected = [Symbol("Na"), Count("2"), Dot, Number("10"), Symbol("H")];
        assert_eq!(glyphs("Na2.10H"), expected);
    }
}
