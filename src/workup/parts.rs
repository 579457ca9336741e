//! What the schemes share: sample amounts, lots, molar masses, and the last step to the unit asked for.

use rust_decimal::Decimal;

use super::burette::BuretteUncertainty;
use super::component::{Cause, Component, Load};
use super::graph::{Graph, Operation, Sign, StepId, StepIds, WorkUpError, Worked};
use super::quantity::{Instrument, Of, Quantity};
use super::role::{Own, Party, Role};
use crate::chem::{Formula, Ratio, atomic_weight};
use crate::columns::Column;
use crate::measure::{Glassware, GlasswareKind, Reading, as_f64, order_of_magnitude};
use crate::procedure::{Asked, Procedure, ResultUnit, SampleBy};
use crate::submission::Titration;
use crate::truth::{Lot, Standardised};

const IN_FLASK: Own = Own::new("step.amount-in-flask", "nf");
const MASS: Own = Own::new("step.mass-of", "w");
const PORTION: Own = Own::new("step.portion", "Q");
/// Turns g into mg, and so mol into mmol.
pub const MG_PER_G: Own = Own::new("step.mg-per-g", "k");

/// A graph in the making, with the steps that trials share.
pub struct Builder<'a> {
    pub graph: Graph,
    pub procedure: &'a Procedure,
    pub burette: BuretteUncertainty,
    shared: Vec<StepId>,
    lots: Vec<(Party, &'a Lot, StepId)>,
    /// Each pipette with what it was first used for.
    pipettes: Vec<(String, Role)>,
}

impl<'a> Builder<'a> {
    pub fn new(procedure: &'a Procedure) -> Self {
        Self {
            graph: Graph::default(),
            procedure,
            burette: BuretteUncertainty::of(procedure.burette(), &procedure.uncertainty),
            shared: Vec::new(),
            lots: Vec::new(),
            pipettes: Vec::new(),
        }
    }

    /// The shared step of that quantity, made at its first use.
    pub fn once(
        &mut self,
        quantity: impl Into<Quantity>,
        make: impl FnOnce(&mut Self, Quantity) -> StepId,
    ) -> StepId {
        let quantity = quantity.into();
        let known = self
            .shared
            .iter()
            .find(|id| self.graph.get(**id).quantity == quantity);
        if let Some(known) = known {
            return *known;
        }
        let made = make(self, quantity);
        self.shared.push(made);
        made
    }

    /// A step that trials share, worked out at its first use.
    pub fn step_once(
        &mut self,
        quantity: impl Into<Quantity>,
        unit: &'static str,
        operation: Operation,
    ) -> Worked<StepId> {
        let quantity = quantity.into();
        let mut shared = self.shared.iter();
        if let Some(known) = shared.find(|id| self.graph.get(**id).quantity == quantity) {
            return Ok(*known);
        }
        let made = self.graph.step(quantity, unit, operation)?;
        self.shared.push(made);
        Ok(made)
    }

    /// The sample: mL by volume, g by mass.
    pub fn sample(&mut self, row: &Titration, of: Of) -> Worked<StepId> {
        let sample = &self.procedure.sample;
        let missing = || WorkUpError {
            label: of.after("why.sample"),
            what: "why.no-reading",
        };
        let read = |column: Column| column.get(row).ok_or_else(missing);
        match sample.by {
            SampleBy::Volume if self.procedure.reads_sample_volume() => {
                let read = read(Column::SampleVolume)?;
                let volume = Quantity::new(Role::SampleVolume).of(of);
                let volume = volume.read(Instrument::Graduated);
                let step = self.graph.given(volume, "mL", read.value());
                let calibration = triangular(sample.glassware.tolerance());
                let calibration = Component::shared(Cause::SampleCalibration, calibration);
                self.graph.uncertain(step, calibration);
                let reading = volume_reading(&sample.glassware);
                let reading = Component::each(Cause::SampleReading, reading, of);
                self.graph.uncertain(step, reading);
                self.warmth(step);
                Ok(step)
            }
            SampleBy::Volume => Ok(self.single_mark(Role::SampleVolume, &sample.glassware)),
            SampleBy::Mass => {
                let read = read(Column::SampleMass)?;
                let mass = Quantity::new(Role::SampleMass).of(of);
                // a tared balance is read twice, empty and loaded (QUAM:2012, A2.4)
                let twice = 2f64.sqrt();
                Ok(self.weighing(mass, read, &sample.glassware, Load::Sample, twice))
            }
            SampleBy::MassDifference => {
                let before = read(Column::SampleBefore)?;
                let after = read(Column::SampleAfter)?;
                let balance = &sample.glassware;
                let first = Quantity::new(Role::MassBefore).of(of);
                let first = self.weighing(first, before, balance, Load::Before, 1.0);
                let second = Quantity::new(Role::MassAfter).of(of);
                let second = self.weighing(second, after, balance, Load::After, 1.0);
                let terms = Operation::sum([(Sign::Plus, first), (Sign::Minus, second)]);
                let mass = Quantity::new(Role::SampleMass).of(of);
                self.graph.step(mass, "g", terms)
            }
        }
    }

    /// The nominal volume of a single-mark piece, mL. One pipette used twice is off by one and the same error.
    pub fn single_mark(&mut self, role: Role, piece: &Glassware) -> StepId {
        let volume = Quantity::new(role).with(piece.words());
        self.once(volume, |builder, _| {
            let first_use = if piece.kind() == GlasswareKind::Pipette {
                builder.first_use(piece, role)
            } else {
                role
            };
            let step = single_mark(&mut builder.graph, role, piece, first_use);
            builder.warmth(step);
            step
        })
    }

    fn first_use(&mut self, pipette: &Glassware, role: Role) -> Role {
        let known = self.pipettes.iter().find(|(key, _)| *key == pipette.key());
        if let Some((_, first)) = known {
            return *first;
        }
        self.pipettes.push((pipette.key().to_owned(), role));
        role
    }

    /// A lot's molarity, mol/L.
    pub fn molarity(&mut self, lot: &'a Lot, party: Party, species: &Formula) -> StepId {
        let is_known = |known: &&(Party, &Lot, StepId)| {
            let is_carried = |lot: &Lot| lot.standardised.is_some();
            known.0 == party && known.1.code == lot.code && is_carried(known.1) == is_carried(lot)
        };
        if let Some((.., known)) = self.lots.iter().find(is_known) {
            return *known;
        }
        let molarity = Quantity::new(Role::Molarity(party)).about(species.shared());
        let molarity = molarity.from_lot(lot);
        let step = self.graph.given(molarity, "mol/L", lot.molarity.value);
        // what is assigned does not decide how many figures an answer has
        self.graph.significant(step, None);
        let standard = as_f64(lot.molarity.standard_uncertainty);
        let component = match lot.standardised {
            None => Component::shared(Cause::LotMolarity(lot.code.clone()), standard),
            Some(Standardised { degrees_of_freedom }) => {
                Component::shared(Cause::Standardisation(lot.code.clone()), standard)
                    .estimated(degrees_of_freedom)
            }
        };
        self.graph.uncertain(step, component);
        self.lots.push((party, lot, step));
        step
    }

    /// A stoichiometric ratio, mol of the first per mol of the second.
    pub fn ratio(&mut self, role: Role, (of, per): (&Formula, &Formula), ratio: Ratio) -> StepId {
        let quantity = Quantity::new(role).about(of.shared()).per(per.shared());
        self.once(quantity, |builder, quantity| {
            let (over, under) = ratio.parts();
            let value = over.checked_div(under).unwrap_or(Decimal::ZERO);
            exact(&mut builder.graph, quantity, value)
        })
    }

    /// A molar mass, g/mol (= mg/mmol).
    pub fn molar_mass(&mut self, species: &Formula) -> StepId {
        let quantity = Quantity::new(Role::MolarMass).about(species.shared());
        self.once(quantity, |builder, quantity| {
            molar_mass(&mut builder.graph, quantity, species)
        })
    }

    /// An exact number, such as 1000 between two units.
    pub fn exact(&mut self, quantity: impl Into<Quantity>, value: Decimal) -> StepId {
        self.once(quantity, |builder, quantity| {
            exact(&mut builder.graph, quantity, value)
        })
    }

    /// Flask over pipette, where only a part of the sample is titrated.
    pub fn aliquot_factor(&mut self) -> Option<(StepId, StepId)> {
        let aliquot = self.procedure.sample.aliquot.as_ref()?;
        let flask = self.single_mark(Role::SampleFlask, &aliquot.flask);
        let pipette = self.single_mark(Role::Aliquot, &aliquot.pipette);
        Some((flask, pipette))
    }

    /// The result of one trial from the amount of analyte in what was measured, mmol, and the sample, mL or g.
    pub fn result(
        &mut self,
        amount: StepId,
        asked: &Asked,
        sample: StepId,
        of: Of,
    ) -> Worked<StepId> {
        let mut amount = amount;
        if let Some((flask, pipette)) = self.aliquot_factor() {
            let whole = Operation::quotient([amount, flask], [pipette]);
            let quantity = Quantity::from(IN_FLASK).about(asked.analyte.shared());
            amount = self.graph.step(quantity.of(of), "mmol", whole)?;
        }
        self.express(amount, asked, sample, of)
    }

    /// Amount of analyte, mmol, per sample, mL or g, in the unit asked for.
    pub fn express(
        &mut self,
        amount: StepId,
        asked: &Asked,
        sample: StepId,
        of: Of,
    ) -> Worked<StepId> {
        let Asked {
            analyte,
            expressed_as,
            per_analyte,
            unit,
        } = asked;
        let mut over = StepIds::from_slice(&[amount]);
        if analyte != expressed_as {
            let species = (expressed_as, analyte);
            over.push(self.ratio(Role::CompositionRatio, species, *per_analyte));
        }
        if *unit == ResultUnit::GPerMol {
            let thousand = self.exact(MG_PER_G, Decimal::ONE_THOUSAND);
            let quotient = Operation::quotient([thousand, sample], over);
            let quantity = Quantity::new(Role::Result).of(of);
            let result = self.graph.step(quantity, unit.name(), quotient)?;
            self.repeatable(result);
            return Ok(result);
        }
        if unit.is_mass() {
            over.push(self.molar_mass(expressed_as));
            let quantity = Quantity::from(MASS).about(expressed_as.shared()).of(of);
            let mass = self.graph.step(quantity, "mg", Operation::product(over))?;
            over = StepIds::from_slice(&[mass]);
        }
        if let Some((role, factor)) = unit_factor(*unit) {
            over.push(self.exact(role, factor));
        }
        let under = match (*unit, self.procedure.sample.portion) {
            // the sample is one portion
            (ResultUnit::MgPerPortion, None) => StepIds::new(),
            (ResultUnit::MgPerPortion, Some(portion)) => {
                let unit = self.procedure.sample.by.unit();
                over.push(self.once(PORTION, |builder, quantity| {
                    let step = builder.graph.given(quantity, unit, portion);
                    builder.graph.significant(step, None);
                    step
                }));
                StepIds::from_slice(&[sample])
            }
            _ => StepIds::from_slice(&[sample]),
        };
        let result = Operation::quotient(over, under);
        let quantity = Quantity::new(Role::Result).of(of);
        let result = self.graph.step(quantity, unit.name(), result)?;
        self.repeatable(result);
        Ok(result)
    }

    /// What the procedure says of the repeatability of a whole determination.
    pub fn repeatable(&mut self, result: StepId) {
        let share = as_f64(self.procedure.uncertainty.repeatability) / 100.0;
        let standard = share * as_f64(self.graph.value(result)).abs();
        let of = self.graph.get(result).quantity.of;
        let component = Component::each(Cause::Repeatability, standard, of);
        self.graph.uncertain(result, component);
    }

    /// A mass as displayed, g: linearity as a rectangle and the display's last digit, `times` over.
    pub fn weighing(
        &mut self,
        mass: Quantity,
        read: &Reading,
        balance: &Glassware,
        load: Load,
        times: f64,
    ) -> StepId {
        let of = mass.of;
        let mass = mass.read(Instrument::Balance);
        let step = self.graph.given(mass, "g", read.value());
        let standard = times * rectangular(balance.tolerance());
        let linearity = Component::shared_by(Cause::BalanceLinearity(load), standard, of);
        self.graph.uncertain(step, linearity);
        let digit = balance.readable_step().map_or(0.0, rectangular) / 2.0;
        let display = Component::each(Cause::BalanceDisplay, times * digit, of);
        self.graph.uncertain(step, display);
        step
    }
}

/// An exact number: a ratio, or a factor between two units.
pub fn exact(graph: &mut Graph, quantity: impl Into<Quantity>, value: Decimal) -> StepId {
    let step = graph.given(quantity, "", value);
    graph.significant(step, None);
    step
}

/// The nominal volume of a single-mark piece, mL, which may be off by its tolerance, and is significant to the place
/// of it: 25.00 mL for ±0.03.
pub fn single_mark(graph: &mut Graph, role: Role, piece: &Glassware, first_use: Role) -> StepId {
    let volume = Quantity::new(role).with(piece.words());
    let step = graph.given(volume, "mL", piece.capacity());
    let place = order_of_magnitude(piece.tolerance()).saturating_neg();
    graph.significant(step, u32::try_from(place).ok());
    let standard = triangular(piece.tolerance());
    graph.uncertain(step, Component::shared(Cause::Mark(first_use), standard));
    step
}

/// A molar mass, g/mol (= mg/mmol). Its errors are those of the atomic weights, so that they cancel where two species
/// share an element, one above and one below: chlorine in a gravimetric factor.
pub fn molar_mass(graph: &mut Graph, quantity: Quantity, species: &Formula) -> StepId {
    let step = graph.given(quantity, "g/mol", species.molar_mass().value);
    for (symbol, count) in species.atoms() {
        if let Some(weight) = atomic_weight(symbol) {
            let standard = f64::from(*count) * weight.standard_uncertainty();
            let cause = Cause::AtomicWeight(weight.symbol);
            graph.uncertain(step, Component::shared(cause, standard));
        }
    }
    step
}

/// What turns mmol/mL, mg/mL or mg/g into the unit.
pub fn unit_factor(unit: ResultUnit) -> Option<(Role, Decimal)> {
    let (words, factor) = match unit {
        ResultUnit::MolPerL
        | ResultUnit::GPerL
        | ResultUnit::GPerMl
        | ResultUnit::MmolPerG
        | ResultUnit::MgPerPortion
        | ResultUnit::MolPerMol
        | ResultUnit::GPerMol => return None,
        ResultUnit::MmolPerL => ("step.mmol-per-mol", Decimal::ONE_THOUSAND),
        ResultUnit::MgPerL => ("step.mg-per-g", Decimal::ONE_THOUSAND),
        ResultUnit::PercentMass => ("step.percent", Decimal::new(1, 1)),
        ResultUnit::PartsPerMillion => ("step.ppm", Decimal::ONE_THOUSAND),
        ResultUnit::PartsPerBillion => ("step.ppb", Decimal::from(1_000_000)),
        ResultUnit::GermanDegree | ResultUnit::FrenchDegree => {
            ("step.degrees", Decimal::ONE_HUNDRED)
        }
        ResultUnit::PercentMassVolume => ("step.g-per-100-mL", Decimal::new(1, 1)),
    };
    Some((Role::UnitFactor(words), factor))
}

/// Expansion of water and dilute solutions, per °C; that of borosilicate glass, 20 times less, is left out (QUAM:2012, A1.4).
pub const EXPANSION: f64 = 2.1e-4;

/// Standard uncertainty of ±a, triangular: a/√6 (QUAM:2012, 8.1.4).
pub fn triangular(half_width: Decimal) -> f64 {
    as_f64(half_width) / 6f64.sqrt()
}

/// Standard uncertainty of ±a, rectangular: a/√3 (QUAM:2012, 8.1.4).
pub fn rectangular(half_width: Decimal) -> f64 {
    as_f64(half_width) / 3f64.sqrt()
}

/// A graduated cylinder is read to ± two readable steps, as a burette is by default (common practice), triangular.
pub fn volume_reading(piece: &Glassware) -> f64 {
    piece
        .readable_step()
        .map_or(0.0, |step| 2.0 * triangular(step))
}
