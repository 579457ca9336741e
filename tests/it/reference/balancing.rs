//! Balancing, exactly: reactions as textbooks print them, and what cannot be balanced.

use concordant::chem::{Formula, Ratio, Reaction, balance};
use concordant::files::{read_procedure, shipped_glassware, shipped_procedures};
use concordant::schemes::Scheme;
use proptest::prelude::*;

/// As textbooks print them.
const TEXTBOOK: [&str; 24] = [
    // OpenStax Chemistry 2e, 4.1
    "CH4 + 2 O2 -> CO2 + 2 H2O",
    "2 H2O -> 2 H2 + O2",
    "2 N2 + 5 O2 -> 2 N2O5",
    "2 NH4NO3 -> 2 N2 + O2 + 4 H2O",
    "2 C2H6 + 7 O2 -> 4 CO2 + 6 H2O",
    "CO2 + 2 NaOH -> Na2CO3 + H2O",
    "2 NaCl + 2 H2O -> 2 NaOH + H2 + Cl2",
    // the same, exercises of chapter 4, and as in any general textbook
    "Cu + 4 HNO3 -> Cu(NO3)2 + 2 NO2 + 2 H2O",
    "3 Cu + 8 HNO3 -> 3 Cu(NO3)2 + 2 NO + 4 H2O",
    "Al2(SO4)3 + 3 BaCl2 -> 2 AlCl3 + 3 BaSO4",
    // titrations with dichromate and permanganate: the same, 4.2 and 4.5
    "Cr2O7^2- + 6 Fe^2+ + 14 H^+ -> 2 Cr^3+ + 6 Fe^3+ + 7 H2O",
    "5 H2C2O4 + 2 MnO4^- + 6 H^+ -> 10 CO2 + 2 Mn^2+ + 8 H2O",
    "2 MnO4^- + 5 C2O4^2- + 16 H^+ -> 2 Mn^2+ + 10 CO2 + 8 H2O",
    "MnO4^- + 5 Fe^2+ + 8 H^+ -> Mn^2+ + 5 Fe^3+ + 4 H2O",
    "2 MnO4^- + 3 CN^- + H2O -> 2 MnO2 + 3 CNO^- + 2 OH^-",
    // iodometry: Skoog, West, Holler and Crouch, Fundamentals of Analytical Chemistry, ch. 20
    "IO3^- + 5 I^- + 6 H^+ -> 3 I2 + 3 H2O",
    "I2 + 2 S2O3^2- -> 2 I^- + S4O6^2-",
    "2 Cu^2+ + 4 I^- -> 2 CuI + I2",
    "BrO3^- + 6 I^- + 6 H^+ -> Br^- + 3 I2 + 3 H2O",
    // half reactions: OpenStax Chemistry 2e, Appendix L
    "MnO4^- + 8 H^+ + 5 e^- -> Mn^2+ + 4 H2O",
    "Cr2O7^2- + 14 H^+ + 6 e^- -> 2 Cr^3+ + 7 H2O",
    "2 S2O3^2- -> S4O6^2- + 2 e^-",
    // long known as hard to balance by inspection; the second: R. Stout, J. Chem. Educ. 72 (1995) 1125
    "10 K4Fe(CN)6 + 122 KMnO4 + 299 H2SO4 -> 162 KHSO4 + 5 Fe2(SO4)3 + 122 MnSO4 + 60 HNO3 + 60 CO2 + 188 H2O",
    "10 [Cr(N2H4CO)6]4[Cr(CN)6]3 + 1176 KMnO4 + 1399 H2SO4 -> 35 K2Cr2O7 + 660 KNO3 + 420 CO2 + 1176 MnSO4 + 223 K2SO4 + 1879 H2O",
];

/// Without the numbers in front of its species.
fn stripped(reaction: &str) -> String {
    let bare = |term: &str| {
        term.trim()
            .trim_start_matches(|c: char| c.is_ascii_digit() || c == ' ' || c == '/')
            .to_owned()
    };
    let side = |side: &str| side.split(" + ").map(bare).collect::<Vec<_>>().join(" + ");
    reaction
        .split("->")
        .map(side)
        .collect::<Vec<_>>()
        .join(" -> ")
}

#[test]
fn textbook_reactions_balance() {
    for reaction in TEXTBOOK {
        assert_eq!(balance(&stripped(reaction)).as_deref(), Ok(reaction));
        assert_eq!(balance(reaction).as_deref(), Ok(reaction), "as it stands");
    }
}

#[test]
fn wrong_coefficients_are_passed_over_and_states_kept() {
    for (text, balanced) in [
        ("7 H2(g) + 3 O2(g) → H2O(l)", "2 H2(g) + O2(g) -> 2 H2O(l)"),
        ("H2 + 1/2 O2 -> H2O", "2 H2 + O2 -> 2 H2O"),
        ("2 Ag^+ + 2 Cl^- -> 2 AgCl", "Ag^+ + Cl^- -> AgCl"),
    ] {
        assert_eq!(balance(text).as_deref(), Ok(balanced));
    }
}

#[test]
fn what_cannot_be_balanced_says_why() {
    for (text, why) in [
        (
            "Mg(OH)2 + HCl -> MgCl2",
            "found H on the left only, O on the left only, expected each on both sides",
        ),
        (
            "HCl -> MgCl2 + H2",
            "found Mg on the right only, expected each on both sides",
        ),
        (
            "Fe^2+ -> Fe",
            "found charge on the left only, expected each on both sides",
        ),
        (
            "Fe^2+ -> Fe^-",
            "found charges that no amounts of these species make equal on both sides, expected another charged species",
        ),
        (
            "H2O -> H2O2",
            "found no amounts above 0 that balance every element and the charge: a species is missing or does not belong",
        ),
        (
            "Cu + HNO3 + NO -> Cu(NO3)2 + H2O",
            "it balances only with NO on the other side, as “3 Cu + 8 HNO3 -> 2 NO + 3 Cu(NO3)2 + 4 H2O”",
        ),
        (
            "H2O2 + MnO4^- + Fe^2+ + H^+ -> Mn^2+ + Fe^3+ + O2 + H2O",
            "3 independent balances fit, such as ",
        ),
        (
            "HCl + NaOH -> NaCl + H2O + NaClO + H2O2 + O2",
            "it balances only without NaClO and H2O2 and O2, as “HCl + NaOH -> NaCl + H2O”",
        ),
        (
            "CH4 + C2H6 + C3H8 + C4H10 + C5H12 + C6H14 -> C2H4 + C3H6 + C4H8 + C5H10 + H2 + C6H6",
            "10 independent balances fit, such as ",
        ),
        (
            "CO2 + O2 + H2 -> CO2 + H2O",
            "found CO2 more than once, expected each species on one side and once",
        ),
        (
            "H2 + O2 + Na^+ -> H2O + Na",
            "found charge on the left only, expected each on both sides",
        ),
        (
            "H2 + O2 + Na^+ + K^+ -> H2O + Na^2+ + K^2+",
            "it balances only without Na^+ and K^+ and Na^2+ and K^2+, as “2 H2 + O2 -> 2 H2O”",
        ),
        (
            "H -> C + N + O + F + P + S + Cl + K + Ca + Fe + Cu + Zn",
            "found 13 species, expected at most 12",
        ),
        (
            "H9999 + He9998 -> H9997He9995",
            "found coefficients above 9999",
        ),
    ] {
        let found = balance(text).expect_err(text).to_string();
        let start = format!("reaction “{text}” cannot be balanced: {why}");
        assert!(found.starts_with(&start), "{found}");
    }
}

/// The classic of an oxidant that also falls apart by itself: hydrogen peroxide and permanganate.
#[test]
fn a_reaction_with_two_balances_is_refused_with_two_examples() {
    let why = balance("H2O2 + MnO4^- + H^+ -> Mn^2+ + O2 + H2O").expect_err("two balances");
    assert_eq!(
        why.to_string(),
        "reaction “H2O2 + MnO4^- + H^+ -> Mn^2+ + O2 + H2O” cannot be balanced: 2 independent balances fit, such as \
         “H2O2 + 2 MnO4^- + 6 H^+ -> 2 Mn^2+ + 3 O2 + 4 H2O” and “3 H2O2 + 2 MnO4^- + 6 H^+ -> 2 Mn^2+ + 4 O2 + 6 H2O”; \
         state the coefficients, or balance the half reactions apart (with e^-) and add them"
    );
    // and so it is done
    assert_eq!(
        balance("H2O2 -> O2 + H^+ + e^-").as_deref(),
        Ok("H2O2 -> O2 + 2 H^+ + 2 e^-")
    );
    let stated = "5 H2O2 + 2 MnO4^- + 6 H^+ -> 2 Mn^2+ + 5 O2 + 8 H2O";
    assert!(Reaction::parse(stated).is_ok());
}

/// What a procedure states with its numbers taken away comes back as it was, except where atoms and charge leave a
/// choice: oxygen may come from peroxide and from permanganate, and only the transfer of electrons says which.
#[test]
fn reactions_of_shipped_procedures_come_back() {
    let (mut reactions, mut undecided) = (0, Vec::new());
    for (key, text) in shipped_procedures() {
        let procedure = read_procedure(&key, &text, &shipped_glassware()).expect("shipped");
        let second = match &procedure.scheme {
            Scheme::TwoEndpoint(scheme) => scheme.second.reactions.as_slice(),
            _ => &[],
        };
        for reaction in procedure.reactions.iter().chain(second) {
            let balanced = match balance(&stripped(reaction.written())) {
                Ok(balanced) => balanced,
                Err(_) => {
                    undecided.push(key.clone());
                    continue;
                }
            };
            let found = Reaction::parse(&balanced).expect("balances");
            assert_eq!(amounts(&found), amounts(reaction), "{key}");
            reactions += 1;
        }
    }
    // an ester that is split and neutralised at once can be balanced in more ways than one
    assert_eq!(undecided, ["aspirin-tablet", "peroxide-permanganate"]);
    assert!(reactions >= 25, "{reactions}");
}

fn amounts(reaction: &Reaction) -> Vec<(String, Option<Ratio>, Option<Ratio>)> {
    let both = |s: &Formula| (s.to_string(), reaction.consumed(s), reaction.produced(s));
    reaction.species().map(both).collect()
}

const SPECIES: [&str; 24] = [
    "H2O", "H2O2", "O2", "H^+", "OH^-", "CO2", "C2O4^2-", "MnO4^-", "Mn^2+", "MnO2", "Fe^2+",
    "Fe^3+", "I^-", "I2", "IO3^-", "S2O3^2-", "S4O6^2-", "SO4^2-", "Cl^-", "Cl2", "ClO^-", "CH4",
    "C6H12O6", "e^-",
];

proptest! {
    #![proptest_config(ProptestConfig::with_cases(400))]

    /// Whatever species stand together, what is called balanced is; and so is every reaction put forward instead.
    #[test]
    fn what_is_called_balanced_is(species in prop::sample::subsequence(&SPECIES[..], 2..10).prop_shuffle(), at in 1_usize..9) {
        let (left, right) = species.split_at(at.min(species.len() - 1));
        let text = format!("{} -> {}", left.join(" + "), right.join(" + "));
        let said = match balance(&text) {
            Ok(balanced) => {
                prop_assert_eq!(stripped(&balanced), text.clone(), "same species, same sides");
                format!("“{balanced}”")
            }
            Err(why) => why.to_string(),
        };
        let put_forward: Vec<&str> = said
            .split('“')
            .skip(1)
            .filter_map(|rest| rest.split('”').next())
            .filter(|reaction| *reaction != text)
            .collect();
        for reaction in put_forward {
            prop_assert_eq!(balance_of(reaction), Vec::<String>::new(), "{}", reaction);
        }
    }
}

/// Elements and charges whose sums differ, counted here by other means than the program's.
fn balance_of(reaction: &str) -> Vec<String> {
    let mut sums = std::collections::BTreeMap::<String, i64>::new();
    for (sign, side) in [1, -1].into_iter().zip(reaction.split(" -> ")) {
        for term in side.split(" + ") {
            let (times, species) = term
                .split_once(' ')
                .map_or((1, term), |(n, s)| (n.parse::<i64>().expect("a number"), s));
            let (atoms, charge) = if species == "e^-" {
                (Vec::new(), -1)
            } else {
                let formula = Formula::parse(species).expect("a formula");
                let atoms = formula.atoms().iter().map(|(s, n)| (*s, i64::from(*n)));
                (atoms.collect(), i64::from(formula.charge()))
            };
            for (what, n) in atoms.into_iter().chain([("charge", charge)]) {
                *sums.entry(what.to_owned()).or_default() += sign * times * n;
            }
        }
    }
    sums.retain(|_, sum| *sum != 0);
    sums.into_keys().collect()
}
