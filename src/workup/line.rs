//! Calibration line: absorbance against the concentration of standards, and back from an absorbance to a
//! concentration.

use super::burette::cause;
use super::graph::{Operation, Scope, Sign, StepId, StepIds, WorkUpError};
use super::name::{Name, Of};
use super::parts::{Builder, rectangular, triangular, volume_reading};
use super::trials::Measured;
use crate::chem::Ratio;
use crate::measure::{GlasswareKind, as_f64};
use crate::procedure::{Asked, Calibration};
use crate::submission::Titration;
use crate::truth::Lot;

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
        let molarity = builder.molarity(lot, &calibration.species);
        let name = Name::new("volume of stock", "v").of(of);
        let volume = builder.graph.given(name, "mL", *stock);
        if !stock.is_zero() {
            let (words, scope) = cause("stock volume reading", of);
            // a burette's delivery is two readings, a cylinder's volume one
            let reading = match calibration.taken_with.kind() {
                GlasswareKind::Burette => {
                    2f64.sqrt() * triangular(builder.procedure.uncertainty.burette_reading)
                }
                _ => volume_reading(&calibration.taken_with),
            };
            builder.graph.doubt(volume, words, reading, scope);
            let standard = triangular(calibration.taken_with.tolerance());
            let words = "calibration of what measures the stock";
            builder.graph.doubt(volume, words, standard, Scope::Shared);
            builder.warmth(volume);
        }
        let flask = flask(builder, calibration, of);
        let quotient = Operation::quotient([molarity, volume], [flask]);
        let name = Name::new("concentration", "c").of(of);
        x.push(builder.graph.step(name, "mol/L", quotient)?);
        let name = Name::new("absorbance", "A").of(of).read();
        y.push(builder.graph.given(name, "", read.value()));
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
    let slope = builder
        .graph
        .step(("slope of the line", "b"), "L/mol", slope)?;
    let mean = Operation::Mean(x.clone());
    let x_mean = builder
        .graph
        .step(("mean concentration", "c\u{304}"), "mol/L", mean)?;
    let mean = Operation::Mean(y.clone());
    let y_mean = builder
        .graph
        .step(("mean absorbance", "A\u{304}"), "", mean)?;
    let product = Operation::product([slope, x_mean]);
    let rise = builder
        .graph
        .step(("rise to the mean", "b\u{b7}c\u{304}"), "", product)?;
    let terms = Operation::sum([(Sign::Plus, y_mean), (Sign::Minus, rise)]);
    let intercept = builder
        .graph
        .step(("intercept of the line", "a"), "", terms)?;
    let value = |id: StepId| as_f64(builder.graph.value(id));
    let residual =
        |(x, y): (&StepId, &StepId)| value(*y) - value(intercept) - value(slope) * value(*x);
    let squares: f64 = x.iter().zip(&y).map(|pair| residual(pair).powi(2)).sum();
    let freedom = x.len() as f64 - 2.0;
    let observed = (squares / freedom).sqrt();
    let digit = calibration
        .instrument
        .readable_step()
        .map_or(0.0, rectangular)
        / 2.0;
    let scatter = if observed > digit {
        (observed, freedom)
    } else {
        (digit, f64::INFINITY)
    };
    for id in y {
        builder
            .graph
            .estimated(id, SCATTER, scatter.0, Scope::Common, scatter.1);
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
    let absorbance =
        builder
            .graph
            .given(Name::new("absorbance", "A").of(of).read(), "", read.value());
    let (standard, freedom) = line.scatter;
    builder
        .graph
        .estimated(absorbance, SCATTER, standard, Scope::Each, freedom);
    let terms = Operation::sum([(Sign::Plus, absorbance), (Sign::Minus, line.intercept)]);
    let name = Name::new("absorbance above the intercept", "A\u{2032}").of(of);
    let above = builder.graph.step(name, "", terms)?;
    let quotient = Operation::quotient([above], [line.slope]);
    let name = Name::about(
        "concentration of ",
        calibration.species.shared(),
        " measured",
        "c",
    )
    .of(of);
    let found = builder.graph.step(name, "mol/L", quotient)?;
    let flask = flask(builder, calibration, of);
    let mut factors = vec![found, flask];
    if calibration.species != asked.analyte {
        let species = (&asked.analyte, &calibration.species);
        // moles of analyte per mole of the stock's species
        factors.push(builder.ratio(species, "A/S", analyte_per_species));
    }
    let name = Name::about(
        "amount of ",
        asked.analyte.shared(),
        " in the flask measured",
        "n",
    )
    .of(of);
    let amount = builder
        .graph
        .step(name, "mmol", Operation::product(factors))?;
    let sample = builder.sample(measured.row, of)?;
    builder.result(amount, asked, sample, of)
}

const SCATTER: &str = "scatter about the line";

/// Each standard and each sample has a flask of its own.
fn flask(builder: &mut Builder, calibration: &Calibration, of: Of) -> StepId {
    let piece = &calibration.made_up_in;
    let name = Name::new("flask volume", "Vm").of(of);
    let step = builder.graph.given(name, "mL", piece.capacity());
    let place = crate::measure::order_of_magnitude(piece.tolerance()).saturating_neg();
    builder.graph.significant(step, u32::try_from(place).ok());
    let (words, scope) = cause("flask calibration", of);
    builder
        .graph
        .doubt(step, words, triangular(piece.tolerance()), scope);
    builder.warmth(step);
    step
}
