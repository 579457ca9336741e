//! Titration curves: what a meter shows while titrant is added, and the equivalence volume from it by the second
//! derivative, by Gran's line or where two straight lines meet.

use super::curve_points::{CurvePoints, Point, fitted};
use super::parts::{
    TITRANT, checked, display_words, in_reactions, kind, needs_reactions, positive, titrated,
};
use super::{Faults, Measurement, Reagents, Scheme, SchemeFile, SchemeRules, Signal};
use crate::chem::{Ratio, chain_ratio};
use crate::columns::Column;
use crate::measure::{Glassware, GlasswareKind, as_f64};
use crate::procedure::{Allowed, Asked, Common, Per, ProcedureFault, Sample, Titrant};
use crate::submission::Titration;
use crate::text::{decimal, found};
use crate::words::named;
use crate::workup::{
    Builder, Cause, Component, Instrument, Measured, Of, Operation, Own, Party, Quantity, Role,
    Sign, StepId, StepIds, Titre, Trial, WorkUpError, Worked, rectangular, triangular,
};
use rust_decimal::Decimal;

const VOLUME: Own = Own::new("volume added", "V");
const DERIVATIVE: Own = Own::new("slope to the next point", "d");
const MIDDLE: Own = Own::new("volume halfway to the next point", "v");
const SECOND: Own = Own::new("second derivative", "q");
const PLACE: Own = Own::new("volume where it stands", "z");
const CHANGE: Own = Own::new("change of the second derivative", "h");
const STEP: Own = Own::new("volume to where it is zero", "y");
const START: Own = Own::new("volume before the titration", "Vo");
const TOTAL: Own = Own::new("volume in the vessel", "Vt");
const ANTILOG: Own = Own::new("antilogarithm of the pH", "a");
const GRAN: Own = Own::new("Gran\u{2019}s function", "f");
const CORRECTED: Own = Own::new("conductance but for dilution", "G\u{2032}");
const LINE: [Line; 2] = [
    Line {
        x: Own::new("mean volume, first line", "X"),
        y: Own::new("mean, first line", "Y"),
        slope: Own::new("slope of the first line", "b"),
        rise: Own::new("rise to the mean, first line", "R"),
        intercept: Own::new("intercept of the first line", "A"),
        scatter: "scatter about the line",
    },
    Line {
        x: Own::new("mean volume, second line", "X\u{2032}"),
        y: Own::new("mean, second line", "Y\u{2032}"),
        slope: Own::new("slope of the second line", "b\u{2032}"),
        rise: Own::new("rise to the mean, second line", "R\u{2032}"),
        intercept: Own::new("intercept of the second line", "A\u{2032}"),
        scatter: "scatter about the second line",
    },
];
const APART: Own = Own::new("difference of the intercepts", "D");
const STEEPER: Own = Own::new("difference of the slopes", "B");
const TITRATED: Own = Own::about("amount of ", " titrated", "n");
const TWO: Own = Own::new("two", "2");
const HALF: Own = Own::new("half of the equivalence volume", "H");
const HALF_SLOPE: Own = Own::new("slope around half of it", "g");
const HALF_WAY: Own = Own::new("volume past the point before", "L");
const HALF_RISE: Own = Own::new("rise from the point before", "J");
/// pH where half of a weak acid is titrated.
pub const HALF_PH: Own = Own::new("pH at half of the equivalence volume", "P");

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

/// From a curve.
#[derive(Clone, Debug)]
pub struct Curve {
    pub titrant: Titrant,
    pub curve: CurveRead,
    /// Analyte used per titrant used.
    pub analyte_per_titrant: Ratio,
    pub asked: Asked,
}

/// What is read while titrant is added, and how the equivalence follows from it.
#[derive(Clone, Debug)]
pub struct CurveRead {
    pub signal: CurveSignal,
    pub method: CurveMethod,
    pub meter: Glassware,
    /// Volume in the vessel before anything is added, mL.
    pub start: Decimal,
    /// Of a weak acid or of the acid of a weak base; of the product of a precipitate's ions where a potential is read.
    pub pk: Option<Decimal>,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum CurveSignal {
    Ph,
    Potential,
    Conductance,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum CurveMethod {
    SecondDerivative,
    Gran,
    TwoLines,
}

named! { CurveSignal, name, from_name:
    Ph = "pH",
    Potential = "potential",
    Conductance = "conductance",
}

named! { CurveMethod, name, from_name:
    SecondDerivative = "second-derivative",
    Gran = "gran",
    TwoLines = "two-lines",
}

impl CurveSignal {
    /// The column of its n-th point.
    pub fn column(self, n: usize) -> Column {
        match self {
            Self::Ph => Column::CurvePh(n),
            Self::Potential => Column::CurvePotential(n),
            Self::Conductance => Column::CurveConductance(n),
        }
    }

    fn meter(self) -> GlasswareKind {
        match self {
            Self::Ph => GlasswareKind::PhMeter,
            Self::Potential => GlasswareKind::Millivoltmeter,
            Self::Conductance => GlasswareKind::ConductanceMeter,
        }
    }

    fn own(self) -> Own {
        match self {
            Self::Ph => Own::new("pH", "p"),
            Self::Potential => Own::new("potential", "E"),
            Self::Conductance => Own::new("conductance", "G"),
        }
    }
}

impl CurveMethod {
    fn words(self) -> &'static str {
        match self {
            Self::SecondDerivative => "where the second derivative is zero",
            Self::Gran => "by Gran\u{2019}s line before the jump",
            Self::TwoLines => "where two straight lines meet",
        }
    }

    fn fits(self, signal: CurveSignal) -> bool {
        match self {
            Self::SecondDerivative => signal != CurveSignal::Conductance,
            Self::Gran => signal == CurveSignal::Ph,
            Self::TwoLines => signal == CurveSignal::Conductance,
        }
    }
}

impl Titrant {
    /// Whether it is an acid rather than a base: its formula begins with hydrogen.
    pub(super) fn is_acid(&self) -> bool {
        self.species.written().starts_with('H')
    }
}

impl Curve {
    pub const TABLES: &[(&str, &str)] = &[TITRANT, ("curve", "is curve")];

    pub fn read(file: &SchemeFile) -> Option<Self> {
        let titrant = file.titrant();
        let curve = file.table("curve", |section| {
            section.only(&["signal", "method", "meter", "start_mL", "pK"]);
            let names = |all: &[&str]| all.join(", ");
            let signal = section.parsed("signal", |text| {
                let all = CurveSignal::ALL.map(CurveSignal::name);
                CurveSignal::from_name(text).ok_or_else(|| found(text, &names(&all)))
            });
            let method = section.parsed("method", |text| {
                let all = CurveMethod::ALL.map(CurveMethod::name);
                CurveMethod::from_name(text).ok_or_else(|| found(text, &names(&all)))
            });
            let meters = signal.map_or_else(Vec::new, |signal| vec![signal.meter()]);
            let meter = file.piece(&section, "meter", &meters);
            let start = section.number("start_mL");
            let pk = section.has("pK").then(|| section.parsed("pK", decimal));
            Some(CurveRead {
                signal: signal?,
                method: method?,
                meter: meter?,
                start: start?,
                pk: pk.flatten(),
            })
        });
        let (common, titrant) = (file.common.as_ref()?, titrant?);
        file.made(Self::new(common, titrant, curve?))
    }

    pub fn new(common: &Common, titrant: Titrant, curve: CurveRead) -> Result<Self, Faults> {
        let mut faults = common.check(&Allowed {
            result: Per::Sample,
            no_blank: Some("none: a curve shows where its own equivalence is"),
            titres: true,
            standard: false,
            molar_mass: false,
        });
        titrant.check(&mut faults);
        curve.check(&mut faults);
        let made = common.asked().and_then(|asked| {
            needs_reactions(common)?;
            let ratio = chain_ratio(&common.reactions, &asked.analyte, &titrant.species);
            Ok(Self {
                analyte_per_titrant: ratio.map_err(in_reactions)?,
                titrant,
                curve,
                asked,
            })
        });
        checked(faults, made)
    }

    /// The pH at half of the equivalence volume is a weak acid's pKa.
    fn has_half(&self) -> bool {
        self.curve.signal == CurveSignal::Ph && self.curve.pk.is_some()
    }
}

impl CurveRead {
    fn check(&self, faults: &mut Faults) {
        let (signal, method) = (self.signal, self.method);
        kind("curve.meter", &self.meter, &[signal.meter()], faults);
        positive("curve.start_mL", self.start, faults);
        if !method.fits(signal) {
            let what = format!(
                "found {}, expected another for a curve of {}: second-derivative of pH or potential, gran of pH, two-lines of conductance",
                method.name(),
                signal.name()
            );
            faults.push(ProcedureFault::new("curve.method", what));
        }
        let needed = signal == CurveSignal::Potential;
        let fits = |pk: &Decimal| (Decimal::ONE..=Decimal::from(20)).contains(pk);
        let what = match &self.pk {
            None if needed => "found none, expected that of the product of the ions",
            Some(pk) if !fits(pk) => "found one outside 1 to 20",
            _ => return,
        };
        faults.push(ProcedureFault::new("curve.pK", what));
    }
}

impl SchemeRules for Curve {
    titrated!();

    fn words(&self) -> &'static str {
        "titration curve"
    }

    fn facts(&self) -> Vec<(&'static str, String)> {
        let read = &self.curve;
        let words = format!(
            "{} against volume, from {} mL on, on a {}; equivalence {}",
            read.signal.name(),
            read.start,
            read.meter.title(),
            read.method.words()
        );
        vec![self.titrant.fact(), ("Curve", words)]
    }

    fn instruments(&self) -> String {
        let burette = self.titrant.burette_words();
        let meter = display_words(&self.curve.meter);
        format!("{burette} At each point write the volume added and what the meter shows: {meter}.")
    }

    fn ratio_words(&self) -> String {
        let (ratio, titrant) = (self.analyte_per_titrant, &self.titrant.species);
        format!("{ratio} {} per {titrant}", self.asked.analyte)
    }

    fn reagents(&self) -> Reagents<'_> {
        Reagents::of_titration(&self.titrant)
    }

    fn pieces_mut(&mut self) -> Vec<&mut Glassware> {
        vec![&mut self.titrant.burette]
    }

    fn again(&self, common: &Common) -> Result<Scheme, Faults> {
        Self::new(common, self.titrant.clone(), self.curve.clone()).map(Scheme::Curve)
    }

    fn columns(&self, points: usize) -> Vec<Column> {
        let point = |n| [Column::CurveVolume(n), self.curve.signal.column(n)];
        (1..=points.max(1)).flat_map(point).collect()
    }

    fn odd(&self, row: &Titration) -> Vec<(Column, String)> {
        let points = CurvePoints::of(self.curve.signal, row);
        let fault = points.fault(self.curve.method, as_f64(self.curve.start));
        let told = |(column, what): (Column, &str)| {
            (
                column,
                format!("no equivalence can be worked out: found {what}"),
            )
        };
        let by_jump = self.curve.method != CurveMethod::TwoLines;
        let coarse = || points.coarse().filter(|_| by_jump);
        fault.map(told).or_else(coarse).into_iter().collect()
    }

    fn measure(&self, builder: &mut Builder, row: &Titration, of: Of) -> Worked<Measured> {
        let points = CurvePoints::of(self.curve.signal, row);
        let volume = match self.curve.method {
            CurveMethod::SecondDerivative => self.by_second_derivative(builder, &points, of),
            CurveMethod::Gran => self.by_gran(builder, &points, of),
            CurveMethod::TwoLines => self.by_two_lines(builder, &points, of),
        }?;
        builder.volume_added(volume, of);
        Ok(Measured {
            delivered: Some(volume),
            ..Measured::one(volume, Role::MeanBlank(Titre::Whole))
        })
    }

    /// n(A) = c(T) · V(eq) · A/T, then per sample.
    fn trial<'a>(&self, builder: &mut Builder<'a>, trial: &Trial<'a>) -> Worked<StepId> {
        let (asked, titrant) = (&self.asked, &self.titrant.species);
        let volume = trial.signal("titration curve")?;
        if self.has_half() {
            self.at_half(builder, trial, volume)?;
        }
        let molarity = builder.molarity(trial.titrant_lot()?, Party::Titrant, titrant);
        let role = Role::Ratio(Party::Analyte, Party::Titrant);
        let species = (&asked.analyte, titrant);
        let ratio = builder.ratio(role, species, self.analyte_per_titrant);
        let quantity = Quantity::from(TITRATED).about(asked.analyte.shared());
        let product = Operation::product([molarity, volume, ratio]);
        let amount = builder.graph.step(quantity.of(trial.of), "mmol", product)?;
        let sample = builder.sample(trial.row.titration, trial.of)?;
        builder.result(amount, asked, sample, trial.of)
    }

    fn signal(&self, _: &Sample) -> Signal {
        self.titrant.signal()
    }

    fn measurements(&self, signal: f64, _: f64) -> Option<Vec<Measurement>> {
        let numbered = (1..).zip(self.volumes(signal));
        let point = |(n, volume): (usize, f64)| Measurement::Point {
            volume: Column::CurveVolume(n),
            added: volume,
            signal: self.curve.signal.column(n),
            shows: self.shows(volume, signal),
        };
        Some(numbered.map(point).collect())
    }
}

impl Curve {
    /// V_eq = z − q / (slope of q on z), from the four points around the jump: d = ΔE/ΔV between neighbours at v, the
    /// mean of their volumes; q = Δd/Δv at z, the mean of two v. The zero lies between the two z, and is taken as equally
    /// likely anywhere there (JCGM 100:2008, 4.3.7); trials that go in the same steps share that error.
    fn by_second_derivative(
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
        let component = Component::shared("where between two points the jump is", within);
        builder.graph.uncertain(volume, component);
        Ok(volume)
    }

    /// Gran's function is a straight line before the equivalence and zero there: V · 10^−pH of a weak acid (its slope is
    /// −Ka), (V₀ + V) · 10^−pH of a strong one; with 10^pH where a base is titrated.
    fn by_gran(&self, builder: &mut Builder, points: &CurvePoints, of: Of) -> Worked<StepId> {
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
    fn by_two_lines(&self, builder: &mut Builder, points: &CurvePoints, of: Of) -> Worked<StepId> {
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
    fn at_half(&self, builder: &mut Builder, trial: &Trial, volume: StepId) -> Worked<()> {
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
        let meter = Component::shared("calibration of the meter", meter);
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
        let quantity = Quantity::from(self.curve.signal.own());
        let quantity = quantity.of(of).point(point.number);
        if let Some(known) = builder.graph.of_point(&quantity) {
            return known;
        }
        let quantity = quantity.read(Instrument::Display);
        let unit = self.curve.meter.kind().unit();
        let step = builder.graph.given(quantity, unit, point.signal);
        if uncertain {
            let reading = Component::each("reading of the meter", self.reading(), of);
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
            let component = Component::shared("volume before the titration", within);
            builder.graph.uncertain(step, component);
            builder.graph.significant(step, None);
            step
        })
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
        label: format!("titration curve, {of}"),
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
