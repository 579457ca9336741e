//! What the results of a submission are shifted by through no fault of the student.

use std::collections::BTreeMap;

use concordant::judge::{AuditKind, GroupName, Observed, audit, shifts};
use rayon::prelude::*;

use super::hands::{Class, Design, Off};
use super::rehearsal::{audited, crossed, rehearse};
use super::simulated::terms;
use concordant::simulate::class::SimulatedClass;
use concordant::simulate::supplies::Wrong;

/// A lot 2 % off in one to six sections of six. Seeds 400,000 on.
#[test]
fn everybody_with_a_lot_that_is_off_has_its_shift_and_nobody_else() {
    let count = terms(200);
    for sections in 1..=6 {
        let design = Design {
            lots_of: (0..6).map(|at| vec![usize::from(at < sections)]).collect(),
            ..Design::six_sections(24)
        };
        let lot = GroupName::new(AuditKind::Lot, "L1");
        let right = (400_000..400_000 + count).into_par_iter().filter(|seed| {
            let mut class = Class::of(144, *seed);
            let (observed, stated) = class.results(&design, Off::Lot(1, 2.0));
            let groups = audit(&observed, &stated);
            let shifts = shifts(observed.iter(), &groups);
            observed
                .iter()
                .zip(&shifts)
                .all(|(one, shift)| match shift {
                    Some(off) => {
                        one.groups.contains(&lot)
                            && (off.percent - 2.0).abs() < 0.4
                            && off.bottle_percent == 0.0
                            && off.elsewhere_percent() == off.percent
                    }
                    None => !one.groups.contains(&lot),
                })
        });
        let right = right.count() as u64;
        println!(
            "a lot 2 % off in {sections} of six sections: its students and no others have the shift in {right} of {count}"
        );
        assert!(100 * right >= 95 * count, "{right}");
    }
}

/// Results without scatter to speak of: bottle U1 1 % high, lot L1 2 % low, with the same bottles and lots crossed.
#[test]
fn shifts_of_a_bottle_and_of_a_lot_add_up_and_are_told_apart() {
    const SCATTER: [f64; 6] = [-0.03, -0.02, -0.01, 0.01, 0.02, 0.03];
    let mut all = Vec::new();
    for lot in 0..3 {
        for bottle in 0..4 {
            let shift = if bottle == 1 { 1.0 } else { 0.0 } - if lot == 1 { 2.0 } else { 0.0 };
            all.extend(SCATTER.map(|error| Observed {
                error_percent: shift + error,
                standard_percent: 0.02,
                at_days: None,
                groups: vec![
                    GroupName::new(AuditKind::Unknown, format!("U{bottle}")),
                    GroupName::new(AuditKind::Lot, format!("L{lot}")),
                ],
            }));
        }
    }
    let groups = audit(&all, &BTreeMap::new());
    for (at, shift) in shifts(all.iter(), &groups).into_iter().enumerate() {
        let (lot, bottle) = (at / 24, at / 6 % 4);
        let expected = match (bottle, lot) {
            (1, 1) => Some((-1.0, 1.0, GroupName::new(AuditKind::Lot, "L1"))),
            (1, _) => Some((1.0, 1.0, GroupName::new(AuditKind::Unknown, "U1"))),
            (_, 1) => Some((-2.0, 0.0, GroupName::new(AuditKind::Lot, "L1"))),
            _ => None,
        };
        assert_eq!(shift.is_some(), expected.is_some(), "{at}: {shift:?}");
        if let (Some(shift), Some((percent, of_bottle, group))) = (shift, expected) {
            assert!((shift.percent - percent).abs() < 1e-6, "{shift:?}");
            assert!((shift.bottle_percent - of_bottle).abs() < 1e-6, "{shift:?}");
            assert!(shift.standard_percent > 0.0 && shift.standard_percent < 0.02);
            assert_eq!(shift.group, group);
        }
    }
}

/// Through a term: a bottle 3 % rich makes those who have it find 3 % more.
#[test]
fn slots_have_the_shifts_of_their_results() {
    let class = crossed("spring-chloride").but(Wrong::Unknown(3, 3.0));
    let audit = audited(&rehearse(&class, 42));
    let shifts = audit.shifts();
    let bottle = GroupName::new(AuditKind::Unknown, "U3");
    let holders = audit.results.iter();
    let holders: Vec<_> = holders
        .filter(|found| found.observed.groups.contains(&bottle))
        .map(|found| &found.slot)
        .collect();
    assert!(shifts.keys().eq(holders.iter().copied()), "{shifts:?}");
    for shift in shifts.values() {
        assert!((shift.percent - 3.0).abs() < 0.3 && shift.percent == shift.bottle_percent);
    }
}

/// A lot to every two students, 300 of them, each lot with its value: the audit grows with the results.
#[test]
fn three_hundred_lots_are_audited_in_a_moment() {
    let class = SimulatedClass {
        lots_of: (0..25).map(|s| (12 * s..12 * s + 12).collect()).collect(),
        excess_of: vec![0; 25],
        assistant_of: vec![0; 25],
        unknowns: 100,
        ..crossed("vinegar-acidity")
    };
    let rehearsed = rehearse(&class, 7);
    let judged = rehearsed.judged();
    let start = std::time::Instant::now();
    let audit = rehearsed.audit(&judged).expect("has results");
    let took = start.elapsed();
    let lots = audit
        .assigned
        .keys()
        .filter(|name| name.kind == AuditKind::Lot);
    assert_eq!(lots.count(), 300);
    println!("{} results with 300 lots: {took:?}", audit.results.len());
    // without optimisation, on a busy machine; it was minutes once
    assert!(took.as_secs() < 20, "{took:?}");
}
