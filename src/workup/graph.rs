//! Named steps and how each follows from earlier ones.

use std::fmt;
use std::sync::Arc;

use rust_decimal::Decimal;
use rust_decimal::prelude::ToPrimitive;
use smallvec::SmallVec;

use super::component::Component;
use super::fit::{Fit, root, slope, slope_by};
use super::quantity::{Of, Quantity};
use super::role::Role;
use crate::language::{Message, message};
use crate::measure::as_f64;
use crate::stats::mean;

/// An ordered list of steps; a step refers only to earlier ones.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Graph {
    steps: Vec<Step>,
}

/// Names a step of one graph.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct StepId(usize);

#[derive(Clone, Debug, PartialEq)]
pub struct Step {
    pub quantity: Quantity,
    /// Unit; empty for a ratio.
    pub unit: &'static str,
    pub operation: Operation,
    /// Its value in that unit, not rounded.
    pub value: Decimal,
    /// Decimals that are significant in a given value; none if it is exact, or follows from others.
    pub decimals: Option<u32>,
    /// What makes it uncertain beyond the steps it follows from.
    pub components: SmallVec<[Component; 2]>,
}

/// Natural logarithm of ten.
const LN_10: Decimal = Decimal::from_parts(267_849_503, 33_690_064, 124_823_388, false, 27);

/// Steps an operation uses; few, so they are kept in place.
pub type StepIds = SmallVec<[StepId; 4]>;

/// How a step follows from earlier ones.
#[derive(Clone, Debug, PartialEq)]
pub enum Operation {
    /// Given: a reading, a lot's molarity, a molar mass, a ratio.
    Given,
    Sum(SmallVec<[(Sign, StepId); 3]>),
    /// The product of the first list over the product of the second.
    Quotient(StepIds, StepIds),
    Mean(StepIds),
    /// Ten to the power of a step, or of its negative.
    TenTo(Sign, StepId),
    /// The slope of the least-squares line of y on x, pair by pair.
    Slope {
        x: StepIds,
        y: StepIds,
    },
    /// The coefficient of that power of x.
    Coefficient(usize, Arc<Fit>),
    /// The x nearest zero at which square · x² + linear · x = value.
    Root {
        square: StepId,
        linear: StepId,
        value: StepId,
    },
}

/// Added or taken off.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Sign {
    Plus,
    Minus,
}

/// A step or several, or why one of them has no value.
pub type Worked<T> = Result<T, WorkUpError>;

/// Why a step has no value.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct WorkUpError {
    /// The step in words.
    pub label: Message,
    /// The key of what was found.
    pub what: &'static str,
}

impl std::error::Error for WorkUpError {}

/// In English.
impl fmt::Display for WorkUpError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        Message::from(self.clone()).fmt(f)
    }
}

impl From<WorkUpError> for Message {
    fn from(why: WorkUpError) -> Self {
        message!(
            "why.error",
            label = why.label,
            what = Message::new(why.what)
        )
    }
}

impl Graph {
    /// Adds a given quantity, significant to the decimals of `value`.
    pub fn given(
        &mut self,
        quantity: impl Into<Quantity>,
        unit: &'static str,
        value: Decimal,
    ) -> StepId {
        self.push(Step {
            quantity: quantity.into(),
            unit,
            operation: Operation::Given,
            value,
            decimals: Some(value.scale()),
            components: SmallVec::new(),
        })
    }

    /// Adds a step that follows from earlier ones.
    ///
    /// # Errors
    /// [`WorkUpError`] if it has no value: a division by zero or a number out of range.
    pub fn step(
        &mut self,
        quantity: impl Into<Quantity>,
        unit: &'static str,
        operation: Operation,
    ) -> Worked<StepId> {
        let quantity = quantity.into();
        let value = match compute(&operation, |id| self.value(id)) {
            Ok(value) => value,
            Err(what) => {
                let label = quantity.named();
                return Err(WorkUpError { label, what });
            }
        };
        Ok(self.push(Step {
            quantity,
            unit,
            operation,
            value,
            decimals: None,
            components: SmallVec::new(),
        }))
    }

    /// Says to how many decimals a given value is significant, where its writing does not; none for an exact number.
    pub fn significant(&mut self, id: StepId, decimals: Option<u32>) {
        self.steps[id.0].decimals = decimals;
    }

    /// Says that a step is uncertain of itself. A standard uncertainty of zero is left out.
    pub fn uncertain(&mut self, id: StepId, component: Component) {
        if component.standard > 0.0 {
            self.steps[id.0].components.push(component);
        }
    }

    pub fn get(&self, id: StepId) -> &Step {
        &self.steps[id.0]
    }

    /// The first step of that role in that row.
    pub fn find(&self, role: Role, of: Of) -> Option<StepId> {
        let is_it = |step: &Step| step.quantity.role == role && step.quantity.of == of;
        self.steps.iter().position(is_it).map(StepId)
    }

    /// The step of that role, row and point of a curve.
    pub fn of_point(&self, quantity: &Quantity) -> Option<StepId> {
        let is_it = |step: &Step| step.quantity.is_same_point(quantity);
        self.steps.iter().position(is_it).map(StepId)
    }

    pub fn value(&self, id: StepId) -> Decimal {
        self.steps[id.0].value
    }

    /// All steps in order.
    pub fn steps(&self) -> impl Iterator<Item = (StepId, &Step)> {
        self.steps
            .iter()
            .enumerate()
            .map(|(index, step)| (StepId(index), step))
    }

    /// The steps a step follows from, itself included, in order.
    pub fn leading_to(&self, id: StepId) -> Vec<StepId> {
        let mut wanted = vec![false; id.0.saturating_add(1)];
        if let Some(last) = wanted.last_mut() {
            *last = true;
        }
        for index in (0..wanted.len()).rev() {
            if wanted[index] {
                self.steps[index]
                    .operation
                    .inputs()
                    .for_each(|input| wanted[input.0] = true);
            }
        }
        wanted
            .iter()
            .enumerate()
            .filter(|(_, w)| **w)
            .map(|(index, _)| StepId(index))
            .collect()
    }

    /// The value a step would have if some steps had other values: how a slip is predicted, and how sensitivities are
    /// checked.
    pub fn value_with(&self, id: StepId, substitutes: &[(StepId, Decimal)]) -> Worked<Decimal> {
        let mut values: Vec<Decimal> = Vec::with_capacity(id.0.saturating_add(1));
        for (index, step) in self.steps.iter().enumerate().take(id.0.saturating_add(1)) {
            let value = match substitutes.iter().find(|(known, _)| known.0 == index) {
                Some((_, value)) => *value,
                None if step.operation == Operation::Given => step.value,
                None => compute(&step.operation, |input| values[input.0]).map_err(|what| {
                    WorkUpError {
                        label: step.quantity.named(),
                        what,
                    }
                })?,
            };
            values.push(value);
        }
        Ok(values[id.0])
    }

    /// ∂(step)/∂(every step up to it), in their units, by one backward pass over the graph.
    pub fn sensitivities(&self, id: StepId) -> Vec<f64> {
        let values: Vec<f64> = self
            .steps
            .iter()
            .take(id.0.saturating_add(1))
            .map(|s| as_f64(s.value))
            .collect();
        let mut by = vec![0.0; values.len()];
        by[id.0] = 1.0;
        for index in (0..values.len()).rev() {
            let outer = by[index];
            if outer == 0.0 {
                continue;
            }
            match &self.steps[index].operation {
                Operation::Given => {}
                Operation::Sum(terms) => {
                    for (sign, input) in terms {
                        by[input.0] += if *sign == Sign::Plus { outer } else { -outer };
                    }
                }
                Operation::Mean(inputs) => {
                    inputs
                        .iter()
                        .for_each(|input| by[input.0] += outer / inputs.len() as f64);
                }
                Operation::TenTo(sign, input) => {
                    let slope = values[index] * std::f64::consts::LN_10;
                    by[input.0] += if *sign == Sign::Plus {
                        outer * slope
                    } else {
                        -outer * slope
                    };
                }
                Operation::Quotient(over, under) => {
                    let product = |ids: &[StepId], without: usize| -> f64 {
                        ids.iter()
                            .enumerate()
                            .filter(|(i, _)| *i != without)
                            .map(|(_, id)| values[id.0])
                            .product()
                    };
                    let below = product(under, usize::MAX);
                    for (place, input) in over.iter().enumerate() {
                        by[input.0] += outer * product(over, place) / below;
                    }
                    for input in under {
                        by[input.0] -= outer * values[index] / values[input.0];
                    }
                }
                Operation::Slope { x, y } => {
                    let of = |ids: &StepIds| ids.iter().map(|id| values[id.0]).collect::<Vec<_>>();
                    let slope = values[index];
                    for ((x, y), (by_x, by_y)) in
                        x.iter().zip(y).zip(slope_by(&of(x), &of(y), slope))
                    {
                        by[x.0] += outer * by_x;
                        by[y.0] += outer * by_y;
                    }
                }
                Operation::Coefficient(power, fit) => {
                    let each = fit.by(*power, |id| values[id.0]);
                    for ((x, y), (by_x, by_y)) in fit.x.iter().zip(&fit.y).zip(each) {
                        by[x.0] += outer * by_x;
                        by[y.0] += outer * by_y;
                    }
                }
                Operation::Root {
                    square,
                    linear,
                    value,
                } => {
                    let x = values[index];
                    let rate = values[linear.0] + 2.0 * values[square.0] * x;
                    by[value.0] += outer / rate;
                    by[linear.0] -= outer * x / rate;
                    by[square.0] -= outer * x * x / rate;
                }
            }
        }
        by
    }

    fn push(&mut self, step: Step) -> StepId {
        self.steps.push(step);
        StepId(self.steps.len().saturating_sub(1))
    }
}

impl Operation {
    pub fn sum(terms: impl IntoIterator<Item = (Sign, StepId)>) -> Self {
        Self::Sum(terms.into_iter().collect())
    }

    pub fn product(factors: impl IntoIterator<Item = StepId>) -> Self {
        Self::Quotient(factors.into_iter().collect(), SmallVec::new())
    }

    /// A product over a product.
    pub fn quotient(
        over: impl IntoIterator<Item = StepId>,
        under: impl IntoIterator<Item = StepId>,
    ) -> Self {
        Self::Quotient(over.into_iter().collect(), under.into_iter().collect())
    }

    pub fn mean(ids: impl IntoIterator<Item = StepId>) -> Self {
        Self::Mean(ids.into_iter().collect())
    }

    /// The steps it uses.
    pub fn inputs(&self) -> Box<dyn Iterator<Item = StepId> + '_> {
        match self {
            Self::Given => Box::new(std::iter::empty()),
            Self::Sum(terms) => Box::new(terms.iter().map(|(_, id)| *id)),
            Self::Quotient(over, under) => Box::new(over.iter().chain(under).copied()),
            Self::Mean(ids) => Box::new(ids.iter().copied()),
            Self::TenTo(_, id) => Box::new(std::iter::once(*id)),
            Self::Slope { x, y } => Box::new(x.iter().chain(y).copied()),
            Self::Coefficient(_, fit) => Box::new(fit.x.iter().chain(&fit.y).copied()),
            Self::Root {
                square,
                linear,
                value,
            } => Box::new([*square, *linear, *value].into_iter()),
        }
    }
}

impl StepId {
    /// Its place in the graph, from 0; indexes [`Graph::sensitivities`].
    pub fn place(self) -> usize {
        self.0
    }
}

fn compute(
    operation: &Operation,
    value: impl Fn(StepId) -> Decimal,
) -> Result<Decimal, &'static str> {
    const RANGE: &str = "why.too-large";
    let product = |ids: &[StepId]| {
        ids.iter()
            .try_fold(Decimal::ONE, |p, id| p.checked_mul(value(*id)))
    };
    match operation {
        Operation::Given => Err("why.no-value"),
        Operation::Sum(terms) => terms
            .iter()
            .try_fold(Decimal::ZERO, |sum, (sign, id)| match sign {
                Sign::Plus => sum.checked_add(value(*id)),
                Sign::Minus => sum.checked_sub(value(*id)),
            })
            .ok_or(RANGE),
        Operation::Quotient(over, under) => {
            let (over, under) = (product(over).ok_or(RANGE)?, product(under).ok_or(RANGE)?);
            if under.is_zero() {
                Err("why.by-zero")
            } else {
                over.checked_div(under).ok_or(RANGE)
            }
        }
        Operation::Mean(ids) => {
            let values: Vec<Decimal> = ids.iter().map(|id| value(*id)).collect();
            mean(&values).ok_or("why.no-mean")
        }
        Operation::TenTo(sign, id) => {
            let exponent = match sign {
                Sign::Plus => Some(value(*id)),
                Sign::Minus => Decimal::ZERO.checked_sub(value(*id)),
            };
            exponent.and_then(power_of_ten).ok_or(RANGE)
        }
        Operation::Slope { x, y } => {
            let of = |ids: &StepIds| ids.iter().map(|id| value(*id)).collect::<Vec<_>>();
            slope(&of(x), &of(y))
        }
        Operation::Coefficient(power, fit) => fit.coefficient(*power, value),
        Operation::Root {
            square,
            linear,
            value: signal,
        } => root(value(*square), value(*linear), value(*signal)),
    }
}

/// 10ˣ: the whole part moves the decimal point, and e to the rest of the logarithm is its series.
fn power_of_ten(x: Decimal) -> Option<Decimal> {
    let whole = x.floor();
    let rest = x.checked_sub(whole)?.checked_mul(LN_10)?;
    let (mut sum, mut term) = (Decimal::ONE, Decimal::ONE);
    for k in 1..60 {
        term = term.checked_mul(rest)?.checked_div(Decimal::from(k))?;
        if term.is_zero() {
            break;
        }
        sum = sum.checked_add(term)?;
    }
    let places = whole.to_i32()?;
    let tens = (0..places.unsigned_abs())
        .try_fold(Decimal::ONE, |tens, _| tens.checked_mul(Decimal::TEN))?;
    if places < 0 {
        sum.checked_div(tens)
    } else {
        sum.checked_mul(tens)
    }
}
