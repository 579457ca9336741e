//! Parsers never panic, whatever they are given, and take back what they would write.
//!
//! By default on a few thousand inputs each; with `CONCORDANT_LONG=1` on 200 000 of the cheap ones. How many is printed.

mod fuzz;
mod readings;

use std::sync::LazyLock;

use concordant::chem::{Formula, Reaction, balance};
use concordant::files::{
    read_procedure, read_roster_file, read_trials, shipped_glassware, shipped_procedures,
};
use concordant::measure::{GlasswareTable, Reading};
use concordant::procedure::Procedure;
use concordant::submission::TrialLabel;
use concordant::text::Fault;
use proptest::prelude::*;
use proptest::sample::Index;

use crate::properties::inputs;

const USUAL: u32 = 2000;
const LONG: u32 = 200_000;

/// Keys and texts of the shipped procedures.
static PROCEDURES: LazyLock<Vec<(String, String)>> = LazyLock::new(shipped_procedures);
pub static GLASSWARE: LazyLock<GlasswareTable> = LazyLock::new(shipped_glassware);

/// Every formula and every reaction of the shipped procedures, as written.
pub static WRITTEN: LazyLock<(Vec<String>, Vec<String>)> = LazyLock::new(|| {
    let read = |(key, text): &(String, String)| read_procedure(key, text, &GLASSWARE).expect(key);
    let procedures: Vec<Procedure> = PROCEDURES.iter().map(read).collect();
    let reactions = procedures.iter().flat_map(|p| &p.reactions);
    let reactions: Vec<String> = reactions.map(|r| r.written().to_owned()).collect();
    let species = procedures
        .iter()
        .flat_map(|p| p.reactions.iter().flat_map(Reaction::species));
    let formulae = species.map(|formula| formula.written().to_owned());
    (formulae.collect(), reactions)
});

/// The text with `cut` characters from a place on replaced by others.
fn changed(text: &str, at: Index, cut: usize, put: &str) -> String {
    let mut chars: Vec<char> = text.chars().collect();
    let start = at.index(chars.len() + 1);
    let end = (start + cut).min(chars.len());
    chars.splice(start..end, put.chars());
    chars.into_iter().collect()
}

/// What a formula reads as, it writes; and it weighs something.
fn a_formula(text: &str) {
    if let Ok(formula) = Formula::parse(text) {
        assert_eq!(
            Formula::parse(formula.written()).expect("as written"),
            formula
        );
        assert!(!formula.atoms().is_empty() && formula.molar_mass().value.is_sign_positive());
    }
}

/// What is a reaction, is one backwards, and none with an atom more.
fn a_reaction(text: &str) {
    let Ok(reaction) = Reaction::parse(text) else {
        return;
    };
    assert_eq!(
        Reaction::parse(reaction.written()).expect("as written"),
        reaction
    );
    let unified = text.replace('\u{2192}', "->");
    let (left, right) = unified.split_once("->").expect("an arrow");
    let back = Reaction::parse(&format!("{} -> {}", right.trim(), left.trim())).expect("backwards");
    for species in reaction.species() {
        assert_eq!(reaction.consumed(species), back.produced(species));
    }
    assert!(Reaction::parse(&format!("{text} + H")).is_err());
}

/// Read by its own rule: digits, at most one mark between digits, at most so many characters.
fn is_reading(text: &str, most: usize) -> bool {
    let parts: Vec<&str> = text.split(['.', ',']).collect();
    let digits = |part: &&str| !part.is_empty() && part.chars().all(|c| c.is_ascii_digit());
    parts.len() <= 2 && parts.iter().all(digits) && text.chars().count() <= most
}

fn a_reading(text: &str) {
    let written = text.trim_matches([' ', '\t', '\u{a0}']);
    let found = Reading::parse(text);
    assert_eq!(found.is_ok(), is_reading(written, 12), "{text:?}");
    assert_eq!(
        Reading::parse_answer(text).is_ok(),
        is_reading(written, 24),
        "{text:?}"
    );
    let Ok(reading) = found else {
        return;
    };
    assert_eq!(reading.written(), written);
    let decimals = written.split(['.', ',']).nth(1).map_or(0, str::len);
    assert_eq!(reading.decimals() as usize, decimals);
    let number: f64 = written.replace(',', ".").parse().expect("a number");
    assert_eq!(reading.value().to_string().parse(), Ok(number));
}

/// A procedure reads under a valid key, or every fault stands on a line of it.
fn a_procedure(text: &str) {
    match read_procedure("p.toml", text, &GLASSWARE) {
        Ok(procedure) => assert!(!procedure.key.is_empty()),
        Err(faults) => {
            assert!(!faults.is_empty());
            let lines = text.lines().count().max(1) as u64;
            let beyond =
                |fault: &&Fault| fault.line.is_some_and(|line| line == 0 || line > lines + 1);
            assert_eq!(faults.iter().find(beyond), None, "{text}");
            let split = faults.iter().find(|fault| fault.to_string().contains('\n'));
            assert_eq!(split, None, "{text}");
        }
    }
}

proptest! {
    #![proptest_config(inputs(USUAL, LONG))]

    #[test]
    fn formulae(text in "[A-Za-z0-9()\\[\\].·^+\u{2212} -]{0,24}") {
        a_formula(&text);
    }

    #[test]
    fn formulae_with_slips(which in any::<Index>(), at in any::<Index>(), cut in 0_usize..4, put in "[A-Za-z0-9()^.+ -]{0,3}") {
        let known = &WRITTEN.0;
        a_formula(&changed(&known[which.index(known.len())], at, cut, &put));
    }

    #[test]
    fn any_text_as_a_formula(text in any::<String>()) {
        a_formula(&text);
    }

    #[test]
    fn reactions(text in "[A-Z][a-z]?[0-9]? [+] [A-Z][a-z]?[0-9]? -> [A-Z][a-z]?[0-9]?[A-Z][a-z]?[0-9]?") {
        a_reaction(&text);
    }

    #[test]
    fn reactions_with_slips(which in any::<Index>(), at in any::<Index>(), cut in 0_usize..4, put in "[A-Za-z0-9()^.+> -]{0,3}") {
        let known = &WRITTEN.1;
        a_reaction(&changed(&known[which.index(known.len())], at, cut, &put));
    }

    #[test]
    fn any_text_as_a_reaction(text in any::<String>()) {
        a_reaction(&text);
    }

    #[test]
    fn readings(text in "[ \t]{0,1}[0-9]{0,9}[.,]{0,2}[0-9]{0,14}[ -]{0,1}") {
        a_reading(&text);
    }

    #[test]
    fn any_text_as_a_reading(text in any::<String>()) {
        a_reading(&text);
    }

    #[test]
    fn any_text_as_a_trial(text in any::<String>()) {
        if let Ok(trial) = TrialLabel::parse(&text) {
            prop_assert_eq!(TrialLabel::parse(&trial.to_string()), Ok(trial));
        }
    }
}

proptest! {
    #![proptest_config(inputs(USUAL, LONG / 4))]

    #[test]
    fn any_text_to_balance(text in any::<String>()) {
        let _found = balance(&text);
    }

    #[test]
    fn reactions_to_balance(which in any::<Index>(), at in any::<Index>(), cut in 0_usize..4, put in "[A-Za-z0-9()^.+> -]{0,3}") {
        let known = &WRITTEN.1;
        if let Ok(found) = balance(&changed(&known[which.index(known.len())], at, cut, &put)) {
            a_reaction(&found.to_string());
        }
    }
}

proptest! {
    #![proptest_config(inputs(400, 20_000))]

    /// A shipped procedure with a few characters changed.
    #[test]
    fn procedures_with_slips(which in any::<Index>(), at in any::<Index>(), put in "[ -~\n]{0,3}", cut in 0_usize..6) {
        let (_, text) = &PROCEDURES[which.index(PROCEDURES.len())];
        a_procedure(&changed(text, at, cut, &put));
    }

    /// Lines of two procedures in any order, some of them left out, some twice.
    #[test]
    fn procedures_of_lines_that_do_not_belong(
        one in any::<Index>(),
        other in any::<Index>(),
        places in prop::collection::vec((any::<bool>(), any::<Index>()), 0..40),
        whole in any::<bool>(),
    ) {
        let text = |which: Index| &PROCEDURES[which.index(PROCEDURES.len())].1;
        let sources = [text(one), text(other)].map(|text| text.lines().collect::<Vec<_>>());
        let mut lines = if whole { sources[0].clone() } else { Vec::new() };
        for (from, place) in places {
            let from = &sources[usize::from(from)];
            let line = from[place.index(from.len())];
            lines.insert(place.index(lines.len() + 1), line);
        }
        a_procedure(&lines.join("\n"));
    }

    #[test]
    fn any_text_as_a_procedure(text in any::<String>()) {
        a_procedure(&text);
    }
}

/// Whatever a text holds, what is wrong with it is said on one line.
#[test]
fn a_fault_is_one_line() {
    let (_, text) = &PROCEDURES[0];
    for (old, new) in [
        ("->", "-\\n>"),
        ("key = \"", "key = \"a\\nb"),
        ("scheme = \"", "scheme = \"\\r\\n"),
        ("[sample]", "[\"a\\nb\"]\n[sample]"),
    ] {
        let changed = text.replace(old, new);
        assert!(
            read_procedure("p.toml", &changed, &GLASSWARE).is_err(),
            "{new}"
        );
        a_procedure(&changed);
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
    let long = format!("{}H2 -> H2", "H2 + ".repeat(300));
    let why = Reaction::parse(&long).expect_err("too long").to_string();
    assert!(
        why.starts_with("reaction \u{201c}H2 + H2 +") && why.len() < 200,
        "{why}"
    );
    assert!(
        why.ends_with("found 1508 characters, expected at most 1000"),
        "{why}"
    );
    let fraction = Reaction::parse("H2 + 1/2 O2 -> H2O").expect("balances");
    assert_eq!(
        fraction
            .consumed(&Formula::parse("O2").expect("O2"))
            .expect("used")
            .to_string(),
        "1/2"
    );
}

#[test]
fn a_table_of_more_columns_than_any_has_is_one_fault() {
    let wide = format!(
        "student_id,family_name,given_name,section{}\n",
        ",".repeat(100_000)
    );
    let faults = read_roster_file(wide.as_bytes()).expect_err("too wide");
    let [fault] = faults.as_slice() else {
        panic!("{} faults", faults.len());
    };
    let said = fault.to_string();
    assert!(
        said.contains("found 100004 columns, expected at most 2000"),
        "{said}"
    );
}

#[test]
fn of_a_long_text_that_is_no_toml_the_first_fault_is_told() {
    let faults = |text: &str| read_trials("t.toml", text).expect_err("is none").len();
    assert_eq!(faults("least =\nagree_within_mL =\nof =\n"), 3);
    assert_eq!(faults(&format!("least = 3\n{}", ".".repeat(100_000))), 1);
}
