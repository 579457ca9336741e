//! Equivalents of the pharmacopoeias, and scaling laws.

use super::super::dec;
use super::{DIRECT, Of, Worked};
use concordant::measure::to_figures;
use concordant::procedure::ResultUnit;
use concordant::schemes::SchemeKind as Scheme;
use rust_decimal::Decimal;

/// mg of analyte that 1.000 mL of titrant finds, as pharmacopoeias print it.
#[test]
fn equivalents_of_the_pharmacopoeias() {
    const EDTA: &str = "C10H14N2O8^2-";
    /// Source, reactions, titrant, analyte, expressed as, printed, figures.
    type Equivalent = (
        &'static str,
        &'static [&'static str],
        (&'static str, &'static str),
        &'static str,
        &'static str,
        &'static str,
        u32,
    );
    let cases: [Equivalent; 12] = [
        // id: usp-h2o2
        (
            "USP 29 Hydrogen peroxide topical solution",
            &["5 H2O2 + 2 MnO4^- + 6 H^+ -> 5 O2 + 2 Mn^2+ + 8 H2O"],
            ("MnO4^-", "0.02"),
            "H2O2",
            "H2O2",
            "1.701",
            4,
        ),
        // id: usp-naocl
        (
            "USP 29 Sodium hypochlorite solution",
            &[
                "ClO^- + 2 I^- + 2 H^+ -> Cl^- + I2 + H2O",
                "I2 + 2 S2O3^2- -> 2 I^- + S4O6^2-",
            ],
            ("S2O3^2-", "0.1"),
            "ClO^-",
            "NaClO",
            "3.722",
            4,
        ),
        // id: usp-caco3
        (
            "USP 28 Calcium carbonate oral suspension",
            &["Ca^2+ + C10H14N2O8^2- -> CaC10H12N2O8^2- + 2 H^+"],
            (EDTA, "0.05"),
            "Ca^2+",
            "CaCO3",
            "5.004",
            4,
        ),
        // id: usp-znso4
        (
            "USP 28 Zinc sulfate ophthalmic solution",
            &["Zn^2+ + C10H14N2O8^2- -> ZnC10H12N2O8^2- + 2 H^+"],
            (EDTA, "0.01"),
            "Zn^2+",
            "ZnSO4",
            "1.614",
            4,
        ),
        // id: usp-feso4
        (
            "USP 32 Ferrous sulfate",
            &["Fe^2+ + Ce^4+ -> Fe^3+ + Ce^3+"],
            ("Ce^4+", "0.1"),
            "Fe^2+",
            "FeSO4",
            "15.19",
            4,
        ),
        // id: usp-fecl3-6h2o
        (
            "USP 40 Ferric chloride CS",
            &[
                "2 Fe^3+ + 2 I^- -> 2 Fe^2+ + I2",
                "I2 + 2 S2O3^2- -> 2 I^- + S4O6^2-",
            ],
            ("S2O3^2-", "0.1"),
            "Fe^3+",
            "FeCl3.6H2O",
            "27.03",
            4,
        ),
        // id: usp-agno3-volhard
        (
            "USP 28 Toughened silver nitrate",
            &["Ag^+ + SCN^- -> AgSCN"],
            ("SCN^-", "0.1"),
            "Ag^+",
            "AgNO3",
            "16.99",
            4,
        ),
        // id: usp-kcl-fajans
        (
            "USP 35 Potassium chloride",
            &["Ag^+ + Cl^- -> AgCl"],
            ("Ag^+", "0.1"),
            "Cl^-",
            "KCl",
            "7.455",
            4,
        ),
        // id: usp-benzoic
        (
            "USP 35 Benzoic acid",
            &["C7H6O2 + NaOH -> NaC7H5O2 + H2O"],
            ("NaOH", "0.1"),
            "C7H6O2",
            "C7H6O2",
            "12.21",
            4,
        ),
        // printed 3.566; 213.99977 / 60 is 3.56666, which rounds to 3.567
        // id: bp-kio3
        (
            "BP 2012 Potassium iodate VS",
            &[
                "IO3^- + 5 I^- + 6 H^+ -> 3 I2 + 3 H2O",
                "I2 + 2 S2O3^2- -> 2 I^- + S4O6^2-",
            ],
            ("S2O3^2-", "0.1"),
            "IO3^-",
            "KIO3",
            "3.566",
            3,
        ),
        // id: jp-as2o3
        (
            "Japanese specifications for food additives, iodine solution",
            &["As2O3 + 2 I2 + 5 H2O -> 2 H3AsO4 + 4 HI"],
            ("I2", "0.05"),
            "As2O3",
            "As2O3",
            "4.946",
            4,
        ),
        // id: usp-khp
        (
            "USP sodium hydroxide VS",
            &["C8H5KO4 + NaOH -> C8H4KNaO4 + H2O"],
            ("NaOH", "1"),
            "C8H5KO4",
            "C8H5KO4",
            "204.22",
            5,
        ),
    ];
    for (source, reactions, titrant, analyte, expressed, printed, figures) in cases {
        // 1 mL of titrant for 1 mL of sample: mg/mL is g/L
        let case = Worked {
            reactions,
            titrant,
            delivered: "1.000",
            sample: Of::Volume("1"),
            analyte,
            expressed,
            unit: ResultUnit::GPerL,
            ..DIRECT
        };
        let to = |value| to_figures(value, figures).normalize();
        assert_eq!(to(case.result()), to(dec(printed)), "{source}");
    }
}

// id: usp-aloh3-back
/// USP 32 Dried aluminium hydroxide gel: edetate in excess, zinc back; each mL of 0.05 M edetate is 3.900 mg.
#[test]
fn aluminium_by_back_titration() {
    let case = Worked {
        scheme: Scheme::Back,
        reactions: &[
            "Al^3+ + C10H14N2O8^2- -> AlC10H12N2O8^- + 2 H^+",
            "C10H14N2O8^2- + Zn^2+ -> ZnC10H12N2O8^2- + 2 H^+",
        ],
        titrant: ("Zn^2+", "0.05"),
        delivered: "9.000",
        sample: Of::Volume("1"),
        excess: Some(("C10H14N2O8^2-", "0.05", "10")),
        analyte: "Al^3+",
        expressed: "Al(OH)3",
        unit: ResultUnit::GPerL,
        ..DIRECT
    };
    assert_eq!(to_figures(case.result(), 4).to_string(), "3.900");
}

/// Scaling laws: twice the molarity is twice the result; the order of trials is of no matter.
#[test]
fn twice_the_titrant_is_twice_the_result() {
    let once = Worked {
        reactions: &["HCl + NaOH -> NaCl + H2O"],
        delivered: "21.37",
        ..DIRECT
    };
    let twice = Worked {
        titrant: ("NaOH", "0.2"),
        ..Worked {
            reactions: once.reactions,
            delivered: "21.37",
            ..DIRECT
        }
    };
    assert_eq!(once.result() * Decimal::TWO, twice.result());
}
