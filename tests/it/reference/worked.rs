//! Worked examples of textbooks and pharmacopoeias, through the engine: a procedure, readings, a result.
//!
//! Where a printed answer does not come out, the case says to how many figures it does and why.

use std::collections::BTreeSet;

use super::{dec, f, near};
use concordant::chem::{Formula, Reaction};
use concordant::judge::Marking;
use concordant::measure::{Class, Glassware, GlasswareKind, Reading, to_figures};
use concordant::procedure::{
    Accept, Aliquot, Excess, Procedure, ProcedureParts, ProcedureText, Purity, ReadingDoubt,
    ResultSpec, ResultUnit, Sample, SampleBy, Scheme, Titrant, TrialRules,
};
use concordant::submission::{HandIn, Piece, SampleReadings, Titration, TrialLabel};
use concordant::truth::{Assigned, Lot};
use concordant::workup::{WorkUpInput, work_up};
use rust_decimal::Decimal;

#[derive(Clone, Copy)]
enum Of {
    /// mL
    Volume(&'static str),
    /// g
    Mass(&'static str),
}

struct Worked {
    scheme: Scheme,
    reactions: &'static [&'static str],
    titrant: (&'static str, &'static str),
    delivered: &'static str,
    blank: Option<&'static str>,
    sample: Of,
    /// Flask and pipette, mL.
    aliquot: Option<(&'static str, &'static str)>,
    /// Species, molarity, mL.
    excess: Option<(&'static str, &'static str, &'static str)>,
    analyte: &'static str,
    expressed: &'static str,
    unit: ResultUnit,
    /// Recomputed with the 2021 weights, to 1e-6.
    expected: f64,
    /// As printed and to how many figures it comes out.
    published: Option<(&'static str, u32)>,
}

fn piece(kind: GlasswareKind, size: &str) -> Glassware {
    let graduation = kind.is_read().then(|| dec("0.0001"));
    Glassware::new(
        "test",
        kind,
        Some(Class::A),
        dec(size),
        graduation,
        dec("0.01"),
        "test",
    )
    .expect("a piece")
}

fn lot(code: &str, molarity: &str) -> Lot {
    let molarity = Assigned::new(dec(molarity), Decimal::ZERO).expect("a molarity");
    Lot {
        code: code.into(),
        reagent: String::new(),
        molarity,
        version: 1,
    }
}

impl Worked {
    fn procedure(&self) -> Procedure {
        let formula = |text: &str| Formula::parse(text).expect(text);
        let (by, glassware, nominal) = match self.sample {
            Of::Volume(v) => (SampleBy::Volume, piece(GlasswareKind::Pipette, v), dec(v)),
            Of::Mass(m) => (SampleBy::Mass, piece(GlasswareKind::Balance, "200"), dec(m)),
        };
        Procedure::new(ProcedureParts {
            key: "worked".into(),
            title: "Worked".into(),
            scheme: self.scheme,
            reactions: self
                .reactions
                .iter()
                .map(|r| Reaction::parse(r).expect(r))
                .collect(),
            titrant: Titrant {
                species: formula(self.titrant.0),
                nominal: dec(self.titrant.1),
                burette: piece(GlasswareKind::Burette, "100"),
            },
            sample: Sample {
                by,
                glassware,
                nominal,
                aliquot: self.aliquot.map(|(flask, pipette)| Aliquot {
                    flask: piece(GlasswareKind::Flask, flask),
                    pipette: piece(GlasswareKind::Pipette, pipette),
                }),
                species: (self.scheme == Scheme::Standardisation).then(|| formula(self.analyte)),
                purity: (self.scheme == Scheme::Standardisation).then_some(Purity {
                    fraction: Decimal::ONE,
                    half_width: Decimal::ZERO,
                }),
            },
            excess: self.excess.map(|(species, molarity, volume)| Excess {
                species: formula(species),
                nominal: dec(molarity),
                glassware: piece(GlasswareKind::Pipette, volume),
            }),
            result: ResultSpec {
                analyte: formula(if self.scheme == Scheme::Standardisation {
                    self.titrant.0
                } else {
                    self.analyte
                }),
                expressed_as: formula(self.expressed),
                unit: self.unit,
            },
            trials: TrialRules {
                minimum: 1,
                blank: self.blank.is_some(),
                accept: Accept::All,
                prompt_decimals: false,
            },
            uncertainty: ReadingDoubt::default(),
            marking: Marking::default(),
            text: ProcedureText::default(),
        })
        .expect("a procedure")
    }

    fn result(&self) -> Decimal {
        let procedure = self.procedure();
        let read = |text: &str| Reading::parse(text).expect(text);
        let row = |trial, delivered: &str, sample| Titration {
            trial,
            lot: None,
            excess_lot: None,
            unknown: None,
            burette: vec![Piece {
                start: read("0.00"),
                end: read(delivered),
            }],
            sample,
            submitted_at: None,
        };
        let mut sample = SampleReadings::default();
        if let Of::Mass(m) = self.sample {
            sample.mass = Some(read(m));
        }
        let mut titrations = vec![row(TrialLabel::Numbered(1), self.delivered, sample)];
        if let Some(blank) = self.blank {
            titrations.push(row(TrialLabel::Blank, blank, SampleReadings::default()));
        }
        let hand_in = HandIn {
            titrations,
            ..HandIn::default()
        };
        let titrant = lot("T", self.titrant.1);
        let excess = self.excess.map(|(_, molarity, _)| lot("E", molarity));
        let lots = vec![(Some(&titrant), excess.as_ref()); hand_in.titrations.len()];
        let none = BTreeSet::new();
        let done = work_up(WorkUpInput {
            procedure: &procedure,
            hand_in: &hand_in,
            lots: &lots,
            left_out: &none,
        });
        done.value().expect("a result")
    }

    #[track_caller]
    fn check(&self, source: &str) {
        let found = self.result();
        near(f(found), self.expected, 1e-6, source);
        if let Some((printed, figures)) = self.published {
            let to = |value| to_figures(value, figures).normalize();
            assert_eq!(
                to(found),
                to(dec(printed)),
                "{source}, to {figures} figures"
            );
        }
    }
}

const DIRECT: Worked = Worked {
    scheme: Scheme::Direct,
    reactions: &[],
    titrant: ("NaOH", "0.1"),
    delivered: "10",
    blank: None,
    sample: Of::Volume("10"),
    aliquot: None,
    excess: None,
    analyte: "HCl",
    expressed: "HCl",
    unit: ResultUnit::MolPerL,
    expected: 0.0,
    published: None,
};

#[test]
fn acid_and_base() {
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
    Worked {
        reactions: &["Ag^+ + Cl^- -> AgCl"],
        titrant: ("Ag^+", "0.03941"),
        delivered: "43.85",
        sample: Of::Volume("2000"),
        analyte: "Cl^-",
        expressed: "KCl",
        unit: ResultUnit::MgPerL,
        // printed as potassium, one per silver: 33.78344 mg/L K
        expected: 33.78344 * 74.5483 / 39.0983,
        published: None,
        ..DIRECT
    }
    .check("PHARCHEM 3 practice set, precipitation titrations, no. 6");
}

/// D. Harvey, Analytical Chemistry 2.1, ch. 9: potassium chloride and sodium bromide by Mohr's method with a blank.
/// The amount of silver used, 0.1120 (36.85 − 0.71) = 4.04768 mmol, is what the blank is for.
#[test]
fn a_blank_is_subtracted() {
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
    Worked {
        reactions: &HARDNESS,
        titrant: ("C10H14N2O8^2-", "0.1"),
        delivered: "1.0",
        sample: Of::Volume("200"),
        analyte: "Ca^2+",
        expressed: "CaCO3",
        unit: ResultUnit::MgPerL,
        expected: 50.043,
        published: None,
        ..DIRECT
    }
    .check("O. Günther, water hardness: 1 mL of 0.1 mol/L in 200 mL is 0.5 mmol/L");
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

/// mg of analyte that 1.000 mL of titrant finds, as pharmacopoeias print it.
#[test]
fn equivalents_of_the_pharmacopoeias() {
    const EDTA: &str = "C10H14N2O8^2-";
    let cases: [(&str, &[&str], (&str, &str), &str, &str, &str, u32); 12] = [
        (
            "USP 29 Hydrogen peroxide topical solution",
            &["5 H2O2 + 2 MnO4^- + 6 H^+ -> 5 O2 + 2 Mn^2+ + 8 H2O"],
            ("MnO4^-", "0.02"),
            "H2O2",
            "H2O2",
            "1.701",
            4,
        ),
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
        (
            "USP 28 Calcium carbonate oral suspension",
            &["Ca^2+ + C10H14N2O8^2- -> CaC10H12N2O8^2- + 2 H^+"],
            (EDTA, "0.05"),
            "Ca^2+",
            "CaCO3",
            "5.004",
            4,
        ),
        (
            "USP 28 Zinc sulfate ophthalmic solution",
            &["Zn^2+ + C10H14N2O8^2- -> ZnC10H12N2O8^2- + 2 H^+"],
            (EDTA, "0.01"),
            "Zn^2+",
            "ZnSO4",
            "1.614",
            4,
        ),
        (
            "USP 32 Ferrous sulfate",
            &["Fe^2+ + Ce^4+ -> Fe^3+ + Ce^3+"],
            ("Ce^4+", "0.1"),
            "Fe^2+",
            "FeSO4",
            "15.19",
            4,
        ),
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
        (
            "USP 28 Toughened silver nitrate",
            &["Ag^+ + SCN^- -> AgSCN"],
            ("SCN^-", "0.1"),
            "Ag^+",
            "AgNO3",
            "16.99",
            4,
        ),
        (
            "USP 35 Potassium chloride",
            &["Ag^+ + Cl^- -> AgCl"],
            ("Ag^+", "0.1"),
            "Cl^-",
            "KCl",
            "7.455",
            4,
        ),
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
        (
            "Japanese specifications for food additives, iodine solution",
            &["As2O3 + 2 I2 + 5 H2O -> 2 H3AsO4 + 4 HI"],
            ("I2", "0.05"),
            "As2O3",
            "As2O3",
            "4.946",
            4,
        ),
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
