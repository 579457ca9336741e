//! Textbooks and practice problems.

use super::{DIRECT, Of, Worked};
use concordant::procedure::ResultUnit;
use concordant::schemes::SchemeKind as Scheme;

#[test]
fn acid_and_base() {
    // id: ost-hcl-naoh
    Worked {
        reactions: &["HCl + NaOH -> NaCl + H2O"],
        titrant: ("NaOH", "0.250"),
        delivered: "35.23",
        sample: Of::Volume("50.0"),
        expected: 0.17615,
        published: Some(("0.176", 3)),
        ..DIRECT
    }
    .check("OpenStax Chemistry 2e, 4.5, titration analysis");
    // id: ost-acid-rain
    Worked {
        reactions: &["H2SO4 + 2 NaOH -> Na2SO4 + 2 H2O"],
        titrant: ("NaOH", "0.0811"),
        delivered: "1.7",
        sample: Of::Volume("20.0"),
        analyte: "H2SO4",
        expressed: "H2SO4",
        expected: 0.00344675,
        published: Some(("0.0034", 2)),
        ..DIRECT
    }
    .check("OpenStax Chemistry 2e, 4.5, acid rain");
    // id: kratochwill-oxalic
    Worked {
        reactions: &["H2C2O4 + 2 NaOH -> Na2C2O4 + 2 H2O"],
        titrant: ("NaOH", "0.0996"), // 0.1 mol/L with the titre factor 0.996
        delivered: "31.7",
        sample: Of::Volume("20"),
        analyte: "H2C2O4",
        expressed: "H2C2O4",
        expected: 0.078933,
        published: Some(("0.0789", 3)),
        ..DIRECT
    }
    .check("A. Kratochwill, Titration – Beispiele: oxalic acid");
    // id: kratochwill-factor. 25 mL of hydrochloric acid of 0.15 mol/L with the factor 1.012 take 38.1 mL of sodium
    // hydroxide labelled 0.1: read the other way round, the acid finds 0.09960630 mol/L, the factor 0.996
    Worked {
        reactions: &["HCl + NaOH -> NaCl + H2O"],
        titrant: ("HCl", "0.1518"),
        delivered: "25",
        sample: Of::Volume("38.1"),
        analyte: "NaOH",
        expressed: "NaOH",
        expected: 0.099_606_3,
        published: Some(("0.0996", 3)),
        ..DIRECT
    }
    .check("A. Kratochwill, Titration – Beispiele: factor of sodium hydroxide");
    // id: talbot-11
    Worked {
        reactions: &["HCl + NaOH -> NaCl + H2O"],
        titrant: ("NaOH", "0.5172"), // read the other way round: an alkali found by an acid of 0.5172 N
        delivered: "39.65",
        sample: Of::Volume("21.74"),
        expected: 0.9432833,
        published: Some(("0.9432", 3)), // 0.94328: one unit in the fourth figure
        ..DIRECT
    }
    .check("H. P. Talbot, Quantitative Chemical Analysis, 6th ed. (1921), problem 11");
}

#[test]
fn redox() {
    // id: ost-permanganate-oxalic
    Worked {
        reactions: &["5 H2C2O4 + 2 MnO4^- + 6 H^+ -> 10 CO2 + 2 Mn^2+ + 8 H2O"],
        titrant: ("MnO4^-", "0.09113"),
        delivered: "23.24",
        sample: Of::Volume("20.0"),
        analyte: "H2C2O4",
        expressed: "H2C2O4",
        expected: 0.2647327,
        published: Some(("0.2648", 3)), // printed 0.2648; 0.09113 × 23.24 × 2.5 / 20 is 0.26473
        ..DIRECT
    }
    .check("OpenStax Chemistry 2e, 4.5, oxalic acid by permanganate");
    // id: ost-dichromate-iron
    Worked {
        reactions: &["6 Fe^2+ + Cr2O7^2- + 14 H^+ -> 6 Fe^3+ + 2 Cr^3+ + 7 H2O"],
        titrant: ("Cr2O7^2-", "0.0100"),
        delivered: "19.17",
        sample: Of::Mass("2.5000"),
        analyte: "Fe^2+",
        expressed: "Fe",
        unit: ResultUnit::PercentMass,
        expected: 2.569317,
        published: Some(("2.57", 3)),
        ..DIRECT
    }
    .check("OpenStax Chemistry 2e, 19.1, iron ore by dichromate");
    // id: harvey-iron-ore
    Worked {
        reactions: &["6 Fe^2+ + Cr2O7^2- + 14 H^+ -> 6 Fe^3+ + 2 Cr^3+ + 7 H2O"],
        titrant: ("Cr2O7^2-", "0.02153"),
        delivered: "36.92",
        sample: Of::Mass("0.4891"),
        analyte: "Fe^2+",
        expressed: "Fe2O3",
        unit: ResultUnit::PercentMass,
        expected: 77.85722,
        published: Some(("77.86", 4)),
        ..DIRECT
    }
    .check("D. Harvey, Analytical Chemistry 2.1, ch. 9, iron ore");
}

/// Chains of reactions: what the first makes, the next uses.
#[test]
fn chains() {
    const BLEACH: [&str; 2] = [
        "ClO^- + 2 I^- + 2 H^+ -> Cl^- + I2 + H2O",
        "I2 + 2 S2O3^2- -> 2 I^- + S4O6^2-",
    ];
    // id: wyzant-bleach
    Worked {
        reactions: &BLEACH,
        titrant: ("S2O3^2-", "0.399"),
        delivered: "13.9",
        sample: Of::Volume("20"),
        aliquot: Some(("250", "50")),
        analyte: "ClO^-",
        expressed: "NaClO",
        unit: ResultUnit::PercentMassVolume,
        expected: 5.160561,
        published: Some(("5.16", 3)),
        ..DIRECT
    }
    .check("wyzant answers 916860, hypochlorite in bleach");
    // id: neet-copper
    Worked {
        reactions: &[
            "2 Cu^2+ + 4 I^- -> 2 CuI + I2",
            "I2 + 2 S2O3^2- -> 2 I^- + S4O6^2-",
        ],
        titrant: ("S2O3^2-", "0.1"),
        delivered: "24.5",
        sample: Of::Mass("0.305"),
        analyte: "Cu^2+",
        expressed: "Cu",
        unit: ResultUnit::PercentMass,
        expected: 51.04515,
        published: Some(("51.0", 3)),
        ..DIRECT
    }
    .check("NEET question bank 34832, copper in a salt");
}

#[test]
fn precipitation() {
    // id: ost-serum-chloride
    Worked {
        reactions: &["2 Cl^- + Hg^2+ -> HgCl2"],
        titrant: ("Hg^2+", "0.000825"),
        delivered: "1.46",
        sample: Of::Volume("0.25"),
        analyte: "Cl^-",
        expressed: "Cl^-",
        expected: 0.009636,
        published: Some(("0.0096", 2)),
        ..DIRECT
    }
    .check("OpenStax Chemistry 2e, 4.5, serum chloride");
    // id: ais-bromide
    Worked {
        reactions: &["Ag^+ + Br^- -> AgBr"],
        titrant: ("Ag^+", "0.1"),
        delivered: "18.73",
        sample: Of::Volume("25"),
        analyte: "Br^-",
        expressed: "Br^-",
        expected: 0.07492,
        published: Some(("0.07492", 4)),
        ..DIRECT
    }
    .check("Australian International School, HSC chemistry, precipitation titrations");
    // id: pharchem-6
    Worked {
        scheme: Scheme::Indirect,
        // thrown down as tetraphenylborate, whose silver salt is the less soluble
        reactions: &[
            "K^+ + BC24H20^- -> KBC24H20",
            "KBC24H20 + Ag^+ -> AgBC24H20 + K^+",
        ],
        titrant: ("Ag^+", "0.03941"),
        delivered: "43.85",
        sample: Of::Volume("2000"),
        analyte: "K^+",
        expressed: "K",
        unit: ResultUnit::MgPerL,
        expected: 33.783_44,
        published: Some(("33.8", 3)),
        ..DIRECT
    }
    .check("PHARCHEM 3 practice set, precipitation titrations, no. 6");
}

/// D. Harvey, Analytical Chemistry 2.1, ch. 9: potassium chloride and sodium bromide by Mohr's method with a blank.
/// The amount of silver used, 0.1120 (36.85 − 0.71) = 4.04768 mmol, is what the blank is for.
#[test]
fn a_blank_is_subtracted() {
    // id: harvey-mohr-blank
    Worked {
        reactions: &["Ag^+ + Cl^- -> AgCl"],
        titrant: ("Ag^+", "0.1120"),
        delivered: "36.85",
        blank: Some("0.71"),
        sample: Of::Volume("1"),
        analyte: "Cl^-",
        expressed: "Cl^-",
        expected: 4.04768,
        published: None,
        ..DIRECT
    }
    .check("Harvey, Mohr with blank");
}

#[test]
fn complexometric() {
    const HARDNESS: [&str; 1] = ["Ca^2+ + C10H14N2O8^2- -> CaC10H12N2O8^2- + 2 H^+"];
    // id: hardness-dH, of which 1 °dH is 10 mg/L CaO: 28.038 mg/L are 2.8 °dH
    for (expressed, unit, expected, printed) in [
        ("Ca^2+", ResultUnit::MmolPerL, 0.5, ("0.5", 1)),
        ("CaCO3", ResultUnit::MgPerL, 50.043, ("50", 2)),
        ("CaO", ResultUnit::MgPerL, 28.038_5, ("28", 2)),
    ] {
        Worked {
            reactions: &HARDNESS,
            titrant: ("C10H14N2O8^2-", "0.1"),
            delivered: "1.0",
            sample: Of::Volume("200"),
            analyte: "Ca^2+",
            expressed,
            unit,
            expected,
            published: Some(printed),
            ..DIRECT
        }
        .check("O. Günther, water hardness: 1 mL of 0.1 mol/L in 200 mL is 0.5 mmol/L, 2.8 °dH");
    }
    // id: fossee-hardness. 1 mL of standard hard water holds 1 mg of CaCO3; 50 mL of it take 20 mL of EDTA
    Worked {
        scheme: Scheme::Standardisation,
        reactions: &HARDNESS,
        titrant: ("C10H14N2O8^2-", "0.025"),
        delivered: "20.0",
        sample: Of::Mass("1.0000"),
        aliquot: Some(("1000", "50")),
        analyte: "CaCO3",
        expressed: "C10H14N2O8^2-",
        expected: 50.0 / 100.086 / 20.0,
        published: None,
        ..DIRECT
    }
    .check("FOSSEE, 2966, example 1.11, EDTA");
    for (delivered, expected, printed) in [("25.0", 1250.0, "1250"), ("18.0", 900.0, "900")] {
        Worked {
            reactions: &HARDNESS,
            titrant: ("C10H14N2O8^2-", "0.02497851847"),
            delivered,
            sample: Of::Volume("50"),
            analyte: "Ca^2+",
            expressed: "CaCO3",
            unit: ResultUnit::MgPerL,
            expected,
            published: Some((printed, 4)),
            ..DIRECT
        }
        .check("FOSSEE, 2966, example 1.11, hardness before and after boiling");
    }
    // id: harvey-edta-std
    Worked {
        scheme: Scheme::Standardisation,
        reactions: &HARDNESS,
        titrant: ("C10H14N2O8^2-", "0.01"),
        delivered: "42.63",
        sample: Of::Mass("0.4071"),
        aliquot: Some(("500", "50")),
        analyte: "CaCO3",
        expressed: "C10H14N2O8^2-",
        expected: 0.009541407,
        published: Some(("0.009541", 4)),
        ..DIRECT
    }
    .check("D. Harvey, Analytical Chemistry 2.1, ch. 9, EDTA against calcium carbonate");
    // id: usp-edta-std-formula
    Worked {
        scheme: Scheme::Standardisation,
        reactions: &HARDNESS,
        titrant: ("C10H14N2O8^2-", "0.05"),
        delivered: "39.96",
        sample: Of::Mass("0.2000"),
        analyte: "CaCO3",
        expressed: "C10H14N2O8^2-",
        // the pharmacopoeia's formula has 100.09 for 100.086
        expected: 0.050005 * 100.09 / 100.086,
        published: Some(("0.050005", 4)),
        ..DIRECT
    }
    .check("USP, 0.05 M edetate disodium VS, an instance of its formula");
}

#[test]
fn standardisation() {
    // id: ost-khp
    Worked {
        scheme: Scheme::Standardisation,
        reactions: &["C8H5KO4 + NaOH -> C8H4KNaO4 + H2O"],
        titrant: ("NaOH", "0.05"),
        delivered: "35.73",
        sample: Of::Mass("0.342"),
        analyte: "C8H5KO4",
        expressed: "NaOH",
        expected: 0.04686946,
        published: None,
        ..DIRECT
    }
    .check("OpenStax Chemistry 2e, 4.5, potassium hydrogen phthalate (no printed answer)");
    // id: pharchem-2a
    Worked {
        scheme: Scheme::Standardisation,
        reactions: &["KIO3 + 3 AgNO3 -> AgIO3 + KNO3 + 2 AgNO3"],
        titrant: ("AgNO3", "0.09"),
        delivered: "16.35",
        sample: Of::Mass("0.3017"),
        analyte: "KIO3",
        expressed: "AgNO3",
        expected: 0.08622719,
        published: Some(("0.08623", 4)),
        ..DIRECT
    }
    .check("PHARCHEM 3 practice set, precipitation titrations, no. 2a");
}

#[test]
fn back_titration() {
    // id: harvey-kjeldahl
    Worked {
        scheme: Scheme::Back,
        reactions: &["NH3 + HCl -> NH4^+ + Cl^-", "HCl + NaOH -> NaCl + H2O"],
        titrant: ("NaOH", "0.1183"),
        delivered: "22.84",
        sample: Of::Mass("0.9814"),
        excess: Some(("HCl", "0.1047", "50.00")),
        analyte: "NH3",
        expressed: "N",
        unit: ResultUnit::PercentMass,
        // printed as protein, 6.38 times the nitrogen: 23.1 %
        expected: 23.06533 / 6.38,
        published: None,
        ..DIRECT
    }
    .check("D. Harvey, Analytical Chemistry 2.1, ch. 9, nitrogen by Kjeldahl");
    // id: lmu-zr-edta-back
    Worked {
        scheme: Scheme::Back,
        reactions: &[
            "Zr^4+ + C10H14N2O8^2- -> ZrC10H12N2O8 + 2 H^+",
            "C10H14N2O8^2- + Bi^3+ -> BiC10H12N2O8^- + 2 H^+",
        ],
        titrant: ("Bi^3+", "0.0540"),
        delivered: "2.08",
        sample: Of::Volume("1000"),
        excess: Some(("C10H14N2O8^2-", "0.0502", "10.0")),
        analyte: "Zr^4+",
        expressed: "Zr",
        unit: ResultUnit::MgPerL,
        expected: 35.54817,
        published: Some(("35.6", 2)), // printed 35.6: the amounts were rounded to three figures on the way
        ..DIRECT
    }
    .check("LMU München, practice problem B6_1b, zirconium");
    // id: socratic-volhard-std
    Worked {
        scheme: Scheme::Back,
        reactions: &["NaCl + AgNO3 -> AgCl + NaNO3", "AgNO3 + KSCN -> AgSCN + KNO3"],
        titrant: ("KSCN", "0.0986"),
        delivered: "12.55",
        sample: Of::Mass("0.2286"),
        excess: Some(("AgNO3", "0.102983", "50.00")),
        analyte: "NaCl",
        expressed: "NaCl",
        unit: ResultUnit::PercentMass,
        expected: 100.0,
        published: None,
        ..DIRECT
    }
    .check("Socratic, Volhard: 0.2286 g of sodium chloride is all sodium chloride if the silver is 0.102983 mol/L");
}
