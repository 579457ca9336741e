//! Two endpoints: two titres of one titrant, in one flask or in two equal portions, tell two analytes apart.

use super::file::{formula, reactions};
use super::parts::{TITRANT, checked, fault, needs_reactions, of_titrated_sample, titrated};
use super::{Faults, Measurement, Reagents, Scheme, SchemeFile, SchemeRules, Signal};
use crate::chem::{Formula, Ratio, RatioFault, Reaction, whole_use};
use crate::columns::Column;
use crate::language::{Message, message};
use crate::measure::{Glassware, as_f64};
use crate::procedure::{Asked, Common, ProcedureFault, Sample, Titrant};
use crate::submission::{Delivery, Titration};
use crate::text::{Section, found};
use crate::workup::{
    Builder, Measured, Of, Operation, Own, Party, Quantity, Role, Sign, StepId, Titre, Trial,
    Worked,
};

const BY_FIRST: Own = Own::new("step.amount-by-first", "n\u{2032}");
const BY_SECOND: Own = Own::new("step.amount-by-second", "n\u{2033}");
const ANALYTE: Own = Own::new("step.amount", "n");

/// Two titres t₁ and t₂ of one titrant, both from the start of their portion: n = first · t₁ + second · t₂.
#[derive(Clone, Debug)]
pub struct TwoEndpoint {
    pub titrant: Titrant,
    pub second: Second,
    /// Analyte per titrant to the first endpoint; may be negative or zero.
    pub to_first: Ratio,
    /// Analyte per titrant to the second endpoint; may be negative or zero.
    pub to_second: Ratio,
    /// Titrant used per (analyte, other species) to the first and to the second endpoint.
    pub uses: [[Ratio; 2]; 2],
    pub asked: Asked,
}

/// The second endpoint, which tells a second analyte from the first.
#[derive(Clone, Debug)]
pub struct Second {
    pub portion: Portion,
    /// In the same portion what happens from the first endpoint to the second, in another what happens there.
    pub reactions: Vec<Reaction>,
    /// The other species the titrant finds.
    pub other: Formula,
}

/// Where the second endpoint is titrated.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Portion {
    /// On in the same flask, with a second indicator.
    Same,
    /// In another, equal portion of the sample.
    Another,
}

impl TwoEndpoint {
    pub const TABLES: &[(&str, &str)] = &[TITRANT, ("second", "is two-endpoint")];

    pub fn read(file: &SchemeFile) -> Option<Self> {
        let titrant = file.titrant();
        let second = file.table("second", |section| Second::read(&section));
        let common = file.common.as_ref()?;
        file.made(Self::new(common, titrant?, second?))
    }

    pub fn new(common: &Common, titrant: Titrant, second: Second) -> Result<Self, Faults> {
        let mut faults = of_titrated_sample(common, &titrant, false);
        if second.portion == Portion::Another && common.sample.is_unlike() {
            let what = "found another, expected portions that are alike: a single-mark sample, or one made up in a flask and pipetted";
            faults.push(ProcedureFault::new("second.portion", what));
        }
        if second.reactions.is_empty() {
            let what = "found none, expected at least one balanced reaction";
            faults.push(ProcedureFault::new("second.reactions", what));
        }
        checked(faults, Self::with_ratios(common, titrant, second))
    }

    /// Titrant used per (analyte, other) to each endpoint is a 2 × 2 matrix; the analyte's row of its inverse says how
    /// the two titres give it.
    fn with_ratios(common: &Common, titrant: Titrant, second: Second) -> Result<Self, Faults> {
        let asked = common.asked()?;
        needs_reactions(common)?;
        let analytes = [&asked.analyte, &second.other];
        if asked.analyte == second.other {
            let what = format!(
                "found {}, expected another species than the analyte",
                second.other
            );
            return Err(fault("second.analyte", what));
        }
        let mut all = match second.portion {
            Portion::Same => common.reactions.clone(),
            Portion::Another => Vec::new(),
        };
        all.extend(second.reactions.iter().cloned());
        // a species that an endpoint does not find takes no titrant to it
        let uses = |reactions: &[Reaction], species: &Formula| {
            let unused = !reactions.iter().any(|r| r.consumed(species).is_some());
            if unused {
                return Ok(Ratio::ZERO);
            }
            whole_use(reactions, species, &titrant.species)
        };
        let at = |key: &'static str| move |why: RatioFault| fault(key, why);
        let mut matrix = [[Ratio::ZERO; 2]; 2];
        for (column, species) in analytes.into_iter().enumerate() {
            matrix[0][column] = uses(&common.reactions, species).map_err(at("reactions"))?;
            matrix[1][column] = uses(&all, species).map_err(at("second.reactions"))?;
        }
        let [[a, b], [c, d]] = matrix;
        let determinant = a.times(d).plus(b.times(c).negated());
        if determinant == Ratio::ZERO {
            let [analyte, other] = analytes;
            let what = format!(
                "found endpoints that use titrant for {analyte} and {other} in the same proportion, expected them to differ"
            );
            return Err(fault("second.reactions", what));
        }
        Ok(Self {
            titrant,
            second,
            to_first: d.over(determinant),
            to_second: b.negated().over(determinant),
            uses: matrix,
            asked,
        })
    }
}

impl Second {
    fn read(section: &Section) -> Option<Self> {
        section.only(&["portion", "reactions", "analyte"]);
        let portion = section.parsed("portion", |text| match text {
            "same" => Ok(Portion::Same),
            "another" => Ok(Portion::Another),
            _ => Err(found(text, "same or another")),
        });
        let read = reactions(section);
        let complete = read.len() == section.texts("reactions").len();
        let other = formula(section, "analyte");
        Some(Self {
            portion: portion?,
            reactions: complete.then_some(read)?,
            other: other?,
        })
    }
}

impl SchemeRules for TwoEndpoint {
    titrated!();

    fn words(&self) -> &'static str {
        "titration to two endpoints"
    }

    fn facts(&self) -> Vec<(&'static str, String)> {
        let where_to = match self.second.portion {
            Portion::Same => "on in the same flask",
            Portion::Another => "in another, equal portion",
        };
        let second = format!("{where_to}; finds {} as well", self.second.other);
        vec![self.titrant.fact(), ("Second endpoint", second)]
    }

    fn instruments(&self) -> Message {
        let endpoints = match self.second.portion {
            Portion::Same => message!("instruments.both-endpoints"),
            Portion::Another => message!("instruments.two-portions"),
        };
        let burette = self.titrant.burette_words();
        message!("instruments.and", first = burette, second = endpoints)
    }

    fn ratio_words(&self) -> String {
        format!(
            "{} {} per {} to the first endpoint, {} to the second",
            self.to_first, self.asked.analyte, self.titrant.species, self.to_second
        )
    }

    fn reagents(&self) -> Reagents<'_> {
        Reagents::of_titration(&self.titrant)
    }

    fn pieces_mut(&mut self) -> Vec<&mut Glassware> {
        vec![&mut self.titrant.burette]
    }

    fn again(&self, common: &Common) -> Result<Scheme, Faults> {
        let made = Self::new(common, self.titrant.clone(), self.second.clone());
        made.map(Scheme::TwoEndpoint)
    }

    fn columns(&self, fillings: usize) -> Vec<Column> {
        let mut columns: Vec<Column> = Column::of_burette(Delivery::First, fillings).collect();
        match self.second.portion {
            Portion::Same => columns.insert(1, Column::FirstEndpoint),
            Portion::Another => columns.extend(Column::of_burette(Delivery::Second, fillings)),
        }
        columns
    }

    fn measure(&self, builder: &mut Builder, row: &Titration, of: Of) -> Worked<Measured> {
        let delivered = builder.delivered(Delivery::First, row, of)?;
        let (first, second, other) = match self.second.portion {
            Portion::Same => {
                let first = builder.to_first_endpoint(row, of)?;
                (first, Some(delivered), None)
            }
            Portion::Another if row.pieces(Delivery::Second).next().is_some() => {
                let other = builder.delivered(Delivery::Second, row, of)?;
                (Some(delivered), Some(other), Some(other))
            }
            Portion::Another => (None, None, None),
        };
        let titre = |titre, step: Option<StepId>| step.map(|step| (step, Role::MeanBlank(titre)));
        Ok(Measured {
            delivered: Some(delivered),
            second: other,
            signals: [titre(Titre::First, first), titre(Titre::Second, second)],
        })
    }

    /// n(A) = c(T) · (f₁ · t₁ + f₂ · t₂): t₁ and t₂ are the titres to the two endpoints, each from the start of its
    /// portion and less its blank, f₁ and f₂ follow from the reactions. Then per sample.
    fn trial<'a>(&self, builder: &mut Builder<'a>, trial: &Trial<'a>) -> Worked<StepId> {
        let (analyte, titrant, of) = (&self.asked.analyte, &self.titrant.species, trial.of);
        let missing = |what| trial.missing("why.second-endpoint", what);
        let [first, second] = trial.measured.signals.map(|signal| Some(signal?.0));
        let first = first.ok_or_else(|| missing("why.no-first"))?;
        let second = second.ok_or_else(|| missing("why.no-second"))?;
        let first = builder.net(first, trial.blanks[0], of)?;
        let second = builder.net(second, trial.blanks[1], of)?;
        let molarity = builder.molarity(trial.titrant_lot()?, Party::Titrant, titrant);
        let mut terms = Vec::new();
        for (endpoint, ratio, titre, amount) in [
            (Titre::First, self.to_first, first, BY_FIRST),
            (Titre::Second, self.to_second, second, BY_SECOND),
        ] {
            if ratio == Ratio::ZERO {
                continue;
            }
            let (sign, size) = if ratio.is_positive() {
                (Sign::Plus, ratio)
            } else {
                (Sign::Minus, ratio.negated())
            };
            let factor = builder.ratio(Role::EndpointRatio(endpoint), (analyte, titrant), size);
            let product = Operation::product([molarity, titre, factor]);
            let quantity = Quantity::from(amount).about(analyte.shared()).of(of);
            terms.push((sign, builder.graph.step(quantity, "mmol", product)?));
        }
        let amount = match terms.as_slice() {
            [(Sign::Plus, only)] => *only,
            _ => {
                let quantity = Quantity::from(ANALYTE).about(analyte.shared()).of(of);
                let sum = Operation::sum(terms);
                builder.graph.step(quantity, "mmol", sum)?
            }
        };
        let sample = builder.sample(trial.row.titration, of)?;
        builder.result(amount, &self.asked, sample, of)
    }

    fn signal(&self, _: &Sample) -> Signal {
        self.titrant.signal()
    }

    /// The larger of the two titres is the signal, for as much of the other species as of the analyte.
    fn measurements(&self, signal: f64, _: f64) -> Option<Vec<Measurement>> {
        let titres = self.uses.map(|[analyte, other]| {
            let (over, under) = analyte.plus(other).parts();
            as_f64(over) / as_f64(under)
        });
        let most = titres[0].max(titres[1]);
        let [first, second] = titres.map(|titre| signal * titre / most);
        Some(match self.second.portion {
            Portion::Same => vec![
                Measurement::Deliver(Delivery::First, second),
                Measurement::FirstEndpoint(first),
            ],
            Portion::Another => vec![
                Measurement::Deliver(Delivery::First, first),
                Measurement::Deliver(Delivery::Second, second),
            ],
        })
    }
}
