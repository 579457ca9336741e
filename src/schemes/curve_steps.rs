//! The steps from a curve's points to its equivalence volume, and to the pH at half of it.

use super::curve::{Curve, CurveSignal};
use super::curve_points::{CurvePoints, Point, fitted};
use super::own_slips::{OwnSlip, all_of};
use crate::judge::SlipCode;
use crate::measure::as_f64;
use crate::workup::{
    Builder, Cause, Component, Graph, Instrument, Of, Operation, Own, Quantity, Role, Sign, StepId,
    StepIds, Trial, WorkUpError, Worked, rectangular, triangular,
};
use rust_decimal::Decimal;

const VOLUME: Own = Own::new("step.volume-added", "V");
const DERIVATIVE: Own = Own::new("step.slope-to-next", "d");
const MIDDLE: Own = Own::new("step.halfway", "v");
const SECOND: Own = Own::new("step.second-derivative", "q");
const PLACE: Own = Own::new("step.where-it-stands", "z");
const CHANGE: Own = Own::new("step.change-of-second", "h");
const STEP: Own = Own::new("step.to-zero", "y");
const START: Own = Own::new("step.before-titration", "Vo");
const TOTAL: Own = Own::new("step.in-vessel", "Vt");
const ANTILOG: Own = Own::new("step.antilogarithm", "a");
const GRAN: Own = Own::new("step.gran", "f");
const CORRECTED: Own = Own::new("step.corrected", "G\u{2032}");
const LINE: [Line; 2] = [
    Line {
        x: Own::new("step.first-line-x", "X"),
        y: Own::new("step.first-line-y", "Y"),
        slope: Own::new("step.first-line-slope", "b"),
        rise: Own::new("step.first-line-rise", "R"),
        intercept: Own::new("step.first-line-intercept", "A"),
        scatter: "cause.scatter-line",
    },
    Line {
        x: Own::new("step.second-line-x", "X\u{2032}"),
        y: Own::new("step.second-line-y", "Y\u{2032}"),
        slope: Own::new("step.second-line-slope", "b\u{2032}"),
        rise: Own::new("step.second-line-rise", "R\u{2032}"),
        intercept: Own::new("step.second-line-intercept", "A\u{2032}"),
        scatter: "cause.scatter-second-line",
    },
];
const APART: Own = Own::new("step.intercepts-apart", "D");
const STEEPER: Own = Own::new("step.slopes-apart", "B");
const TWO: Own = Own::new("step.two", "2");
const HALF: Own = Own::new("step.half", "H");
const HALF_SLOPE: Own = Own::new("step.half-slope", "g");
const HALF_WAY: Own = Own::new("step.half-way", "L");
const HALF_RISE: Own = Own::new("step.half-rise", "J");
/// pH where half of a weak acid is titrated.
pub const HALF_PH: Own = Own::new("step.half-pH", "P");

/// How well the volume before the titration is known, as a share of it, rectangular: water is added with a cylinder
/// (common practice).
const START_WITHIN: f64 = 0.02;

/// The steps of a straight line.
struct Line {
    x: Own,
    y: Own,
    slope: Own,
    rise: Own,
    intercept: Own,
    scatter: &'static str,
}

impl Curve {
    /// V_eq = z − q / (slope of q on z), from the four points around the jump: d = ΔE/ΔV between neighbours at v, the
    /// mean of their volumes; q = Δd/Δv at z, the mean of two v. The zero lies between the two z, and is taken as equally
    /// likely anywhere there (JCGM 100:2008, 4.3.7); trials that go in the same steps share that error.
    pub(super) fn by_second_derivative(
        &self,
        builder: &mut Builder,
        points: &CurvePoints,
        of: Of,
    ) -> Worked<StepId> {
        let four = points.jump().map_err(|what| missing(of, what))?;
        let mut read = Vec::new();
        for point in &four {
            let volume = self.volume(builder, point, of, true);
            read.push((volume, self.shown(builder, point, of, true)));
        }
        let unit = self.curve.meter.kind().unit();
        let mut first = Vec::new();
        for (pair, point) in read.windows(2).zip(&four) {
            let quantity = |own| Quantity::from(own).of(of).point(point.number);
            let [(x, y), (next_x, next_y)] = [pair[0], pair[1]];
            let middle = Operation::mean([x, next_x]);
            let middle = builder.graph.step(quantity(MIDDLE), "mL", middle)?;
            let slope = slope([x, next_x], [y, next_y]);
            let slope = builder
                .graph
                .step(quantity(DERIVATIVE), per_ml(unit), slope)?;
            first.push((middle, slope));
        }
        let mut second = Vec::new();
        for (pair, point) in first.windows(2).zip(&four) {
            let quantity = |own| Quantity::from(own).of(of).point(point.number);
            let [(x, y), (next_x, next_y)] = [pair[0], pair[1]];
            let place = Operation::mean([x, next_x]);
            let place = builder.graph.step(quantity(PLACE), "mL", place)?;
            let slope = slope([x, next_x], [y, next_y]);
            let unit = squared(unit);
            second.push((place, builder.graph.step(quantity(SECOND), unit, slope)?));
        }
        let [(x, y), (next_x, next_y)] = [second[0], second[1]];
        let change = slope([x, next_x], [y, next_y]);
        let quantity = Quantity::from(CHANGE).of(of);
        let change = builder.graph.step(quantity, cubed(unit), change)?;
        let step = Operation::quotient([y], [change]);
        let step = builder
            .graph
            .step(Quantity::from(STEP).of(of), "mL", step)?;
        let terms = Operation::sum([(Sign::Plus, x), (Sign::Minus, step)]);
        let volume = builder.graph.step(equivalence(of), "mL", terms)?;
        let value = |id: StepId| as_f64(builder.graph.value(id));
        let within = (value(next_x) - value(x)).abs() / 2.0 / 3f64.sqrt();
        let component = Component::shared("cause.jump", within);
        builder.graph.uncertain(volume, component);
        Ok(volume)
    }

    /// Gran's function is a straight line before the equivalence and zero there: V · 10^−pH of a weak acid (its slope is
    /// −Ka), (V₀ + V) · 10^−pH of a strong one; with 10^pH where a base is titrated.
    pub(super) fn by_gran(
        &self,
        builder: &mut Builder,
        points: &CurvePoints,
        of: Of,
    ) -> Worked<StepId> {
        let straight = points.straight().map_err(|what| missing(of, what))?;
        let falls = straight.first().zip(straight.last());
        let falls = falls.is_some_and(|(first, last)| last.signal < first.signal);
        let sign = if falls { Sign::Plus } else { Sign::Minus };
        let (mut x, mut y, mut own) = (StepIds::new(), StepIds::new(), Vec::new());
        for point in straight {
            let quantity = |own| Quantity::from(own).of(of).point(point.number);
            let volume = self.volume(builder, point, of, false);
            let ph = self.shown(builder, point, of, false);
            let antilog = Operation::TenTo(sign, ph);
            let antilog = builder.graph.step(quantity(ANTILOG), "", antilog)?;
            let factor = match self.curve.pk {
                Some(_) => volume,
                None => self.total(builder, volume, point, of)?,
            };
            let product = Operation::product([factor, antilog]);
            let gran = builder.graph.step(quantity(GRAN), "mL", product)?;
            // of V alone, of V₀ + V, and of the antilogarithm
            let (value, reading) = (as_f64(builder.graph.value(gran)), self.reading());
            own.push(value * std::f64::consts::LN_10 * reading);
            x.push(volume);
            y.push(gran);
        }
        let line = &LINE[0];
        let [slope, x, y] = self.line(builder, line, (x, y), &own, of)?;
        let rise = Operation::quotient([y], [slope]);
        let rise = builder
            .graph
            .step(Quantity::from(line.rise).of(of), "mL", rise)?;
        let terms = Operation::sum([(Sign::Plus, x), (Sign::Minus, rise)]);
        builder.graph.step(equivalence(of), "mL", terms)
    }

    /// Conductances are multiplied by (V₀ + V) / V₀; before and after the equivalence they lie on a straight line each,
    /// G′ = A + b · V, and V_eq = (A′ − A) / (b − b′).
    pub(super) fn by_two_lines(
        &self,
        builder: &mut Builder,
        points: &CurvePoints,
        of: Of,
    ) -> Worked<StepId> {
        let bend = points.bend(as_f64(self.curve.start));
        let (before, after) = bend.map_err(|what| missing(of, what))?;
        let (mut slopes, mut intercepts) = (Vec::new(), Vec::new());
        for (line, part) in LINE.iter().zip([before, after]) {
            let (mut x, mut y, mut own) = (StepIds::new(), StepIds::new(), Vec::new());
            for point in part {
                let volume = self.volume(builder, point, of, false);
                let shown = self.shown(builder, point, of, false);
                let total = self.total(builder, volume, point, of)?;
                let start = self.start(builder);
                let corrected = Operation::quotient([shown, total], [start]);
                let quantity = Quantity::from(CORRECTED).of(of).point(point.number);
                let corrected = builder.graph.step(quantity, "mS", corrected)?;
                let dilution = as_f64(builder.graph.value(total)) / as_f64(self.curve.start);
                own.push(self.reading() * dilution);
                x.push(volume);
                y.push(corrected);
            }
            let [slope, x, y] = self.line(builder, line, (x, y), &own, of)?;
            let rise = Operation::product([slope, x]);
            let rise = builder
                .graph
                .step(Quantity::from(line.rise).of(of), "mS", rise)?;
            let terms = Operation::sum([(Sign::Plus, y), (Sign::Minus, rise)]);
            let quantity = Quantity::from(line.intercept).of(of);
            intercepts.push(builder.graph.step(quantity, "mS", terms)?);
            slopes.push(slope);
        }
        let apart = [(Sign::Plus, intercepts[1]), (Sign::Minus, intercepts[0])];
        let quantity = Quantity::from(APART).of(of);
        let apart = builder.graph.step(quantity, "mS", Operation::sum(apart))?;
        let steeper = [(Sign::Plus, slopes[0]), (Sign::Minus, slopes[1])];
        let quantity = Quantity::from(STEEPER).of(of);
        let steeper = builder
            .graph
            .step(quantity, "mS/mL", Operation::sum(steeper))?;
        let quotient = Operation::quotient([apart], [steeper]);
        builder.graph.step(equivalence(of), "mL", quotient)
    }

    /// Slope and means of a line. Each ordinate is uncertain by the residual standard deviation, or by what its readings
    /// are worth where that is more, so that the law of propagation gives the textbook's uncertainty of where a line is
    /// zero, s(y/x)/|b| · √(1/n + ȳ²/(b²·Sxx)) (Miller and Miller, Statistics and Chemometrics, 5.8; from memory).
    fn line(
        &self,
        builder: &mut Builder,
        line: &Line,
        (x, y): (StepIds, StepIds),
        own: &[f64],
        of: Of,
    ) -> Worked<[StepId; 3]> {
        let value = |id: &StepId| as_f64(builder.graph.value(*id));
        let points: Vec<(f64, f64)> = x
            .iter()
            .zip(&y)
            .map(|(x, y)| (value(x), value(y)))
            .collect();
        let (slope, left) = fitted(&points);
        let degrees_of_freedom = points.len() as f64 - 2.0;
        let observed = (left / degrees_of_freedom).sqrt();
        let volume = slope * builder.burette.reading;
        let squares = own.iter().map(|own| own * own + volume * volume);
        let expected = (squares.sum::<f64>() / points.len() as f64).sqrt();
        let (standard, degrees_of_freedom) = if observed > expected {
            (observed, degrees_of_freedom)
        } else {
            (expected, f64::INFINITY)
        };
        for id in &y {
            let component = Component::each(Cause::Fit(line.scatter, of), standard, of);
            let component = component.estimated(degrees_of_freedom);
            builder.graph.uncertain(*id, component);
        }
        let unit = builder.graph.get(y[0]).unit;
        let quantity = |own: Own| Quantity::from(own).of(of);
        let mean = Operation::Mean(x.clone());
        let x_mean = builder.graph.step(quantity(line.x), "mL", mean)?;
        let mean = Operation::Mean(y.clone());
        let y_mean = builder.graph.step(quantity(line.y), unit, mean)?;
        let slope = Operation::Slope { x, y };
        let per = if unit == "mS" { "mS/mL" } else { "" };
        let slope = builder.graph.step(quantity(line.slope), per, slope)?;
        Ok([slope, x_mean, y_mean])
    }

    /// pH where half is titrated, between the two points around it: that of a weak acid is its pKa, as far as it has not
    /// dissociated of itself.
    pub(super) fn at_half(
        &self,
        builder: &mut Builder,
        trial: &Trial,
        volume: StepId,
    ) -> Worked<()> {
        let of = trial.of;
        let two = builder.exact(TWO, Decimal::TWO);
        let half = Operation::quotient([volume], [two]);
        let half = builder
            .graph
            .step(Quantity::from(HALF).of(of), "mL", half)?;
        let points = CurvePoints::of(self.curve.signal, trial.row.titration);
        let Some([before, after]) = points.around(builder.graph.value(half)) else {
            return Ok(());
        };
        let (x, y) = (
            self.volume(builder, &before, of, true),
            self.shown(builder, &before, of, true),
        );
        let (next_x, next_y) = (
            self.volume(builder, &after, of, true),
            self.shown(builder, &after, of, true),
        );
        let quantity = |own: Own| Quantity::from(own).of(of);
        let slope = slope([x, next_x], [y, next_y]);
        let slope = builder
            .graph
            .step(quantity(HALF_SLOPE), per_ml(""), slope)?;
        let way = Operation::sum([(Sign::Plus, half), (Sign::Minus, x)]);
        let way = builder.graph.step(quantity(HALF_WAY), "mL", way)?;
        let rise = Operation::product([slope, way]);
        let rise = builder.graph.step(quantity(HALF_RISE), "", rise)?;
        let sum = Operation::sum([(Sign::Plus, y), (Sign::Plus, rise)]);
        let ph = builder.graph.step(quantity(HALF_PH), "", sum)?;
        // slopes do not know it
        let meter = rectangular(self.curve.meter.tolerance());
        let meter = Component::shared("cause.meter-calibration", meter);
        builder.graph.uncertain(ph, meter);
        Ok(())
    }

    fn volume(&self, builder: &mut Builder, point: &Point, of: Of, uncertain: bool) -> StepId {
        let quantity = Quantity::from(VOLUME).of(of).point(point.number);
        if let Some(known) = builder.graph.of_point(&quantity) {
            return known;
        }
        let quantity = quantity.read(Instrument::Display);
        let step = builder.graph.given(quantity, "mL", point.volume);
        if uncertain {
            let reading = builder.burette.reading;
            let reading = Component::each(Cause::BuretteReading, reading, of);
            builder.graph.uncertain(step, reading);
        }
        step
    }

    fn shown(&self, builder: &mut Builder, point: &Point, of: Of, uncertain: bool) -> StepId {
        let quantity = Quantity::from(shown_as(self.curve.signal));
        let quantity = quantity.of(of).point(point.number);
        if let Some(known) = builder.graph.of_point(&quantity) {
            return known;
        }
        let quantity = quantity.read(Instrument::Display);
        let unit = self.curve.meter.kind().unit();
        let step = builder.graph.given(quantity, unit, point.signal);
        if uncertain {
            let reading = Component::each("cause.meter-reading", self.reading(), of);
            builder.graph.uncertain(step, reading);
        }
        step
    }

    /// Standard uncertainty of what the meter shows from one point to the next: ± two of its last digits, triangular
    /// (common practice), as a burette is read.
    fn reading(&self) -> f64 {
        let step = self.curve.meter.readable_step();
        step.map_or(0.0, |step| 2.0 * triangular(step))
    }

    fn start(&self, builder: &mut Builder) -> StepId {
        builder.once(START, |builder, quantity| {
            let step = builder.graph.given(quantity, "mL", self.curve.start);
            let within = START_WITHIN * as_f64(self.curve.start) / 3f64.sqrt();
            let component = Component::shared("cause.before-titration", within);
            builder.graph.uncertain(step, component);
            builder.graph.significant(step, None);
            step
        })
    }

    /// Gran's function, or conductances, without the volume of titrant that was added.
    pub(super) fn slips_with_volumes(graph: &Graph) -> Vec<OwnSlip> {
        let start = graph.find(Role::Own(START), Of::All);
        let start = start.map(|start| graph.value(start));
        let totals = all_of(graph, TOTAL);
        let instead = totals.into_iter().map(|total| (total, start));
        let slip = OwnSlip::new(SlipCode::VolumeNotCorrected, "", instead);
        slip.into_iter().collect()
    }

    fn total(
        &self,
        builder: &mut Builder,
        volume: StepId,
        point: &Point,
        of: Of,
    ) -> Worked<StepId> {
        let start = self.start(builder);
        let terms = Operation::sum([(Sign::Plus, start), (Sign::Plus, volume)]);
        let quantity = Quantity::from(TOTAL).of(of).point(point.number);
        builder.graph.step(quantity, "mL", terms)
    }
}

fn missing(of: Of, what: &'static str) -> WorkUpError {
    WorkUpError {
        label: of.after("why.curve"),
        what,
    }
}

fn equivalence(of: Of) -> Quantity {
    Quantity::new(Role::Equivalence).of(of)
}

fn slope(x: [StepId; 2], y: [StepId; 2]) -> Operation {
    Operation::Slope {
        x: x.into_iter().collect(),
        y: y.into_iter().collect(),
    }
}

fn per_ml(unit: &str) -> &'static str {
    if unit == "mV" { "mV/mL" } else { "1/mL" }
}

fn squared(unit: &str) -> &'static str {
    if unit == "mV" {
        "mV/mL\u{b2}"
    } else {
        "1/mL\u{b2}"
    }
}

fn cubed(unit: &str) -> &'static str {
    if unit == "mV" {
        "mV/mL\u{b3}"
    } else {
        "1/mL\u{b3}"
    }
}

fn shown_as(signal: CurveSignal) -> Own {
    match signal {
        CurveSignal::Ph => Own::new("step.pH", "p"),
        CurveSignal::Potential => Own::new("step.potential", "E"),
        CurveSignal::Conductance => Own::new("step.conductance", "G"),
    }
}
