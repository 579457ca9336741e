//! Results expressed by chemical equivalence.

use concordant::files::shipped_glassware;
use concordant::simulate::check_report;
use concordant::submission::TrialLabel;

use super::{lot, read, text_of, titre, worked};
use crate::reference::{f, near};

fn bleach(result: &str) -> String {
    text_of("bleach-iodometric").replace("as = \"NaClO\"", result)
}

fn alkalinity(result: &str) -> String {
    let stated = "as = \"CaCO3\"\nequivalence = \"alkalinity as CaCO3\"";
    text_of("water-alkalinity").replace(stated, result)
}

/// 25.00 mL of 0.1000 mol/L thiosulfate for 2.000 mL of bleach is 1.250 mmol of ClO-, which frees as much iodine as
/// 1.250 mmol of Cl2: 1.250 · 70.90 mg / 2.000 mL = 4.431 %w/v. By the chlorine atoms it holds it would be half.
#[test]
fn available_chlorine_counts_the_iodine_set_free() {
    let value = |result: &str| {
        let procedure = read(&bleach(result)).expect(result);
        let rows = vec![titre(TrialLabel::Numbered(1), "25.00")];
        f(worked(&procedure, rows, (&lot("T", "0.1000"), None))
            .value()
            .expect("a result"))
    };
    near(
        value("equivalence = \"available chlorine\""),
        4.43125,
        2e-4,
        "by name",
    );
    let reaction = "as = \"Cl2\"\nequivalence = \"Cl2 + 2 OH^- -> ClO^- + Cl^- + H2O\"";
    near(value(reaction), 4.43125, 2e-4, "by reaction");
    near(value("as = \"Cl2\""), 2.21563, 2e-4, "by atoms");
}

/// Alkalinity: 5.00 mmol/L of HCO3- is 250.2 mg/L as CaCO3, since CaCO3 takes up two H+ (APHA 2320: 50 000 mg per
/// equivalent).
#[test]
fn alkalinity_is_half_the_acid() {
    let ratio = |result: &str| {
        let read = read(&alkalinity(result)).unwrap_or_else(|why| panic!("{why:?}"));
        let asked = read.scheme.asked().expect("an analyte");
        let (top, bottom) = asked.per_analyte.parts();
        f(top) / f(bottom)
    };
    near(
        ratio("equivalence = \"alkalinity as CaCO3\""),
        0.5,
        1e-12,
        "by name",
    );
    // 100 mL of it take 25.00 mL of 0.02000 mol/L acid
    let procedure = read(&text_of("water-alkalinity")).expect("shipped");
    let rows = vec![titre(TrialLabel::Numbered(1), "25.00")];
    let done = worked(&procedure, rows, (&lot("T", "0.02000"), None));
    near(f(done.value().expect("a result")), 250.2, 2e-4, "mg/L");
    near(ratio("as = \"CaCO3\""), 1.0, 1e-12, "by atoms");
    let by_reaction = "as = \"CaCO3\"\nequivalence = \"CaCO3 + CO2 + H2O -> Ca^2+ + 2 HCO3^-\"";
    near(ratio(by_reaction), 0.5, 1e-12, "by reaction");
}

#[test]
fn a_metal_counts_as_hardness_and_an_oxidant_as_oxygen() {
    let water = |result: &str| {
        let text = text_of("well-water-hardness")
            .replace("Ca^2+ +", "Mg^2+ +")
            .replace("CaC10H12N2O8^2-", "MgC10H12N2O8^2-")
            .replace(
                "analyte = \"Ca^2+\"\nas = \"CaCO3\"",
                &format!("analyte = \"Mg^2+\"\n{result}"),
            );
        read(&text)
    };
    let refused = water("as = \"CaCO3\"").expect_err("nothing shared");
    assert!(
        refused[0].contains("expected a species that shares an element"),
        "{refused:?}"
    );
    let hardness = water("equivalence = \"hardness as CaCO3\"").expect("hardness");
    let asked = hardness.scheme.asked().expect("an analyte");
    assert_eq!(asked.expressed_as.written(), "CaCO3");
    assert_eq!(asked.per_analyte.to_string(), "1");

    // 0.1 mol/L Fe^2+ is 0.8 mg of O2 per mL (APHA 5220: 8000 mg per equivalent)
    let iron = text_of("iron-dichromate");
    let at = iron.find("\nunit = \"").expect("a unit");
    let (before, after) = iron.split_at(at);
    let start = before.rfind("analyte = ").expect("an analyte");
    let text = format!(
        "{}analyte = \"Fe^2+\"\nequivalence = \"chemical oxygen demand\"{after}",
        &before[..start]
    );
    let demand = read(&text).unwrap_or_else(|why| panic!("{why:?}"));
    let asked = demand.scheme.asked().expect("an analyte");
    assert_eq!(asked.per_analyte.to_string(), "1/4");
}

/// KHP burns by C8H5O4- + H+ + 15/2 O2 (APHA 5220: 1.176 mg of O2 per mg of KHP).
#[test]
fn what_burns_counts_the_oxygen_it_takes() {
    let convention = concordant::chem::Equivalence::parse("chemical oxygen demand").expect("known");
    let formula = |text: &str| concordant::chem::Formula::parse(text).expect(text);
    let oxygen = |text: &str| {
        let ratio = convention.per_analyte(&formula(text), &formula("O2"), &[]);
        ratio.expect(text).to_string()
    };
    assert_eq!(oxygen("C8H5O4^-"), "15/2");
    assert_eq!(oxygen("C6H12O6"), "6");
    // glycine is left as CO2, water and ammonia
    assert_eq!(oxygen("C2H5NO2"), "3/2");
    assert_eq!(oxygen("Cr2O7^2-"), "3/2");
    // S2O3^2- + 5 H2O -> 2 SO4^2- + 10 H^+ + 8 e^-, though iodine takes one alone
    assert_eq!(oxygen("S2O3^2-"), "2");
}

#[test]
fn what_is_unequal_is_said_and_what_makes_no_sense_refused() {
    let report = |text: &str| {
        let procedure = read(text).unwrap_or_else(|why| panic!("{why:?}"));
        check_report(&procedure, &shipped_glassware()).expect("a report")
    };
    let warning = "the result counts 1/2 Cl2 per ClO^-, by the atoms they share; by equivalents it would be 1";
    assert!(report(&bleach("as = \"Cl2\"")).contains(warning));
    let named = report(&bleach("equivalence = \"available chlorine\""));
    assert!(!named.contains("by equivalents"), "{named}");
    assert!(
        named.contains("counts     1 Cl2 per ClO^-: available chlorine"),
        "{named}"
    );
    assert!(!report(&text_of("bleach-iodometric")).contains("by equivalents"));
    for (result, expected) in [
        (
            "equivalence = \"chlorine\"",
            "found “chlorine”, expected one of available chlorine",
        ),
        (
            "as = \"NaClO\"\nequivalence = \"available chlorine\"",
            "expressed as NaClO, expected Cl2",
        ),
        (
            "equivalence = \"hardness as CaCO3\"",
            "found hardness as CaCO3 of ClO^-, expected a metal ion",
        ),
        (
            "as = \"Cl2\"\nequivalence = \"Cl2 + 2 I^- -> 2 Cl^- + I2\"",
            "found no ClO^- in",
        ),
        (
            "as = \"Cl2\"\nequivalence = \"Cl2 + OH^- -> ClO^- + Cl^- + H2O\"",
            "does not balance",
        ),
    ] {
        let faults = read(&bleach(result)).expect_err(result);
        assert!(
            faults.iter().any(|f| f.contains(expected)),
            "{expected}: {faults:?}"
        );
    }
}

/// C2O4^2- gives up two electrons (O2 four): half a mole of oxygen. Potassium hydrogen phthalate is the standard of the
/// method: 1 g of it takes up 1.176 g of oxygen (APHA 5220 B), 7.5 mol per mol. Glycine leaves its nitrogen as ammonium.
#[test]
fn what_dichromate_burns_takes_up_oxygen() {
    use concordant::chem::{Equivalence, Formula};
    let oxygen = Formula::parse("O2").expect("a formula");
    let demand = Equivalence::parse("chemical oxygen demand").expect("by name");
    let ratio = |species: &str| {
        let species = Formula::parse(species).expect("a formula");
        let ratio = demand.per_analyte(&species, &oxygen, &[])?;
        let (top, bottom) = ratio.parts();
        Ok::<f64, String>(f(top) / f(bottom))
    };
    for (species, expected) in [
        ("C2O4^2-", 0.5),
        ("H2C2O4", 0.5),
        ("Na2C2O4", 0.5),
        ("C8H5KO4", 7.5),
        ("C7H5O2^-", 7.5),
        ("C2H5NO2", 1.5),
        ("C6H12O6", 6.0),
        ("CH4", 2.0),
    ] {
        near(ratio(species).expect(species), expected, 1e-12, species);
    }
    let per_gram = 7.5 * 31.998 / 204.222;
    near(per_gram, 1.176, 2e-3, "phthalate");
    for species in ["CO2", "CO3^2-", "CCl4", "H2O"] {
        assert!(ratio(species).is_err(), "{species}");
    }
}
