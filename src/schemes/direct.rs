//! Direct titration: the titrant that was used finds the analyte, through one reaction or a chain.

use super::parts::{
    TITRANT, checked, in_reactions, needs_reactions, of_titrated_sample, one_titre,
};
use super::{Faults, Reagents, Scheme, SchemeFile, SchemeKind, SchemeRules, Signal};
use crate::chem::{Ratio, chain_ratio};
use crate::measure::Glassware;
use crate::procedure::{Asked, Common, ResultUnit, Sample, Titrant};
use crate::workup::{Builder, Operation, Own, Party, Quantity, Role, StepId, Trial, Worked};

const TITRATED: Own = Own::new("step.amount-titrated", "n");

#[derive(Clone, Debug)]
pub struct Direct {
    pub titrant: Titrant,
    /// Analyte used per titrant used.
    pub analyte_per_titrant: Ratio,
    pub asked: Asked,
    /// Whether the titrant reacts with what a chain of reactions makes of the analyte.
    pub indirect: bool,
}

impl Direct {
    pub const TABLES: &[(&str, &str)] = &[TITRANT];

    pub fn read(file: &SchemeFile) -> Option<Self> {
        let titrant = file.titrant();
        let indirect = file.kind == SchemeKind::Indirect;
        let (common, titrant) = (file.common.as_ref()?, titrant?);
        file.made(Self::new(common, titrant, indirect))
    }

    pub fn new(common: &Common, titrant: Titrant, indirect: bool) -> Result<Self, Faults> {
        let faults = of_titrated_sample(common, &titrant, true);
        let made = common.asked().and_then(|asked| {
            needs_reactions(common)?;
            let ratio = chain_ratio(&common.reactions, &asked.analyte, &titrant.species);
            Ok(Self {
                analyte_per_titrant: ratio.map_err(in_reactions)?,
                titrant,
                asked,
                indirect,
            })
        });
        checked(faults, made)
    }
}

impl SchemeRules for Direct {
    one_titre!();

    fn words(&self) -> &'static str {
        if self.indirect {
            "indirect titration, through a chain of reactions"
        } else {
            "direct titration"
        }
    }

    fn ratio_words(&self) -> String {
        let (ratio, titrant) = (self.analyte_per_titrant, &self.titrant.species);
        format!("{ratio} {} per {titrant}", self.asked.analyte)
    }

    fn reagents(&self) -> Reagents<'_> {
        Reagents::of_titration(&self.titrant)
    }

    fn pieces_mut(&mut self) -> Vec<&mut Glassware> {
        vec![&mut self.titrant.burette]
    }

    fn again(&self, common: &Common) -> Result<Scheme, Faults> {
        let made = Self::new(common, self.titrant.clone(), self.indirect)?;
        Ok(if self.indirect {
            Scheme::Indirect(made)
        } else {
            Scheme::Direct(made)
        })
    }

    /// n(A) = c(T) · (V − V_blank) · A/T, then per sample.
    fn trial<'a>(&self, builder: &mut Builder<'a>, trial: &Trial<'a>) -> Worked<StepId> {
        let used = builder.net(trial.delivered()?, trial.blanks[0], trial.of)?;
        let ratio = self.analyte_per_titrant;
        from_volume(builder, trial, used, (&self.asked, &self.titrant, ratio))
    }

    fn signal(&self, _: &Sample) -> Signal {
        Signal {
            // a molar mass is the less, the more titrant a portion takes
            inverse: self.asked.unit == ResultUnit::GPerMol,
            ..self.titrant.signal()
        }
    }
}

/// The result of a trial from the volume of titrant that its sample used: the amount, then per sample.
pub(super) fn from_volume<'a>(
    builder: &mut Builder<'a>,
    trial: &Trial<'a>,
    volume: StepId,
    (asked, titrant, per_titrant): (&Asked, &Titrant, Ratio),
) -> Worked<StepId> {
    let titrant = &titrant.species;
    let molarity = builder.molarity(trial.titrant_lot()?, Party::Titrant, titrant);
    let role = Role::Ratio(Party::Analyte, Party::Titrant);
    let ratio = builder.ratio(role, (&asked.analyte, titrant), per_titrant);
    let quantity = Quantity::from(TITRATED).about(asked.analyte.shared());
    let product = Operation::product([molarity, volume, ratio]);
    let amount = builder.graph.step(quantity.of(trial.of), "mmol", product)?;
    let sample = builder.sample(trial.row.titration, trial.of)?;
    builder.result(amount, asked, sample, trial.of)
}
