//! The value of a lot or an unknown, computed from what was weighed, made up and diluted.

use rust_decimal::Decimal;

use super::budget::budget;
use super::budget_table::BudgetTable;
use super::component::{Cause, Component};
use super::derivation::{DerivationPart, derivation, of_one_value};
use super::graph::{Graph, Operation, StepId, WorkUpError};
use super::parts::{
    EXPANSION, MG_PER_G, exact, molar_mass, rectangular, single_mark, triangular, unit_factor,
    volume_reading,
};
use super::quantity::Quantity;
use super::role::{DilutionKind, DilutionPart, Own, Role};
use super::trials::WorkUp;
use crate::chem::{CompositionFault, Formula, Ratio, by_equivalents, per_analyte};
use crate::language::Language;
use crate::measure::{Glassware, Reading, as_f64, from_f64};
use crate::procedure::{Purity, ResultSpec, ResultUnit};
use crate::truth::Assigned;

const FLASK: Own = Own::new("step.flask", "Vf");
const MASS_WEIGHED: Own = Own::new("step.mass-weighed", "m");
const TOTAL_MASS: Own = Own::new("step.total-mass", "mt");
const MASS_FRACTION: Own = Own::new("step.mass-fraction", "P");
const AMOUNT_WEIGHED: Own = Own::new("step.amount-weighed", "n");
const EXPRESSED_PER_WEIGHED: Own = Own::new("step.expressed-per-weighed", "r");
const VALUE: Own = Own::new("step.value", "c");

#[derive(Clone, Debug)]
pub struct Preparation {
    /// What was weighed, as it was weighed (with its water of crystallisation), or what the stock holds.
    pub species: Formula,
    /// What it starts from.
    pub stock: Stock,
    /// Dilutions after that, in order.
    pub dilutions: Vec<Dilution>,
    pub conditions: Conditions,
}

/// What the prep room says of its own work; 0 leaves a part out.
#[derive(Clone, Copy, Debug, Default)]
pub struct Conditions {
    /// How far it may be from 20 °C, rectangular.
    pub temperature: Decimal,
    /// Standard deviation of filling to a mark, mL.
    pub filling: Decimal,
    /// Standard deviation of one mass, g.
    pub weighing: Decimal,
}

/// What a preparation starts from.
#[derive(Clone, Debug)]
pub enum Stock {
    /// Weighed and made up in a flask.
    Solution(Weighed, Glassware),
    /// Weighed into a solid mixture of that total mass.
    Solid(Weighed, Reading),
    /// A solution whose molarity is known, in mol/L.
    Known(Assigned),
}

#[derive(Clone, Debug)]
pub struct Weighed {
    pub mass: Reading,
    pub balance: Glassware,
    /// Mass fraction of the substance.
    pub purity: Purity,
}

/// A part made up in another flask.
#[derive(Clone, Debug)]
pub struct Dilution {
    /// How the part was taken.
    pub taken: Taken,
    /// Holds it made up.
    pub flask: Glassware,
}

/// How a part of a solution was taken.
#[derive(Clone, Debug)]
pub enum Taken {
    Pipette(Glassware),
    /// From a burette: so many mL.
    Burette(Glassware, Reading),
}

/// A value computed from a preparation, with all that leads to it.
#[derive(Clone, Debug)]
pub struct Prepared {
    graph: Graph,
    value: StepId,
}

/// What a record comes to: shown with its derivation and its budget.
#[derive(Clone, Debug)]
pub enum Recorded {
    /// Weighed, made up, diluted.
    Prepared(Prepared),
    /// Titrated against a primary standard.
    Standardised(Box<WorkUp>),
}

impl Prepared {
    /// The value with its standard uncertainty.
    pub fn assigned(&self) -> Assigned {
        let standard = budget(&self.graph, self.value, None).standard;
        Assigned {
            value: self.graph.value(self.value),
            standard_uncertainty: from_f64(standard, 6).unwrap_or(Decimal::ZERO),
        }
    }
}

impl Recorded {
    /// The value with its standard uncertainty; zero for a standardisation without a result.
    pub fn assigned(&self) -> Assigned {
        match self {
            Self::Prepared(prepared) => prepared.assigned(),
            Self::Standardised(work_up) => {
                let standard = work_up.budget.as_ref().map_or(0.0, |b| b.standard);
                Assigned {
                    value: work_up.value().unwrap_or(Decimal::ZERO),
                    standard_uncertainty: from_f64(standard, 6).unwrap_or(Decimal::ZERO),
                }
            }
        }
    }

    /// Every step that leads to the value, for staff.
    pub fn derivation(&self) -> Vec<DerivationPart> {
        match self {
            Self::Prepared(prepared) => vec![of_one_value(
                "From what was weighed to the value",
                &prepared.graph,
                prepared.value,
            )],
            Self::Standardised(work_up) => derivation(work_up, Language::English),
        }
    }

    /// What makes the value uncertain; none for a standardisation without a result.
    pub fn causes(&self) -> Option<BudgetTable> {
        match self {
            Self::Prepared(prepared) => {
                let budget = budget(&prepared.graph, prepared.value, None);
                let unit = prepared.graph.get(prepared.value).unit;
                Some(BudgetTable::of(&budget, unit, Language::English))
            }
            Self::Standardised(work_up) => {
                let budget = work_up.budget.as_ref()?;
                let unit = work_up.graph.get(work_up.result?).unit;
                Some(BudgetTable::of(budget, unit, Language::English))
            }
        }
    }
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
        unit: &'static str,
    },
}

impl Preparation {
    /// Molarity of the weighed species in mol/L, with its standard uncertainty.
    pub fn molarity(&self) -> Result<Assigned, PreparationFault> {
        self.value_in(&self.of_itself())
    }

    /// The molarity of what was weighed, as something asked for.
    pub fn of_itself(&self) -> ResultSpec {
        ResultSpec {
            analyte: Some(self.species.clone()),
            expressed_as: None,
            equivalence: None,
            unit: ResultUnit::MolPerL,
        }
    }

    /// Content in an experiment's result unit, expressed as it asks, with its standard uncertainty.
    pub fn value_in(&self, spec: &ResultSpec) -> Result<Assigned, PreparationFault> {
        self.work_up(spec).map(|prepared| prepared.assigned())
    }

    /// The same with all that leads to it.
    pub fn work_up(&self, spec: &ResultSpec) -> Result<Prepared, PreparationFault> {
        let mut graph = Graph::default();
        let solid = spec.unit.is_of_mass();
        let unit = spec.unit.name();
        if matches!(
            spec.unit,
            ResultUnit::MgPerPortion | ResultUnit::GPerMol | ResultUnit::MolPerMol
        ) {
            return Err(PreparationFault::Form {
                found: "what was mixed",
                expected: "a stated value",
                unit,
            });
        }
        let words = |solid| {
            if solid {
                "a solid mixture"
            } else {
                "a solution"
            }
        };
        if solid != matches!(self.stock, Stock::Solid(..)) {
            return Err(PreparationFault::Form {
                found: words(!solid),
                expected: words(solid),
                unit,
            });
        }
        let (mut over, mut under) = (Vec::new(), Vec::new());
        match &self.stock {
            Stock::Known(stock) => over.push(self.known(&mut graph, stock)),
            Stock::Solution(weighed, flask) => {
                over.push(self.amount(&mut graph, weighed)?);
                under.push(self.filled(&mut graph, Role::Own(FLASK), flask));
            }
            Stock::Solid(weighed, total) => {
                over.push(self.amount(&mut graph, weighed)?);
                under.push(self.mass(&mut graph, TOTAL_MASS, total, weighed));
            }
        }
        let expressed_as = spec.expressed_as.as_ref().or(spec.analyte.as_ref());
        let expressed_as = expressed_as.unwrap_or(&self.species);
        if *expressed_as != self.species {
            let (top, bottom) = self.per_weighed(spec, expressed_as)?.parts();
            let ratio = top.checked_div(bottom).unwrap_or(Decimal::ZERO);
            over.push(exact(&mut graph, EXPRESSED_PER_WEIGHED, ratio));
        }
        if spec.unit.is_mass() {
            over.push(molar_mass_of(&mut graph, expressed_as));
        }
        for (index, dilution) in self.dilutions.iter().enumerate() {
            let number = index.saturating_add(1);
            let role = |kind| {
                Role::Dilution(DilutionPart {
                    kind,
                    number,
                    several: self.dilutions.len() > 1,
                })
            };
            over.push(self.taken(&mut graph, role, &dilution.taken));
            let flask = role(DilutionKind::Flask);
            under.push(self.filled(&mut graph, flask, &dilution.flask));
        }
        if let Some((role, factor)) = unit_factor(spec.unit) {
            over.push(exact(&mut graph, role, factor));
        }
        let value = graph.step(VALUE, unit, Operation::quotient(over, under))?;
        Ok(Prepared { graph, value })
    }

    /// Moles of what the result is expressed as per mole weighed: by equivalents where the experiment counts so.
    fn per_weighed(
        &self,
        spec: &ResultSpec,
        expressed_as: &Formula,
    ) -> Result<Ratio, CompositionFault> {
        let (Some(stated), Some(analyte)) = (&spec.equivalence, &spec.analyte) else {
            return per_analyte(&self.species, expressed_as);
        };
        match by_equivalents(&self.species, expressed_as) {
            Some(ratio) if self.species != *analyte => Ok(ratio),
            _ => Ok(per_analyte(&self.species, analyte)?.times(stated.per_analyte)),
        }
    }

    /// Amount of substance weighed, mmol.
    fn amount(&self, graph: &mut Graph, weighed: &Weighed) -> Result<StepId, PreparationFault> {
        let mass = self.mass(graph, MASS_WEIGHED, &weighed.mass, weighed);
        let purity = graph.given(MASS_FRACTION, "", weighed.purity.fraction);
        let standard = rectangular(weighed.purity.half_width);
        graph.uncertain(purity, Component::shared("cause.purity", standard));
        let thousand = exact(graph, MG_PER_G, Decimal::ONE_THOUSAND);
        let mass_of_mole = molar_mass_of(graph, &self.species);
        let amount = Operation::quotient([mass, purity, thousand], [mass_of_mole]);
        Ok(graph.step(AMOUNT_WEIGHED, "mmol", amount)?)
    }

    fn mass(&self, graph: &mut Graph, own: Own, read: &Reading, weighed: &Weighed) -> StepId {
        let balance = &weighed.balance;
        let step = graph.given(own, "g", read.value());
        // two weighings, empty and loaded (QUAM:2012, A2.4)
        let display = balance.readable_step().map_or(0.0, as_f64) / 2.0 / 3f64.sqrt();
        let one = rectangular(balance.tolerance()).hypot(display);
        let standard = (2f64.sqrt() * one).hypot(as_f64(self.conditions.weighing));
        let cause = Cause::Weighing(Role::Own(own));
        graph.uncertain(step, Component::shared(cause, standard));
        step
    }

    /// A single-mark piece filled to its mark, mL (QUAM:2012, A1.4: calibration, filling, temperature).
    fn filled(&self, graph: &mut Graph, role: Role, piece: &Glassware) -> StepId {
        let step = single_mark(graph, role, piece, role);
        let filling = as_f64(self.conditions.filling);
        if filling > 0.0 {
            graph.uncertain(step, Component::shared(Cause::Filling(role), filling));
        }
        self.warmth(graph, step);
        step
    }

    /// All volumes of a preparation are measured at one temperature.
    fn warmth(&self, graph: &mut Graph, step: StepId) {
        let share = EXPANSION * rectangular(self.conditions.temperature);
        if share > 0.0 {
            let standard = share * as_f64(graph.value(step));
            graph.uncertain(step, Component::shared(Cause::Temperature, standard));
        }
    }

    /// Volume of stock taken for a dilution, mL.
    fn taken(
        &self,
        graph: &mut Graph,
        role: impl Fn(DilutionKind) -> Role,
        taken: &Taken,
    ) -> StepId {
        match taken {
            Taken::Pipette(pipette) => self.filled(graph, role(DilutionKind::Pipette), pipette),
            Taken::Burette(burette, volume) => {
                let role = role(DilutionKind::Burette);
                let quantity = Quantity::new(role).with(burette.words());
                let step = graph.given(quantity, "mL", volume.value());
                let calibration = triangular(burette.tolerance());
                let calibration = Component::shared(Cause::Calibration(role), calibration);
                graph.uncertain(step, calibration);
                // read twice, before and after, each to ± two readable steps
                let reading = 2f64.sqrt() * volume_reading(burette);
                graph.uncertain(step, Component::shared(Cause::Reading(role), reading));
                self.warmth(graph, step);
                step
            }
        }
    }

    /// Molarity of a stock, mol/L.
    fn known(&self, graph: &mut Graph, stock: &Assigned) -> StepId {
        let quantity = Quantity::new(Role::StockMolarity).about(self.species.shared());
        let step = graph.given(quantity, "mol/L", stock.value);
        let standard = as_f64(stock.standard_uncertainty);
        graph.uncertain(step, Component::shared("cause.stock", standard));
        step
    }
}

fn molar_mass_of(graph: &mut Graph, species: &Formula) -> StepId {
    let quantity = Quantity::new(Role::MolarMass).about(species.shared());
    molar_mass(graph, quantity, species)
}
