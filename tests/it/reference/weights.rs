//! Atomic weights and molar masses.

use super::{dec, f, near};
use concordant::chem::{Formula, atomic_weight};

// id: aw-2021-table
/// Prohaska et al., Standard atomic weights of the elements 2021, Pure Appl. Chem. 94 (2022) 573, abridged values.
#[test]
fn atomic_weights_are_those_of_2021() {
    for (symbol, value, uncertainty) in [
        ("H", "1.0080", "0.0002"),
        ("C", "12.011", "0.002"),
        ("N", "14.007", "0.001"),
        ("O", "15.999", "0.001"),
        ("Na", "22.98976928", "0.00000002"),
        ("K", "39.0983", "0.0001"),
        ("Mg", "24.305", "0.002"),
        ("Ca", "40.078", "0.004"),
        ("Fe", "55.845", "0.002"),
        ("Cu", "63.546", "0.003"),
        ("Zn", "65.38", "0.02"),
        ("Cl", "35.45", "0.01"),
        ("S", "32.06", "0.02"),
        ("P", "30.973761998", "0.000000005"),
        ("I", "126.90447", "0.00003"),
        ("Ag", "107.8682", "0.0002"),
        ("Mn", "54.938043", "0.000002"),
        ("Cr", "51.9961", "0.0006"),
        ("Br", "79.904", "0.003"),
        ("Ba", "137.327", "0.007"),
        ("Pb", "207.2", "1.1"),
        ("Al", "26.9815384", "0.0000003"),
        ("Ni", "58.6934", "0.0004"),
        ("Co", "58.933194", "0.000003"),
        ("Ce", "140.116", "0.001"),
        ("As", "74.921595", "0.000006"),
        ("Bi", "208.98040", "0.00001"),
        ("F", "18.998403162", "0.000000005"),
        ("Si", "28.085", "0.001"),
        ("B", "10.81", "0.02"),
        ("Li", "6.94", "0.06"),
        ("Sr", "87.62", "0.01"),
        ("Ti", "47.867", "0.001"),
        ("V", "50.9415", "0.0001"),
        ("Sn", "118.710", "0.007"),
        ("Hg", "200.592", "0.003"),
    ] {
        let weight = atomic_weight(symbol).expect(symbol);
        assert_eq!(weight.value.to_string(), value, "{symbol}");
        assert_eq!(weight.uncertainty.to_string(), uncertainty, "{symbol}");
    }
}

// id: aw-2021-changes
/// The same report's abstract: what changed in 2021. Lead's uncertainty grew elevenfold.
#[test]
fn changes_of_2021_are_in() {
    for (symbol, value, uncertainty) in [
        ("Hf", "178.486", "0.006"),
        ("Ir", "192.217", "0.002"),
        ("Yb", "173.045", "0.010"),
        ("Pb", "207.2", "1.1"),
    ] {
        let weight = atomic_weight(symbol).expect(symbol);
        assert_eq!(weight.value, dec(value), "{symbol}");
        assert_eq!(weight.uncertainty, dec(uncertainty), "{symbol}");
    }
    let argon = f(atomic_weight("Ar").expect("Ar").value);
    assert!((39.792..=39.963).contains(&argon));
}

/// Every line of the shipped table reads: 84 elements have a standard atomic weight (CIAAW 2021).
#[test]
fn the_whole_table_reads() {
    let table = include_str!("../../../seed-data/atomic-weights.csv");
    let symbols: Vec<&str> = table
        .lines()
        .filter(|line| !line.starts_with('#') && !line.starts_with("symbol"))
        .filter_map(|line| line.split(',').next())
        .collect();
    assert_eq!(symbols.len(), 84);
    for symbol in symbols {
        assert!(atomic_weight(symbol).is_some(), "{symbol}");
    }
}

// id: mm-primary-standards
/// Exact sums of the 2021 weights; u by √Σ(n·U/√3)², rectangular as in QUAM:2012, A2.4.
#[test]
fn molar_masses_of_primary_standards() {
    for (formula, mass, u) in [
        ("C8H5KO4", "204.2223", 0.00954),
        ("Na2CO3", "105.98753856", 0.00208),
        ("CaCO3", "100.086", 0.00311),
        ("C10H14N2Na2O8.2H2O", "372.23753856", 0.01313),
        ("K2Cr2O7", "294.1818", 0.00410),
        ("KIO3", "213.99977", 0.00173),
        ("AgNO3", "169.8722", 0.00183),
        ("NaCl", "58.43976928", 0.00577),
        ("H2C2O4.2H2O", "126.0640", 0.00422),
        ("C4H11NO3", "121.1360", 0.00513),
        ("Fe(NH4)2(SO4)2.6H2O", "392.1250", 0.02463),
        ("Na2C2O4", "133.99753856", 0.00327),
        ("KBrO3", "166.9993", 0.00245),
        ("Zn", "65.38", 0.01155),
        ("As2O3", "197.840190", 0.00173),
        ("C7H6O2", "122.1230", 0.00819),
    ] {
        let found = Formula::parse(formula).expect(formula).molar_mass();
        assert_eq!(found.value, dec(mass), "{formula}");
        assert!((found.standard_uncertainty - u).abs() < 1e-5, "{formula}");
    }
}

/// USP: 1 mL of 1 N sodium hydroxide is 204.22 mg of potassium hydrogen phthalate, by five figures.
#[test]
fn phthalate_agrees_with_the_pharmacopoeia() {
    let mass = Formula::parse("C8H5KO4").expect("KHP").molar_mass().value;
    assert_eq!(concordant::measure::to_decimals(mass, 2), dec("204.22"));
    near(
        f(mass),
        204.2212,
        1e-5,
        "QUAM:2012 A2, older weights: five figures agree",
    );
}

// id: mm-khp-quam
/// QUAM:2012, A2.4: the molar mass of potassium hydrogen phthalate from the weights of that time, 204.2212 ± 0.0038,
/// through the engine: each element's U as a rectangle, times its atoms.
#[test]
fn phthalate_by_the_guide() {
    use concordant::workup::{Component, Graph, Operation, Sign, budget};
    let mut graph = Graph::default();
    let mut terms = Vec::new();
    for (symbol, weight, uncertainty, atoms) in [
        ("C", "12.0107", 0.0008, "8"),
        ("H", "1.00794", 0.00007, "5"),
        ("O", "15.9994", 0.0003, "4"),
        ("K", "39.0983", 0.0001, "1"),
    ] {
        let one = graph.given((symbol, symbol), "g/mol", dec(weight));
        graph.uncertain(one, Component::shared(symbol, uncertainty / 3f64.sqrt()));
        let count = graph.given(("atoms", "n"), "", dec(atoms));
        let mass = Operation::product([one, count]);
        let mass = graph.step((symbol, symbol), "g/mol", mass).expect("a mass");
        terms.push((Sign::Plus, mass));
    }
    let sum = graph
        .step(("M", "M"), "g/mol", Operation::sum(terms))
        .expect("a mass");
    assert_eq!(graph.value(sum), dec("204.2212"));
    near(
        budget(&graph, sum, None).standard,
        0.003_765_302_112_712_87,
        1e-12,
        "u(M)",
    );
}

// id: aw-package-disagreements
/// Where packages of atomic weights disagree, the 2021 report's value stands: others carry the digits of 2013 or a
/// revision after it.
#[test]
fn disputed_weights_are_those_of_the_report() {
    for (symbol, value) in [
        ("F", "18.998"),
        ("Mn", "54.938"),
        ("Al", "26.982"),
        ("Zr", "91.224"),
        ("Gd", "157.25"),
        ("Lu", "174.97"),
    ] {
        let weight = concordant::chem::atomic_weight(symbol).expect(symbol).value;
        let places = dec(value).scale();
        assert_eq!(
            concordant::measure::to_decimals(weight, places),
            dec(value),
            "{symbol}"
        );
    }
}
