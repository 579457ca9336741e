//! H. P. Talbot, An Introductory Course of Quantitative Chemical Analysis, 6th ed. (1921): problems in which one
//! solution is known by another. Talbot's weights have one decimal and his logarithms four places, so "the last figure
//! may vary by one or two units".

use super::{DIRECT, Of, Worked};
use concordant::procedure::ResultUnit;
use concordant::schemes::SchemeKind as Scheme;

const STANDARD: Worked = Worked {
    scheme: Scheme::Standardisation,
    ..DIRECT
};

const BACK: Worked = Worked {
    scheme: Scheme::Back,
    unit: ResultUnit::PercentMass,
    ..DIRECT
};

const PERMANGANATE_IRON: &str = "5 Fe^2+ + MnO4^- + 8 H^+ -> 5 Fe^3+ + Mn^2+ + 4 H2O";
const PERMANGANATE_OXALATE: &str = "5 H2C2O4 + 2 MnO4^- + 6 H^+ -> 10 CO2 + 2 Mn^2+ + 8 H2O";
const OXALATE_MANGANESE: &str = "MnO2 + H2C2O4 + 2 H^+ -> Mn^2+ + 2 CO2 + 2 H2O";
const THIOSULFATE: &str = "I2 + 2 S2O3^2- -> 2 I^- + S4O6^2-";

/// Problem 12: acid and alkali of 0.4398 N and 0.4409 N find the 92.44 % of the carbonate they were found by.
#[test]
fn acid_by_an_analysed_carbonate() {
    // id: talbot-12
    Worked {
        reactions: &[
            "CaCO3 + 2 HCl -> CaCl2 + CO2 + H2O",
            "HCl + NaOH -> NaCl + H2O",
        ],
        titrant: ("NaOH", "0.4409211"),
        delivered: "11.22",
        sample: Of::Mass("0.7423"),
        excess: Some(("HCl", "0.4398629", "42.42")),
        analyte: "CaCO3",
        expressed: "CaCO3",
        expected: 92.44,
        published: Some(("92.44", 4)),
        ..BACK
    }
    .check("Talbot, problem 12");
}

/// Problem 29: pearl ash. 1 cc of alkali is 0.008473 g of tetroxalate, 0.1 N; 2 cc of acid are 5 of alkali, 0.25 N.
#[test]
fn alkali_by_tetroxalate() {
    // id: talbot-29
    Worked {
        reactions: &["KH3C4O8 + 3 NaOH -> KNa3C4O8 + 3 H2O"],
        titrant: ("NaOH", "0.1"),
        delivered: "1.00",
        sample: Of::Mass("0.008473"),
        analyte: "KHC2O4.H2C2O4.2H2O",
        expressed: "NaOH",
        expected: 0.100_000_668_8,
        published: None,
        ..STANDARD
    }
    .check("Talbot, problem 29, alkali");
    Worked {
        reactions: &[
            "K2CO3 + 2 HCl -> 2 KCl + CO2 + H2O",
            "HCl + NaOH -> NaCl + H2O",
        ],
        titrant: ("NaOH", "0.1000006688"),
        delivered: "0.42",
        sample: Of::Mass("1.000"),
        excess: Some(("HCl", "0.250001672", "55.90")),
        analyte: "K2CO3",
        expressed: "K2O",
        expected: 65.621_80,
        published: Some(("65.68", 2)), // printed 65.68
        ..BACK
    }
    .check("Talbot, problem 29");
}

/// Problem 33: 1 g of ferrous ammonium sulfate takes 3 cc of nitric acid, which becomes nitric oxide.
#[test]
fn nitric_acid_by_iron() {
    // id: talbot-33
    Worked {
        reactions: &["3 Fe^2+ + NO3^- + 4 H^+ -> 3 Fe^3+ + NO + 2 H2O"],
        titrant: ("NO3^-", "0.3"),
        delivered: "3.00",
        sample: Of::Mass("1.0000"),
        analyte: "Fe(NH4)2(SO4)2.6H2O",
        expressed: "NO3^-",
        expected: 0.283_356_4,
        published: Some(("0.2835", 2)), // printed 0.2835
        ..STANDARD
    }
    .check("Talbot, problem 33");
}

/// Problem 46: limonite. An excess of permanganate, of which 1 cc is 0.005317 g of iron, and ferrous sulfate, of which
/// 1 cc holds 0.009200 g of FeO: 9.2 / 71.844 = 0.1280552308 mol/L.
#[test]
fn iron_by_an_excess_of_permanganate() {
    // id: talbot-46
    Worked {
        reactions: &[PERMANGANATE_IRON],
        titrant: ("MnO4^-", "0.02"),
        delivered: "1.00",
        sample: Of::Mass("0.005317"),
        analyte: "Fe",
        expressed: "MnO4^-",
        expected: 0.019_041_991_2,
        published: None,
        ..STANDARD
    }
    .check("Talbot, problem 46, permanganate");
    Worked {
        reactions: &[PERMANGANATE_IRON],
        titrant: ("Fe^2+", "0.1280552308"),
        delivered: "6.00",
        sample: Of::Mass("0.5000"),
        excess: Some(("MnO4^-", "0.0190419912257", "50")),
        analyte: "Fe^2+",
        expressed: "Fe",
        expected: 44.588_51,
        published: Some(("44.60", 3)),
        ..BACK
    }
    .check("Talbot, problem 46");
}

/// Problem 51: pyrolusite and 0.9000 g of oxalic acid, 0.9000 / 126.064 mol, given here as a litre of so many mol/L.
#[test]
fn pyrolusite_by_oxalic_acid() {
    // id: talbot-51
    Worked {
        reactions: &[PERMANGANATE_IRON],
        titrant: ("MnO4^-", "0.02"),
        delivered: "1.00",
        sample: Of::Mass("0.03038"),
        analyte: "FeSO4.7H2O",
        expressed: "MnO4^-",
        expected: 0.021_855_643_4,
        published: None,
        ..STANDARD
    }
    .check("Talbot, problem 51, permanganate");
    Worked {
        reactions: &[OXALATE_MANGANESE, PERMANGANATE_OXALATE],
        titrant: ("MnO4^-", "0.0218556434034"),
        delivered: "23.95",
        sample: Of::Mass("0.6000"),
        excess: Some(("H2C2O4", "0.00713923086686", "1000")),
        analyte: "MnO2",
        expressed: "MnO2",
        expected: 84.481_90,
        published: Some(("84.47", 3)),
        ..BACK
    }
    .check("Talbot, problem 51");
}

/// Problem 64: what thiosulfate finds of the dioxide, 38.72 cc of 49.66 / 248.17154 mol/L, says how much quarter-normal
/// permanganate 0.9012 g of oxalic acid would have left to find.
#[test]
fn pyrolusite_by_two_methods() {
    let by_iodine = Worked {
        scheme: Scheme::Indirect,
        reactions: &[
            "MnO2 + 4 H^+ + 2 Cl^- -> Mn^2+ + Cl2 + 2 H2O",
            "Cl2 + 2 I^- -> I2 + 2 Cl^-",
            THIOSULFATE,
        ],
        titrant: ("S2O3^2-", "0.200103526328"),
        delivered: "38.72",
        sample: Of::Mass("1"),
        analyte: "MnO2",
        expressed: "MnO2",
        unit: ResultUnit::PercentMass,
        ..DIRECT
    };
    let by_oxalic_acid = Worked {
        reactions: &[OXALATE_MANGANESE, PERMANGANATE_OXALATE],
        titrant: ("MnO4^-", "0.05"),
        sample: Of::Mass("1"),
        excess: Some(("H2C2O4", "0.00714874984135", "1000")),
        analyte: "MnO2",
        expressed: "MnO2",
        ..BACK
    };
    // id: talbot-64, printed 26.22
    let found = by_oxalic_acid.titre(super::f(by_iodine.result()));
    super::near(found, 26.197_96, 1e-6, "Talbot, problem 64");
}

/// Problem 66: iron by iodine. 1 cc of arsenite is 0.005160 g of As2O3, 45 cc of it are 45.27 of iodine; 45 cc of iodine
/// are 45.95 of thiosulfate. The iodine set free goes into an excess of thiosulfate.
#[test]
fn iron_by_an_excess_of_thiosulfate() {
    // id: talbot-66
    Worked {
        reactions: &["As2O3 + 2 I2 + 5 H2O -> 2 H3AsO4 + 4 HI"],
        titrant: ("I2", "0.05"),
        delivered: "45.27",
        sample: Of::Mass("0.2322"), // 45 cc of 0.005160 g
        analyte: "As2O3",
        expressed: "I2",
        expected: 0.051_852_201_0,
        published: None,
        ..STANDARD
    }
    .check("Talbot, problem 66, iodine");
    // thiosulfate: 2 × 0.0518522010324 × 45 / 45.95
    Worked {
        reactions: &[THIOSULFATE],
        titrant: ("I2", "0.0518522010324"),
        delivered: "45",
        sample: Of::Volume("45.95"),
        analyte: "S2O3^2-",
        expressed: "S2O3^2-",
        expected: 0.101_560_350_2,
        ..DIRECT
    }
    .check("Talbot, problem 66, thiosulfate");
    Worked {
        reactions: &["2 Fe^3+ + 2 I^- -> 2 Fe^2+ + I2", THIOSULFATE],
        titrant: ("I2", "0.0518522010324"),
        delivered: "7.85",
        sample: Of::Mass("1.000"),
        excess: Some(("S2O3^2-", "0.101560350227", "50")),
        analyte: "Fe^3+",
        expressed: "Fe",
        expected: 23.811_96,
        published: Some(("23.77", 2)), // printed 23.77
        ..BACK
    }
    .check("Talbot, problem 66");
}

/// Problem 69: thiosulfate by 0.2400 g of pyrolusite with 92.50 % of the dioxide, 46.24 cc.
#[test]
fn thiosulfate_by_pyrolusite() {
    // id: talbot-69
    Worked {
        reactions: &["MnO2 + 4 H^+ + 2 I^- -> Mn^2+ + I2 + 2 H2O", THIOSULFATE],
        titrant: ("S2O3^2-", "0.1"),
        delivered: "46.24",
        sample: Of::Mass("0.2400"),
        purity: "0.9250",
        analyte: "MnO2",
        expressed: "S2O3^2-",
        expected: 0.110_449_9,
        published: Some(("0.1105", 2)), // printed 0.1105; to three figures 0.11045 and 0.1105 fall on either side
        ..STANDARD
    }
    .check("Talbot, problem 69");
}
