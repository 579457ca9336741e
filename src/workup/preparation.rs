//! The value of a lot or an unknown, computed from what was weighed, made up and diluted.

use rust_decimal::Decimal;

use super::Graph;
use super::budget::budget;
use super::graph::{Operation, Scope, StepId, WorkUpError};
use super::parts::{exact, molar_mass, rectangular, single_mark, unit_factor};
use crate::chem::{CompositionFault, Formula, per_analyte};
use crate::measure::{Glassware, Reading, as_f64, from_f64};
use crate::procedure::{Purity, ResultSpec, ResultUnit};
use crate::truth::Assigned;

/// A preparation record.
#[derive(Clone, Debug)]
pub struct Preparation {
    /// What was weighed, as it was weighed (with its water of crystallisation).
    pub species: Formula,
    /// How much of it.
    pub weighed: Weighed,
    /// The flask it was made up in; none for a solid mixture.
    pub flask: Option<Glassware>,
    /// Total mass of a solid mixture; none for a solution.
    pub total: Option<Reading>,
    /// Dilutions after that, in order.
    pub dilutions: Vec<Dilution>,
}

/// A weighing.
#[derive(Clone, Debug)]
pub struct Weighed {
    /// g, as displayed.
    pub mass: Reading,
    /// What displayed it.
    pub balance: Glassware,
    /// Mass fraction of the substance.
    pub purity: Purity,
}

/// A pipetted part made up in another flask.
#[derive(Clone, Debug)]
pub struct Dilution {
    /// Takes the part.
    pub pipette: Glassware,
    /// Holds it made up.
    pub flask: Glassware,
}

/// Why a preparation has no value.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum PreparationFault {
    /// A step without a value.
    #[error(transparent)]
    WorkUp(#[from] WorkUpError),
    /// The weighed species does not hold what the result is expressed as.
    #[error(transparent)]
    Composition(#[from] CompositionFault),
    /// A solid for a result per volume, or a solution for a mass fraction.
    #[error("found {found}, expected {expected} for a result in {unit}")]
    Form {
        /// What the record describes.
        found: &'static str,
        /// What the unit needs.
        expected: &'static str,
        /// The unit.
        unit: &'static str,
    },
}

impl Preparation {
    /// Molarity of the weighed species in mol/L, with its standard uncertainty.
    ///
    /// # Errors
    /// [`PreparationFault`] for a solid mixture or a step without a value.
    pub fn molarity(&self) -> Result<Assigned, PreparationFault> {
        let spec = ResultSpec {
            analyte: Some(self.species.clone()),
            expressed_as: None,
            unit: ResultUnit::MolPerL,
        };
        self.value_in(&spec)
    }

    /// Content in an experiment's result unit, expressed as it asks, with its standard uncertainty.
    ///
    /// # Errors
    /// [`PreparationFault`] if the record does not fit the unit or a step has no value.
    pub fn value_in(&self, spec: &ResultSpec) -> Result<Assigned, PreparationFault> {
        let mut graph = Graph::default();
        let solid = spec.unit == ResultUnit::PercentMass;
        let unit = spec.unit.name();
        let words = |solid| {
            if solid {
                "a solid mixture"
            } else {
                "a solution"
            }
        };
        if solid != self.total.is_some() || solid == self.flask.is_some() {
            return Err(PreparationFault::Form {
                found: words(!solid),
                expected: words(solid),
                unit,
            });
        }
        let mass = self.mass(&mut graph, "mass weighed", &self.weighed.mass);
        let purity = graph.given(("mass fraction", "P"), "", self.weighed.purity.fraction);
        graph.doubt(
            purity,
            "purity",
            rectangular(self.weighed.purity.half_width),
            Scope::Shared,
        );
        let thousand = exact(&mut graph, ("mg per g", "k"), Decimal::ONE_THOUSAND);
        let mass_of_mole = molar_mass(&mut graph, &self.species);
        let amount = Operation::quotient([mass, purity, thousand], [mass_of_mole]);
        let amount = graph.step(("amount weighed", "n"), "mmol", amount)?;
        let (mut over, mut under) = (vec![amount], Vec::new());
        let expressed_as = spec.expressed_as.as_ref().or(spec.analyte.as_ref());
        let expressed_as = expressed_as.unwrap_or(&self.species);
        if *expressed_as != self.species {
            let (top, bottom) = per_analyte(&self.species, expressed_as)?.parts();
            let ratio = top.checked_div(bottom).unwrap_or(Decimal::ZERO);
            over.push(exact(&mut graph, ("expressed per weighed", "r"), ratio));
        }
        if spec.unit.is_mass() {
            over.push(molar_mass(&mut graph, expressed_as));
        }
        match (&self.flask, &self.total) {
            (Some(flask), _) => {
                under.push(single_mark(&mut graph, "flask", "Vf", flask));
                for (index, dilution) in self.dilutions.iter().enumerate() {
                    let number = index.saturating_add(1);
                    let pipette = format!("pipette of dilution {number}");
                    over.push(single_mark(&mut graph, pipette, "Vp", &dilution.pipette));
                    let flask = format!("flask of dilution {number}");
                    under.push(single_mark(&mut graph, flask, "Vd", &dilution.flask));
                }
            }
            (None, Some(total)) => under.push(self.mass(&mut graph, "total mass", total)),
            (None, None) => {}
        }
        if let Some((label, factor)) = unit_factor(spec.unit) {
            over.push(exact(&mut graph, (label, "F"), factor));
        }
        let value = graph.step(("value", "c"), unit, Operation::quotient(over, under))?;
        let standard = budget(&graph, value, None).standard;
        Ok(Assigned {
            value: graph.value(value),
            standard_uncertainty: from_f64(standard, 6).unwrap_or(Decimal::ZERO),
        })
    }

    fn mass(&self, graph: &mut Graph, label: &'static str, read: &Reading) -> StepId {
        let balance = &self.weighed.balance;
        let step = graph.given((label, "m"), "g", read.value());
        // two weighings, empty and loaded (QUAM:2012, A2.4)
        let display = balance.readable_step().map_or(0.0, as_f64) / 2.0 / 3f64.sqrt();
        let one = rectangular(balance.tolerance()).hypot(display);
        graph.doubt(
            step,
            format!("weighing, {label}"),
            2f64.sqrt() * one,
            Scope::Shared,
        );
        step
    }
}
