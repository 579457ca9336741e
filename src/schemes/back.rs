//! Back titration: an excess of reagent is added, the titrant finds what the analyte left of it.

use super::parts::{
    TITRANT, checked, in_reactions, needs_reactions, of_titrated_sample, one_titre,
};
use super::{Faults, Reagents, Scheme, SchemeFile, SchemeRules, Signal};
use crate::chem::{Ratio, Reaction, chain_ratio, shared_ratio};
use crate::measure::{Glassware, as_f64};
use crate::procedure::{Asked, Common, Excess, Sample, Titrant};
use crate::workup::{Builder, Operation, Own, Party, Quantity, Role, Sign, StepId, Trial, Worked};

const BY_BLANK: Own = Own::about("amount of ", " added, by the blank", "ne");
const ANALYTE: Own = Own::new("amount of ", "n");

/// Through the excess reagent.
#[derive(Clone, Debug)]
pub struct Back {
    pub titrant: Titrant,
    pub excess: Excess,
    /// Analyte used per excess reagent used.
    pub analyte_per_excess: Ratio,
    /// Excess reagent used per titrant used.
    pub excess_per_titrant: Ratio,
    pub asked: Asked,
}

impl Back {
    pub const TABLES: &[(&str, &str)] = &[TITRANT, ("excess", "is back")];

    pub fn read(file: &SchemeFile) -> Option<Self> {
        let (titrant, excess) = (file.titrant(), file.excess());
        let common = file.common.as_ref()?;
        file.made(Self::new(common, titrant?, excess?))
    }

    pub fn new(common: &Common, titrant: Titrant, excess: Excess) -> Result<Self, Faults> {
        let mut faults = of_titrated_sample(common, &titrant, false);
        excess.check(&mut faults);
        checked(faults, Self::with_ratios(common, titrant, excess))
    }

    fn with_ratios(common: &Common, titrant: Titrant, excess: Excess) -> Result<Self, Faults> {
        let asked = common.asked()?;
        needs_reactions(common)?;
        let reactions = &common.reactions;
        // directly, or through what the analyte makes of another reagent (iron, then iodine, then thiosulfate)
        let analyte_per_excess = shared_ratio(reactions, &asked.analyte, &excess.species)
            .or_else(|_| chain_ratio(reactions, &asked.analyte, &excess.species))
            .map_err(in_reactions)?;
        // a titrant that is the analyte itself (iron against an excess of permanganate) reacts as it does, and so does
        // an excess of which the use is asked for (oxygen demand)
        let itself = [&titrant.species, &excess.species].contains(&&asked.analyte);
        let after: Vec<Reaction> = reactions
            .iter()
            .filter(|r| itself || r.consumed(&asked.analyte).is_none())
            .cloned()
            .collect();
        let excess_per_titrant = shared_ratio(&after, &excess.species, &titrant.species)
            .or_else(|_| chain_ratio(&after, &excess.species, &titrant.species))
            .map_err(in_reactions)?;
        Ok(Self {
            titrant,
            excess,
            analyte_per_excess,
            excess_per_titrant,
            asked,
        })
    }
}

impl SchemeRules for Back {
    one_titre!();

    fn words(&self) -> &'static str {
        "back titration"
    }

    fn ratio_words(&self) -> String {
        let (analyte, excess) = (&self.asked.analyte, &self.excess.species);
        format!(
            "{} {analyte} per {excess}, {} {excess} per {}",
            self.analyte_per_excess, self.excess_per_titrant, self.titrant.species
        )
    }

    fn reagents(&self) -> Reagents<'_> {
        Reagents {
            excess: Some(&self.excess),
            ..Reagents::of_titration(&self.titrant)
        }
    }

    fn pieces_mut(&mut self) -> Vec<&mut Glassware> {
        vec![&mut self.titrant.burette, &mut self.excess.glassware]
    }

    fn again(&self, common: &Common) -> Result<Scheme, Faults> {
        let made = Self::new(common, self.titrant.clone(), self.excess.clone());
        made.map(Scheme::Back)
    }

    /// n(A) = (n(E) − c(T) · V · E/T) · A/E, then per sample. n(E) is what the pipette added of its lot; where a blank
    /// was titrated (the same excess, no sample), it is what the blank found: n(E) = c(T) · V_blank · E/T. Where the
    /// excess went into the whole before it was made up, what a part shows of it counts flask over pipette.
    fn trial<'a>(&self, builder: &mut Builder<'a>, trial: &Trial<'a>) -> Worked<StepId> {
        let (titrant, excess) = (&self.titrant.species, &self.excess.species);
        let (analyte, of) = (&self.asked.analyte, trial.of);
        let amount = |role| Quantity::new(role).about(excess.shared()).of(of);
        let molarity = builder.molarity(trial.titrant_lot()?, Party::Titrant, titrant);
        let role = Role::Ratio(Party::Excess, Party::Titrant);
        let ratio = builder.ratio(role, (excess, titrant), self.excess_per_titrant);
        let whole = (self.excess.is_in_whole())
            .then(|| builder.aliquot_factor())
            .flatten();
        let by_titre = |titre: StepId| match whole {
            Some((flask, pipette)) => {
                Operation::quotient([molarity, titre, ratio, flask], [pipette])
            }
            None => Operation::product([molarity, titre, ratio]),
        };
        let left = by_titre(trial.delivered()?);
        let left = builder.graph.step(amount(Role::ExcessLeft), "mmol", left)?;
        let added = match (trial.blanks[0], trial.row.excess_lot) {
            (Some(blank), _) => {
                let quantity = amount(Role::Own(BY_BLANK));
                builder.graph.step(quantity, "mmol", by_titre(blank))?
            }
            (None, Some(lot)) => {
                let molarity = builder.molarity(lot, Party::Excess, excess);
                let volume = builder.single_mark(Role::ExcessVolume, &self.excess.glassware);
                let product = Operation::product([molarity, volume]);
                let quantity = amount(Role::ExcessAdded);
                builder.graph.step(quantity, "mmol", product)?
            }
            (None, None) => return Err(trial.missing("excess reagent", "no lot of it")),
        };
        let terms = Operation::sum([(Sign::Plus, added), (Sign::Minus, left)]);
        let used = builder
            .graph
            .step(amount(Role::ExcessUsed), "mmol", terms)?;
        let role = Role::Ratio(Party::Analyte, Party::Excess);
        let ratio = builder.ratio(role, (analyte, excess), self.analyte_per_excess);
        let product = Operation::product([used, ratio]);
        let quantity = Quantity::from(ANALYTE).about(analyte.shared()).of(of);
        let amount = builder.graph.step(quantity, "mmol", product)?;
        let sample = builder.sample(trial.row.titration, of)?;
        if self.excess.is_in_whole() {
            builder.express(amount, &self.asked, sample, of)
        } else {
            builder.result(amount, &self.asked, sample, of)
        }
    }

    /// A blank is a titration of all of the excess.
    fn signal(&self, sample: &Sample) -> Signal {
        let (top, bottom) = self.excess_per_titrant.parts();
        let added = as_f64(self.excess.nominal) * as_f64(self.excess.glassware.capacity());
        let per_volume = as_f64(self.titrant.nominal) * as_f64(top) / as_f64(bottom);
        let part = match &sample.aliquot {
            Some(aliquot) if self.excess.is_in_whole() => {
                as_f64(aliquot.pipette.capacity()) / as_f64(aliquot.flask.capacity())
            }
            _ => 1.0,
        };
        let (most, burette) = (added / per_volume * part, self.titrant.signal());
        Signal {
            blank: Some(most),
            full: burette.full.min(most),
            scale: if most < burette.full {
                "what the excess takes"
            } else {
                burette.scale
            },
            ..burette
        }
    }
}
