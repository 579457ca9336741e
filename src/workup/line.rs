//! Calibration line: absorbance against the concentration of standards, and back from an absorbance to a
//! concentration.

use super::component::{Cause, Component, Scope};
use super::graph::{Operation, Sign, StepId, StepIds, WorkUpError};
use super::parts::{Builder, rectangular, triangular, volume_reading};
use super::quantity::{Instrument, Of, Quantity};
use super::role::{Own, Party, Role};
use super::trials::Measured;
use crate::chem::Ratio;
use crate::measure::{GlasswareKind, as_f64};
use crate::procedure::{Asked, Calibration};
use crate::submission::Titration;
use crate::truth::Lot;

const CONCENTRATION: Own = Own::new("concentration", "c");
const MEAN_CONCENTRATION: Own = Own::new("mean concentration", "c\u{304}");
const MEAN_ABSORBANCE: Own = Own::new("mean absorbance", "A\u{304}");
const RISE: Own = Own::new("rise to the mean", "b\u{b7}c\u{304}");
const INTERCEPT: Own = Own::new("intercept of the line", "a");
const ABOVE: Own = Own::new("absorbance above the intercept", "A\u{2032}");
const MEASURED: Own = Own::about("concentration of ", " measured", "c");
const IN_FLASK: Own = Own::about("amount of ", " in the flask measured", "n");

const SCATTER: Cause = Cause::Own("scatter about the line");

/// A line through the standards.
#[derive(Clone, Copy, Debug)]
pub(super) struct Line {
    slope: StepId,
    intercept: StepId,
    /// Standard deviation of one absorbance about it, and its degrees of freedom (infinite where the display's last
    /// digit is wider than the scatter).
    scatter: (f64, f64),
}

/// The line A = a + b · c by least squares through the standards, each c = c(stock) · V(stock) / V(flask), mol/L.
///
/// An absorbance is uncertain by the residual standard deviation s(y/x) = √(Σ(A − a − b·c)² / (n − 2)), so that the
/// law of propagation gives the textbook's s(x₀) = s(y/x)/b · √(1/p + 1/n + (y₀ − ȳ)²/(b²·Sxx)) (QUAM:2012, E.4),
/// with what stock and flasks add.
pub(super) fn line<'a>(
    builder: &mut Builder<'a>,
    calibration: &Calibration,
    standards: &[(u32, &Titration, Option<&'a Lot>)],
) -> Result<Line, WorkUpError> {
    let error = |label: String, what| WorkUpError { label, what };
    let (mut x, mut y) = (StepIds::new(), StepIds::new());
    for (number, row, lot) in standards {
        let of = Of::Standard(*number);
        let none = |what| error(of.to_string(), what);
        let index = (*number as usize).saturating_sub(1);
        let stock = calibration
            .stock
            .get(index)
            .ok_or_else(|| none("no such standard"))?;
        let lot = lot.ok_or_else(|| none("no lot of the stock"))?;
        let read = row
            .other
            .absorbance
            .as_ref()
            .ok_or_else(|| none("no absorbance"))?;
        let molarity = builder.molarity(lot, Party::Stock, &calibration.species);
        let quantity = Quantity::new(Role::StandardStock).of(of);
        let volume = builder.graph.given(quantity, "mL", *stock);
        if !stock.is_zero() {
            // a burette's delivery is two readings, a cylinder's volume one
            let reading = match calibration.taken_with.kind() {
                GlasswareKind::Burette => {
                    2f64.sqrt() * triangular(builder.procedure.uncertainty.burette_reading)
                }
                _ => volume_reading(&calibration.taken_with),
            };
            let reading = Component::each("stock volume reading", reading, of);
            builder.graph.uncertain(volume, reading);
            let standard = triangular(calibration.taken_with.tolerance());
            let cause = "calibration of what measures the stock";
            let calibration = Component::shared(cause, standard);
            builder.graph.uncertain(volume, calibration);
            builder.warmth(volume);
        }
        let flask = flask(builder, calibration, Role::StandardFlask, of);
        let quotient = Operation::quotient([molarity, volume], [flask]);
        let quantity = Quantity::from(CONCENTRATION).of(of);
        x.push(builder.graph.step(quantity, "mol/L", quotient)?);
        y.push(builder.graph.given(absorbance(of), "", read.value()));
    }
    if x.len() < 3 {
        return Err(error(
            "calibration line".into(),
            "fewer than three standards",
        ));
    }
    let slope = Operation::Slope {
        x: x.clone(),
        y: y.clone(),
    };
    let slope = builder.graph.step(Role::Slope, "L/mol", slope)?;
    let mean = Operation::Mean(x.clone());
    let x_mean = builder.graph.step(MEAN_CONCENTRATION, "mol/L", mean)?;
    let mean = Operation::Mean(y.clone());
    let y_mean = builder.graph.step(MEAN_ABSORBANCE, "", mean)?;
    let product = Operation::product([slope, x_mean]);
    let rise = builder.graph.step(RISE, "", product)?;
    let terms = Operation::sum([(Sign::Plus, y_mean), (Sign::Minus, rise)]);
    let intercept = builder.graph.step(INTERCEPT, "", terms)?;
    let value = |id: StepId| as_f64(builder.graph.value(id));
    let residual =
        |(x, y): (&StepId, &StepId)| value(*y) - value(intercept) - value(slope) * value(*x);
    let squares: f64 = x.iter().zip(&y).map(|pair| residual(pair).powi(2)).sum();
    let degrees_of_freedom = x.len() as f64 - 2.0;
    let observed = (squares / degrees_of_freedom).sqrt();
    let digit = calibration
        .instrument
        .readable_step()
        .map_or(0.0, rectangular)
        / 2.0;
    let scatter = if observed > digit {
        (observed, degrees_of_freedom)
    } else {
        (digit, f64::INFINITY)
    };
    for id in y {
        // one estimate for standards and samples alike
        let component = Component {
            scope: Scope::Common,
            ..Component::each(SCATTER, scatter.0, Of::All).estimated(scatter.1)
        };
        builder.graph.uncertain(id, component);
    }
    Ok(Line {
        slope,
        intercept,
        scatter,
    })
}

/// c = (A − a) / b, n(A) = c · V(flask) · ratio, then per sample.
pub(super) fn trial<'a>(
    builder: &mut Builder<'a>,
    (calibration, analyte_per_species, asked): (&Calibration, Ratio, &Asked),
    measured: &Measured<'a>,
    of: Of,
) -> Result<StepId, WorkUpError> {
    let missing = |what| WorkUpError {
        label: format!("absorbance, {of}"),
        what,
    };
    let line = measured
        .line
        .ok_or_else(|| missing("no calibration line"))?;
    let read = measured
        .row
        .other
        .absorbance
        .as_ref()
        .ok_or_else(|| missing("no reading of it"))?;
    let absorbance = builder.graph.given(absorbance(of), "", read.value());
    let (standard, degrees_of_freedom) = line.scatter;
    let component = Component::each(SCATTER, standard, of).estimated(degrees_of_freedom);
    builder.graph.uncertain(absorbance, component);
    let terms = Operation::sum([(Sign::Plus, absorbance), (Sign::Minus, line.intercept)]);
    let quantity = Quantity::from(ABOVE).of(of);
    let above = builder.graph.step(quantity, "", terms)?;
    let quotient = Operation::quotient([above], [line.slope]);
    let quantity = Quantity::from(MEASURED).about(calibration.species.shared());
    let found = builder.graph.step(quantity.of(of), "mol/L", quotient)?;
    let flask = flask(builder, calibration, Role::MeasuredFlask, of);
    let mut factors = vec![found, flask];
    if calibration.species != asked.analyte {
        let species = (&asked.analyte, &calibration.species);
        // moles of analyte per mole of the stock's species
        let role = Role::Ratio(Party::Analyte, Party::Stock);
        factors.push(builder.ratio(role, species, analyte_per_species));
    }
    let quantity = Quantity::from(IN_FLASK).about(asked.analyte.shared());
    let product = Operation::product(factors);
    let amount = builder.graph.step(quantity.of(of), "mmol", product)?;
    let sample = builder.sample(measured.row, of)?;
    builder.result(amount, asked, sample, of)
}

fn absorbance(of: Of) -> Quantity {
    let quantity = Quantity::new(Role::Absorbance).of(of);
    quantity.read(Instrument::Spectrophotometer)
}

/// Each standard and each sample has a flask of its own.
fn flask(builder: &mut Builder, calibration: &Calibration, role: Role, of: Of) -> StepId {
    let piece = &calibration.made_up_in;
    let quantity = Quantity::new(role).of(of);
    let step = builder.graph.given(quantity, "mL", piece.capacity());
    let place = crate::measure::order_of_magnitude(piece.tolerance()).saturating_neg();
    builder.graph.significant(step, u32::try_from(place).ok());
    let standard = triangular(piece.tolerance());
    let component = Component::each("flask calibration", standard, of);
    builder.graph.uncertain(step, component);
    builder.warmth(step);
    step
}
