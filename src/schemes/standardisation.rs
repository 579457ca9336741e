//! Standardisation: a weighed primary standard gives the molarity of the titrant.

use super::parts::{TITRANT, checked, fault, in_reactions, needs_reactions, one_titre};
use super::{Faults, Reagents, Scheme, SchemeFile, SchemeRules, Signal};
use crate::chem::{Formula, Ratio, chain_ratio, per_analyte};
use crate::measure::Glassware;
use crate::procedure::{Allowed, Asked, Common, Per, ProcedureFault, Sample, SampleBy, Titrant};
use crate::workup::{
    Builder, Component, MG_PER_G, Operation, Own, Party, Quantity, Role, StepId, StepIds, Trial,
    Worked, rectangular,
};
use rust_decimal::Decimal;

const MASS_FRACTION: Own = Own::new("step.mass-fraction-of", "P");
const TITRATED: Own = Own::new("step.amount-titrated", "ns");
const USED: Own = Own::new("step.amount", "n");

/// From the weighed standard.
#[derive(Clone, Debug)]
pub struct Standardisation {
    pub titrant: Titrant,
    pub weighed: Formula,
    /// Titrant used per weighed species.
    pub titrant_per_weighed: Ratio,
    pub asked: Asked,
}

impl Standardisation {
    pub const TABLES: &[(&str, &str)] = &[TITRANT];

    pub fn read(file: &SchemeFile) -> Option<Self> {
        let titrant = file.titrant();
        let common = file.common.as_ref()?;
        file.made(Self::new(common, titrant?))
    }

    pub fn new(common: &Common, titrant: Titrant) -> Result<Self, Faults> {
        let by_volume = common.sample.by == SampleBy::Volume;
        let mut faults = common.check(&Allowed {
            result: Per::Volume,
            no_blank: by_volume.then_some("a weighed standard"),
            titres: true,
            standard: true,
            molar_mass: false,
        });
        titrant.check(&mut faults);
        if titrant.carried.is_some() {
            let what = "found one, expected none: the titrant's molarity is what is asked for";
            faults.push(ProcedureFault::new("titrant.from", what));
        }
        if by_volume {
            let what = "found volume, expected mass or mass-difference of a primary standard";
            faults.push(ProcedureFault::new("sample.by", what));
        }
        checked(faults, Self::with_ratio(common, titrant))
    }

    /// The standard is what is weighed (`sample.species`), or the analyte where the file names it there; what reacts is
    /// that species itself or one of the reactions' species that shares its composition (Na2CO3 reacts as CO3^2-).
    fn with_ratio(common: &Common, titrant: Titrant) -> Result<Self, Faults> {
        let mut asked = common.asked()?;
        needs_reactions(common)?;
        let weighed = match &common.sample.species {
            Some(species) => species.clone(),
            None if asked.analyte != titrant.species => asked.analyte.clone(),
            None => {
                return Err(fault(
                    "sample.species",
                    "found none, expected the formula of what is weighed",
                ));
            }
        };
        let consumed: Vec<&Formula> = common
            .reactions
            .iter()
            .flat_map(|r| {
                r.species()
                    .filter(|s| r.consumed(s).is_some() && **s != titrant.species)
            })
            .collect();
        let exact = consumed.iter().find(|s| ***s == weighed);
        let related = || {
            consumed
                .iter()
                .find(|s| shares_more_than_water(s, &weighed) && per_analyte(&weighed, s).is_ok())
        };
        let Some(reacting) = exact.or_else(related) else {
            let what = format!(
                "found {weighed}, expected a species of the reactions or one that shares its composition"
            );
            return Err(fault("sample.species", what));
        };
        let reacting_per_weighed =
            per_analyte(&weighed, reacting).map_err(|why| fault("sample.species", why))?;
        let reacting_per_titrant =
            chain_ratio(&common.reactions, reacting, &titrant.species).map_err(in_reactions)?;
        // the molarity found is the titrant's, whatever the file calls the analyte
        asked.analyte = titrant.species.clone();
        asked.expressed_as = titrant.species.clone();
        asked.per_analyte = Ratio::ONE;
        Ok(Self {
            titrant,
            weighed,
            titrant_per_weighed: reacting_per_weighed.over(reacting_per_titrant),
            asked,
        })
    }
}

impl SchemeRules for Standardisation {
    one_titre!();

    fn words(&self) -> &'static str {
        "standardisation against a weighed primary standard"
    }

    fn ratio_words(&self) -> String {
        let (ratio, weighed) = (self.titrant_per_weighed, &self.weighed);
        format!("{ratio} {} per {weighed}", self.titrant.species)
    }

    fn reagents(&self) -> Reagents<'_> {
        Reagents {
            lot: None,
            ..Reagents::of_titration(&self.titrant)
        }
    }

    fn pieces_mut(&mut self) -> Vec<&mut Glassware> {
        vec![&mut self.titrant.burette]
    }

    fn again(&self, common: &Common) -> Result<Scheme, Faults> {
        Self::new(common, self.titrant.clone()).map(Scheme::Standardisation)
    }

    /// n(S) = 1000 · m · P / M (mmol from g), n(T) = n(S) · T/S, c(T) = n(T) / (V − V_blank).
    fn trial<'a>(&self, builder: &mut Builder<'a>, trial: &Trial<'a>) -> Worked<StepId> {
        let (weighed, titrant, of) = (&self.weighed, &self.titrant.species, trial.of);
        let mass = builder.sample(trial.row.titration, of)?;
        let thousand = builder.exact(MG_PER_G, Decimal::ONE_THOUSAND);
        let molar_mass = builder.molar_mass(weighed);
        let mut over = StepIds::from_slice(&[thousand, mass]);
        if let Some(purity) = builder.procedure.sample.purity {
            let quantity = Quantity::from(MASS_FRACTION).about(weighed.shared());
            over.push(builder.once(quantity, |builder, quantity| {
                let step = builder.graph.given(quantity, "", purity.fraction);
                builder.graph.significant(step, None);
                let standard = rectangular(purity.half_width);
                let component = Component::shared("cause.purity-of-standard", standard);
                builder.graph.uncertain(step, component);
                step
            }));
        }
        let mut under = StepIds::from_slice(&[molar_mass]);
        if let Some((flask, pipette)) = builder.aliquot_factor() {
            over.push(pipette);
            under.push(flask);
        }
        let quantity = Quantity::from(TITRATED).about(weighed.shared()).of(of);
        let amount = Operation::Quotient(over, under);
        let standard = builder.graph.step(quantity, "mmol", amount)?;
        let role = Role::Ratio(Party::Titrant, Party::Weighed);
        let ratio = builder.ratio(role, (titrant, weighed), self.titrant_per_weighed);
        let quantity = Quantity::from(USED).about(titrant.shared());
        let product = Operation::product([standard, ratio]);
        let amount = builder.graph.step(quantity.of(of), "mmol", product)?;
        let used = builder.net(trial.delivered()?, trial.blanks[0], of)?;
        builder.express(amount, &self.asked, used, of)
    }

    fn signal(&self, _: &Sample) -> Signal {
        Signal {
            inverse: true,
            ..self.titrant.signal()
        }
    }
}

fn shares_more_than_water(one: &Formula, other: &Formula) -> bool {
    one.atoms()
        .keys()
        .any(|symbol| !matches!(*symbol, "H" | "O") && other.atoms().contains_key(symbol))
}
