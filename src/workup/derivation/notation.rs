//! How an operation is written: in plain text and typeset, in symbols and with the numbers put in.

use super::mathml::Math;
use super::symbol::{self, Symbol};
use super::{Typeset, Writing};
use crate::language::{Message, message};
use crate::workup::fit::Fit;
use crate::workup::graph::{Graph, Operation, Sign, StepId};

const TIMES: &str = "\u{d7}";
const MINUS: &str = "\u{2212}";

/// A mean of more symbols than these is written as a sum over an index.
const WRITTEN_OUT: usize = 4;

/// One input as it is written, in both ways.
struct Term {
    text: String,
    math: Math,
}

impl Writing<'_> {
    /// What a step follows from, in symbols; none for what is given.
    pub(super) fn in_symbols(self, operation: &Operation) -> Option<Typeset> {
        let graph = self.graph;
        let term = |id: &StepId| {
            let name = graph.get(*id).quantity.symbol();
            Term {
                text: symbol::plain(&name),
                math: symbol::typeset(&name),
            }
        };
        let terms = |ids: &[StepId]| ids.iter().map(term).collect::<Vec<_>>();
        Some(match operation {
            Operation::Given => return None,
            Operation::Sum(list) => {
                let (text, math) = sum(list.iter().map(|(sign, id)| (*sign, term(id))));
                Typeset::new(text, &math)
            }
            Operation::Quotient(over, under) => quotient(terms(over), terms(under)),
            Operation::Mean(ids) if ids.len() == 1 => {
                let only = term(&ids[0]);
                Typeset::new(only.text, &only.math)
            }
            Operation::Mean(ids) => {
                let (text, math) = sum(ids.iter().map(|id| (Sign::Plus, term(id))));
                let over = (ids.len() > WRITTEN_OUT).then(|| indexed(graph, ids));
                over_count(text, over.flatten().unwrap_or(math), "", ids.len())
            }
            Operation::TenTo(sign, id) => power(*sign, term(id)),
            Operation::Slope { x, y } if x.len() == 2 => {
                let difference = |ids: &[StepId]| {
                    let terms = [(Sign::Plus, term(&ids[1])), (Sign::Minus, term(&ids[0]))];
                    sum(terms.into_iter())
                };
                over_difference(difference(y), difference(x))
            }
            Operation::Slope { x, y } => self.slope(x, y),
            Operation::Coefficient(power, fit) => self.coefficient(*power, fit),
            Operation::Root {
                square,
                linear,
                value,
            } => root(term(square), term(linear), term(value)),
        })
    }

    /// What a step follows from, with the numbers put in; none for what is given.
    pub(super) fn in_numbers(self, operation: &Operation) -> Option<Typeset> {
        let graph = self.graph;
        // terms of a sum have one unit, which is written once
        let unit = operation
            .inputs()
            .next()
            .map_or("", |id| graph.get(id).unit);
        let terms = |ids: &[StepId]| {
            let term = |id: &StepId| number(self.shown(*id), graph.get(*id).unit);
            ids.iter().map(term).collect::<Vec<_>>()
        };
        let bare_term = |id: &StepId| number(self.shown(*id), "");
        Some(match operation {
            Operation::Given => return None,
            Operation::Sum(list) => {
                let (text, math) = sum(list.iter().map(|(sign, id)| (*sign, bare_term(id))));
                if unit.is_empty() {
                    Typeset::new(text, &math)
                } else {
                    let math = math.in_brackets().with_unit(unit);
                    Typeset::new(quantity(&format!("({text})"), unit), &math)
                }
            }
            Operation::Quotient(over, under) => quotient(terms(over), terms(under)),
            // its number is the value
            Operation::Mean(ids) if ids.len() == 1 => return None,
            Operation::Mean(ids) => {
                let (text, math) = sum(ids.iter().map(|id| (Sign::Plus, bare_term(id))));
                over_count(text, math, unit, ids.len())
            }
            Operation::TenTo(sign, id) => power(*sign, bare_term(id)),
            Operation::Slope { x, y } if x.len() == 2 => {
                let difference = |ids: &[StepId]| {
                    let terms = [
                        (Sign::Plus, bare_term(&ids[1])),
                        (Sign::Minus, bare_term(&ids[0])),
                    ];
                    let (text, math) = sum(terms.into_iter());
                    match graph.get(ids[0]).unit {
                        "" => (text, math),
                        unit => (
                            quantity(&format!("({text})"), unit),
                            math.in_brackets().with_unit(unit),
                        ),
                    }
                };
                over_difference(difference(y), difference(x))
            }
            Operation::Slope { x, y } => self.points("derivation.slope-through", x, y),
            Operation::Coefficient(_, fit) => {
                self.points("derivation.coefficient-through", &fit.x, &fit.y)
            }
            Operation::Root {
                square,
                linear,
                value,
            } => {
                let term = |id: &StepId| number(self.shown(*id), graph.get(*id).unit);
                root(term(square), term(linear), term(value))
            }
        })
    }

    /// Σ(xᵢ − x̄)(yᵢ − ȳ) / Σ(xᵢ − x̄)², said in words in plain text.
    fn slope(self, x: &[StepId], y: &[StepId]) -> Typeset {
        let (of, on) = (names(self.graph, y), names(self.graph, x));
        let words = message!("derivation.slope-of", y = of, x = on);
        let text = self.language.say(&words);
        let first = |ids: &[StepId]| symbols(self.graph, ids)?.into_iter().next();
        match (first(x), first(y)) {
            (Some(x), Some(y)) => Typeset::new(text, &slope_of(&x, &y)),
            _ => Typeset::new(text.clone(), &Math::words(&text)),
        }
    }

    /// A coefficient of a weighted line or of a parabola, in words.
    fn coefficient(self, power: usize, fit: &Fit) -> Typeset {
        let what = match power {
            0 => message!("derivation.constant"),
            1 => message!("derivation.of-x"),
            _ => message!("derivation.of-square"),
        };
        let even = fit.weights.windows(2).all(|pair| pair[0] == pair[1]);
        let curve = Message::new(match (fit.degree, even) {
            (1, true) => "derivation.line",
            (1, false) => "derivation.line-weighted",
            (_, true) => "derivation.parabola",
            (_, false) => "derivation.parabola-weighted",
        });
        let words = message!(
            "derivation.coefficient",
            what = what,
            curve = curve,
            y = names(self.graph, &fit.y),
            x = names(self.graph, &fit.x),
        );
        let text = self.language.say(&words);
        Typeset::new(text.clone(), &Math::words(&text))
    }

    /// The points of a line: (x; y) each.
    fn points(self, key: &'static str, x: &[StepId], y: &[StepId]) -> Typeset {
        let one = |(x, y): (&StepId, &StepId)| {
            let written = |id: &StepId| quantity(&self.shown(*id), self.graph.get(*id).unit);
            format!("({}; {})", written(x), written(y))
        };
        let all: Vec<String> = x.iter().zip(y).map(one).collect();
        let words = Message::new(key).with("points", all.join(", "));
        let text = self.language.say(&words);
        Typeset::new(text.clone(), &Math::words(&text))
    }
}

/// Ten to the power of a term.
fn power(sign: Sign, term: Term) -> Typeset {
    let (text, math) = sum([(sign, term)].into_iter());
    let ten = Math::number("10").with_scripts(None, Some(math));
    Typeset::new(format!("10^({text})"), &ten)
}

/// A difference over a difference: the slope between two points.
fn over_difference(over: (String, Math), under: (String, Math)) -> Typeset {
    let in_brackets = |text: String| match text.starts_with('(') {
        true => text,
        false => format!("({text})"),
    };
    let text = format!("{} / {}", in_brackets(over.0), in_brackets(under.0));
    Typeset::new(text, &Math::fraction(over.1, under.1))
}

/// A number with its unit; a negative one in brackets, as it follows a sign or a cross.
fn number(value: String, unit: &str) -> Term {
    let number = Math::number(&value).with_unit(unit);
    let text = quantity(&value, unit);
    if value.starts_with(MINUS) {
        Term {
            text: format!("({text})"),
            math: number.in_brackets(),
        }
    } else {
        Term { text, math: number }
    }
}

/// A number and its unit in plain text, kept on one line.
pub(super) fn quantity(value: &str, unit: &str) -> String {
    if unit.is_empty() {
        value.to_owned()
    } else {
        format!("{value}\u{a0}{unit}")
    }
}

fn sum(terms: impl Iterator<Item = (Sign, Term)>) -> (String, Math) {
    let (mut text, mut pieces) = (String::new(), Vec::new());
    for (place, (sign, term)) in terms.enumerate() {
        let sign = match sign {
            Sign::Plus => "+",
            Sign::Minus => MINUS,
        };
        if place > 0 {
            text.push_str(&format!(" {sign} "));
            pieces.push(Math::operator(sign));
        } else if sign == MINUS {
            text.push_str(sign);
            pieces.push(Math::operator(sign));
        }
        text.push_str(&term.text);
        pieces.push(term.math);
    }
    (text, Math::row(pieces))
}

fn product(terms: Vec<Term>) -> (String, Math) {
    let (mut texts, mut pieces) = (Vec::new(), Vec::new());
    for (place, term) in terms.into_iter().enumerate() {
        if place > 0 {
            pieces.push(Math::operator(TIMES));
        }
        texts.push(term.text);
        pieces.push(term.math);
    }
    (texts.join(&format!(" {TIMES} ")), Math::row(pieces))
}

fn quotient(over: Vec<Term>, under: Vec<Term>) -> Typeset {
    let (several, none) = (under.len() > 1, under.is_empty());
    let (over, over_math) = product(over);
    let (under, under_math) = product(under);
    if none {
        return Typeset::new(over, &over_math);
    }
    // on one line, a unit such as g/mol or a ratio such as A/T would read as a second division
    let bracketed = !several && under.starts_with('(');
    let text = if !bracketed && (several || under.contains('/')) {
        format!("{over} / ({under})")
    } else {
        format!("{over} / {under}")
    };
    Typeset::new(text, &Math::fraction(over_math, under_math))
}

fn over_count(sum: String, math: Math, unit: &str, count: usize) -> Typeset {
    let over = if unit.is_empty() {
        math
    } else {
        math.in_brackets().with_unit(unit)
    };
    let text = format!("{} / {count}", quantity(&format!("({sum})"), unit));
    Typeset::new(
        text,
        &Math::fraction(over, Math::number(&count.to_string())),
    )
}

/// Σ xᵢ, where the symbols are one symbol with consecutive numbers.
fn indexed(graph: &Graph, ids: &[StepId]) -> Option<Math> {
    let symbols: Vec<Symbol> = symbols(graph, ids)?;
    let first = symbols.first()?;
    let from = first.number()?;
    let alike = |(place, symbol): (usize, &Symbol)| {
        let expected = u32::try_from(place).ok().and_then(|p| from.checked_add(p));
        symbol.number() == expected && symbol.clone().numbered("") == first.clone().numbered("")
    };
    let last = symbols.last()?.number()?;
    symbols.iter().enumerate().all(alike).then(|| {
        let from = [
            Math::identifier("i"),
            Math::operator("="),
            Math::number(&from.to_string()),
        ];
        Math::sum(
            Math::row(from),
            Math::number(&last.to_string()),
            first.clone().numbered("i").typeset(),
        )
    })
}

fn symbols(graph: &Graph, ids: &[StepId]) -> Option<Vec<Symbol>> {
    let read = |id: &StepId| Symbol::read(&graph.get(*id).quantity.symbol());
    ids.iter().map(read).collect()
}

/// Symbols in a row, in plain text.
fn names(graph: &Graph, ids: &[StepId]) -> String {
    let name = |id: &StepId| symbol::plain(&graph.get(*id).quantity.symbol());
    ids.iter().map(name).collect::<Vec<_>>().join(", ")
}

/// Σ(xᵢ − x̄)(yᵢ − ȳ) / Σ(xᵢ − x̄)², typeset.
fn slope_of(x: &Symbol, y: &Symbol) -> Math {
    let from_mean = |symbol: &Symbol| {
        let terms = [
            symbol.clone().numbered("i").typeset(),
            Math::operator(MINUS),
            symbol.clone().averaged().typeset(),
        ];
        Math::row(terms).in_brackets()
    };
    let over_points = |of| {
        let sign = Math::operator("\u{2211}");
        Math::row([sign.with_scripts(Some(Math::identifier("i")), None), of])
    };
    let squared = from_mean(x).with_scripts(None, Some(Math::number("2")));
    let over = over_points(Math::row([from_mean(x), from_mean(y)]));
    Math::fraction(over, over_points(squared))
}

/// 2·y / (b + √(b² + 4·q·y)).
fn root(square: Term, linear: Term, value: Term) -> Typeset {
    let two = || Math::number("2");
    let times = || Math::operator(TIMES);
    let text = format!(
        "2 {TIMES} {y} / ({b} + (({b})\u{b2} + 4 {TIMES} {q} {TIMES} {y})^(1/2))",
        y = value.text,
        b = linear.text,
        q = square.text
    );
    let half = Math::row([Math::number("1"), Math::operator("/"), two()]);
    let squared = linear
        .math
        .clone()
        .in_brackets()
        .with_scripts(None, Some(two()));
    let product = [
        Math::number("4"),
        times(),
        square.math,
        times(),
        value.math.clone(),
    ];
    let inside = Math::row([squared, Math::operator("+"), Math::row(product)]);
    let under = Math::row([
        linear.math,
        Math::operator("+"),
        inside.in_brackets().with_scripts(None, Some(half)),
    ]);
    let over = Math::row([two(), times(), value.math]);
    Typeset::new(text, &Math::fraction(over, under))
}
