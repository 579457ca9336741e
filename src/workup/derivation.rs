//! The derivation people read: every step that leads to a result, in words, in symbols and with the numbers put in.

use rust_decimal::Decimal;

use super::graph::{Graph, Operation, Sign, StepId};
use crate::measure::{plain, to_figures};

/// One line of a derivation.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct DerivationLine {
    /// In words, such as “delivered volume, trial 2”.
    pub label: String,
    /// Its symbol.
    pub symbol: String,
    /// In symbols, such as `e₂ − s₂`; empty for what is given.
    pub formula: String,
    /// With the numbers put in, such as `18.40 − 0.12`; empty for what is given.
    pub numbers: String,
    /// Given values as they were written, computed ones to six figures.
    pub value: String,
    /// Unit; empty for a ratio.
    pub unit: &'static str,
}

/// Figures to which a computed value is shown; nothing is rounded in between.
const SHOWN: u32 = 6;

/// The steps that lead to a step, in order, itself last.
#[must_use]
pub fn derivation(graph: &Graph, of: StepId) -> Vec<DerivationLine> {
    graph
        .leading_to(of)
        .into_iter()
        .map(|id| line(graph, id))
        .collect()
}

fn line(graph: &Graph, id: StepId) -> DerivationLine {
    let step = graph.get(id);
    let symbol = |id: StepId| graph.get(id).name.symbol();
    DerivationLine {
        label: step.name.label(),
        symbol: step.name.symbol(),
        formula: expression(&step.operation, symbol),
        numbers: expression(&step.operation, |id| shown(graph, id)),
        value: shown(graph, id),
        unit: step.unit,
    }
}

fn shown(graph: &Graph, id: StepId) -> String {
    let step = graph.get(id);
    match step.operation {
        Operation::Given if step.value.scale() <= 10 => step.value.to_string(),
        // a difference of readings keeps their decimals
        Operation::Sum(_) if step.value.scale() <= SHOWN => step.value.to_string(),
        _ => plain(to_figures(step.value, SHOWN)),
    }
}

/// The operation with each input written by `name`.
fn expression(operation: &Operation, name: impl Fn(StepId) -> String) -> String {
    let product = |ids: &[StepId]| {
        ids.iter()
            .map(|id| name(*id))
            .collect::<Vec<_>>()
            .join(" \u{d7} ")
    };
    match operation {
        Operation::Given => String::new(),
        Operation::Sum(terms) => {
            let mut text = String::new();
            for (place, (sign, id)) in terms.iter().enumerate() {
                text.push_str(match (sign, place) {
                    (Sign::Plus, 0) => "",
                    (Sign::Plus, _) => " + ",
                    (Sign::Minus, 0) => "\u{2212}",
                    (Sign::Minus, _) => " \u{2212} ",
                });
                text.push_str(&name(*id));
            }
            text
        }
        Operation::Quotient(over, under) => match (over.as_slice(), under.as_slice()) {
            (over, []) => product(over),
            (over, [one]) => format!("{} / {}", product(over), name(*one)),
            (over, under) => format!("{} / ({})", product(over), product(under)),
        },
        Operation::Slope { x, y } => {
            let names = |ids: &[StepId]| {
                ids.iter()
                    .map(|id| name(*id))
                    .collect::<Vec<_>>()
                    .join(", ")
            };
            format!("slope of ({}) on ({})", names(y), names(x))
        }
        Operation::Mean(ids) => {
            let sum = ids
                .iter()
                .map(|id| name(*id))
                .collect::<Vec<_>>()
                .join(" + ");
            format!("({sum}) / {}", Decimal::from(ids.len()))
        }
    }
}
