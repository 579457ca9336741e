//! Groups of three or four: what they show, how seldom they show what is not there, and what is said of that.

use std::collections::BTreeMap;

use concordant::judge::{AuditGroup, AuditKind, GroupName, Observed, Verdict, audit};
use rayon::prelude::*;

use super::hands::{Class, Design, Off};
use super::simulated::terms;

fn one(error_percent: f64, bottle: &str) -> Observed {
    Observed {
        error_percent,
        standard_percent: 0.1,
        at_days: None,
        groups: vec![GroupName::new(AuditKind::Unknown, bottle)],
    }
}

/// `others` results between −0.5 and 0.5 % without a bottle, and the group.
fn beside(others: usize, group: &[f64]) -> AuditGroup {
    let away = |at: usize| at as f64 / (others as f64 - 1.0) - 0.5;
    let mut all: Vec<Observed> = (0..others)
        .map(|at| Observed {
            groups: Vec::new(),
            ..one(away(at), "")
        })
        .collect();
    all.extend(group.iter().map(|error| one(*error, "U")));
    let mut groups = audit(&all, &BTreeMap::new());
    assert_eq!(groups.len(), 1);
    groups.remove(0)
}

fn near(found: Option<f64>, expected: f64) {
    let found = found.expect("judged");
    assert!((found / expected - 1.0).abs() < 1e-9, "{found} {expected}");
}

#[test]
fn three_further_out_than_all_others_are_one_order_of_many() {
    // of C(43, 3) = 12,341 places that three of 43 can have, one is beyond all 40 on either side
    near(beside(40, &[2.0, 2.1, 2.2]).p_value, 2.0 / 12_341.0);
    // at 0.49 one of the others, 0.5, is further out: three of the first four, C(4, 3) = 4
    near(beside(40, &[0.49, 2.1, 2.2]).p_value, 8.0 / 12_341.0);
    // the first three of 44 are of the group's four, C(4, 3) of C(44, 3) = 13,244; two sides, and two ways to look: three
    // of them, or all four
    near(
        beside(40, &[0.0, 2.1, 2.2, 2.3]).p_value,
        4.0 * 4.0 / 13_244.0,
    );
    let off = beside(40, &[2.0, 2.1, 2.2]);
    assert!(off.verdict.is_named(), "{off:?}");
    // their median, as uncertain as the class of 24 others would say
    assert!((off.own.percent - 2.1).abs() < 1e-12);
    // two are too few, and so are three where there is no class
    assert_eq!(beside(40, &[2.0, 2.1]).verdict, Verdict::TooFew);
    assert_eq!(beside(20, &[2.0, 2.1, 2.2]).verdict, Verdict::TooFew);
}

fn is_named(groups: &[AuditGroup], key: &str) -> bool {
    let is_it = |group: &&AuditGroup| group.name == GroupName::new(AuditKind::Unknown, key);
    groups
        .iter()
        .find(is_it)
        .is_some_and(|g| g.verdict.is_named())
}

/// Terms of six experiments with 144 students and 20 to 48 bottles, seeds 0 to 299 each: nothing is off.
#[test]
fn one_term_in_a_hundred_has_a_group_that_is_not_off() {
    let count = terms(300);
    for bottles in [20, 24, 36, 48] {
        let false_terms = (0..count).into_par_iter().filter(|seed| {
            let mut class = Class::of(144, *seed);
            let design = Design::six_sections(bottles);
            (0..6).any(|_| {
                let (observed, stated) = class.results(&design, Off::Nothing);
                let groups = audit(&observed, &stated);
                groups.iter().any(|group| group.verdict.is_off())
            })
        });
        let false_terms = false_terms.count() as u64;
        println!("{bottles} bottles: something looks off in {false_terms} of {count} terms");
        // one in a hundred, and what chance makes of it
        assert!(false_terms <= 2 + count / 100, "{false_terms}");
    }
}

/// Seeds 100,000 on.
#[test]
fn a_bottle_five_percent_off_is_found_from_three_students() {
    let count = terms(400);
    for (bottles, percent, least) in [(48, 5.0, 80), (48, 1.0, 0), (36, 5.0, 80), (36, -5.0, 80)] {
        let named = (100_000..100_000 + count).into_par_iter().filter(|seed| {
            let mut class = Class::of(144, *seed);
            let off = Off::Bottle(3, percent);
            let (observed, stated) = class.results(&Design::six_sections(bottles), off);
            is_named(&audit(&observed, &stated), "U03")
        });
        let named = named.count() as u64;
        let n = 144 / bottles;
        println!("a bottle of {n} students {percent} % off: named in {named} of {count}");
        assert!(100 * named >= least * count, "{named}");
    }
}

/// What is said to be seen in four of five groups is put on a bottle and seen in three of four at least. Seeds 200,000 on.
#[test]
fn what_few_results_are_said_to_show_they_show() {
    let count = terms(400);
    for bottles in [48, 36, 24] {
        let named = (200_000..200_000 + count).into_par_iter().filter(|seed| {
            let mut class = Class::of(144, *seed);
            let design = Design::six_sections(bottles);
            let (mut observed, stated) = class.results(&design, Off::Nothing);
            let bottle = GroupName::new(AuditKind::Unknown, "U03");
            let groups = audit(&observed, &stated);
            let group = groups.iter().find(|group| group.name == bottle);
            let Some(seen) = group.and_then(|group| group.seen_from_percent) else {
                return false;
            };
            let has = |one: &&mut Observed| one.groups.contains(&bottle);
            let shifted = observed.iter_mut().filter(has);
            shifted.for_each(|one| one.error_percent += seen);
            is_named(&audit(&observed, &stated), "U03")
        });
        let named = named.count() as u64;
        println!("{bottles} bottles: what is said to be seen is seen in {named} of {count}");
        assert!(100 * named >= 75 * count - 300, "{named}");
    }
}
