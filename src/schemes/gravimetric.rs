//! Gravimetry: a precipitate of known composition is weighed.

use super::parts::{Crucible, checked, content, display_words, in_reactions, needs_reactions};
use super::{Faults, Measurement, Reagents, Scheme, SchemeFile, SchemeRules, Signal};
use crate::chem::{Ratio, made_ratio};
use crate::columns::Column;
use crate::language::{Message, message};
use crate::measure::{Glassware, as_f64};
use crate::procedure::{Allowed, Asked, Common, Per, Sample};
use crate::submission::Titration;
use crate::workup::{
    Builder, MG_PER_G, Measured, Of, Operation, Own, Party, Quantity, Role, Sign, StepId, Trial,
    Worked,
};
use rust_decimal::Decimal;

const PRECIPITATE: Own = Own::new("step.precipitate", "mp");
const BLANK: Own = Own::new("step.blank-mass", "mb");
const MEAN_BLANK: Own = Own::new("step.mean-blank-mass", "m\u{304}b");
const LESS_BLANK: Own = Own::new("step.mass-less-blank", "mp*");
const ANALYTE: Own = Own::new("step.amount", "n");

/// From the mass of a precipitate.
#[derive(Clone, Debug)]
pub struct Gravimetric {
    pub precipitate: Crucible,
    /// Analyte used per precipitate made.
    pub analyte_per_precipitate: Ratio,
    pub asked: Asked,
}

impl Gravimetric {
    pub const TABLES: &[(&str, &str)] = &[("precipitate", "is gravimetric")];

    pub fn read(file: &SchemeFile) -> Option<Self> {
        let precipitate = Crucible::read(file, "precipitate", ["species", "nominal_g"]);
        let common = file.common.as_ref()?;
        file.made(Self::new(common, precipitate?))
    }

    pub fn new(common: &Common, precipitate: Crucible) -> Result<Self, Faults> {
        let mut faults = common.check(&Allowed {
            result: Per::Sample,
            no_blank: None,
            titres: false,
            standard: false,
            molar_mass: false,
        });
        precipitate.check("precipitate", "nominal_g", &mut faults);
        let made = common.asked().and_then(|asked| {
            needs_reactions(common)?;
            let ratio = made_ratio(&common.reactions, &asked.analyte, &precipitate.species);
            Ok(Self {
                analyte_per_precipitate: ratio.map_err(in_reactions)?,
                precipitate,
                asked,
            })
        });
        checked(faults, made)
    }
}

impl SchemeRules for Gravimetric {
    fn words(&self) -> &'static str {
        "gravimetry: a precipitate is weighed"
    }

    fn facts(&self) -> Vec<(&'static str, String)> {
        let expected = format!(", about {} g", self.precipitate.nominal);
        let words = self.precipitate.words(&expected);
        vec![("Precipitate", words)]
    }

    fn instruments(&self) -> Message {
        let piece = display_words(&self.precipitate.balance);
        message!("instruments.crucible-precipitate", piece = piece)
    }

    fn ratio_words(&self) -> String {
        let (ratio, analyte) = (self.analyte_per_precipitate, &self.asked.analyte);
        format!("{ratio} {analyte} per {}", self.precipitate.species)
    }

    fn asked(&self) -> Option<&Asked> {
        Some(&self.asked)
    }

    fn reagents(&self) -> Reagents<'_> {
        Reagents::default()
    }

    fn pieces_mut(&mut self) -> Vec<&mut Glassware> {
        Vec::new()
    }

    fn again(&self, common: &Common) -> Result<Scheme, Faults> {
        Self::new(common, self.precipitate.clone()).map(Scheme::Gravimetric)
    }

    fn tells_apart(&self) -> bool {
        true
    }

    fn columns(&self, _: usize) -> Vec<Column> {
        vec![Column::Crucible, Column::CrucibleFull]
    }

    fn instrument(&self) -> &Glassware {
        &self.precipitate.balance
    }

    fn measure(&self, builder: &mut Builder, row: &Titration, of: Of) -> Worked<Measured> {
        let mass = match of {
            Of::Blank(_) => BLANK,
            Of::All | Of::Trial(_) | Of::Rough | Of::Standard(_) => PRECIPITATE,
        };
        let columns = (Column::Crucible, Column::CrucibleFull);
        let balance = &self.precipitate.balance;
        let mass = content(builder, row, columns, balance, (mass, of))?;
        Ok(Measured::one(mass, Role::Own(MEAN_BLANK)))
    }

    /// n(A) = 1000 · (m − m_blank) · A/P / M(P) (mmol from g), then per sample.
    fn trial<'a>(&self, builder: &mut Builder<'a>, trial: &Trial<'a>) -> Worked<StepId> {
        let (asked, of) = (&self.asked, trial.of);
        let precipitate = &self.precipitate.species;
        let mut mass = trial.signal("step.precipitate")?;
        if let Some(blank) = trial.blanks[0] {
            let terms = Operation::sum([(Sign::Plus, mass), (Sign::Minus, blank)]);
            let quantity = Quantity::from(LESS_BLANK).of(of);
            mass = builder.graph.step(quantity, "g", terms)?;
        }
        let thousand = builder.exact(MG_PER_G, Decimal::ONE_THOUSAND);
        let molar_mass = builder.molar_mass(precipitate);
        let role = Role::Ratio(Party::Analyte, Party::Precipitate);
        let species = (&asked.analyte, precipitate);
        let ratio = builder.ratio(role, species, self.analyte_per_precipitate);
        let amount = Operation::quotient([thousand, mass, ratio], [molar_mass]);
        let quantity = Quantity::from(ANALYTE).about(asked.analyte.shared()).of(of);
        let amount = builder.graph.step(quantity, "mmol", amount)?;
        let sample = builder.sample(trial.row.titration, of)?;
        builder.result(amount, asked, sample, of)
    }

    fn signal(&self, _: &Sample) -> Signal {
        Signal {
            name: "precipitate",
            unit: "g",
            least: 0.0,
            full: 2.0 * as_f64(self.precipitate.nominal),
            scale: "twice the mass expected",
            // what a filter or a crucible may gain
            blank: Some(0.000_2),
            inverse: false,
            bent: false,
            of_vessel: false,
        }
    }

    fn measurements(&self, signal: f64, _: f64) -> Option<Vec<Measurement>> {
        Some(vec![Measurement::Weigh {
            empty: Column::Crucible,
            full: Column::CrucibleFull,
            content: signal,
            tare: (18.0, 26.0),
        }])
    }
}
