//! The derivation and the budget of every procedure, word by word in German and in English.

use std::collections::BTreeSet;

use concordant::language::Language;
use concordant::workup::{BudgetTable, DerivationPart, Typeset, WorkUp, derivation};

use crate::properties::stations;

/// Labels that are the same in both languages.
const SAME: [&str; 1] = ["pH"];

/// Words, prefixes of units among them, that both languages write alike.
const SHARED: [&str; 2] = ["mmol", "portion"];

/// Everything that is read of a derivation and a budget, label by label, in one order in both languages.
fn texts(work_up: &WorkUp, unit: &'static str, language: Language) -> Vec<String> {
    let mut all = Vec::new();
    for part in derivation(work_up, language) {
        all.push(part.title.clone());
        all.extend(part.lines.iter().map(|line| line.label.clone()));
        all.extend(part.why_not.iter().map(|why| language.say(why)));
    }
    if let Some(budget) = &work_up.budget {
        let table = BudgetTable::of(budget, unit, language);
        let mut names: Vec<String> = table.lines.iter().map(|line| line.name.clone()).collect();
        all.append(&mut names);
        all.extend([table.random, table.covered]);
    }
    all
}

/// All that a derivation shows as a formula, in text and in markup.
fn formulas(parts: &[DerivationPart]) -> Vec<&Typeset> {
    let lines = parts.iter().flat_map(|part| &part.lines);
    let of = lines.flat_map(|line| {
        [
            Some(&line.symbol),
            line.formula.as_ref(),
            line.numbers.as_ref(),
        ]
    });
    of.flatten().collect()
}

/// Words in small letters only, of four or more: neither formulae nor codes nor symbols.
fn words(text: &str) -> BTreeSet<&str> {
    let words = text.split(|c: char| !c.is_alphabetic());
    let is_word = |word: &&str| word.chars().count() > 3 && word.chars().all(char::is_lowercase);
    words.filter(is_word).collect()
}

/// A digit, a point and a digit.
fn has_a_point(text: &str) -> bool {
    let mut around = text.match_indices('.');
    around.any(|(place, _)| {
        let before = text[..place].chars().next_back();
        let after = text[place + 1..].chars().next();
        [before, after]
            .iter()
            .flatten()
            .filter(|c| c.is_ascii_digit())
            .count()
            == 2
    })
}

fn english_left<'a>(english: &'a str, german: &str) -> Vec<&'a str> {
    let german = words(german);
    let left = words(english).into_iter();
    left.filter(|word| german.contains(word) && !SHARED.contains(word))
        .collect()
}

#[test]
fn every_label_of_every_procedure_is_german() {
    let (mut labels, mut formulae) = (BTreeSet::new(), 0);
    for station in stations() {
        let unit = station.procedure.result.unit.name();
        // with a rough trial and without, and a single trial, which says another sentence of its scatter
        for (seed, trials) in [(1, 3), (2, 3), (3, 1)] {
            let work_up = station.work_up(&station.hand_in(seed, trials));
            let [english, german] =
                [Language::English, Language::German].map(|own| texts(&work_up, unit, own));
            assert_eq!(english.len(), german.len(), "{}", station.name);
            for (one, other) in english.iter().zip(&german) {
                let name = &station.name;
                for text in [one, other] {
                    assert!(!text.contains('{'), "{name}: a place is empty in “{text}”");
                    assert!(!text.contains("step."), "{name}: no text for “{text}”");
                }
                let alike = one == other && !one.is_empty() && !SAME.contains(&one.as_str());
                assert!(!alike, "{name}: “{one}” in both languages");
                assert_eq!(english_left(one, other), [""; 0], "{name}: {other}");
                assert!(!has_a_point(other), "{name}: {other}");
                labels.insert(other.clone());
            }
            let parts = derivation(&work_up, Language::German);
            let in_english = derivation(&work_up, Language::English);
            let pairs = formulas(&parts).into_iter().zip(formulas(&in_english));
            for (typeset, english) in pairs {
                let name = &station.name;
                for (text, english) in [
                    (&typeset.text, &english.text),
                    (&typeset.mathml, &english.mathml),
                ] {
                    assert!(!has_a_point(text), "{name}: {text}");
                    // tags and what they are told are no words of a language
                    let bare = |text: &str| {
                        let pieces = text.split('<').map(|piece| match piece.split_once('>') {
                            Some((_, said)) => said.to_owned(),
                            None => piece.to_owned(),
                        });
                        pieces.collect::<Vec<_>>().join(" ")
                    };
                    assert_eq!(english_left(&bare(english), &bare(text)), [""; 0], "{name}");
                    formulae += 1;
                }
                assert!(typeset.mathml.contains("<math"), "{name}");
            }
            for line in parts.iter().flat_map(|part| &part.lines) {
                assert!(!has_a_point(&line.value), "{}", line.value);
                let u = line.uncertainty.as_deref().unwrap_or_default();
                assert!(!has_a_point(u), "{u}");
            }
        }
    }
    assert!(
        labels.len() > 300 && formulae > 5000,
        "{} {formulae}",
        labels.len()
    );
    // as German manuals of the laboratory have them
    for needed in [
        "Verbrauch",
        "Anfangsstand",
        "Endstand",
        "Was alle Bestimmungen gemeinsam haben",
        "Kalibrierung der Bürette",
    ] {
        assert!(labels.contains(needed), "no “{needed}” in {labels:#?}");
    }
}

/// A number with its decimal comma is one number in the markup, too.
#[test]
fn numbers_are_marked_up_with_a_comma() {
    let station = stations().iter().find(|one| one.name == "naoh-against-khp");
    let station = station.expect("is shipped");
    let work_up = station.work_up(&station.hand_in(1, 3));
    let parts = derivation(&work_up, Language::German);
    let is_number = |piece: &str| {
        let digits = piece.split("</mn>").next().unwrap_or_default();
        let (before, after) = digits.split_once(',').unwrap_or_default();
        let all = |text: &str| !text.is_empty() && text.chars().all(|c| c.is_ascii_digit());
        all(before) && all(after)
    };
    let typeset = formulas(&parts);
    let numbers = typeset
        .iter()
        .flat_map(|one| one.mathml.split("<mn>").skip(1));
    assert!(numbers.filter(|piece| is_number(piece)).count() > 20);
}

#[test]
fn what_is_left_in_english_is_found() {
    assert_eq!(
        english_left("volume of stock", "volume der Stammlösung"),
        ["volume"]
    );
    assert!(english_left("mg per g", "mg je g").is_empty());
    assert!(has_a_point("1.5 mL") && !has_a_point("1,5 mL.") && !has_a_point("0. 5"));
}
