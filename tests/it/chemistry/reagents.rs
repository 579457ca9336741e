//! Recipes of reagents, scaled to a class.

use concordant::files::shipped_procedures;

use super::{read, text_of};

/// 200 mL each for 24 students and a fifth more are 5.76 L, with 3.722 g of EDTA in each: 21.44 g.
#[test]
fn a_recipe_is_scaled_to_a_class() {
    let procedure = read(&text_of("well-water-hardness")).expect("shipped");
    let titrant = procedure.reagents.first().expect("a reagent");
    let batch = titrant.for_class(24);
    assert_eq!(batch.amount.words(), "5760 mL");
    let edta = batch.ingredients.first().expect("EDTA");
    assert_eq!(edta.amount.words(), "21.44 g");
}

#[test]
fn every_titration_lists_what_the_prep_room_makes() {
    for (key, text) in shipped_procedures() {
        let procedure = read(&text).expect(&key);
        if procedure.titrant().is_some() {
            assert!(procedure.reagents.len() >= 2, "{key}");
        }
        for reagent in &procedure.reagents {
            assert!(!reagent.strength.is_empty(), "{key}: {}", reagent.name);
        }
    }
}

#[test]
fn a_recipe_that_cannot_be_scaled_is_a_fault() {
    let text = text_of("well-water-hardness");
    for (from, to, expected) in [
        (
            "\"200 mL\"",
            "\"200\"",
            "expected a number above 0 and mL or g",
        ),
        (
            "\"3.722 g disodium",
            "\"some disodium",
            "such as 70 g ammonium chloride",
        ),
    ] {
        let faults = read(&text.replace(from, to)).expect_err(expected);
        assert!(faults.iter().any(|f| f.contains(expected)), "{faults:?}");
    }
}
