//! The line through standards, straight or bent and weighted or not, and the concentration read off it.

use super::calibration_line::Calibration;
use super::line_weights::{LineShape, LineWeights};
use crate::columns::Column;
use crate::language::Message;
use crate::measure::{Glassware, GlasswareKind, as_f64, order_of_magnitude};
use crate::submission::{Titration, TrialLabel};
use crate::truth::Lot;
use crate::workup::{
    Builder, Cause, Component, Fit, Instrument, LabRow, Measured, Of, Operation, Own, Party,
    Quantity, Role, Scope, Shared, Sign, StepId, StepIds, Trial, WorkUpError, Worked, rectangular,
    triangular, volume_reading,
};
use rust_decimal::Decimal;
use std::sync::Arc;

pub(super) const CONCENTRATION: Own = Own::new("step.concentration", "c");
const MEAN_CONCENTRATION: Own = Own::new("step.mean-concentration", "c\u{304}");
const MEAN_ABSORBANCE: Own = Own::new("step.mean-absorbance", "A\u{304}");
const RISE: Own = Own::new("step.rise-to-mean", "b\u{b7}c\u{304}");
pub(super) const INTERCEPT: Own = Own::new("step.intercept", "a");
pub(super) const STEEPNESS: Own = Own::new("step.steepness", "b");
pub(super) const SQUARE: Own = Own::new("step.square", "q");
const ABOVE: Own = Own::new("step.above-intercept", "A\u{2032}");
const MEASURED: Own = Own::new("step.concentration-measured", "c");
const MEAN_BLANK: Own = Own::new("step.mean-absorbance-blanks", "Ab");
const BLANK_ABOVE: Own = Own::new("step.blank-above-intercept", "Ab\u{2032}");
pub(super) const IN_BLANK: Own = Own::new("step.concentration-in-blank", "cb");

const SCATTER: Cause = Cause::Own("cause.scatter-line");

/// The absorbance of a sample or of a blank, if there is a reading of it.
pub fn read_absorbance(builder: &mut Builder, row: &Titration, of: Of) -> Measured {
    let Some(read) = Column::Absorbance.get(row) else {
        return Measured::default();
    };
    let step = builder.graph.given(absorbance(of), "", read.value());
    Measured::one(step, Role::Own(MEAN_BLANK))
}

impl Calibration {
    /// y = a + b·c or a + b·c + q·c² through the standards by (weighted) least squares, each c = c(stock) · V(stock) / V(flask),
    /// mol/L: slope, intercept and, of a parabola, the factor of the square.
    ///
    /// An absorbance is uncertain by the residual standard deviation s(y/x) = √(Σw·(A − Â)² / (n − 2)), or n − 3 of a parabola,
    /// over √w, the weights having a mean of one, so that the law of propagation with all covariances of the coefficients
    /// gives s(x₀) = s(y/x)/b · √(1/w₀ + 1/n + (y₀ − ȳ)²/(b²·Σw(x − x̄)²)) of a straight line (unweighted: QUAM:2012, E.4; weighted:
    /// Massart et al., Handbook of Chemometrics and Qualimetrics A, 8.28, as the vignette of the R package chemCal has it)
    /// and what ISO 8466-2 (from memory) has of a parabola, with what stock and flasks add.
    pub(super) fn through<'a>(
        &self,
        builder: &mut Builder<'a>,
        rows: &[LabRow<'a>],
    ) -> Worked<Shared> {
        let (mut x, mut y, mut weights) = (StepIds::new(), StepIds::new(), Vec::new());
        for row in rows {
            let TrialLabel::Standard(number) = row.titration.trial else {
                continue;
            };
            x.push(self.concentration(builder, number, row)?);
            let read = Column::Absorbance.get(row.titration);
            let value = read.map_or(Decimal::ZERO, |read| read.value());
            let quantity = absorbance(Of::Standard(number));
            y.push(builder.graph.given(quantity, "", value));
            weights.push(self.weight(number).unwrap_or(Decimal::ONE));
        }
        let missing = |what| WorkUpError {
            label: Message::new("why.line"),
            what,
        };
        let degrees_of_freedom = x.len().saturating_sub(self.shape.terms());
        if degrees_of_freedom == 0 {
            return Err(missing(match self.shape {
                LineShape::Straight => "why.few-for-line",
                LineShape::Quadratic => "why.few-for-parabola",
            }));
        }
        let plain = self.shape == LineShape::Straight && self.weights == LineWeights::Equal;
        let steps = if plain {
            straight(builder, &x, &y, Of::All)?
        } else {
            let degree = self.shape.terms().saturating_sub(1);
            let fit = Fit {
                x: x.clone(),
                y: y.clone(),
                weights: weights.clone(),
                degree,
            };
            self.bent(builder, &Arc::new(fit))?
        };
        let value = |id: &StepId| as_f64(builder.graph.value(*id));
        let coefficients: Vec<f64> = steps.iter().map(value).collect();
        let on_line = |x: f64| match coefficients.as_slice() {
            [slope, intercept] => intercept + slope * x,
            [slope, intercept, square] => intercept + slope * x + square * x * x,
            _ => 0.0,
        };
        let mean: f64 = weights.iter().map(|w| as_f64(*w)).sum::<f64>() / weights.len() as f64;
        let weights: Vec<f64> = weights.iter().map(|w| as_f64(*w) / mean).collect();
        let squares = x.iter().zip(&y).zip(&weights);
        let squares = squares.map(|((x, y), w)| w * (value(y) - on_line(value(x))).powi(2));
        let degrees_of_freedom = degrees_of_freedom as f64;
        let observed = (squares.sum::<f64>() / degrees_of_freedom).sqrt();
        let digit = self.instrument.readable_step();
        let digit = digit.map_or(0.0, rectangular) / 2.0;
        // the display's last digit may be wider than the scatter
        let (standard, degrees_of_freedom) = if observed > digit {
            (observed, degrees_of_freedom)
        } else {
            (digit, f64::INFINITY)
        };
        for (id, weight) in y.into_iter().zip(weights) {
            // one estimate for standards and samples alike
            let standard = standard / weight.sqrt();
            let component = Component {
                scope: Scope::Common,
                ..Component::each(SCATTER, standard, Of::All).estimated(degrees_of_freedom)
            };
            builder.graph.uncertain(id, component);
        }
        Ok(Shared {
            steps,
            // of an absorbance that weighs one over its variance
            standard: standard * mean.sqrt(),
            degrees_of_freedom,
        })
    }

    /// Of a weighted line or of a parabola.
    fn bent(&self, builder: &mut Builder, fit: &Arc<Fit>) -> Worked<StepIds> {
        let mut coefficient = |power: usize, role: Role, unit| {
            let operation = Operation::Coefficient(power, fit.clone());
            builder.graph.step(role, unit, operation)
        };
        let intercept = coefficient(0, Role::Own(INTERCEPT), "")?;
        Ok(match self.shape {
            LineShape::Straight => {
                let slope = coefficient(1, Role::Slope, "L/mol")?;
                StepIds::from_slice(&[slope, intercept])
            }
            LineShape::Quadratic => {
                let steepness = coefficient(1, Role::Own(STEEPNESS), "L/mol")?;
                let square = coefficient(2, Role::Own(SQUARE), "L\u{b2}/mol\u{b2}")?;
                StepIds::from_slice(&[steepness, intercept, square])
            }
        })
    }

    /// The concentration of a sample, mol/L.
    pub(super) fn measured(
        &self,
        builder: &mut Builder,
        trial: &Trial,
        absorbance: StepId,
    ) -> Worked<StepId> {
        let above = Quantity::from(ABOVE).of(trial.of);
        let found = Quantity::from(MEASURED).about(self.species.shared());
        let found = self.read_off(builder, trial, absorbance, [above, found.of(trial.of)])?;
        self.scatter(builder, trial, absorbance, found);
        Ok(found)
    }

    /// The concentration of the reagent blank, mol/L, which all trials share.
    pub(super) fn in_blank(
        &self,
        builder: &mut Builder,
        trial: &Trial,
        blank: StepId,
    ) -> Worked<StepId> {
        if let Some(known) = builder.graph.find(Role::Own(IN_BLANK), Of::All) {
            return Ok(known);
        }
        let quantity = Quantity::from(IN_BLANK).about(self.species.shared());
        let found = self.read_off(builder, trial, blank, [BLANK_ABOVE.into(), quantity])?;
        let several: StepIds = builder.graph.get(blank).operation.inputs().collect();
        let several = if several.is_empty() {
            StepIds::from_slice(&[blank])
        } else {
            several
        };
        for one in several {
            self.scatter(builder, trial, one, found);
        }
        Ok(found)
    }

    /// The concentration at which the line has that absorbance.
    fn read_off(
        &self,
        builder: &mut Builder,
        trial: &Trial,
        absorbance: StepId,
        [above, found]: [Quantity; 2],
    ) -> Worked<StepId> {
        let steps = trial.shared.steps.as_slice();
        let [slope, intercept, ..] = steps else {
            return Err(trial.missing("step.absorbance", "why.no-calibration"));
        };
        let terms = Operation::sum([(Sign::Plus, absorbance), (Sign::Minus, *intercept)]);
        let above = builder.graph.step(above, "", terms)?;
        let operation = match steps.get(2) {
            Some(square) => Operation::Root {
                square: *square,
                linear: *slope,
                value: above,
            },
            None => Operation::quotient([above], [*slope]),
        };
        builder.graph.step(found, "mol/L", operation)
    }

    /// An absorbance scatters as a standard of its concentration would.
    fn scatter(&self, builder: &mut Builder, trial: &Trial, absorbance: StepId, found: StepId) {
        let of = builder.graph.get(absorbance).quantity.of;
        let value = |id: StepId| as_f64(builder.graph.value(id));
        let per_concentration = (1..).zip(&self.stock).find_map(|(number, volume)| {
            let known = Role::Own(CONCENTRATION);
            let standard = builder.graph.find(known, Of::Standard(number))?;
            let concentration = value(standard);
            (concentration > 0.0).then(|| as_f64(*volume) / concentration)
        });
        let volume = per_concentration.unwrap_or(0.0) * value(found);
        let variance = self.weights.variance_at(&self.stock, volume);
        let standard = trial.shared.standard * variance.sqrt();
        let component = Component::each(SCATTER, standard, of);
        let component = component.estimated(trial.shared.degrees_of_freedom);
        builder.graph.uncertain(absorbance, component);
    }

    /// What a standard weighs, by its place from 1.
    fn weight(&self, number: u32) -> Option<Decimal> {
        let index = (number as usize).checked_sub(1)?;
        let variance = self.weights.variance(index, *self.stock.get(index)?)?;
        Decimal::ONE.checked_div(variance)
    }

    /// Concentration of a standard, mol/L.
    fn concentration<'a>(
        &self,
        builder: &mut Builder<'a>,
        number: u32,
        row: &LabRow<'a>,
    ) -> Worked<StepId> {
        let of = Of::Standard(number);
        let none = |what| WorkUpError {
            label: of.words(),
            what,
        };
        let index = (number as usize).saturating_sub(1);
        let stock = self.stock.get(index).copied();
        let stock = stock.ok_or_else(|| none("why.no-standard"))?;
        let lot = row.lot.ok_or_else(|| none("why.no-stock-lot"))?;
        if Column::Absorbance.get(row.titration).is_none() {
            return Err(none("why.no-absorbance"));
        }
        self.made_up(builder, lot, stock, (of, 0))
    }

    /// Concentration that so much of the stock comes to in a flask of its own, mol/L.
    pub(super) fn made_up<'a>(
        &self,
        builder: &mut Builder<'a>,
        lot: &'a Lot,
        stock: Decimal,
        (of, point): (Of, usize),
    ) -> Worked<StepId> {
        let molarity = builder.molarity(lot, Party::Stock, &self.species);
        let quantity = Quantity::new(Role::StandardStock).of(of).point(point);
        let volume = builder.graph.given(quantity, "mL", stock);
        if !stock.is_zero() {
            // a burette's delivery is two readings, a cylinder's volume one
            let reading = if self.taken_with.kind() == GlasswareKind::Burette {
                2f64.sqrt() * triangular(builder.procedure.uncertainty.burette_reading)
            } else {
                volume_reading(&self.taken_with)
            };
            let reading = Component::each("cause.stock-reading", reading, of);
            builder.graph.uncertain(volume, reading);
            let standard = triangular(self.taken_with.tolerance());
            let cause = "cause.stock-calibration";
            let calibration = Component::shared(cause, standard);
            builder.graph.uncertain(volume, calibration);
            builder.warmth(volume);
        }
        let flask = self.flask(builder, Role::StandardFlask, (of, point));
        let quotient = Operation::quotient([molarity, volume], [flask]);
        let quantity = Quantity::from(CONCENTRATION).of(of).point(point);
        builder.graph.step(quantity, "mol/L", quotient)
    }

    /// Each standard, each sample and each vessel of a series has a flask of its own.
    pub(super) fn flask(
        &self,
        builder: &mut Builder,
        role: Role,
        (of, point): (Of, usize),
    ) -> StepId {
        own_flask(builder, role, &self.made_up_in, (of, point))
    }
}

/// A flask of that piece that only one solution is made up in.
pub fn own_flask(
    builder: &mut Builder,
    role: Role,
    piece: &Glassware,
    (of, point): (Of, usize),
) -> StepId {
    let quantity = Quantity::new(role).of(of).point(point);
    let step = builder.graph.given(quantity, "mL", piece.capacity());
    let place = order_of_magnitude(piece.tolerance()).saturating_neg();
    builder.graph.significant(step, u32::try_from(place).ok());
    let standard = triangular(piece.tolerance());
    let component = Component::each("cause.flask", standard, of);
    builder.graph.uncertain(step, component);
    builder.warmth(step);
    step
}

/// Slope and intercept of the line by its means.
pub(super) fn straight(builder: &mut Builder, x: &StepIds, y: &StepIds, of: Of) -> Worked<StepIds> {
    let quantity = |role: Role| Quantity::new(role).of(of);
    let own = |own: Own| Quantity::from(own).of(of);
    let slope = Operation::Slope {
        x: x.clone(),
        y: y.clone(),
    };
    let slope = builder.graph.step(quantity(Role::Slope), "L/mol", slope)?;
    let mean = Operation::Mean(x.clone());
    let x_mean = builder.graph.step(own(MEAN_CONCENTRATION), "mol/L", mean)?;
    let mean = Operation::Mean(y.clone());
    let y_mean = builder.graph.step(own(MEAN_ABSORBANCE), "", mean)?;
    let product = Operation::product([slope, x_mean]);
    let rise = builder.graph.step(own(RISE), "", product)?;
    let terms = Operation::sum([(Sign::Plus, y_mean), (Sign::Minus, rise)]);
    let intercept = builder.graph.step(own(INTERCEPT), "", terms)?;
    Ok(StepIds::from_slice(&[slope, intercept]))
}

pub(super) fn absorbance(of: Of) -> Quantity {
    let quantity = Quantity::new(Role::Absorbance).of(of);
    quantity.read(Instrument::Display)
}
