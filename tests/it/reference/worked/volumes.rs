//! Problems that ask how much titrant to expect: the work-up read backwards.

use super::super::near;
use super::{DIRECT, Of, Worked};
use concordant::measure::to_figures;
use concordant::procedure::ResultUnit;
use concordant::schemes::SchemeKind as Scheme;
use rust_decimal::Decimal;
use rust_decimal::prelude::FromPrimitive;

/// A titre for a known content: recomputed with the 2021 weights to 1e-6, and as printed to so many figures.
#[track_caller]
fn expect(case: &Worked, truth: f64, volume: f64, (printed, figures): (&str, u32), source: &str) {
    let found = case.titre(truth);
    near(found, volume, 1e-6, source);
    let to = |value| to_figures(value, figures).normalize();
    let found = Decimal::from_f64(found).expect("a decimal");
    assert_eq!(to(found), to(super::dec(printed)), "{source}");
}

#[test]
fn acid_and_base() {
    // id: ost-oxalic-volume
    expect(
        &Worked {
            reactions: &["H2C2O4 + 2 NaOH -> Na2C2O4 + 2 H2O"],
            titrant: ("NaOH", "0.330"),
            sample: Of::Volume("15.0"),
            analyte: "H2C2O4",
            expressed: "H2C2O4",
            ..DIRECT
        },
        0.150,
        13.636_364,
        ("13.64", 4),
        "OpenStax Chemistry 2e, 4.5, volume for oxalic acid",
    );
    // id: ost-nahco3
    expect(
        &Worked {
            reactions: &["NaHCO3 + HCl -> NaCl + CO2 + H2O"],
            titrant: ("HCl", "0.600"),
            sample: Of::Mass("2.50"),
            analyte: "NaHCO3",
            expressed: "NaHCO3",
            unit: ResultUnit::PercentMass,
            ..DIRECT
        },
        100.0,
        49.599_77,
        ("49.6", 3),
        "OpenStax Chemistry 2e, 4.5, volume for sodium hydrogencarbonate",
    );
}

#[test]
fn iodine() {
    // id: chimactiv-ascorbic
    expect(
        &Worked {
            reactions: &["C6H8O6 + I2 -> C6H6O6 + 2 I^- + 2 H^+"],
            titrant: ("I2", "0.0248"),
            sample: Of::Mass("0.0445"),
            analyte: "C6H8O6",
            expressed: "C6H8O6",
            unit: ResultUnit::PercentMass,
            ..DIRECT
        },
        100.0,
        10.188_02,
        ("10.2", 3),
        "AgroParisTech, Chimactiv, redox assay of a medicine, p. 9",
    );
}

#[test]
fn silver_in_excess() {
    // id: pharchem-4
    expect(
        &Worked {
            scheme: Scheme::Back,
            reactions: &[
                "NH4Cl + AgNO3 -> AgCl + NH4NO3",
                "AgNO3 + KSCN -> AgSCN + KNO3",
            ],
            titrant: ("KSCN", "0.05015"),
            sample: Of::Mass("0.2215"),
            excess: Some(("AgNO3", "0.1", "50.0")),
            analyte: "NH4Cl",
            expressed: "NH4Cl",
            unit: ResultUnit::PercentMass,
            ..DIRECT
        },
        99.5,
        17.540_71,
        ("17.5", 3),
        "PHARCHEM 3 practice set, precipitation titrations, no. 4",
    );
}

/// H. P. Talbot, Quantitative Chemical Analysis, 6th ed. (1921), problem 15: cubic centimetres of 0.3 N sulfuric acid,
/// 0.15 mol/L. Talbot's weights have one decimal, so the fourth figure of (c) and (d) is off by one.
#[test]
fn talbot_15() {
    const ACID: Worked = Worked {
        titrant: ("H2SO4", "0.15"),
        ..DIRECT
    };
    // id: talbot-15c, with (a), (b) and (d)
    expect(
        &Worked {
            reactions: &["2 KOH + H2SO4 -> K2SO4 + 2 H2O"],
            sample: Of::Volume("30"),
            analyte: "KOH",
            expressed: "KOH",
            ..ACID
        },
        0.5,
        50.0,
        ("50", 2),
        "(a) 30 cc of 0.5 N potassium hydroxide",
    );
    expect(
        &Worked {
            reactions: &["Ba(OH)2 + H2SO4 -> BaSO4 + 2 H2O"],
            sample: Of::Volume("30"),
            analyte: "Ba(OH)2",
            expressed: "Ba(OH)2",
            ..ACID
        },
        0.25,
        50.0,
        ("50", 2),
        "(b) 30 cc of 0.5 N barium hydroxide",
    );
    expect(
        &Worked {
            reactions: &["2 KHCO3 + H2SO4 -> K2SO4 + 2 CO2 + 2 H2O"],
            sample: Of::Volume("20"),
            analyte: "KHCO3",
            expressed: "KHCO3",
            unit: ResultUnit::PercentMassVolume,
            ..ACID
        },
        10.02,
        66.723_73,
        ("66.73", 3),
        "(c) 20 cc of potassium hydrogencarbonate, 10.02 g per 100 cc",
    );
    expect(
        &Worked {
            reactions: &["Ba^2+ + H2SO4 -> BaSO4 + 2 H^+"],
            sample: Of::Mass("0.4320"),
            analyte: "Ba^2+",
            expressed: "BaSO4",
            unit: ResultUnit::PercentMass,
            ..ACID
        },
        100.0,
        12.340_23,
        ("12.33", 3),
        "(d) 0.4320 g of barium sulfate",
    );
}

/// Talbot, problem 48: lime from a limestone with 33.10 % CaO and 43.00 % CO2, of which 3.00 % of the lime is left.
/// 57 parts that stay are 97 % of it: 33.10 × 97 / 57 = 56.32807 % CaO. The calcium is thrown down as oxalate, and that
/// is titrated with normal permanganate, 0.2 mol/L.
#[test]
fn talbot_48() {
    // id: talbot-48
    expect(
        &Worked {
            scheme: Scheme::Indirect,
            reactions: &[
                "Ca^2+ + H2C2O4 -> CaC2O4 + 2 H^+",
                "CaC2O4 + 2 H^+ -> Ca^2+ + H2C2O4",
                "5 H2C2O4 + 2 MnO4^- + 6 H^+ -> 10 CO2 + 2 Mn^2+ + 8 H2O",
            ],
            titrant: ("MnO4^-", "0.2"),
            sample: Of::Mass("1"),
            analyte: "Ca^2+",
            expressed: "CaO",
            unit: ResultUnit::PercentMass,
            ..DIRECT
        },
        33.10 * 97.0 / 57.0,
        20.089_54,
        ("20.08", 3),
        "Talbot, problem 48, lime",
    );
}
