//! Significant figures by the textbook rule, carried along the graph from what was written. For teaching: grades rest
//! on uncertainty.

use rust_decimal::Decimal;

use super::graph::{Graph, Operation, StepId};
use crate::measure::{order_of_magnitude, to_decimals, to_figures};

/// How many significant figures a step has: a sum as many decimals as its term with the fewest, a product as many
/// figures as its factor with the fewest (OpenStax Chemistry 2e, 1.5). None for an exact number or a value of zero.
pub fn significant_figures(graph: &Graph, of: StepId) -> Option<u32> {
    let decimals = last_place(graph, of)?;
    figures(graph.value(of), decimals)
}

/// A step's value written with its significant figures; as it is if it is exact.
pub fn written_by_rule(graph: &Graph, of: StepId) -> Decimal {
    let value = graph.value(of);
    match (last_place(graph, of), significant_figures(graph, of)) {
        (Some(decimals), _) if decimals >= 0 => to_decimals(
            value,
            u32::try_from(decimals).unwrap_or(0).min(Decimal::MAX_SCALE),
        ),
        (_, Some(figures)) => to_figures(value, figures),
        _ => value,
    }
}

/// Decimals of the last significant figure, negative left of the decimal point; none for an exact number.
fn last_place(graph: &Graph, of: StepId) -> Option<i64> {
    let mut places: Vec<Option<i64>> = Vec::with_capacity(of.place().saturating_add(1));
    for (_, step) in graph.steps().take(of.place().saturating_add(1)) {
        let at = |id: StepId| places.get(id.place()).copied().flatten();
        let fewest_decimals = |ids: &mut dyn Iterator<Item = StepId>| ids.filter_map(at).min();
        // a slope is a ratio of differences: as many figures as its point with the fewest, but for a zero standard, which
        // has none of its own
        let of_points = |x: &[StepId], y: &[StepId]| {
            let of_input = |id: &StepId| figures(graph.value(*id), at(*id)?);
            let points = x.iter().zip(y).filter(|(x, _)| !graph.value(**x).is_zero());
            let fewest = points.flat_map(|(x, y)| [x, y]).filter_map(of_input).min();
            fewest.map(|n| decimals_of(step.value, n))
        };
        places.push(match &step.operation {
            Operation::Given => step.decimals.map(i64::from),
            Operation::Sum(terms) => fewest_decimals(&mut terms.iter().map(|(_, id)| *id)),
            Operation::Mean(ids) => fewest_decimals(&mut ids.iter().copied()),
            Operation::Quotient(over, under) => {
                let of_input = |id: &StepId| figures(graph.value(*id), at(*id)?);
                let fewest = over.iter().chain(under).filter_map(of_input).min();
                fewest.map(|n| decimals_of(step.value, n))
            }
            // an antilogarithm has as many figures as its logarithm has decimals
            Operation::TenTo(_, id) => at(*id).map(|decimals| {
                let figures = u32::try_from(decimals.max(1)).unwrap_or(1);
                decimals_of(step.value, figures)
            }),
            Operation::Slope { x, y } => of_points(x, y),
            Operation::Coefficient(_, fit) => of_points(&fit.x, &fit.y),
            Operation::Root { linear, value, .. } => {
                let of_input = |id: &StepId| figures(graph.value(*id), at(*id)?);
                let fewest = [linear, value].into_iter().filter_map(of_input).min();
                fewest.map(|n| decimals_of(step.value, n))
            }
        });
    }
    places.pop().flatten()
}

fn figures(value: Decimal, decimals: i64) -> Option<u32> {
    let figures = order_of_magnitude(value)
        .saturating_add(1)
        .saturating_add(decimals);
    // a difference smaller than its last place has one uncertain figure left
    (!value.is_zero()).then(|| u32::try_from(figures.max(1)).unwrap_or(1))
}

/// Decimals of a value written with so many figures.
fn decimals_of(value: Decimal, figures: u32) -> i64 {
    i64::from(figures)
        .saturating_sub(1)
        .saturating_sub(order_of_magnitude(value))
}
