//! Parsers never panic, whatever they are given, and take back what they would write.

use concordant::chem::{Formula, Reaction, balance};
use concordant::files::{read_procedure, shipped_glassware, shipped_procedures};
use concordant::submission::TrialLabel;
use proptest::prelude::*;

proptest! {
    #![proptest_config(ProptestConfig::with_cases(2000))]

    #[test]
    fn formulae(text in "[A-Za-z0-9()\\[\\].·^+\u{2212} -]{0,24}") {
        if let Ok(formula) = Formula::parse(&text) {
            prop_assert_eq!(Formula::parse(formula.written()).expect("as written"), formula);
        }
    }

    #[test]
    fn any_text_as_a_formula(text in any::<String>()) {
        let _found = Formula::parse(&text);
    }

    /// What is accepted as a reaction balances: twice each side is accepted too, one atom more is not.
    #[test]
    fn reactions(text in "[A-Z][a-z]?[0-9]? [+] [A-Z][a-z]?[0-9]? -> [A-Z][a-z]?[0-9]?[A-Z][a-z]?[0-9]?") {
        if Reaction::parse(&text).is_ok() {
            let more = format!("{text} + H");
            prop_assert!(Reaction::parse(&more).is_err());
        }
    }

    #[test]
    fn any_text_as_a_reaction(text in any::<String>()) {
        let _found = Reaction::parse(&text);
    }

    #[test]
    fn any_text_to_balance(text in any::<String>()) {
        let _found = balance(&text);
    }

    #[test]
    fn any_text_as_a_trial(text in any::<String>()) {
        if let Ok(trial) = TrialLabel::parse(&text) {
            prop_assert_eq!(TrialLabel::parse(&trial.to_string()), Ok(trial));
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(300))]

    /// A shipped procedure with a few characters changed reads or names its faults.
    #[test]
    fn procedures_with_slips(which in 0_usize..8, at in any::<prop::sample::Index>(), put in "[ -~\n]{0,3}", cut in 0_usize..6) {
        let (key, text) = &shipped_procedures()[which];
        let mut chars: Vec<char> = text.chars().collect();
        let start = at.index(chars.len());
        let end = (start + cut).min(chars.len());
        chars.splice(start..end, put.chars());
        let changed: String = chars.into_iter().collect();
        if let Err(faults) = read_procedure(key, &changed, &shipped_glassware()) {
            prop_assert!(!faults.is_empty());
        }
    }
}

#[test]
fn formulae_and_what_is_wrong_with_them() {
    let atoms = |text: &str| {
        let formula = Formula::parse(text).expect(text);
        (
            formula
                .atoms()
                .iter()
                .map(|(s, n)| format!("{s}{n}"))
                .collect::<Vec<_>>()
                .join(" "),
            formula.charge(),
        )
    };
    assert_eq!(
        atoms("Fe(NH4)2(SO4)2.6H2O"),
        ("Fe1 H20 N2 O14 S2".to_owned(), 0)
    );
    assert_eq!(atoms("[Fe(CN)6]^4-"), ("C6 Fe1 N6".to_owned(), -4));
    assert_eq!(atoms("CuSO4·5H2O"), ("Cu1 H10 O9 S1".to_owned(), 0));
    assert_eq!(atoms("H^+"), ("H1".to_owned(), 1));
    for (text, expected) in [
        (
            "",
            "formula “”, character 1: found the end, expected an element symbol such as Ca",
        ),
        (
            "CaXx",
            "formula “CaXx”, character 3: found “Xx”, expected an element with a standard atomic weight",
        ),
        (
            "Ca(OH2",
            "formula “Ca(OH2”, character 7: found the end, expected an element symbol such as Ca",
        ),
        (
            "Fe^x",
            "formula “Fe^x”, character 4: expected a charge such as ^2+ or ^-",
        ),
        (
            "H0",
            "formula “H0”, character 2: found the count 0, expected 1 to 9999",
        ),
        (
            "Ca+",
            "formula “Ca+”, character 3: found “+”, expected an element symbol such as Ca",
        ),
    ] {
        assert_eq!(Formula::parse(text).expect_err(text).to_string(), expected);
    }
}

#[test]
fn an_unbalanced_reaction_names_what_is_missing() {
    for (text, expected) in [
        (
            "Ca^2+ + C10H14N2O8^2- -> CaC10H12N2O8^2- + H^+",
            "reaction “Ca^2+ + C10H14N2O8^2- -> CaC10H12N2O8^2- + H^+” does not balance: H 14 left, 13 right; charge 0 left, -1 right; balanced it reads “Ca^2+ + C10H14N2O8^2- -> CaC10H12N2O8^2- + 2 H^+”",
        ),
        (
            "Fe^2+ + MnO4^- -> Fe^3+ + MnO4^-",
            "reaction “Fe^2+ + MnO4^- -> Fe^3+ + MnO4^-” does not balance: charge 1 left, 2 right; it cannot be balanced: found MnO4^- more than once, expected each species on one side and once",
        ),
        (
            "MnO4^- + 8 H^+ + 5 e^- -> Mn^2+ + 4 H2O",
            "reaction “MnO4^- + 8 H^+ + 5 e^- -> Mn^2+ + 4 H2O”: found electrons, expected the overall reaction, in which they cancel",
        ),
        (
            "H2 + O2",
            "reaction “H2 + O2”: found 0 arrows, expected one “->”",
        ),
        (
            "0 H2 -> H2",
            "reaction “0 H2 -> H2”: found the coefficient “0”, expected a whole number or a fraction such as 1/2",
        ),
    ] {
        assert_eq!(Reaction::parse(text).expect_err(text).to_string(), expected);
    }
    let fraction = Reaction::parse("H2 + 1/2 O2 -> H2O").expect("balances");
    assert_eq!(
        fraction
            .consumed(&Formula::parse("O2").expect("O2"))
            .expect("used")
            .to_string(),
        "1/2"
    );
}
