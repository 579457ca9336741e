//! EDTA: constants, the fraction free to bind, conditional constants, endpoints.

use super::near;
use concordant::chem::complexation::{
    EdtaConstants, Medium, edta, is_sharp, log_product, p_metal_at_equivalence,
};
use concordant::chem::{Formula, is_edta};
use concordant::files::{read_procedure, shipped_glassware, shipped_procedure};
use concordant::judge::endpoint;
use concordant::simulate::fairness;

fn metal(text: &str) -> Formula {
    Formula::parse(text).expect(text)
}

#[track_caller]
fn within(found: Option<f64>, expected: f64, tolerance: f64, what: &str) {
    let found = found.expect(what);
    assert!(
        (found - expected).abs() <= tolerance,
        "{what}: found {found}, expected {expected}"
    );
}

#[track_caller]
fn exactly(constants: &EdtaConstants, expected: &[(&str, f64)]) {
    for (ion, log_k) in expected {
        assert_eq!(constants.log_k(&metal(ion)), Some(*log_k), "{ion}");
    }
    assert_eq!(constants.metals().count(), expected.len());
}

// id: edta-logK-I0
/// Infinite dilution, 25 °C: MINTEQA2 v4 thermodynamic data, from NIST Critical Stability Constants (SRD 46).
#[test]
fn stability_at_infinite_dilution() {
    let expected = [
        ("Ca^2+", 12.42),
        ("Mg^2+", 10.57),
        ("Zn^2+", 18.0),
        ("Cu^2+", 20.5),
        ("Ni^2+", 20.1),
        ("Fe^2+", 16.0),
        ("Fe^3+", 27.7),
        ("Al^3+", 19.1),
        ("Mn^2+", 15.6),
        ("Pb^2+", 19.8),
    ];
    exactly(edta(Medium::InfiniteDilution), &expected);
}

// id: edta-protonation-I0
/// The same source, species H(Edta)3- to H5(Edta)+, as overall constants.
#[test]
fn protonation_at_infinite_dilution() {
    let mut overall = 0.0;
    let steps = edta(Medium::InfiniteDilution).protonation();
    let expected = [10.948, 17.221, 20.34, 22.5, 24.0];
    assert_eq!(steps.len(), expected.len());
    for (step, log_beta) in steps.iter().zip(expected) {
        overall += step;
        within(Some(overall), log_beta, 1e-3, "log beta");
    }
}

// id: edta-logK-I0.1
/// Ionic strength 0.1 mol/L, 25 °C: Martell, Smith and Motekaitis, NIST SRD 46, as in D. C. Harris, Quantitative Chemical Analysis.
#[test]
fn stability_at_a_tenth_molar() {
    let expected = [
        ("Ca^2+", 10.65),
        ("Mg^2+", 8.79),
        ("Zn^2+", 16.5),
        ("Cu^2+", 18.78),
        ("Ni^2+", 18.4),
        ("Fe^2+", 14.3),
        ("Fe^3+", 25.1),
        ("Al^3+", 16.4),
        ("Mn^2+", 13.89),
        ("Pb^2+", 18.0),
        ("Co^2+", 16.45),
        ("Cd^2+", 16.5),
        ("Ba^2+", 7.88),
        ("Sr^2+", 8.72),
        ("Hg^2+", 21.5),
        ("Ag^+", 7.2),
        ("Cr^3+", 23.4),
    ];
    exactly(edta(Medium::TenthMolar), &expected);
}

/// The two sets are 1.2 to 2.7 apart, so that a mixture of them would show.
#[test]
fn the_two_sets_are_kept_apart() {
    let (dilute, tenth) = (edta(Medium::InfiniteDilution), edta(Medium::TenthMolar));
    for ion in dilute.metals() {
        let apart = dilute.log_k(ion).expect("known") - tenth.log_k(ion).expect("known");
        assert!((1.2..=2.71).contains(&apart), "{ion}: {apart}");
    }
    assert_eq!(tenth.protonation().len(), 6);
}

// id: edta-alpha-Y4
/// pKa 0.00, 1.50, 2.00, 2.69, 6.13, 10.37 (Harris). Printed there to two figures: 2.6e-14 at pH 2, 0.30 at pH 10.
#[test]
fn fraction_of_edta_free_to_bind() {
    let constants = edta(Medium::TenthMolar);
    assert_eq!(constants.protonation(), [10.37, 6.13, 2.69, 2.0, 1.5, 0.0]);
    for (ph, alpha) in [
        (0.0, 1.005e-23),
        (2.0, 2.558e-14),
        (4.0, 2.992e-9),
        (5.0, 2.931e-7),
        (6.0, 1.815e-5),
        (7.0, 0.0003757),
        (8.0, 0.004191),
        (9.0, 0.04086),
        (10.0, 0.299),
        (12.0, 0.9771),
        (14.0, 0.9998),
    ] {
        near(constants.alpha(ph), alpha, 1e-3, "alpha");
    }
}

// id: edta-conditional
/// K′ = α(Y⁴⁻)·K with the constants above (Harris, ch. 12).
#[test]
fn conditional_constants() {
    let constants = edta(Medium::TenthMolar);
    for (ion, ph, log_conditional) in [
        ("Ca^2+", 10.0, 10.126),
        ("Mg^2+", 10.0, 8.266),
        ("Zn^2+", 5.0, 9.967),
        ("Fe^3+", 2.0, 11.508),
        ("Ca^2+", 5.0, 4.117),
    ] {
        let found = constants.log_conditional(&metal(ion), ph);
        within(found, log_conditional, 0.005, ion);
    }
    assert_eq!(constants.log_conditional(&metal("Na^+"), 10.0), None);
    // log K′ ≥ 8 for 0.01 mol/L
    assert!(is_sharp(8.001, 0.01) && !is_sharp(7.999, 0.01));
}

// id: edta-equivalence-pCa
/// 50.0 mL of 0.0400 M Ca2+ with 0.0800 M EDTA at pH 10 (Harris, ch. 12).
#[test]
fn free_metal_at_the_equivalence_point() {
    let volume = 50.0 * 0.04 / 0.08;
    assert_eq!(volume, 25.0);
    let concentration = 50.0 * 0.04 / (50.0 + volume);
    let found = edta(Medium::TenthMolar).log_conditional(&metal("Ca^2+"), 10.0);
    let found = found.expect("known");
    within(
        Some(p_metal_at_equivalence(found, concentration)),
        5.85,
        0.005,
        "pCa",
    );
    // where nothing is bound all of it is free; where all is, the square root rules
    within(Some(p_metal_at_equivalence(-9.0, 0.01)), 2.0, 1e-6, "loose");
    within(Some(p_metal_at_equivalence(16.0, 0.01)), 9.0, 1e-6, "firm");
}

/// At the lowest pH the product is 10^6, a little below it is not.
#[test]
fn the_lowest_ph_is_where_the_product_reaches_the_limit() {
    let constants = edta(Medium::TenthMolar);
    for ion in constants.metals() {
        for concentration in [0.0005, 0.005, 0.05] {
            let product = |ph: f64| {
                let found = constants.log_conditional(ion, ph).expect("known");
                log_product(found, concentration)
            };
            match constants.lowest_sharp_ph(ion, concentration) {
                Some(0.0) => assert!(product(0.0) >= 6.0, "{ion}"),
                Some(ph) => {
                    within(Some(product(ph)), 6.0, 1e-9, "at the limit");
                    assert!(product(ph - 0.01) < 6.0 && product(ph + 0.01) > 6.0);
                }
                None => assert!(product(14.0) < 6.0, "{ion}"),
            }
        }
    }
    assert_eq!(constants.lowest_sharp_ph(&metal("Ag^+"), 0.005), None);
    assert_eq!(constants.lowest_sharp_ph(&metal("K^+"), 0.005), None);
}

#[test]
fn edta_is_known_by_its_composition() {
    for (species, known) in [
        ("C10H14N2O8^2-", true),
        ("C10H12N2O8^4-", true),
        ("H4C10H12N2O8", true),
        ("Na2C10H14N2O8", true),
        ("CaC10H12N2O8^2-", false),
        ("C10H11N2O8^5-", false),
        ("C10H14N2O7", false),
        ("Ag^+", false),
    ] {
        assert_eq!(is_edta(&metal(species)), known, "{species}");
    }
}

fn hardness(replace: &[(&str, &str)]) -> Result<concordant::procedure::Procedure, Vec<String>> {
    let mut text = shipped_procedure("well-water-hardness").expect("shipped");
    for (from, to) in replace {
        assert!(text.contains(from), "{from}");
        text = text.replace(from, to);
    }
    read_procedure("p.toml", &text, &shipped_glassware())
        .map_err(|faults| faults.iter().map(ToString::to_string).collect())
}

#[test]
fn a_procedure_states_its_ph_and_is_warned_where_the_endpoint_would_not_be_sharp() {
    let sharp = hardness(&[]).expect("shipped");
    let found = fairness(&sharp, 20, 1).expect("a class");
    let words = found.endpoint.expect("judged").words();
    assert_eq!(
        words,
        "at pH 10.0 the conditional constant of Ca²⁺ with EDTA is log K′ = 10.1; with 0.005 mol/L of the metal at the equivalence \
         point log cK′ is 7.8 and p[Ca²⁺] is 6.2; the endpoint is sharp (common practice: sharp from log cK′ = 6)"
    );
    assert!(!found.warnings.iter().any(|w| w.contains("pH")));

    let blurred = hardness(&[("pH = \"10.0\"", "pH = 5")]).expect("reads");
    let warnings = fairness(&blurred, 20, 1).expect("a class").warnings;
    let warning = warnings.last().expect("one");
    assert_eq!(
        warning,
        "at pH 5 the conditional constant of Ca²⁺ with EDTA is log K′ = 4.1; with 0.005 mol/L of the metal at the equivalence \
         point log cK′ is 1.8, below 6: the endpoint will not be sharp; raise the pH to at least 8.1"
    );
    let just = |ph: &str| {
        let procedure = hardness(&[("pH = \"10.0\"", ph)]).expect("reads");
        endpoint(&procedure).expect("judged").is_sharp()
    };
    assert!(just("pH = \"8.1\"") && !just("pH = \"8.0\""));

    let dilute = [("pH = \"10.0\"", "pH = 9"), ("\"0.01000\"", "\"0.000020\"")];
    let dilute = hardness(&dilute).expect("reads");
    let warnings = fairness(&dilute, 20, 1).expect("a class").warnings;
    let no_ph = "no pH makes it sharp with a titrant so dilute";
    assert!(
        warnings.last().expect("one").ends_with(no_ph),
        "{warnings:?}"
    );
}

#[test]
fn the_shipped_iron_procedure_is_sharp_at_its_ph() {
    let text = shipped_procedure("iron-tablet-edta").expect("shipped");
    let procedure = read_procedure("p.toml", &text, &shipped_glassware()).expect("reads");
    let found = endpoint(&procedure).expect("judged");
    assert_eq!(
        (found.metal.as_str(), found.ph.to_string()),
        ("Fe^3+", "2.0".into())
    );
    within(Some(found.log_product()), 11.508 - 2.0, 0.005, "product");
    assert!(found.is_sharp());
}

#[test]
fn without_a_ph_nothing_is_said_and_an_unknown_metal_is() {
    let silent = hardness(&[("pH = \"10.0\"\n", "")]).expect("reads");
    let found = fairness(&silent, 20, 1).expect("a class");
    assert_eq!(found.endpoint, None);
    assert!(!found.warnings.iter().any(|w| w.contains("pH")));

    let zirconium = hardness(&[
        (
            "Ca^2+ + C10H14N2O8^2- -> CaC10H12N2O8^2- + 2 H^+",
            "Zr^4+ + C10H14N2O8^2- -> ZrC10H12N2O8 + 2 H^+",
        ),
        ("analyte = \"Ca^2+\"\nas = \"CaCO3\"", "analyte = \"Zr^4+\""),
    ]);
    let found = fairness(&zirconium.expect("reads"), 20, 1).expect("a class");
    assert_eq!(found.endpoint, None);
    let warning = found.warnings.last().expect("one");
    assert!(
        warning.starts_with("whether the endpoint is sharp at pH 10.0 cannot be said: the table has no constant of EDTA with Zr⁴⁺, only with Ca²⁺, Mg²⁺"),
        "{warning}"
    );
}

#[test]
fn a_ph_that_cannot_be_is_a_fault() {
    for (ph, fault) in [
        ("pH = \"14.1\"", "found “14.1”, expected 0 to 14"),
        (
            "pH = \"ten\"",
            "found “ten”, expected a plain number such as 0.0100",
        ),
    ] {
        let faults = hardness(&[("pH = \"10.0\"", ph)]).expect_err(ph);
        assert_eq!(faults, [format!("p.toml:9, key titrant.pH: {fault}")]);
    }
    let text = shipped_procedure("spring-chloride").expect("shipped");
    let text = text.replace("species = \"Ag^+\"", "species = \"Ag^+\"\npH = 7");
    let faults = read_procedure("p.toml", &text, &shipped_glassware()).expect_err("not EDTA");
    assert_eq!(
        faults[0].to_string(),
        "p.toml:8, key titrant.pH: found “7”, expected none: it is asked for only where the titrant is EDTA"
    );
}
