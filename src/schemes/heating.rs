//! Loss on heating: what leaves a weighed sample, and what is left of it.

use super::own_slips::all_of;
use super::parts::{Crucible, checked, content, display_words, fault};
use super::{Faults, Measurement, OwnSlip, Reagents, Scheme, SchemeFile, SchemeRules, Signal};
use crate::chem::{Ratio, made_ratio};
use crate::columns::Column;
use crate::judge::SlipCode;
use crate::language::{Message, message};
use crate::measure::{Glassware, as_f64};
use crate::procedure::{Allowed, Asked, Common, Per, ProcedureFault, ResultUnit, Sample, SampleBy};
use crate::submission::Titration;
use crate::workup::{
    Builder, Graph, MG_PER_G, Measured, Of, Operation, Own, Party, Quantity, Role, Sign, StepId,
    Trial, Worked,
};
use rust_decimal::Decimal;

const RESIDUE: Own = Own::new("step.residue", "mr");
const NO_BLANK: Own = Own::new("step.mean-blank-mass", "m\u{304}b");
const LOSS: Own = Own::new("step.loss", "\u{394}m");
const LOST: Own = Own::new("step.amount-lost", "n");
const ANALYTE: Own = Own::new("step.amount-heated", "n");
const LEFT: Own = Own::new("step.amount-left", "nr");
const RESIDUE_MASS: Own = Own::new("step.residue-per-mole", "Mr");
const LOSS_MASS: Own = Own::new("step.loss-per-mole", "M\u{394}");

/// Share of a sample that can leave and something still be weighed.
const MOST_LOST: f64 = 0.9;

#[derive(Clone, Debug)]
pub struct Heating {
    pub heated: Crucible,
    /// Residue per analyte that is heated; none where the analyte is what leaves.
    pub residue_per_analyte: Option<Ratio>,
    pub asked: Asked,
}

impl Heating {
    pub const TABLES: &[(&str, &str)] = &[("heating", "is heating")];

    pub fn read(file: &SchemeFile) -> Option<Self> {
        let heated = Crucible::read(file, "heating", ["residue", "nominal_loss_g"]);
        let common = file.common.as_ref()?;
        file.made(Self::new(common, heated?))
    }

    pub fn new(common: &Common, heated: Crucible) -> Result<Self, Faults> {
        let mut faults = common.check(&Allowed {
            result: Per::Heated,
            no_blank: Some("false: the same crucible is weighed before and after"),
            titres: false,
            standard: false,
            molar_mass: false,
        });
        heated.check("heating", "nominal_loss_g", &mut faults);
        let sample = &common.sample;
        if sample.by == SampleBy::Volume || sample.aliquot.is_some() {
            let what =
                "found a volume or a flask, expected a sample that is weighed and heated whole";
            faults.push(ProcedureFault::new("sample.by", what));
        } else if heated.nominal >= sample.nominal {
            let (loss, nominal) = (heated.nominal, sample.nominal);
            let what = format!("found {loss}, expected less than the sample's {nominal} g");
            faults.push(ProcedureFault::new("heating.nominal_loss_g", what));
        }
        let made = common.asked().and_then(|asked| {
            let residue_per_analyte = if common.reactions.is_empty() {
                None
            } else {
                let made = made_ratio(&common.reactions, &asked.analyte, &heated.species);
                let made = made.map_err(|why| fault("reactions", why))?;
                Some(Ratio::ONE.over(made))
            };
            if asked.unit == ResultUnit::MolPerMol && residue_per_analyte.is_some() {
                let what = "found some, expected none where x in a hydrate is asked for: they would give it away";
                return Err(fault("reactions", what));
            }
            let as_other = &asked.expressed_as;
            if asked.unit == ResultUnit::MolPerMol && *as_other != asked.analyte {
                let what = format!(
                    "found {as_other}, expected none where x in a hydrate is asked for: it counts what leaves, {}",
                    asked.analyte
                );
                return Err(fault("result.as", what));
            }
            Ok(Self {
                residue_per_analyte,
                heated,
                asked,
            })
        });
        checked(faults, made)
    }
}

impl SchemeRules for Heating {
    fn words(&self) -> &'static str {
        "loss on heating"
    }

    fn facts(&self) -> Vec<(&'static str, String)> {
        // where x is asked for, the loss would say it
        let expected = if self.asked.unit == ResultUnit::MolPerMol {
            String::new()
        } else {
            format!(", about {} g lost", self.heated.nominal)
        };
        let words = self.heated.words(&expected);
        vec![("Residue", words)]
    }

    fn instruments(&self) -> Message {
        let piece = display_words(&self.heated.balance);
        message!("instruments.crucible-heating", piece = piece)
    }

    fn ratio_words(&self) -> String {
        let (analyte, residue) = (&self.asked.analyte, &self.heated.species);
        match self.residue_per_analyte {
            Some(ratio) => format!("{ratio} {residue} left per {analyte}"),
            None => format!("{analyte} leaves, {residue} is left"),
        }
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
        Self::new(common, self.heated.clone()).map(Scheme::Heating)
    }

    fn tells_apart(&self) -> bool {
        true
    }

    fn columns(&self, _: usize) -> Vec<Column> {
        vec![Column::Crucible, Column::CrucibleHeated]
    }

    fn instrument(&self) -> &Glassware {
        &self.heated.balance
    }

    fn measure(&self, builder: &mut Builder, row: &Titration, of: Of) -> Worked<Measured> {
        let columns = (Column::Crucible, Column::CrucibleHeated);
        let balance = &self.heated.balance;
        let residue = content(builder, row, columns, balance, (RESIDUE, of))?;
        Ok(Measured::one(residue, Role::Own(NO_BLANK)))
    }

    fn slips(&self, graph: &Graph) -> Vec<OwnSlip> {
        let losses = all_of(graph, LOSS);
        let pairs = losses.into_iter().filter_map(|loss| {
            let of = graph.get(loss).quantity.of;
            let left = graph.find(Role::Own(RESIDUE), of)?;
            Some((loss, left, of))
        });
        let exchanged = pairs
            .clone()
            .map(|(loss, left, _)| (loss, Some(graph.value(left))));
        let exchanged = OwnSlip::new(
            SlipCode::MassesExchanged,
            "the residue for the loss",
            exchanged,
        );
        let mut found = vec![exchanged];
        if self.asked.unit == ResultUnit::MolPerMol {
            // the hydrate's mass where that of what is left belongs
            let whole = pairs.clone().filter_map(|(loss, left, of)| {
                let amount = graph.find(Role::Own(LEFT), of)?;
                let (loss, left) = (graph.value(loss), graph.value(left));
                let sample = loss.checked_add(left)?;
                let scaled = graph.value(amount).checked_mul(sample);
                Some((amount, scaled.and_then(|scaled| scaled.checked_div(left))))
            });
            let place = "the sample for the residue";
            found.push(OwnSlip::new(SlipCode::MassesExchanged, place, whole));
            let masses = pairs.filter_map(|(loss, left, of)| {
                let result = graph.find(Role::Result, of)?;
                let ratio = graph.value(loss).checked_div(graph.value(left));
                Some((result, ratio))
            });
            found.push(OwnSlip::new(SlipCode::MassesAsAmounts, "", masses));
        }
        found.into_iter().flatten().collect()
    }

    /// Δm = m − m(residue). What leaves: n = 1000 · Δm / M; per residue, x = n / (1000 · m(residue) / M(residue)). What is
    /// heated: n = 1000 · Δm / (M(A) − R/A · M(R)), since the balanced reaction leaves no other mass to be lost.
    fn trial<'a>(&self, builder: &mut Builder<'a>, trial: &Trial<'a>) -> Worked<StepId> {
        let (asked, of) = (&self.asked, trial.of);
        let (analyte, residue) = (&asked.analyte, &self.heated.species);
        let left = trial.signal("step.residue")?;
        let sample = builder.sample(trial.row.titration, of)?;
        let terms = Operation::sum([(Sign::Plus, sample), (Sign::Minus, left)]);
        let loss = builder
            .graph
            .step(Quantity::from(LOSS).of(of), "g", terms)?;
        let thousand = builder.exact(MG_PER_G, Decimal::ONE_THOUSAND);
        let molar_mass = builder.molar_mass(analyte);
        if let Some(ratio) = self.residue_per_analyte {
            let role = Role::Ratio(Party::Residue, Party::Analyte);
            let ratio = builder.ratio(role, (residue, analyte), ratio);
            let of_residue = builder.molar_mass(residue);
            let product = Operation::product([ratio, of_residue]);
            let quantity = Quantity::from(RESIDUE_MASS).about(residue.shared()).of(of);
            let kept = builder.graph.step(quantity, "g/mol", product)?;
            let terms = Operation::sum([(Sign::Plus, molar_mass), (Sign::Minus, kept)]);
            let quantity = Quantity::from(LOSS_MASS).of(of);
            let lost = builder.graph.step(quantity, "g/mol", terms)?;
            let amount = Operation::quotient([thousand, loss], [lost]);
            let quantity = Quantity::from(ANALYTE).about(analyte.shared()).of(of);
            let amount = builder.graph.step(quantity, "mmol", amount)?;
            return builder.express(amount, asked, sample, of);
        }
        let amount = Operation::quotient([thousand, loss], [molar_mass]);
        let quantity = Quantity::from(LOST).about(analyte.shared()).of(of);
        let amount = builder.graph.step(quantity, "mmol", amount)?;
        if asked.unit != ResultUnit::MolPerMol {
            return builder.express(amount, asked, sample, of);
        }
        let of_residue = builder.molar_mass(residue);
        let kept = Operation::quotient([thousand, left], [of_residue]);
        let quantity = Quantity::from(LEFT).about(residue.shared()).of(of);
        let kept = builder.graph.step(quantity, "mmol", kept)?;
        let quantity = Quantity::new(Role::Result).of(of);
        let ratio = Operation::quotient([amount], [kept]);
        let result = builder.graph.step(quantity, asked.unit.name(), ratio)?;
        builder.repeatable(result);
        Ok(result)
    }

    fn signal(&self, sample: &Sample) -> Signal {
        // of what is heated alone something is left, and a sample holds no more
        let most = MOST_LOST * as_f64(sample.nominal);
        Signal {
            name: "loss",
            unit: "g",
            least: 0.0,
            full: (2.0 * as_f64(self.heated.nominal)).min(most),
            scale: "twice the loss expected, or nearly all of the sample",
            blank: None,
            inverse: false,
            bent: false,
            of_vessel: false,
        }
    }

    fn measurements(&self, signal: f64, sample: f64) -> Option<Vec<Measurement>> {
        Some(vec![Measurement::Weigh {
            empty: Column::Crucible,
            full: Column::CrucibleHeated,
            content: sample - signal,
            tare: (18.0, 26.0),
        }])
    }
}
