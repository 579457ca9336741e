//! Back titration: an excess of reagent is added, the titrant finds what the analyte left of it.

use super::parts::{
    TITRANT, checked, display_words, in_reactions, needs_reactions, of_titrated_sample, titrated,
};
use super::{Faults, Measurement, Reagents, Scheme, SchemeFile, SchemeRules, Signal};
use crate::chem::{Ratio, Reaction, chain_ratio, shared_ratio};
use crate::columns::Column;
use crate::language::{Message, message};
use crate::measure::{Glassware, as_f64};
use crate::procedure::{Asked, Common, Excess, ProcedureFault, Sample, Titrant};
use crate::submission::{Delivery, Titration};
use crate::workup::{
    Builder, Measured, Of, Operation, Own, Party, Quantity, Role, Sign, StepId, Trial, Worked,
};

const BY_BLANK: Own = Own::new("step.amount-added-by-blank", "ne");
const BY_TITRE: Own = Own::new("step.amount-found-by-titrant", "nt");
const BROUGHT_BACK: Own = Own::new("step.amount-brought-back", "nb");
const LEFT_IN_PART: Own = Own::new("step.amount-left-in-part", "np");
const ANALYTE: Own = Own::new("step.amount", "n");

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
        if common.trials.blank && excess.burette().is_some() {
            let what = "found true, expected false where excess reagent comes from a burette: a blank holds another volume of it";
            faults.push(ProcedureFault::new("trials.blank", what));
        }
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

    /// Amount of the excess reagent that brought an endpoint back, mmol.
    fn brought_back<'a>(
        &self,
        builder: &mut Builder<'a>,
        trial: &Trial<'a>,
    ) -> Worked<Option<StepId>> {
        let row = trial.row.titration;
        if self.excess.brought_back.is_none() || row.pieces(Delivery::Excess).next().is_none() {
            return Ok(None);
        }
        let lot = trial.row.excess_lot;
        let lot = lot.ok_or_else(|| trial.missing("why.excess", "why.no-lot"))?;
        let species = &self.excess.species;
        let molarity = builder.molarity(lot, Party::Excess, species);
        let volume = builder.delivered(Delivery::Excess, row, trial.of)?;
        let product = Operation::product([molarity, volume]);
        let quantity = Quantity::from(BROUGHT_BACK).about(species.shared());
        let amount = builder.graph.step(quantity.of(trial.of), "mmol", product)?;
        Ok(Some(amount))
    }
}

impl SchemeRules for Back {
    titrated!();

    fn facts(&self) -> Vec<(&'static str, String)> {
        vec![self.titrant.fact()]
    }

    fn instruments(&self) -> Message {
        let titrant = self.titrant.burette_words();
        let Some(burette) = self.excess.burette() else {
            return titrant;
        };
        let piece = display_words(burette);
        let excess = match self.excess.brought_back {
            Some(_) => message!("instruments.brought-back", piece = piece),
            None => message!("instruments.excess", piece = piece),
        };
        message!("instruments.and", first = titrant, second = excess)
    }

    fn columns(&self, fillings: usize) -> Vec<Column> {
        let by_burette = self.excess.glassware.kind().is_burette();
        let excess = by_burette.then(|| Column::of_burette(Delivery::Excess, fillings));
        let titre = Column::of_burette(Delivery::First, fillings);
        excess.into_iter().flatten().chain(titre).collect()
    }

    fn measure(&self, builder: &mut Builder, row: &Titration, of: Of) -> Worked<Measured> {
        builder.titre(row, of)
    }

    fn measurements(&self, signal: f64, _: f64) -> Option<Vec<Measurement>> {
        let excess = self.excess.delivered;
        let excess = excess.map(|volume| Measurement::Deliver(Delivery::Excess, as_f64(volume)));
        let titre = Measurement::Deliver(Delivery::First, signal);
        Some(excess.into_iter().chain([titre]).collect())
    }

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

    /// What was added of the excess reagent after an endpoint run over takes as much off what the titrant found left.
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
        let titre = trial.delivered()?;
        let left = match self.brought_back(builder, trial)? {
            None => {
                let left = by_titre(titre);
                builder.graph.step(amount(Role::ExcessLeft), "mmol", left)?
            }
            Some(more) => {
                let found = Operation::product([molarity, titre, ratio]);
                let found = builder
                    .graph
                    .step(amount(Role::Own(BY_TITRE)), "mmol", found)?;
                let rest = Operation::sum([(Sign::Plus, found), (Sign::Minus, more)]);
                match whole {
                    None => builder.graph.step(amount(Role::ExcessLeft), "mmol", rest)?,
                    Some((flask, pipette)) => {
                        let part = amount(Role::Own(LEFT_IN_PART));
                        let part = builder.graph.step(part, "mmol", rest)?;
                        let left = Operation::quotient([part, flask], [pipette]);
                        builder.graph.step(amount(Role::ExcessLeft), "mmol", left)?
                    }
                }
            }
        };
        let added = match (trial.blanks[0], trial.row.excess_lot) {
            (Some(blank), _) => {
                let quantity = amount(Role::Own(BY_BLANK));
                builder.graph.step(quantity, "mmol", by_titre(blank))?
            }
            (None, Some(lot)) => {
                let molarity = builder.molarity(lot, Party::Excess, excess);
                let volume = if self.excess.glassware.kind().is_burette() {
                    builder.delivered(Delivery::Excess, trial.row.titration, of)?
                } else {
                    builder.single_mark(Role::ExcessVolume, &self.excess.glassware)
                };
                let product = Operation::product([molarity, volume]);
                let quantity = amount(Role::ExcessAdded);
                builder.graph.step(quantity, "mmol", product)?
            }
            (None, None) => return Err(trial.missing("why.excess", "why.no-lot")),
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
        let added = as_f64(self.excess.nominal) * as_f64(self.excess.volume());
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
