//! Worked examples of textbooks and pharmacopoeias, through the engine: a procedure, readings, a result.
//!
//! Where a printed answer does not come out, the case says to how many figures it does and why.

mod equivalents;
mod library;
mod talbot;
mod textbooks;
mod volumes;

use std::collections::BTreeSet;

use super::{dec, f, near};
use concordant::chem::{Formula, Reaction};
use concordant::columns::Column;
use concordant::judge::Marking;
use concordant::judge::signal::{Bench, expected_signal};
use concordant::measure::{Class, Glassware, GlasswareKind, Reading, to_figures};
use concordant::procedure::{
    Accept, Aliquot, Common, Excess, Procedure, ProcedureText, Purity, ReadingDoubt, ResultSpec,
    ResultUnit, Sample, SampleBy, Titrant, TrialRules,
};
use concordant::schemes::{self, Back, Direct, SchemeKind as Scheme, Standardisation};
use concordant::submission::{HandIn, Titration, TrialLabel};
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
    /// Mass fraction of the weighed standard.
    purity: &'static str,
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
        code: concordant::ids::LotCode::new(code),
        reagent: String::new(),
        molarity,
        version: 1,
        standardised: None,
    }
}

impl Worked {
    fn procedure(&self) -> Procedure {
        let formula = |text: &str| Formula::parse(text).expect(text);
        let (by, glassware, nominal) = match self.sample {
            Of::Volume(v) => (SampleBy::Volume, piece(GlasswareKind::Pipette, v), dec(v)),
            Of::Mass(m) => (SampleBy::Mass, piece(GlasswareKind::Balance, "200"), dec(m)),
        };
        let titrant = Titrant {
            carried: None,
            species: formula(self.titrant.0),
            nominal: dec(self.titrant.1),
            ph: None,
            burette: piece(GlasswareKind::Burette, "100"),
        };
        let excess = || {
            let (species, molarity, volume) = self.excess.expect("an excess");
            Excess {
                delivered: None,
                brought_back: None,
                species: formula(species),
                nominal: dec(molarity),
                glassware: piece(GlasswareKind::Pipette, volume),
                added_to: None,
            }
        };
        let common = Common {
            key: "worked".into(),
            title: "Worked".into(),
            translations: Default::default(),
            reactions: self
                .reactions
                .iter()
                .map(|r| Reaction::parse(r).expect(r))
                .collect(),
            sample: Sample {
                portion: None,
                by,
                glassware,
                nominal,
                aliquot: self.aliquot.map(|(flask, pipette)| Aliquot {
                    flask: piece(GlasswareKind::Flask, flask),
                    pipette: piece(GlasswareKind::Pipette, pipette),
                }),
                species: (self.scheme == Scheme::Standardisation).then(|| formula(self.analyte)),
                purity: (self.scheme == Scheme::Standardisation).then_some(Purity {
                    fraction: dec(self.purity),
                    half_width: Decimal::ZERO,
                }),
            },
            result: ResultSpec {
                analyte: Some(formula(if self.scheme == Scheme::Standardisation {
                    self.titrant.0
                } else {
                    self.analyte
                })),
                expressed_as: Some(formula(self.expressed)),
                equivalence: None,
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
            reagents: Vec::new(),
        };
        Procedure::new(common, |common| match self.scheme {
            Scheme::Back => Back::new(common, titrant, excess()).map(schemes::Scheme::Back),
            Scheme::Standardisation => {
                Standardisation::new(common, titrant).map(schemes::Scheme::Standardisation)
            }
            Scheme::Indirect => Direct::new(common, titrant, true).map(schemes::Scheme::Indirect),
            _ => Direct::new(common, titrant, false).map(schemes::Scheme::Direct),
        })
        .expect("a procedure")
    }

    fn result(&self) -> Decimal {
        let procedure = self.procedure();
        let read = |text: &str| Reading::parse(text).expect(text);
        let row = |trial, delivered: &str| Titration {
            readings: [
                (Column::BuretteStart(1), read("0.00")),
                (Column::BuretteEnd(1), read(delivered)),
            ]
            .into_iter()
            .collect(),
            ..Titration::new(trial)
        };
        let mut trial = row(TrialLabel::Numbered(1), self.delivered);
        if let Of::Mass(m) = self.sample {
            trial.readings.insert(Column::SampleMass, read(m));
        }
        let mut titrations = vec![trial];
        titrations.extend(self.blank.map(|blank| row(TrialLabel::Blank, blank)));
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

    /// mL of titrant to expect for `truth`, in the result unit.
    fn titre(&self, truth: f64) -> f64 {
        let titrant = lot("T", self.titrant.1);
        let excess = self.excess.map(|(_, molarity, _)| lot("E", molarity));
        let bench = Bench {
            truth,
            lot: Some(&titrant),
            excess_lot: excess.as_ref(),
            blank: 0.0,
        };
        expected_signal(&self.procedure(), &bench).expect("a titre")
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
    purity: "1",
    analyte: "HCl",
    expressed: "HCl",
    unit: ResultUnit::MolPerL,
    expected: 0.0,
    published: None,
};
