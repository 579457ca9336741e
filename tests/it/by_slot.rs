//! The map of a course by its students' places, beside `BTreeMap` of the standard library.

use std::collections::BTreeMap;

use concordant::ids::{ExperimentKey, StudentId};
use concordant::term::{BySlot, Slot};
use proptest::prelude::*;

/// What is done to a map.
#[derive(Clone, Debug)]
enum Step {
    Insert(u16, u32),
    Remove(u16),
    Change(u16),
    Push(u16, u32),
    /// From here on the copy is changed, and what it was made of is kept.
    Copy,
}

fn slot(number: u16) -> Slot {
    let experiment = ["b", "a", "aa"][usize::from(number % 3)];
    Slot::new(
        &ExperimentKey::new(experiment),
        &StudentId::new(format!("{:03}", number / 3)),
    )
}

fn steps() -> impl Strategy<Value = Vec<Step>> {
    let number = || 0..900_u16;
    let step = prop_oneof![
        8 => (number(), any::<u32>()).prop_map(|(at, value)| Step::Insert(at, value)),
        4 => number().prop_map(Step::Remove),
        2 => number().prop_map(Step::Change),
        3 => (number(), any::<u32>()).prop_map(|(at, value)| Step::Push(at, value)),
        1 => Just(Step::Copy),
    ];
    prop::collection::vec(step, 0..600)
}

type Held = BySlot<Vec<u32>>;
type Expected = BTreeMap<Slot, Vec<u32>>;

fn take(step: &Step, held: &mut Held, expected: &mut Expected) {
    match *step {
        Step::Insert(at, value) => {
            let before = held.insert(slot(at), vec![value]);
            assert_eq!(before, expected.insert(slot(at), vec![value]));
        }
        Step::Remove(at) => assert_eq!(held.remove(&slot(at)), expected.remove(&slot(at))),
        Step::Change(at) => {
            let (own, other) = (held.get_mut(&slot(at)), expected.get_mut(&slot(at)));
            assert_eq!(own, other);
            if let (Some(own), Some(other)) = (own, other) {
                own.clear();
                other.clear();
            }
        }
        Step::Push(at, value) => {
            held.push(&slot(at), value);
            expected.entry(slot(at)).or_default().push(value);
        }
        Step::Copy => {}
    }
}

fn assert_same(held: &Held, expected: &Expected) {
    assert!(held.iter().eq(expected.iter()));
    assert!(held.keys().eq(expected.keys()) && held.values().eq(expected.values()));
    assert_eq!(
        (held.len(), held.is_empty()),
        (expected.len(), expected.is_empty())
    );
    for number in 0..910 {
        let slot = slot(number);
        assert_eq!(held.get_key_value(&slot), expected.get_key_value(&slot));
        assert_eq!(held.contains_key(&slot), expected.contains_key(&slot));
    }
    for experiment in ["a", "aa", "b", "", "ab", "c"].map(ExperimentKey::new) {
        let of_it = expected
            .iter()
            .filter(|(slot, _)| slot.experiment == experiment);
        assert!(held.of_experiment(&experiment).eq(of_it), "{experiment}");
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(200))]

    #[test]
    fn it_holds_what_a_tree_holds_and_so_do_the_copies_it_was_made_of(steps in steps()) {
        let (mut held, mut expected) = (Held::new(), Expected::new());
        let mut kept = Vec::new();
        for step in &steps {
            if matches!(step, Step::Copy) {
                kept.push((held.clone(), expected.clone()));
            }
            take(step, &mut held, &mut expected);
        }
        kept.push((held, expected));
        for (held, expected) in &kept {
            assert_same(held, expected);
        }
    }
}

#[test]
fn what_comes_in_order_or_the_other_way_is_found() {
    let numbers: Vec<u16> = (0..900).collect();
    let mut expected = Expected::new();
    expected.extend(
        numbers
            .iter()
            .map(|one| (slot(*one), vec![u32::from(*one)])),
    );
    let in_order: Held = expected.clone().into_iter().collect();
    let backwards: Held = expected.clone().into_iter().rev().collect();
    assert_same(&in_order, &expected);
    assert_same(&backwards, &expected);
    assert_eq!(in_order, backwards);
    let mut changed = in_order.clone();
    for value in changed.values_mut() {
        value.push(1);
    }
    assert_same(&in_order, &expected);
    assert!(changed.iter().all(|(_, value)| value.len() == 2));
    let emptied = numbers.iter().fold(in_order, |mut all, one| {
        all.remove(&slot(*one));
        all
    });
    assert_same(&emptied, &Expected::new());
}
