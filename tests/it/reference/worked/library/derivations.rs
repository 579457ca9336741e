//! The derivation people read, of every procedure: typeset, in plain text, with uncertainties, in order.

use std::collections::{BTreeMap, BTreeSet};

use super::{Example, examples};
use concordant::language::Language;
use concordant::workup::{BudgetTable, DerivationLine, DerivationPart, Typeset, derivation};

/// What MathML Core has of what is used.
const ELEMENTS: [&str; 13] = [
    "math",
    "mrow",
    "mi",
    "mn",
    "mo",
    "mfrac",
    "msub",
    "msup",
    "msubsup",
    "mover",
    "mtext",
    "munderover",
    "mspace",
];

/// Elements with a fixed number of children.
const CHILDREN: [(&str, usize); 6] = [
    ("mfrac", 2),
    ("msub", 2),
    ("msup", 2),
    ("msubsup", 3),
    ("mover", 2),
    ("munderover", 3),
];

fn all() -> impl Iterator<Item = (&'static Example, Vec<DerivationPart>)> {
    examples().map(|example| (example, derivation(&example.work_up(), Language::English)))
}

fn lines(parts: &[DerivationPart]) -> impl Iterator<Item = &DerivationLine> {
    parts.iter().flat_map(|part| &part.lines)
}

fn typeset(line: &DerivationLine) -> impl Iterator<Item = &Typeset> {
    let written = [&line.formula, &line.numbers].into_iter().flatten();
    std::iter::once(&line.symbol).chain(written)
}

/// An element as it was opened, with how many children it has had.
struct Open<'a> {
    name: &'a str,
    children: usize,
}

/// Reads markup and panics where it is not well-formed. The pieces of text between the tags, with their element.
fn read(markup: &str) -> Vec<(String, String)> {
    let mut open: Vec<Open> = Vec::new();
    let mut texts = Vec::new();
    let mut roots = 0;
    let mut rest = markup;
    while let Some(at) = rest.find('<') {
        let (text, tag) = rest.split_at(at);
        let end = tag.find('>').expect("a tag ends");
        if !text.is_empty() {
            let within = open.last().expect("text stands in an element").name;
            assert!(!text.contains('>') && entities(text), "{text} in {markup}");
            texts.push((within.to_owned(), text.to_owned()));
        }
        let inner = &tag[1..end];
        rest = &tag[end + 1..];
        if let Some(name) = inner.strip_prefix('/') {
            let closed = open.pop().expect("something is open");
            assert_eq!(closed.name, name, "{markup}");
            let fixed = CHILDREN.iter().find(|(n, _)| *n == name);
            assert!(
                fixed.is_none_or(|(_, n)| *n == closed.children),
                "{name} in {markup}"
            );
            continue;
        }
        let name = inner.split(' ').next().expect("a name");
        assert!(ELEMENTS.contains(&name), "{name} in {markup}");
        attributes(inner, markup);
        match open.last_mut() {
            Some(parent) => parent.children += 1,
            None => roots += 1,
        }
        open.push(Open { name, children: 0 });
    }
    assert!(open.is_empty() && rest.is_empty() && roots == 1, "{markup}");
    texts
}

fn attributes(tag: &str, markup: &str) {
    let pieces: Vec<&str> = tag.split('"').collect();
    assert_eq!(pieces.len() % 2, 1, "{markup}");
    for (name, value) in pieces
        .iter()
        .step_by(2)
        .zip(pieces.iter().skip(1).step_by(2))
    {
        assert!(name.trim_end().ends_with('='), "{name} in {markup}");
        assert!(entities(value), "{value} in {markup}");
    }
}

/// Whether every ampersand begins an entity.
fn entities(text: &str) -> bool {
    text.split('&').skip(1).all(|after| {
        ["amp;", "lt;", "gt;", "quot;", "#39;"]
            .iter()
            .any(|e| after.starts_with(e))
    })
}

#[test]
fn every_formula_is_sound_mathml_with_its_text_beside() {
    for (example, parts) in all() {
        let mut seen = 0;
        for written in lines(&parts).flat_map(typeset) {
            read(&written.mathml);
            let beside = format!("alttext=\"{}\"", written.text);
            assert!(
                written.mathml.contains(&beside),
                "{}: {written:?}",
                example.key
            );
            seen += 1;
        }
        assert!(seen >= 15, "{}: {seen}", example.key);
    }
}

/// No symbol is left as a run of letters, and each stands for one thing.
#[test]
fn symbols_are_typeset_and_stand_for_one_thing() {
    let mut twice = Vec::new();
    for (example, parts) in all() {
        let mut known: BTreeMap<&str, String> = BTreeMap::new();
        for part in &parts {
            for line in &part.lines {
                let is_text = |(element, text): &(String, String)| {
                    element == "mtext" && text.chars().any(char::is_alphabetic)
                };
                let left = read(&line.symbol.mathml).into_iter().find(is_text);
                assert!(left.is_none(), "{}: {left:?}", example.key);
                let (symbol, whole) =
                    (&line.symbol.text, format!("{}, {}", part.title, line.label));
                if let Some(other) = known.insert(symbol, whole.clone()) {
                    twice.push(format!("{}: {symbol} is {other} and {whole}", example.key));
                }
            }
        }
    }
    assert!(twice.is_empty(), "{twice:#?}");
}

/// What is shared comes first, then trial by trial, then the mean; nothing is used before it is said.
#[test]
fn steps_come_in_an_order_that_can_be_followed() {
    for (example, parts) in all() {
        let titles: Vec<&str> = parts.iter().map(|part| part.title.as_str()).collect();
        assert_eq!(
            titles.last(),
            Some(&"Mean of the trials that count"),
            "{}",
            example.key
        );
        let first_trial = titles.iter().position(|t| t.starts_with("Trial "));
        let shared = titles
            .iter()
            .rposition(|t| !t.starts_with("Trial ") && !t.starts_with("Mean"));
        assert!(shared < first_trial, "{}: {titles:?}", example.key);
        let mut said: BTreeSet<&str> = BTreeSet::new();
        for line in lines(&parts) {
            for used in line
                .formula
                .iter()
                .flat_map(|f| f.text.split([' ', '(', ')', ',']))
            {
                // a species stands in the brackets of its symbol
                let is_symbol = |line: &&DerivationLine| line.symbol.text == used;
                let known = lines(&parts).find(is_symbol).is_none() || said.contains(used);
                assert!(known, "{}: {used} in {:?}", example.key, line.formula);
            }
            said.insert(&line.symbol.text);
        }
    }
}

/// Units stand with the numbers, and the uncertainty of the last step is the result's.
#[test]
fn numbers_have_units_and_steps_uncertainties() {
    for (example, parts) in all() {
        let work_up = example.work_up();
        let budget = work_up.budget.as_ref().expect("a budget");
        let unit = lines(&parts).last().expect("a step").unit;
        let causes = BudgetTable::of(budget, unit, Language::English);
        let last = lines(&parts).last().expect("a step");
        assert_eq!(
            last.uncertainty.as_ref(),
            Some(&causes.standard),
            "{}",
            example.key
        );
        for line in lines(&parts) {
            let exact = line.uncertainty.is_none();
            // what the abscissae of a curve's line are off is in the scatter about it
            let abscissa = line.label.starts_with("mean volume, ");
            let given = line.unit.is_empty() || line.formula.is_none() || line.value == "0";
            let uncertain = !exact || given || abscissa;
            assert!(uncertain, "{}: {} is exact", example.key, line.label);
            if let Some(numbers) = line.numbers.as_ref().filter(|_| line.unit == "mL") {
                // mL itself, or mL in the unit of what is divided: mV/mL² by mV/mL³
                let has_unit = |text: &str| {
                    let mut units = text.split('\u{a0}').skip(1);
                    units.any(|unit| {
                        unit.split([' ', '<', ')'])
                            .next()
                            .is_some_and(|u| u.contains("mL"))
                    })
                };
                for written in [&numbers.text, &numbers.mathml] {
                    assert!(has_unit(written), "{}: {numbers:?}", example.key);
                }
            }
        }
        let shares = causes.lines.iter().filter_map(|c| c.share.as_ref());
        let sum: f64 = shares.filter_map(|s| s.parse::<f64>().ok()).sum();
        assert!((sum - 100.0).abs() < 1.0, "{}: {sum}", example.key);
    }
}
