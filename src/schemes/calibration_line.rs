//! Calibration line: absorbance against the concentration of standards, and back from an absorbance to a
//! concentration.

use super::file::formula;
use super::parts::{checked, display_words, fault, kind, positive};
use super::{Faults, Measurement, Reagents, Scheme, SchemeFile, SchemeRules, Signal, Standard};
use crate::chem::{Formula, Ratio, per_analyte, printed};
use crate::columns::Column;
use crate::measure::{Glassware, GlasswareKind, as_f64, order_of_magnitude};
use crate::procedure::{Allowed, Asked, Common, Per, ProcedureFault, Sample};
use crate::submission::{Titration, TrialLabel};
use crate::text::decimal;
use crate::workup::{
    Builder, Cause, Component, Instrument, LabRow, Measured, Of, Operation, Own, Party, Quantity,
    Role, Scope, Shared, Sign, StepId, StepIds, Trial, WorkUpError, Worked, rectangular,
    triangular, volume_reading,
};
use rust_decimal::Decimal;

const CONCENTRATION: Own = Own::new("concentration", "c");
const MEAN_CONCENTRATION: Own = Own::new("mean concentration", "c\u{304}");
const MEAN_ABSORBANCE: Own = Own::new("mean absorbance", "A\u{304}");
const RISE: Own = Own::new("rise to the mean", "b\u{b7}c\u{304}");
const INTERCEPT: Own = Own::new("intercept of the line", "a");
const ABOVE: Own = Own::new("absorbance above the intercept", "A\u{2032}");
const MEASURED: Own = Own::about("concentration of ", " measured", "c");
const IN_FLASK: Own = Own::about("amount of ", " in the flask measured", "n");

const SCATTER: Cause = Cause::Own("scatter about the line");

/// Absorbance of the strongest standard where nothing is known of the colour (common practice: below 1).
const TOP_ABSORBANCE: f64 = 0.9;

/// From absorbance beside that of standards.
#[derive(Clone, Debug)]
pub struct CalibrationLine {
    pub calibration: Calibration,
    /// Analyte per species of the stock.
    pub analyte_per_species: Ratio,
    pub asked: Asked,
}

/// Standards made from a stock solution, and the instrument that reads them and the samples.
#[derive(Clone, Debug)]
pub struct Calibration {
    /// What is in the stock.
    pub species: Formula,
    /// Label molarity of the stock, mol/L.
    pub nominal: Decimal,
    /// The graduated piece that measures the stock.
    pub taken_with: Glassware,
    /// The flask in which a standard, and a sample, is made up.
    pub made_up_in: Glassware,
    /// Volume of stock in each standard, mL, in order.
    pub stock: Vec<Decimal>,
    pub instrument: Glassware,
}

impl CalibrationLine {
    pub const TABLES: &[(&str, &str)] = &[("calibration", "is calibration-line")];

    pub fn read(file: &SchemeFile) -> Option<Self> {
        let calibration = file.table("calibration", |section| {
            section.only(&[
                "species",
                "nominal_mol_per_L",
                "taken_with",
                "made_up_in",
                "stock_mL",
                "spectrophotometer",
            ]);
            let piece = |key: &str, kinds: &[GlasswareKind]| file.piece(&section, key, kinds);
            let species = formula(&section, "species");
            let nominal = section.number("nominal_mol_per_L");
            let graduated = [GlasswareKind::Burette, GlasswareKind::Cylinder];
            let taken_with = piece("taken_with", &graduated);
            let made_up_in = piece("made_up_in", &[GlasswareKind::Flask]);
            let instrument = piece("spectrophotometer", &[GlasswareKind::Spectrophotometer]);
            let volume = |text: &String| {
                let read = decimal(text);
                read.map_err(|why| section.fault("stock_mL", why)).ok()
            };
            let stock: Option<Vec<Decimal>> =
                section.texts("stock_mL").iter().map(volume).collect();
            Some(Calibration {
                species: species?,
                nominal: nominal?,
                taken_with: taken_with?,
                made_up_in: made_up_in?,
                stock: stock?,
                instrument: instrument?,
            })
        });
        let common = file.common.as_ref()?;
        file.made(Self::new(common, calibration?))
    }

    pub fn new(common: &Common, calibration: Calibration) -> Result<Self, Faults> {
        let mut faults = common.check(&Allowed {
            result: Per::Sample,
            no_blank: Some("none: the line has its intercept"),
            titres: false,
            standard: false,
            molar_mass: false,
        });
        calibration.check(&mut faults);
        let made = common.asked().and_then(|asked| {
            let ratio = per_analyte(&calibration.species, &asked.analyte);
            Ok(Self {
                analyte_per_species: ratio.map_err(|why| fault("calibration.species", why))?,
                calibration,
                asked,
            })
        });
        checked(faults, made)
    }
}

impl Calibration {
    fn check(&self, faults: &mut Faults) {
        let graduated = [GlasswareKind::Burette, GlasswareKind::Cylinder];
        kind(
            "calibration.taken_with",
            &self.taken_with,
            &graduated,
            faults,
        );
        let flask = [GlasswareKind::Flask];
        kind("calibration.made_up_in", &self.made_up_in, &flask, faults);
        let instrument = [GlasswareKind::Spectrophotometer];
        let key = "calibration.spectrophotometer";
        kind(key, &self.instrument, &instrument, faults);
        positive("calibration.nominal_mol_per_L", self.nominal, faults);
        let mut fault = |what| faults.push(ProcedureFault::new("calibration.stock_mL", what));
        let most = self.taken_with.capacity().min(self.made_up_in.capacity());
        let outside = |v: &&Decimal| **v < Decimal::ZERO || **v > most;
        if let Some(found) = self.stock.iter().find(outside) {
            fault(format!(
                "found {found}, expected 0 to {most} mL, what the glassware holds"
            ));
        }
        let mut different = self.stock.clone();
        different.sort_unstable();
        different.dedup();
        if different.len() < 3 {
            fault(format!(
                "found {} different volumes, expected at least 3, so that scatter about the line can be seen",
                different.len()
            ));
        } else if self.stock.len() > 12 {
            let found = self.stock.len();
            fault(format!("found {found} volumes, expected at most 12"));
        }
    }

    /// Volume of stock in a standard, mL, by its place from 1.
    fn stock_in(&self, number: u32) -> Option<Decimal> {
        let index = (number as usize).saturating_sub(1);
        self.stock.get(index).copied()
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
            label: of.to_string(),
            what,
        };
        let stock = self.stock_in(number);
        let stock = stock.ok_or_else(|| none("no such standard"))?;
        let lot = row.lot.ok_or_else(|| none("no lot of the stock"))?;
        if Column::Absorbance.get(row.titration).is_none() {
            return Err(none("no absorbance"));
        }
        let molarity = builder.molarity(lot, Party::Stock, &self.species);
        let quantity = Quantity::new(Role::StandardStock).of(of);
        let volume = builder.graph.given(quantity, "mL", stock);
        if !stock.is_zero() {
            // a burette's delivery is two readings, a cylinder's volume one
            let reading = if self.taken_with.kind() == GlasswareKind::Burette {
                2f64.sqrt() * triangular(builder.procedure.uncertainty.burette_reading)
            } else {
                volume_reading(&self.taken_with)
            };
            let reading = Component::each("stock volume reading", reading, of);
            builder.graph.uncertain(volume, reading);
            let standard = triangular(self.taken_with.tolerance());
            let cause = "calibration of what measures the stock";
            let calibration = Component::shared(cause, standard);
            builder.graph.uncertain(volume, calibration);
            builder.warmth(volume);
        }
        let flask = self.flask(builder, Role::StandardFlask, of);
        let quotient = Operation::quotient([molarity, volume], [flask]);
        let quantity = Quantity::from(CONCENTRATION).of(of);
        builder.graph.step(quantity, "mol/L", quotient)
    }

    /// Each standard and each sample has a flask of its own.
    fn flask(&self, builder: &mut Builder, role: Role, of: Of) -> StepId {
        let piece = &self.made_up_in;
        let quantity = Quantity::new(role).of(of);
        let step = builder.graph.given(quantity, "mL", piece.capacity());
        let place = order_of_magnitude(piece.tolerance()).saturating_neg();
        builder.graph.significant(step, u32::try_from(place).ok());
        let standard = triangular(piece.tolerance());
        let component = Component::each("flask calibration", standard, of);
        builder.graph.uncertain(step, component);
        builder.warmth(step);
        step
    }
}

impl SchemeRules for CalibrationLine {
    fn words(&self) -> &'static str {
        "absorbance against a line of standards"
    }

    fn facts(&self) -> Vec<(&'static str, String)> {
        let line = &self.calibration;
        let stock: Vec<String> = line.stock.iter().map(ToString::to_string).collect();
        let words = format!(
            "{} mL of {}, nominally {} mol/L, taken with a {} and made up in a {}; read on a {}",
            stock.join(", "),
            printed(&line.species.to_string()),
            line.nominal,
            line.taken_with.title(),
            line.made_up_in.title(),
            line.instrument.title()
        );
        vec![("Standards", words)]
    }

    fn instruments(&self) -> String {
        format!(
            "Absorbance of every standard and of the sample against the same reference: {}.",
            display_words(&self.calibration.instrument)
        )
    }

    fn ratio_words(&self) -> String {
        format!(
            "{} {} per {}; line through {} standards",
            self.analyte_per_species,
            self.asked.analyte,
            self.calibration.species,
            self.calibration.stock.len()
        )
    }

    fn asked(&self) -> Option<&Asked> {
        Some(&self.asked)
    }

    fn reagents(&self) -> Reagents<'_> {
        Reagents {
            titrant: None,
            excess: None,
            lot: Some((&self.calibration.species, self.calibration.nominal)),
        }
    }

    fn pieces_mut(&mut self) -> Vec<&mut Glassware> {
        Vec::new()
    }

    fn again(&self, common: &Common) -> Result<Scheme, Faults> {
        Self::new(common, self.calibration.clone()).map(Scheme::CalibrationLine)
    }

    fn standards(&self) -> Vec<Standard> {
        let line = &self.calibration;
        let most = line.stock.iter().map(|v| as_f64(*v)).fold(0.0, f64::max);
        let flask = line.made_up_in.title();
        let standard = |stock: &Decimal| Standard {
            words: format!("{stock} mL of stock in a {flask}"),
            signal: TOP_ABSORBANCE * as_f64(*stock) / most,
        };
        line.stock.iter().map(standard).collect()
    }

    fn tells_apart(&self) -> bool {
        false
    }

    fn columns(&self, _: usize) -> Vec<Column> {
        vec![Column::Absorbance]
    }

    fn instrument(&self) -> &Glassware {
        &self.calibration.instrument
    }

    fn measure(&self, _: &mut Builder, _: &Titration, _: Of) -> Worked<Measured> {
        Ok(Measured::default())
    }

    /// The line A = a + b · c by least squares through the standards, each c = c(stock) · V(stock) / V(flask), mol/L:
    /// its slope and its intercept.
    ///
    /// An absorbance is uncertain by the residual standard deviation s(y/x) = √(Σ(A − a − b·c)² / (n − 2)), so that the
    /// law of propagation gives the textbook's s(x₀) = s(y/x)/b · √(1/p + 1/n + (y₀ − ȳ)²/(b²·Sxx)) (QUAM:2012, E.4),
    /// with what stock and flasks add.
    fn shared<'a>(&self, builder: &mut Builder<'a>, rows: &[LabRow<'a>]) -> Worked<Shared> {
        let (mut x, mut y) = (StepIds::new(), StepIds::new());
        for row in rows {
            let TrialLabel::Standard(number) = row.titration.trial else {
                continue;
            };
            x.push(self.calibration.concentration(builder, number, row)?);
            let read = Column::Absorbance.get(row.titration);
            let value = read.map_or(Decimal::ZERO, |read| read.value());
            let quantity = absorbance(Of::Standard(number));
            y.push(builder.graph.given(quantity, "", value));
        }
        if x.len() < 3 {
            return Err(WorkUpError {
                label: "calibration line".into(),
                what: "fewer than three standards",
            });
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
        let digit = self.calibration.instrument.readable_step();
        let digit = digit.map_or(0.0, rectangular) / 2.0;
        // the display's last digit may be wider than the scatter
        let (standard, degrees_of_freedom) = if observed > digit {
            (observed, degrees_of_freedom)
        } else {
            (digit, f64::INFINITY)
        };
        for id in y {
            // one estimate for standards and samples alike
            let component = Component {
                scope: Scope::Common,
                ..Component::each(SCATTER, standard, Of::All).estimated(degrees_of_freedom)
            };
            builder.graph.uncertain(id, component);
        }
        Ok(Shared {
            steps: [slope, intercept].into_iter().collect(),
            standard,
            degrees_of_freedom,
        })
    }

    /// c = (A − a) / b, n(A) = c · V(flask) · ratio, then per sample.
    fn trial<'a>(&self, builder: &mut Builder<'a>, trial: &Trial<'a>) -> Worked<StepId> {
        let (calibration, asked, of) = (&self.calibration, &self.asked, trial.of);
        let missing = |what| trial.missing("absorbance", what);
        let [slope, intercept] = trial.shared.steps.as_slice() else {
            return Err(missing("no calibration line"));
        };
        let read = Column::Absorbance.get(trial.row.titration);
        let read = read.ok_or_else(|| missing("no reading of it"))?;
        let absorbance = builder.graph.given(absorbance(of), "", read.value());
        let component = Component::each(SCATTER, trial.shared.standard, of);
        let component = component.estimated(trial.shared.degrees_of_freedom);
        builder.graph.uncertain(absorbance, component);
        let terms = Operation::sum([(Sign::Plus, absorbance), (Sign::Minus, *intercept)]);
        let quantity = Quantity::from(ABOVE).of(of);
        let above = builder.graph.step(quantity, "", terms)?;
        let quotient = Operation::quotient([above], [*slope]);
        let quantity = Quantity::from(MEASURED).about(calibration.species.shared());
        let found = builder.graph.step(quantity.of(of), "mol/L", quotient)?;
        let flask = calibration.flask(builder, Role::MeasuredFlask, of);
        let mut factors = vec![found, flask];
        if calibration.species != asked.analyte {
            let species = (&asked.analyte, &calibration.species);
            // moles of analyte per mole of the stock's species
            let role = Role::Ratio(Party::Analyte, Party::Stock);
            factors.push(builder.ratio(role, species, self.analyte_per_species));
        }
        let quantity = Quantity::from(IN_FLASK).about(asked.analyte.shared());
        let product = Operation::product(factors);
        let amount = builder.graph.step(quantity.of(of), "mmol", product)?;
        let sample = builder.sample(trial.row.titration, of)?;
        builder.result(amount, asked, sample, of)
    }

    fn signal(&self, _: &Sample) -> Signal {
        Signal {
            name: "absorbance",
            unit: "",
            full: TOP_ABSORBANCE,
            scale: "the line",
            blank: None,
            inverse: false,
            of_vessel: false,
        }
    }

    fn measurements(&self, signal: f64, _: f64) -> Option<Vec<Measurement>> {
        Some(vec![Measurement::Display(Column::Absorbance, signal)])
    }
}

fn absorbance(of: Of) -> Quantity {
    let quantity = Quantity::new(Role::Absorbance).of(of);
    quantity.read(Instrument::Display)
}
