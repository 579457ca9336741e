//! Slips made on purpose in simulated classes, by seeds that nothing else uses, and what the judgement calls them.
//! `CONCORDANT_LONG=1` rehearses the full number.

use concordant::files::{read_procedure, shipped_glassware, shipped_procedures};
use concordant::judge::SlipCode;
use concordant::procedure::{Accept, Procedure};
use concordant::simulate::hands::Population;
use concordant::simulate::{Confusion, Mistake};
use rayon::prelude::*;

fn procedures() -> Vec<Procedure> {
    let glassware = shipped_glassware();
    let read =
        |(key, text): (String, String)| read_procedure(&key, &text, &glassware).expect("sound");
    shipped_procedures().into_iter().map(read).collect()
}

/// The same with a single trial, where one misread reading moves the result by all it is off.
fn single_trial(procedure: &Procedure) -> Procedure {
    let mut trials = procedure.trials.clone();
    trials.minimum = 1;
    trials.accept = Accept::All;
    procedure.clone().with(Some(trials), None)
}

fn confusion(procedure: &Procedure, students: usize, seed: u64) -> Option<Confusion> {
    concordant::simulate::confusion(procedure, Population::CAREFUL, students, seed)
}

fn rehearsed(students: usize, seed: u64) -> Confusion {
    let shipped = procedures();
    let single: Vec<Procedure> = shipped.iter().map(single_trial).collect();
    let all: Vec<&Procedure> = shipped.iter().chain(&single).collect();
    let classes: Vec<Confusion> = all
        .par_iter()
        .map(|procedure| confusion(procedure, students, seed).expect("a class"))
        .collect();
    let mut sum = Confusion::default();
    classes.iter().for_each(|class| sum.add(class));
    sum
}

/// Of slips that can be told apart at all, 95 in 100 are named right; of clean students, 1 in 100 at most is given a
/// slip they did not make.
#[test]
fn identifiable_slips_are_named_and_clean_work_is_not() {
    let long = std::env::var_os("CONCORDANT_LONG").is_some();
    let (students, least) = if long { (40, 5_000) } else { (4, 500) };
    let found = rehearsed(students, 20_261_125);
    let (identifiable, named) = found.named();
    println!(
        "{named} of {identifiable} identifiable slips named, {} of {} clean students accused",
        found.clean_accused, found.clean
    );
    assert!(identifiable >= least, "{identifiable} identifiable slips");
    assert!(
        named * 100 >= identifiable * 95,
        "{named} of {identifiable}"
    );
    assert!(
        found.clean_accused * 100 <= found.clean,
        "{} of {}",
        found.clean_accused,
        found.clean
    );
    // those of one scheme's own sums are made by `student_slips`, by arithmetic of its own
    let of_one_scheme = |code: &SlipCode| *code >= SlipCode::InterceptIgnored;
    assert!(
        SlipCode::ALL
            .iter()
            .filter(|code| of_one_scheme(code))
            .all(|code| { crate::student_slips::CODES.contains(&code.code()) })
    );
    for code in SlipCode::ALL
        .into_iter()
        .filter(|code| !of_one_scheme(code))
    {
        let made = Mistake::ALL.into_iter().find(|m| m.slip() == Some(code));
        let count = made
            .and_then(|mistake| found.slips.get(&mistake))
            .unwrap_or_else(|| panic!("no {code} could be made"));
        if long {
            println!(
                "{code}: made {}, identifiable {}, named {}",
                count.made, count.identifiable, count.named
            );
        }
    }
}

#[test]
fn the_same_seed_gives_the_same_class() {
    let procedure = &procedures()[0];
    assert_eq!(confusion(procedure, 3, 7), confusion(procedure, 3, 7));
    assert_ne!(confusion(procedure, 3, 7), confusion(procedure, 3, 8));
}
