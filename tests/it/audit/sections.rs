//! Sections and assistants side by side: a lenient hand is seen, and none is invented.

use std::collections::BTreeMap;

use concordant::term::{Beside, Decision, Habit, Judged, Measure, Ruling, Slot, Teaching, Term};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha20Rng;
use rayon::prelude::*;
use rust_decimal::Decimal;

use concordant::simulate::class::SimulatedClass;
use concordant::simulate::hands::normal;

use super::rehearsal::{crossed, rehearse};
use super::simulated::terms;

/// How assistants give points and decide.
#[derive(Clone, Copy, Default)]
struct Hands {
    /// Points of two that assistant 1 gives more than the others.
    lenient: f64,
    /// Share of decisions that assistant 1 returns, where the others return a tenth.
    returns: Option<f64>,
}

/// A rehearsed class whose assistants have given points and settled two thirds of the submissions.
fn compared(hands: Hands, seed: u64) -> Vec<Beside> {
    let class = SimulatedClass {
        burettes: 0,
        ..crossed("vinegar-acidity")
    };
    let mut term = rehearse(&class, seed).term;
    let rng = &mut ChaCha20Rng::seed_from_u64(seed);
    let students = term.students.clone();
    for student in &students {
        let slot = crate::slot("e", &student.id);
        let by = if ["S2", "S3"].contains(&student.section.as_str()) {
            "a1"
        } else {
            "a0"
        };
        let more = if by == "a1" { hands.lenient } else { 0.0 };
        let given = (1.5 + more + 0.3 * normal(rng)).clamp(0.0, 2.0);
        term.by_hand
            .insert(slot.clone(), Decimal::new((10.0 * given).round() as i64, 1));
        if rng.random::<f64>() < 2.0 / 3.0 {
            let returned = hands.returns.filter(|_| by == "a1").unwrap_or(0.1);
            let ruling = if rng.random::<f64>() < returned {
                Ruling::Return
            } else {
                Ruling::Accept
            };
            let decision = Decision {
                ruling,
                revision: 1,
                reason: "r".into(),
                by: by.into(),
                at: "2026-09-15T09:00:00Z".parse().expect("is a time"),
            };
            term.decisions.insert(slot, vec![decision]);
        }
    }
    let judged: BTreeMap<Slot, Judged> = term.judge_all().into_iter().collect();
    term.side_by_side(judged.iter(), None)
}

fn all(hands: Hands, first: u64, count: u64) -> Vec<Vec<Beside>> {
    let seeds = first..first + count;
    seeds
        .into_par_iter()
        .map(|seed| compared(hands, seed))
        .collect()
}

fn stands_out(page: &[Beside]) -> bool {
    let one = |beside: &Beside| {
        let marks = beside.marks.values().any(|contrast| contrast.stands_out());
        marks || beside.habits.values().any(|share| share.stands_out())
    };
    page.iter().any(one)
}

fn person<'a>(page: &'a [Beside], login: &str) -> &'a Beside {
    let is = |one: &&Beside| one.teaching == Teaching::Person && one.key == login;
    page.iter().find(is).expect("teaches")
}

#[test]
fn none_is_invented() {
    let count = terms(400);
    let found = all(Hands::default(), 700_000, count);
    let pages = found.iter().filter(|page| stands_out(page)).count() as u64;
    println!("sections: something stands out on {pages} of {count} pages where nothing does");
    // the level is 1 % over everything on a page
    assert!(pages <= 1 + count / 50, "{pages} of {count}");
}

#[test]
fn a_lenient_hand_is_seen_as_the_hand() {
    let count = terms(200);
    let hands = Hands {
        lenient: 0.4,
        ..Hands::default()
    };
    let found = all(hands, 710_000, count);
    let seen = |page: &&Vec<Beside>| {
        let by_hand = &person(page, "a1").marks[&Measure::ByHand];
        by_hand.stands_out() && by_hand.difference.is_some_and(|d| d.value > 0.0)
    };
    let readings = |page: &&Vec<Beside>| person(page, "a1").marks[&Measure::Readings].stands_out();
    let seen = found.iter().filter(seen).count() as u64;
    let readings = found.iter().filter(readings).count() as u64;
    println!(
        "sections: 20 % more by hand is seen in {seen} of {count}, readings named in {readings}"
    );
    assert!(10 * seen >= 9 * count && readings == 0);
}

#[test]
fn another_habit_of_settling_is_seen() {
    let count = terms(200);
    let hands = Hands {
        returns: Some(0.8),
        ..Hands::default()
    };
    let found = all(hands, 720_000, count);
    let seen = |page: &&Vec<Beside>| person(page, "a1").habits[&Habit::Returned].stands_out();
    let seen = found.iter().filter(seen).count() as u64;
    println!("sections: eight returned of ten instead of one is seen in {seen} of {count}");
    assert!(10 * seen >= 9 * count);
}

#[test]
fn one_section_alone_has_nothing_beside_it() {
    let term: Term = rehearse(&crossed("vinegar-acidity").in_one_section(), 1).term;
    let judged = term.judge_all();
    let found = term.side_by_side(judged.iter().map(|(slot, one)| (slot, one)), Some("e"));
    assert_eq!(found.len(), 2);
    assert!(
        found
            .iter()
            .all(|one| one.marks[&Measure::Readings].difference.is_none())
    );
    assert!(
        found
            .iter()
            .all(|one| !one.marks.contains_key(&Measure::ByHand))
    );
    assert!(!stands_out(&found));
    let none = term.side_by_side(judged.iter().map(|(slot, one)| (slot, one)), Some("other"));
    assert!(
        none.iter()
            .all(|one| one.students == 0 && one.marks.is_empty())
    );
}
