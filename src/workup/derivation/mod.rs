//! The derivation people read: every step that leads to a result, in words, in symbols, with the numbers put in and
//! with its uncertainty; what trials share first, then trial by trial, then their mean.

mod mathml;
mod notation;
mod symbol;

use std::collections::BTreeSet;

use self::mathml::Math;
use super::budget::budget;
use super::graph::{Graph, Operation, StepId};
use super::quantity::Of;
use super::trials::{TrialOutcome, WorkUp};
use crate::chem::printed;
use crate::language::{Language, Message, message};
use crate::measure::{from_f64, order_of_magnitude, plain, to_decimals, to_figures};
use rust_decimal::Decimal;

/// A derivation in its parts.
#[derive(Clone, Debug, PartialEq)]
pub struct DerivationPart {
    pub title: String,
    /// Why it does not count, of a trial that does not.
    pub why_not: Option<Message>,
    /// Its steps, each after those it follows from.
    pub lines: Vec<DerivationLine>,
}

/// One line of a derivation.
#[derive(Clone, Debug, PartialEq)]
pub struct DerivationLine {
    /// In words, such as “delivered volume”.
    pub label: String,
    pub symbol: Typeset,
    /// In symbols, such as `e₂ − s₂`; none for what is given.
    pub formula: Option<Typeset>,
    /// With the numbers put in, such as `(18.40 − 0.12) mL`; none for what is given.
    pub numbers: Option<Typeset>,
    /// Readings as they were written, all else to the place of two figures of its uncertainty.
    pub value: String,
    /// Unit; empty for a ratio.
    pub unit: &'static str,
    /// Its standard uncertainty to two figures, in the same unit; none for what is exact.
    pub uncertainty: Option<String>,
}

/// Something written in plain text and in MathML.
#[derive(Clone, Debug, PartialEq)]
pub struct Typeset {
    pub text: String,
    /// As a `math` element that carries the plain text along; safe to put into a page as it is.
    pub mathml: String,
    /// How much room the typeset form takes.
    pub room: Room,
}

/// How much room a formula takes; a browser breaks text into lines but not a formula.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Room {
    /// It fits on a phone.
    Little,
    /// It fits on a sheet of paper.
    Some,
    /// It may be wider than a sheet.
    Much,
}

/// Figures to which an exact value is shown; nothing is rounded in between.
const SHOWN: u32 = 6;

/// A graph and the language it is written in.
#[derive(Clone, Copy)]
struct Writing<'g> {
    graph: &'g Graph,
    language: Language,
}

/// The steps of a hand-in in a language: what trials share, blanks, standards, each trial whether it counts or not, and
/// the mean.
pub fn derivation(work_up: &WorkUp, language: Language) -> Vec<DerivationPart> {
    let graph = &work_up.graph;
    let writing = Writing { graph, language };
    let trials = || work_up.trials.iter();
    let results = trials().filter_map(|trial| trial.result);
    let wanted: BTreeSet<StepId> = results
        .chain(work_up.result)
        .flat_map(|id| graph.leading_to(id))
        .collect();
    let is_shared = |id: &StepId| wanted.contains(id) && Some(*id) != work_up.result;
    let sources = sources(graph);
    let of = |source: Source| {
        let ids = graph.steps().map(|(id, _)| id).filter(is_shared);
        let mine = ids.filter(|id| sources[id.place()] == source);
        writing.lines(&defined_first(graph, mine.collect()), true)
    };
    let mut parts = Vec::new();
    let mut part = |title: &Message, why_not: Option<Message>, lines: Vec<DerivationLine>| {
        if why_not.is_some() || !lines.is_empty() {
            parts.push(DerivationPart {
                title: language.say(title),
                why_not,
                lines,
            });
        }
    };
    part(&message!("derivation.shared"), None, of(Source::Shared));
    part(&message!("derivation.blank"), None, of(Source::Blank));
    let standards = message!("derivation.standards");
    part(&standards, None, of(Source::Standard));
    for (number, trial) in trials().filter_map(|trial| Some((trial.trial.number()?, trial))) {
        let lines = writing.trial(number, trial, &wanted);
        let title = message!("trial.numbered", n = number);
        part(&title, trial.why_not.clone(), lines);
    }
    if let Some(result) = work_up.result {
        let mut last = writing.line(result, true);
        // the observed scatter of the trials may be larger than what the steps before predict
        let standard = work_up.budget.as_ref().map_or(0.0, |b| b.standard);
        last.uncertainty = writing.two_figures(standard);
        last.value = writing.digits(to_its_place(graph.value(result), standard));
        part(&message!("derivation.mean"), None, vec![last]);
    }
    parts
}

/// The steps that lead to one value which is no hand-in's, for staff.
pub(super) fn of_one_value(title: &str, graph: &Graph, value: StepId) -> DerivationPart {
    let language = Language::English;
    DerivationPart {
        title: title.to_owned(),
        why_not: None,
        lines: Writing { graph, language }.lines(&graph.leading_to(value), true),
    }
}

/// Where a step that is no trial's comes from.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Source {
    Shared,
    Blank,
    Standard,
    Trial,
}

/// Of each step: what is computed from blanks or standards belongs to them.
fn sources(graph: &Graph) -> Vec<Source> {
    let mut sources: Vec<Source> = Vec::new();
    for (_, step) in graph.steps() {
        let own = match step.quantity.of {
            Of::All => Source::Shared,
            Of::Blank(_) => Source::Blank,
            Of::Standard(_) => Source::Standard,
            Of::Trial(_) | Of::Rough => Source::Trial,
        };
        let inputs = step.operation.inputs().map(|id| sources[id.place()]);
        let source = inputs.fold(own, Source::max);
        sources.push(source);
    }
    sources
}

/// The same steps with each slope put off until it is used: its means come first.
fn defined_first(graph: &Graph, ids: Vec<StepId>) -> Vec<StepId> {
    let mut ordered = Vec::with_capacity(ids.len());
    let mut waiting: Vec<StepId> = Vec::new();
    for id in ids {
        let operation = &graph.get(id).operation;
        if matches!(operation, Operation::Slope { .. }) {
            waiting.push(id);
            continue;
        }
        if operation.inputs().any(|input| waiting.contains(&input)) {
            ordered.append(&mut waiting);
        }
        ordered.push(id);
    }
    ordered.append(&mut waiting);
    ordered
}

impl Writing<'_> {
    fn trial(
        self,
        number: u32,
        trial: &TrialOutcome,
        wanted: &BTreeSet<StepId>,
    ) -> Vec<DerivationLine> {
        let of = Of::Trial(number);
        // a trial without a result shows how far it came
        let is_wanted = |id: &StepId| trial.result.is_none() || wanted.contains(id);
        let steps = self.graph.steps().filter(|(_, s)| s.quantity.of == of);
        let ids: Vec<StepId> = steps.map(|(id, _)| id).filter(is_wanted).collect();
        self.lines(&ids, false)
    }

    fn lines(self, ids: &[StepId], with_titration: bool) -> Vec<DerivationLine> {
        ids.iter()
            .map(|id| self.line(*id, with_titration))
            .collect()
    }

    fn line(self, id: StepId, with_titration: bool) -> DerivationLine {
        let step = self.graph.get(id);
        let symbol = step.quantity.symbol();
        DerivationLine {
            label: (self.language).say(&step.quantity.words(printed, with_titration)),
            symbol: Typeset::new(symbol::plain(&symbol), &symbol::typeset(&symbol)),
            formula: self.in_symbols(&step.operation),
            numbers: self.in_numbers(&step.operation),
            value: self.shown(id),
            unit: step.unit,
            uncertainty: self.two_figures(uncertainty(self.graph, id)),
        }
    }

    /// A value as it is shown, with a true minus.
    fn shown(self, id: StepId) -> String {
        let step = self.graph.get(id);
        // what somebody wrote stays as it was written
        let text = if step.quantity.read.is_some() {
            step.value.to_string()
        } else {
            to_its_place(step.value, uncertainty(self.graph, id))
        };
        self.digits(text)
    }

    /// Digits with a true minus and the language's mark for decimals.
    fn digits(self, text: String) -> String {
        self.language.number(text.replace('-', "\u{2212}"))
    }

    /// Two figures of an uncertainty; none of zero.
    fn two_figures(self, standard: f64) -> Option<String> {
        let standard = from_f64(standard, 6).filter(|u| !u.is_zero())?;
        Some(self.digits(to_figures(standard, 2).to_string()))
    }
}

impl Typeset {
    /// Whether the typeset form fits on a phone.
    pub fn is_short(&self) -> bool {
        self.room == Room::Little
    }

    /// Whether the typeset form may be wider than a sheet of paper.
    pub fn is_long(&self) -> bool {
        self.room == Room::Much
    }

    fn new(text: String, math: &Math) -> Self {
        let room = match math.width() {
            width if width <= 26.0 => Room::Little,
            width if width <= 45.0 => Room::Some,
            _ => Room::Much,
        };
        Self {
            mathml: math.finish(&text),
            text,
            room,
        }
    }
}

fn uncertainty(graph: &Graph, id: StepId) -> f64 {
    budget(graph, id, None).standard
}

/// A value to the place of two figures of its standard uncertainty; to six figures where it is exact.
fn to_its_place(value: Decimal, standard: f64) -> String {
    let standard = from_f64(standard, 6).filter(|u| !u.is_zero());
    let Some(standard) = standard.map(|u| to_figures(u, 2)) else {
        return plain(to_figures(value, SHOWN));
    };
    let place = order_of_magnitude(standard).saturating_sub(1);
    match u32::try_from(place.saturating_neg()) {
        Ok(decimals) => to_decimals(value, decimals.min(Decimal::MAX_SCALE)).to_string(),
        Err(_) => {
            let figures = order_of_magnitude(value)
                .saturating_sub(place)
                .saturating_add(1);
            plain(to_figures(value, u32::try_from(figures).unwrap_or(1)))
        }
    }
}
