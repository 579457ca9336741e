//! What the schemes share: delivered volumes, sample amounts, lots, and the last step to the unit asked for.

use std::collections::BTreeMap;

use rust_decimal::Decimal;

use super::graph::{Graph, Operation, Scope, Sign, StepId, WorkUpError};
use crate::chem::{Formula, Ratio, per_analyte};
use crate::measure::{Glassware, Reading, as_f64, order_of_magnitude};
use crate::procedure::{Procedure, ResultUnit, SampleBy};
use crate::submission::Titration;
use crate::truth::Lot;

/// A graph in the making, with the steps that trials share kept by name.
pub(super) struct Builder<'a> {
    pub graph: Graph,
    pub procedure: &'a Procedure,
    shared: BTreeMap<String, StepId>,
}

impl<'a> Builder<'a> {
    pub fn new(procedure: &'a Procedure) -> Self {
        Self {
            graph: Graph::default(),
            procedure,
            shared: BTreeMap::new(),
        }
    }

    /// The step kept under that name, made at its first use.
    pub fn once(&mut self, name: &str, make: impl FnOnce(&mut Graph) -> StepId) -> StepId {
        if let Some(known) = self.shared.get(name) {
            return *known;
        }
        let made = make(&mut self.graph);
        self.shared.insert(name.to_owned(), made);
        made
    }

    /// Volume delivered in one titration, mL: the sum of end − start over its pieces.
    pub fn delivered(&mut self, titration: &Titration, of: Of) -> Result<StepId, WorkUpError> {
        let burette = &self.procedure.titrant.burette;
        let reading = triangular(self.procedure.uncertainty.burette_reading);
        let calibration = triangular(burette.tolerance());
        let drop = rectangular(self.procedure.uncertainty.drop) / 2.0;
        let (tag, words) = (of.tag(), of.words());
        let mut terms = Vec::new();
        let many = titration.burette.len() > 1;
        for (index, piece) in titration.burette.iter().enumerate() {
            let part = if many {
                format!(", filling {}", index.saturating_add(1))
            } else {
                String::new()
            };
            let mark = if many {
                "\u{2032}".repeat(index)
            } else {
                String::new()
            };
            for (sign, reading_of, text, symbol) in [
                (Sign::Plus, &piece.end, "end reading", "e"),
                (Sign::Minus, &piece.start, "start reading", "s"),
            ] {
                let label = format!("{text}, {words}{part}");
                let step = self.graph.given(
                    &label,
                    format!("{symbol}{tag}{mark}"),
                    "mL",
                    reading_of.value(),
                );
                let (name, scope) = of.cause("burette reading", &format!("{text}{part}"));
                self.graph.doubt(step, name, reading, scope);
                terms.push((sign, step));
            }
        }
        let symbol = format!("V{tag}");
        let volume = self.graph.step(
            format!("delivered volume, {words}"),
            symbol,
            "mL",
            Operation::Sum(terms),
        )?;
        let fillings = titration.burette.len().max(1) as f64;
        let name = if matches!(of, Of::Trial(_)) {
            "burette calibration"
        } else {
            "burette calibration, blank"
        };
        self.graph
            .doubt(volume, name, calibration * fillings, Scope::Shared);
        let (name, scope) = of.cause("endpoint", "");
        self.graph.doubt(volume, name, drop, scope);
        Ok(volume)
    }

    /// Mean of the blanks, mL; none if there is none.
    pub fn blank(&mut self, blanks: &[&Titration]) -> Result<Option<StepId>, WorkUpError> {
        let mut volumes = Vec::new();
        for (index, titration) in blanks.iter().enumerate() {
            volumes.push(self.delivered(titration, Of::Blank(index.saturating_add(1)))?);
        }
        match volumes.as_slice() {
            [] => Ok(None),
            [one] => Ok(Some(*one)),
            _ => self
                .graph
                .step("mean blank", "V\u{0304}b", "mL", Operation::Mean(volumes))
                .map(Some),
        }
    }

    /// Titrant used by the sample: delivered volume less the blank, mL.
    pub fn net(
        &mut self,
        delivered: StepId,
        blank: Option<StepId>,
        of: Of,
    ) -> Result<StepId, WorkUpError> {
        let Some(blank) = blank else {
            return Ok(delivered);
        };
        let terms = vec![(Sign::Plus, delivered), (Sign::Minus, blank)];
        let label = format!("volume less the blank, {}", of.words());
        self.graph.step(
            label,
            format!("V*{}", of.tag()),
            "mL",
            Operation::Sum(terms),
        )
    }

    /// The sample: mL by volume, g by mass.
    pub fn sample(&mut self, titration: &Titration, of: Of) -> Result<StepId, WorkUpError> {
        let sample = &self.procedure.sample;
        let (tag, words) = (of.tag(), of.words());
        let missing = || WorkUpError {
            label: format!("sample, {words}"),
            what: "no reading of it",
        };
        let readings = &titration.sample;
        match sample.by {
            SampleBy::Volume if self.procedure.reads_sample_volume() => {
                let read = readings.volume.as_ref().ok_or_else(missing)?;
                let step = self.graph.given(
                    format!("sample volume, {words}"),
                    format!("Vs{tag}"),
                    "mL",
                    read.value(),
                );
                let calibration = triangular(sample.glassware.tolerance());
                self.graph.doubt(
                    step,
                    "sample glassware calibration",
                    calibration,
                    Scope::Shared,
                );
                self.graph.doubt(
                    step,
                    "sample volume reading",
                    volume_reading(&sample.glassware),
                    Scope::Each,
                );
                Ok(step)
            }
            SampleBy::Volume => Ok(self.single_mark("sample volume", "Vs", &sample.glassware)),
            SampleBy::Mass => {
                let read = readings.mass.as_ref().ok_or_else(missing)?;
                let step =
                    self.weighing(&format!("sample mass, {words}"), &format!("m{tag}"), read);
                // a tared balance is read twice, empty and loaded (QUAM:2012, A2.4)
                let twice = 2f64.sqrt();
                self.weighing_doubt(step, "balance linearity", twice, &sample.glassware);
                Ok(step)
            }
            SampleBy::MassDifference => {
                let before = readings.before.as_ref().ok_or_else(missing)?;
                let after = readings.after.as_ref().ok_or_else(missing)?;
                let first = self.weighing(
                    &format!("mass before, {words}"),
                    &format!("m{tag}a"),
                    before,
                );
                self.weighing_doubt(first, "balance linearity, before", 1.0, &sample.glassware);
                let second =
                    self.weighing(&format!("mass after, {words}"), &format!("m{tag}b"), after);
                self.weighing_doubt(second, "balance linearity, after", 1.0, &sample.glassware);
                let terms = Operation::Sum(vec![(Sign::Plus, first), (Sign::Minus, second)]);
                self.graph.step(
                    format!("sample mass, {words}"),
                    format!("m{tag}"),
                    "g",
                    terms,
                )
            }
        }
    }

    /// The nominal volume of a single-mark piece, mL.
    pub fn single_mark(&mut self, what: &str, symbol: &str, piece: &Glassware) -> StepId {
        self.once(what, |graph| single_mark(graph, what, symbol, piece))
    }

    /// A lot's molarity, mol/L.
    pub fn molarity(&mut self, lot: &Lot, species: &Formula) -> StepId {
        let label = format!("molarity of {species}, lot {}", lot.code);
        self.once(&label.clone(), |graph| {
            let step = graph.given(label, format!("c({species})"), "mol/L", lot.molarity.value);
            let name = format!("molarity of lot {}", lot.code);
            graph.doubt(
                step,
                name,
                as_f64(lot.molarity.standard_uncertainty),
                Scope::Shared,
            );
            step
        })
    }

    /// A stoichiometric ratio, mol/mol.
    pub fn ratio(&mut self, label: String, symbol: &str, ratio: Ratio) -> StepId {
        let (over, under) = ratio.parts();
        let value = over.checked_div(under).unwrap_or(Decimal::ZERO);
        self.once(&label.clone(), |graph| exact(graph, &label, symbol, value))
    }

    /// A molar mass, g/mol (= mg/mmol).
    pub fn molar_mass(&mut self, species: &Formula) -> StepId {
        self.once(&format!("molar mass of {species}"), |graph| {
            molar_mass(graph, species)
        })
    }

    /// An exact number, such as 1000 between two units.
    pub fn exact(&mut self, label: &str, symbol: &str, value: Decimal) -> StepId {
        self.once(label, |graph| exact(graph, label, symbol, value))
    }

    /// Flask over pipette, where only a part of the sample is titrated.
    pub fn aliquot_factor(&mut self) -> Option<(StepId, StepId)> {
        let aliquot = self.procedure.sample.aliquot.as_ref()?;
        let flask = self.single_mark("flask volume", "Vf", &aliquot.flask);
        let pipette = self.single_mark("aliquot volume", "Va", &aliquot.pipette);
        Some((flask, pipette))
    }

    /// The result of one trial from the amount of analyte in what was titrated, mmol, and the sample, mL or g.
    pub fn result(
        &mut self,
        amount: StepId,
        sample: StepId,
        of: Of,
    ) -> Result<StepId, WorkUpError> {
        let spec = &self.procedure.result;
        let words = of.words();
        let mut amount = amount;
        if let Some((flask, pipette)) = self.aliquot_factor() {
            let whole = Operation::Quotient(vec![amount, flask], vec![pipette]);
            let label = format!("amount of {} in the flask, {words}", spec.analyte);
            amount = self
                .graph
                .step(label, format!("nf{}", of.tag()), "mmol", whole)?;
        }
        self.express(
            amount,
            &spec.analyte.clone(),
            &spec.expressed_as.clone(),
            sample,
            of,
        )
    }

    /// Amount, mmol, per sample, mL or g, in the unit asked for.
    pub fn express(
        &mut self,
        amount: StepId,
        from: &Formula,
        expressed_as: &Formula,
        sample: StepId,
        of: Of,
    ) -> Result<StepId, WorkUpError> {
        let unit = self.procedure.result.unit;
        let words = of.words();
        let mut over = vec![amount];
        if from != expressed_as {
            let ratio = per_analyte(from, expressed_as).unwrap_or(Ratio::ONE);
            over.push(self.ratio(format!("{expressed_as} per {from}"), "r", ratio));
        }
        if unit.is_mass() {
            over.push(self.molar_mass(expressed_as));
            let label = format!("mass of {expressed_as}, {words}");
            let mass = self.graph.step(
                label,
                format!("w{}", of.tag()),
                "mg",
                Operation::Quotient(over, Vec::new()),
            )?;
            over = vec![mass];
        }
        if let Some((label, factor)) = unit_factor(unit) {
            over.push(self.exact(label, "k", factor));
        }
        let result = Operation::Quotient(over, vec![sample]);
        self.graph.step(
            format!("result, {words}"),
            format!("x{}", of.tag()),
            unit.name(),
            result,
        )
    }

    fn weighing(&mut self, label: &str, symbol: &str, read: &Reading) -> StepId {
        self.graph.given(label, symbol, "g", read.value())
    }

    /// Linearity as a rectangle and the display's last digit, `times` over.
    fn weighing_doubt(&mut self, step: StepId, name: &str, times: f64, balance: &Glassware) {
        self.graph.doubt(
            step,
            name,
            times * rectangular(balance.tolerance()),
            Scope::Shared,
        );
        let digit = balance.readable_step().map_or(0.0, rectangular) / 2.0;
        self.graph
            .doubt(step, "balance display", times * digit, Scope::Each);
    }
}

/// An exact number: a ratio, or a factor between two units.
pub(super) fn exact(graph: &mut Graph, label: &str, symbol: &str, value: Decimal) -> StepId {
    let step = graph.given(label, symbol, "", value);
    graph.significant(step, None);
    step
}

/// The nominal volume of a single-mark piece, mL, which may be off by its tolerance, and is significant to the place
/// of it: 25.00 mL for ±0.03.
pub(super) fn single_mark(
    graph: &mut Graph,
    what: &str,
    symbol: &str,
    piece: &Glassware,
) -> StepId {
    let step = graph.given(
        format!("{what}, {}", piece.title()),
        symbol,
        "mL",
        piece.capacity(),
    );
    let decimals = order_of_magnitude(piece.tolerance())
        .saturating_neg()
        .max(0);
    graph.significant(step, u32::try_from(decimals).ok());
    graph.doubt(
        step,
        format!("{what} calibration"),
        triangular(piece.tolerance()),
        Scope::Shared,
    );
    step
}

/// A molar mass, g/mol (= mg/mmol). Where it stands twice, above and below, its errors cancel.
pub(super) fn molar_mass(graph: &mut Graph, species: &Formula) -> StepId {
    let label = format!("molar mass of {species}");
    let mass = species.molar_mass();
    let step = graph.given(&label, format!("M({species})"), "g/mol", mass.value);
    graph.doubt(step, label, mass.standard_uncertainty, Scope::Shared);
    step
}

/// Which titration a step belongs to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Of {
    /// Numbered.
    Trial(u32),
    /// Rough, kept apart.
    Rough,
    /// Blank, counted from 1.
    Blank(usize),
}

impl Of {
    pub fn words(self) -> String {
        match self {
            Self::Trial(n) => format!("trial {n}"),
            Self::Rough => "rough trial".into(),
            Self::Blank(1) => "blank".into(),
            Self::Blank(n) => format!("blank {n}"),
        }
    }

    pub fn tag(self) -> String {
        match self {
            Self::Trial(n) => n.to_string().chars().filter_map(subscript).collect(),
            Self::Rough => "r".into(),
            Self::Blank(n) => format!(
                "b{}",
                n.to_string()
                    .chars()
                    .filter_map(subscript)
                    .collect::<String>()
            ),
        }
    }

    /// The name and scope of a reading's or an endpoint's error: drawn anew in each trial, but the blank's is one
    /// error that every trial shares.
    fn cause(self, name: &str, part: &str) -> (String, Scope) {
        match self {
            Self::Blank(_) => (
                format!("{name}, {} {part}", self.words())
                    .trim_end()
                    .to_owned(),
                Scope::Shared,
            ),
            _ => (name.to_owned(), Scope::Each),
        }
    }
}

fn subscript(digit: char) -> Option<char> {
    char::from_u32(0x2080_u32.checked_add(digit.to_digit(10)?)?)
}

/// What turns mmol/mL, mg/mL or mg/g into the unit.
pub(super) fn unit_factor(unit: ResultUnit) -> Option<(&'static str, Decimal)> {
    match unit {
        ResultUnit::MolPerL | ResultUnit::GPerL => None,
        ResultUnit::MmolPerL => Some(("mmol per mol", Decimal::ONE_THOUSAND)),
        ResultUnit::MgPerL => Some(("mg per g", Decimal::ONE_THOUSAND)),
        ResultUnit::PercentMass => Some(("percent per mg/g", Decimal::new(1, 1))),
        ResultUnit::PercentMassVolume => Some(("g per 100 mL, per mg/mL", Decimal::new(1, 1))),
    }
}

/// Standard uncertainty of ±a, triangular: a/√6 (QUAM:2012, 8.1.4).
pub(super) fn triangular(half_width: Decimal) -> f64 {
    as_f64(half_width) / 6f64.sqrt()
}

/// Standard uncertainty of ±a, rectangular: a/√3 (QUAM:2012, 8.1.4).
pub(super) fn rectangular(half_width: Decimal) -> f64 {
    as_f64(half_width) / 3f64.sqrt()
}

/// A graduated cylinder is read to ± two readable steps, as a burette is by default (common practice), triangular.
fn volume_reading(piece: &Glassware) -> f64 {
    piece
        .readable_step()
        .map_or(0.0, |step| 2.0 * triangular(step))
}
