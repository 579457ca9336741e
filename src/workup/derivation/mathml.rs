//! MathML, put together from pieces so that it is well-formed by construction. Only what MathML Core has, so that
//! browsers typeset it without help.

use std::fmt::Write as _;

use crate::chem::{Glyph, glyphs};

/// A piece of a formula with how wide it is, in characters.
#[derive(Clone, Debug)]
pub(super) struct Math {
    markup: String,
    width: f32,
}

/// Scripts are set smaller.
const SCRIPT: f32 = 0.7;

impl Math {
    pub fn identifier(text: &str) -> Self {
        Self::token("mi", text, 0.0)
    }

    /// An identifier that stands upright, as elements do. One of a single letter would slant.
    pub fn upright(text: &str) -> Self {
        let markup = format!("<mi mathvariant=\"normal\">{}</mi>", escaped(text));
        Self {
            markup,
            width: length(text),
        }
    }

    pub fn number(text: &str) -> Self {
        Self::token("mn", text, 0.0)
    }

    /// An operator between two terms.
    pub fn operator(text: &str) -> Self {
        Self::token("mo", text, 2.0)
    }

    /// A bracket that keeps its size.
    pub fn bracket(text: &str) -> Self {
        let markup = format!("<mo stretchy=\"false\">{}</mo>", escaped(text));
        Self { markup, width: 1.0 }
    }

    pub fn words(text: &str) -> Self {
        Self::token("mtext", text, 0.0)
    }

    /// Primes, which stand as high as they should by themselves.
    pub fn primes(text: &str) -> Self {
        let markup = format!("<mtext class=\"prime\">{}</mtext>", escaped(text));
        Self {
            markup,
            width: length(text),
        }
    }

    /// A unit after a number, kept a space away from it; nothing for no unit.
    pub fn with_unit(self, unit: &str) -> Self {
        if unit.is_empty() {
            return self;
        }
        Self::row([self, Self::words(&format!("\u{a0}{unit}"))])
    }

    pub fn in_brackets(self) -> Self {
        Self::row([Self::bracket("("), self, Self::bracket(")")])
    }

    pub fn row(pieces: impl IntoIterator<Item = Self>) -> Self {
        let mut pieces: Vec<Self> = pieces.into_iter().collect();
        if pieces.len() == 1 {
            return pieces.remove(0);
        }
        let width = pieces.iter().map(|p| p.width).sum();
        Self::element("mrow", &pieces, width)
    }

    pub fn fraction(over: Self, under: Self) -> Self {
        let width = over.width.max(under.width) + 0.5;
        Self::element("mfrac", &[over, under], width)
    }

    pub fn with_bar(self) -> Self {
        let width = self.width;
        Self::element("mover", &[self, Self::bracket("\u{af}")], width)
    }

    /// With something lowered, something raised, both or neither.
    pub fn with_scripts(self, lowered: Option<Self>, raised: Option<Self>) -> Self {
        let width = |script: &Option<Self>| script.as_ref().map_or(0.0, |s| SCRIPT * s.width);
        let wide = self.width + width(&lowered).max(width(&raised));
        match (lowered, raised) {
            (Some(low), Some(high)) => Self::element("msubsup", &[self, low, high], wide),
            (Some(low), None) => Self::element("msub", &[self, low], wide),
            (None, Some(high)) => Self::element("msup", &[self, high], wide),
            (None, None) => self,
        }
    }

    /// A sum over an index.
    pub fn sum(from: Self, to: Self, of: Self) -> Self {
        let sign = Self::token("mo", "\u{2211}", 0.0);
        let width = 1.0 + SCRIPT * from.width.max(to.width);
        Self::row([Self::element("munderover", &[sign, from, to], width), of])
    }

    /// A chemical formula as it is written: `SO4^2-`.
    pub fn species(written: &str) -> Self {
        let mut pieces: Vec<Self> = Vec::new();
        for glyph in glyphs(written) {
            let piece = match glyph {
                Glyph::Symbol(bracket @ ("(" | ")" | "[" | "]")) => Self::bracket(bracket),
                Glyph::Symbol(element) => Self::upright(element),
                Glyph::Number(number) => Self::number(number),
                Glyph::Dot => Self::words("\u{b7}"),
                Glyph::Count(count) => {
                    let of = pieces.pop().unwrap_or_else(|| Self::words(""));
                    of.with_scripts(Some(Self::number(count)), None)
                }
                // raised beside the counts and not above them, as the trade writes it
                Glyph::Charge(charge) => {
                    let of = Self::row(std::mem::take(&mut pieces));
                    of.with_scripts(None, Some(Self::words(&charge)))
                }
            };
            pieces.push(piece);
        }
        Self::row(pieces)
    }

    pub fn width(&self) -> f32 {
        self.width
    }

    /// The whole, with what it says in plain text for those who do not see it.
    pub fn finish(&self, text: &str) -> String {
        format!(
            "<math displaystyle=\"true\" alttext=\"{}\">{}</math>",
            escaped(text),
            self.markup
        )
    }

    fn token(tag: &str, text: &str, around: f32) -> Self {
        Self {
            markup: format!("<{tag}>{}</{tag}>", escaped(text)),
            width: length(text) + around,
        }
    }

    fn element(tag: &str, children: &[Self], width: f32) -> Self {
        let mut markup = format!("<{tag}>");
        children
            .iter()
            .for_each(|child| markup.push_str(&child.markup));
        // writing to a String cannot fail
        let _written = write!(markup, "</{tag}>");
        Self { markup, width }
    }
}

fn length(text: &str) -> f32 {
    text.chars().count() as f32
}

fn escaped(text: &str) -> String {
    let mut safe = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '&' => safe.push_str("&amp;"),
            '<' => safe.push_str("&lt;"),
            '>' => safe.push_str("&gt;"),
            '"' => safe.push_str("&quot;"),
            '\'' => safe.push_str("&#39;"),
            c => safe.push(c),
        }
    }
    safe
}
