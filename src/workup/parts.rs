//! What the schemes share: sample amounts, lots, molar masses, and the last step to the unit asked for.

use std::borrow::Cow;

use rust_decimal::Decimal;

use super::burette::{BuretteDoubts, cause};
use super::graph::{Graph, Operation, Scope, Sign, StepId, StepIds, WorkUpError};
use super::name::{Name, Of, words};
use crate::chem::{Formula, Ratio, atomic_weight};
use crate::measure::{Glassware, Reading, as_f64, order_of_magnitude};
use crate::procedure::{Asked, Procedure, ResultUnit, SampleBy};
use crate::submission::Titration;
use crate::truth::Lot;

/// A graph in the making, with the steps that trials share.
pub(super) struct Builder<'a> {
    pub graph: Graph,
    pub procedure: &'a Procedure,
    pub burette: BuretteDoubts,
    shared: Vec<StepId>,
    lots: Vec<(&'a str, StepId)>,
}

impl<'a> Builder<'a> {
    pub fn new(procedure: &'a Procedure) -> Self {
        Self {
            graph: Graph::default(),
            procedure,
            burette: BuretteDoubts::of(procedure.burette(), &procedure.uncertainty),
            shared: Vec::new(),
            lots: Vec::new(),
        }
    }

    /// The shared step of that name, made at its first use.
    pub fn once(&mut self, name: Name, make: impl FnOnce(&mut Self, Name) -> StepId) -> StepId {
        let known = self
            .shared
            .iter()
            .find(|id| self.graph.get(**id).name == name);
        if let Some(known) = known {
            return *known;
        }
        let made = make(self, name);
        self.shared.push(made);
        made
    }

    /// The sample: mL by volume, g by mass.
    pub fn sample(&mut self, row: &Titration, of: Of) -> Result<StepId, WorkUpError> {
        let sample = &self.procedure.sample;
        let missing = || WorkUpError {
            label: format!("sample, {of}"),
            what: "no reading of it",
        };
        let readings = &row.sample;
        match sample.by {
            SampleBy::Volume if self.procedure.reads_sample_volume() => {
                let read = readings.volume.as_ref().ok_or_else(missing)?;
                let name = Name::new(words::SAMPLE_VOLUME, "Vs").of(of).read();
                let step = self.graph.given(name, "mL", read.value());
                let calibration = triangular(sample.glassware.tolerance());
                let words = "sample glassware calibration";
                self.graph.doubt(step, words, calibration, Scope::Shared);
                let reading = volume_reading(&sample.glassware);
                self.graph
                    .doubt(step, "sample volume reading", reading, Scope::Each);
                self.warmth(step);
                Ok(step)
            }
            SampleBy::Volume => Ok(self.single_mark(words::SAMPLE_VOLUME, "Vs", &sample.glassware)),
            SampleBy::Mass => {
                let read = readings.mass.as_ref().ok_or_else(missing)?;
                let name = Name::new("sample mass", "m").of(of);
                // a tared balance is read twice, empty and loaded (QUAM:2012, A2.4)
                let twice = 2f64.sqrt();
                Ok(self.weighing(name, read, &sample.glassware, "balance linearity", twice))
            }
            SampleBy::MassDifference => {
                let before = readings.before.as_ref().ok_or_else(missing)?;
                let after = readings.after.as_ref().ok_or_else(missing)?;
                let names = ["mass before", "mass after"].map(|words| Name::new(words, "m").of(of));
                let [first, second] = names;
                let causes = ["balance linearity, before", "balance linearity, after"];
                let balance = &sample.glassware;
                let first = self.weighing(first.mark("\u{2032}"), before, balance, causes[0], 1.0);
                let second = self.weighing(second.mark("\u{2033}"), after, balance, causes[1], 1.0);
                let terms = Operation::sum([(Sign::Plus, first), (Sign::Minus, second)]);
                self.graph
                    .step(Name::new("sample mass", "m").of(of), "g", terms)
            }
        }
    }

    /// The nominal volume of a single-mark piece, mL.
    pub fn single_mark(
        &mut self,
        what: &'static str,
        symbol: &'static str,
        piece: &Glassware,
    ) -> StepId {
        let known = self
            .shared
            .iter()
            .find(|id| self.graph.get(**id).name.starts(what));
        if let Some(known) = known {
            return *known;
        }
        let made = single_mark(&mut self.graph, what, symbol, piece);
        self.warmth(made);
        self.shared.push(made);
        made
    }

    /// A lot's molarity, mol/L.
    pub fn molarity(&mut self, lot: &'a Lot, species: &Formula) -> StepId {
        if let Some((_, known)) = self.lots.iter().find(|(code, _)| lot.code == *code) {
            return *known;
        }
        let after = format!(", lot {}", lot.code);
        let name = Name::about(words::MOLARITY, species.shared(), after, "c").of_species();
        let step = self.graph.given(name, "mol/L", lot.molarity.value);
        let cause = format!("molarity of lot {}", lot.code);
        let standard = as_f64(lot.molarity.standard_uncertainty);
        self.graph.doubt(step, cause, standard, Scope::Shared);
        self.lots.push((&lot.code, step));
        step
    }

    /// A stoichiometric ratio, mol of the first per mol of the second.
    pub fn ratio(
        &mut self,
        species: (&Formula, &Formula),
        symbol: &'static str,
        ratio: Ratio,
    ) -> StepId {
        self.ratio_named(words::RATIO, species, symbol, ratio)
    }

    /// The same under other words.
    pub fn ratio_named(
        &mut self,
        words: &'static str,
        (of, per): (&Formula, &Formula),
        symbol: &'static str,
        ratio: Ratio,
    ) -> StepId {
        let name = Name::about(words, of.shared(), " to ", symbol).and(per.shared());
        self.once(name, |builder, name| {
            let (over, under) = ratio.parts();
            exact(
                &mut builder.graph,
                name,
                over.checked_div(under).unwrap_or(Decimal::ZERO),
            )
        })
    }

    /// A molar mass, g/mol (= mg/mmol).
    pub fn molar_mass(&mut self, species: &Formula) -> StepId {
        let name = Name::about(words::MOLAR_MASS, species.shared(), "", "M").of_species();
        self.once(name, |builder, _| molar_mass(&mut builder.graph, species))
    }

    /// An exact number, such as 1000 between two units.
    pub fn exact(&mut self, words: &'static str, symbol: &'static str, value: Decimal) -> StepId {
        self.once(Name::new(words, symbol), |builder, name| {
            exact(&mut builder.graph, name, value)
        })
    }

    /// Flask over pipette, where only a part of the sample is titrated.
    pub fn aliquot_factor(&mut self) -> Option<(StepId, StepId)> {
        let aliquot = self.procedure.sample.aliquot.as_ref()?;
        let flask = self.single_mark(words::FLASK, "Vf", &aliquot.flask);
        let pipette = self.single_mark(words::ALIQUOT, "Va", &aliquot.pipette);
        Some((flask, pipette))
    }

    /// The result of one trial from the amount of analyte in what was measured, mmol, and the sample, mL or g.
    pub fn result(
        &mut self,
        amount: StepId,
        asked: &Asked,
        sample: StepId,
        of: Of,
    ) -> Result<StepId, WorkUpError> {
        let mut amount = amount;
        if let Some((flask, pipette)) = self.aliquot_factor() {
            let whole = Operation::quotient([amount, flask], [pipette]);
            let analyte = asked.analyte.shared();
            let name = Name::about("amount of ", analyte, " in the flask", "nf").of(of);
            amount = self.graph.step(name, "mmol", whole)?;
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
    ) -> Result<StepId, WorkUpError> {
        let Asked {
            analyte,
            expressed_as,
            per_analyte,
            unit,
        } = asked;
        let mut over = StepIds::from_slice(&[amount]);
        if analyte != expressed_as {
            over.push(self.ratio((expressed_as, analyte), "r", *per_analyte));
        }
        if unit.is_mass() {
            over.push(self.molar_mass(expressed_as));
            let name = Name::about("mass of ", expressed_as.shared(), "", "w").of(of);
            let mass = self.graph.step(name, "mg", Operation::product(over))?;
            over = StepIds::from_slice(&[mass]);
        }
        if let Some((label, factor)) = unit_factor(*unit) {
            over.push(self.exact(label, "F", factor));
        }
        let result = Operation::quotient(over, [sample]);
        let name = Name::new("result", "x").of(of);
        let result = self.graph.step(name, unit.name(), result)?;
        self.repeatable(result);
        Ok(result)
    }

    /// What the procedure says of the repeatability of a whole determination.
    pub fn repeatable(&mut self, result: StepId) {
        let share = as_f64(self.procedure.uncertainty.repeatability) / 100.0;
        let standard = share * as_f64(self.graph.value(result)).abs();
        self.graph
            .doubt(result, "repeatability", standard, Scope::Each);
    }

    /// A mass as displayed, g: linearity as a rectangle and the display's last digit, `times` over.
    pub fn weighing(
        &mut self,
        name: Name,
        read: &Reading,
        balance: &Glassware,
        linearity: &'static str,
        times: f64,
    ) -> StepId {
        let of = name.belongs_to();
        let step = self.graph.given(name.read(), "g", read.value());
        let standard = times * rectangular(balance.tolerance());
        self.graph.doubt(step, linearity, standard, Scope::Shared);
        let digit = balance.readable_step().map_or(0.0, rectangular) / 2.0;
        let (words, scope) = cause("balance display", of);
        self.graph.doubt(step, words, times * digit, scope);
        step
    }
}

/// An exact number: a ratio, or a factor between two units.
pub(super) fn exact(graph: &mut Graph, name: impl Into<Name>, value: Decimal) -> StepId {
    let step = graph.given(name, "", value);
    graph.significant(step, None);
    step
}

/// The nominal volume of a single-mark piece, mL, which may be off by its tolerance, and is significant to the place
/// of it: 25.00 mL for ±0.03.
pub(super) fn single_mark(
    graph: &mut Graph,
    what: impl Into<Cow<'static, str>>,
    symbol: impl Into<Cow<'static, str>>,
    piece: &Glassware,
) -> StepId {
    let what = what.into();
    let name = Name::new(what.clone(), symbol).with(piece.title());
    let step = graph.given(name, "mL", piece.capacity());
    let place = order_of_magnitude(piece.tolerance()).saturating_neg();
    graph.significant(step, u32::try_from(place).ok());
    let standard = triangular(piece.tolerance());
    graph.doubt(
        step,
        format!("calibration, {what}"),
        standard,
        Scope::Shared,
    );
    step
}

/// A molar mass, g/mol (= mg/mmol). Its errors are those of the atomic weights, so that they cancel where two species
/// share an element, one above and one below: chlorine in a gravimetric factor.
pub(super) fn molar_mass(graph: &mut Graph, species: &Formula) -> StepId {
    let name = Name::about(words::MOLAR_MASS, species.shared(), "", "M").of_species();
    let step = graph.given(name, "g/mol", species.molar_mass().value);
    for (symbol, count) in species.atoms() {
        if let Some(weight) = atomic_weight(symbol) {
            let standard = f64::from(*count) * weight.standard_uncertainty();
            graph.doubt(step, weight.cause.as_str(), standard, Scope::Shared);
        }
    }
    step
}

/// What turns mmol/mL, mg/mL or mg/g into the unit.
pub(super) fn unit_factor(unit: ResultUnit) -> Option<(&'static str, Decimal)> {
    match unit {
        ResultUnit::MolPerL | ResultUnit::GPerL | ResultUnit::GPerMl => None,
        ResultUnit::MmolPerL => Some(("mmol per mol", Decimal::ONE_THOUSAND)),
        ResultUnit::MgPerL => Some(("mg per g", Decimal::ONE_THOUSAND)),
        ResultUnit::PercentMass => Some(("percent per mg/g", Decimal::new(1, 1))),
        ResultUnit::PercentMassVolume => Some(("g per 100 mL, per mg/mL", Decimal::new(1, 1))),
    }
}

/// Expansion of water and dilute solutions, per °C; that of borosilicate glass, 20 times less, is left out (QUAM:2012, A1.4).
pub(super) const EXPANSION: f64 = 2.1e-4;

/// Standard uncertainty of ±a, triangular: a/√6 (QUAM:2012, 8.1.4).
pub(super) fn triangular(half_width: Decimal) -> f64 {
    as_f64(half_width) / 6f64.sqrt()
}

/// Standard uncertainty of ±a, rectangular: a/√3 (QUAM:2012, 8.1.4).
pub(super) fn rectangular(half_width: Decimal) -> f64 {
    as_f64(half_width) / 3f64.sqrt()
}

/// A graduated cylinder is read to ± two readable steps, as a burette is by default (common practice), triangular.
pub(super) fn volume_reading(piece: &Glassware) -> f64 {
    piece
        .readable_step()
        .map_or(0.0, |step| 2.0 * triangular(step))
}
