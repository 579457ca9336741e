//! Standard addition: equal portions of the sample with growing volumes of a stock, each made up to one volume; the line
//! through their absorbances, followed back to zero, says what the sample brings.

use super::calibration_fit::{INTERCEPT, straight};
use super::calibration_line::{Calibration, TOP_ABSORBANCE};
use super::own_slips::all_of;
use super::parts::{checked, display_words, fault};
use super::{Faults, Measurement, OwnSlip, Reagents, Scheme, SchemeFile, SchemeRules, Signal};
use crate::chem::{Ratio, per_analyte};
use crate::columns::{Column, MAX_FILLINGS};
use crate::judge::SlipCode;
use crate::language::{Message, message};
use crate::measure::{Glassware, as_f64};
use crate::procedure::{Allowed, Asked, Common, Per, ProcedureFault, Sample};
use crate::submission::Titration;
use crate::words::counted;
use crate::workup::{
    Builder, Cause, Component, Graph, Instrument, Measured, Of, Operation, Own, Party, Quantity,
    Role, StepId, StepIds, Trial, Worked, rectangular,
};

const ADDITION: &str = "addition";

const EXTRAPOLATED: Own = Own::new("step.concentration-by-sample", "cx");
const IN_VESSEL: Own = Own::new("step.amount-in-vessel", "n");

/// Absorbance of the sample alone, and of the last addition alone, where nothing is known of the colour.
const HALF: f64 = TOP_ABSORBANCE / 2.0;

/// By additions to the sample.
#[derive(Clone, Debug)]
pub struct StandardAddition {
    /// The stock and the vessels; a volume of stock for each vessel.
    pub vessels: Calibration,
    /// Analyte per species of the stock.
    pub analyte_per_species: Ratio,
    pub asked: Asked,
}

impl StandardAddition {
    pub const TABLES: &[(&str, &str)] = &[(ADDITION, "is standard-addition")];

    pub fn read(file: &SchemeFile) -> Option<Self> {
        let vessels = Calibration::read(file, ADDITION);
        let common = file.common.as_ref()?;
        file.made(Self::new(common, vessels?))
    }

    pub fn new(common: &Common, vessels: Calibration) -> Result<Self, Faults> {
        let mut faults = common.check(&Allowed {
            result: Per::Sample,
            no_blank: Some("none: the line is followed back to an absorbance of zero"),
            titres: false,
            standard: false,
            molar_mass: false,
        });
        vessels.check(ADDITION, &mut faults);
        let mut fault_at = |key: &str, what: &str| {
            faults.push(ProcedureFault::new(format!("{ADDITION}.{key}"), what));
        };
        if vessels.stock.first().is_none_or(|first| !first.is_zero()) {
            fault_at(
                "stock_mL",
                "expected 0 first: a vessel with the sample alone",
            );
        }
        if vessels.stock.len() > MAX_FILLINGS {
            let what = format!("found more than {MAX_FILLINGS} vessels, expected fewer");
            fault_at("stock_mL", &what);
        }
        if common.sample.is_unlike() {
            let what = "expected portions that are alike: a single-mark sample, or one made up in a flask and pipetted";
            faults.push(ProcedureFault::new("sample.glassware", what));
        }
        let made = common.asked().and_then(|asked| {
            let ratio = per_analyte(&vessels.species, &asked.analyte);
            Ok(Self {
                analyte_per_species: ratio.map_err(|why| fault("addition.species", why))?,
                vessels,
                asked,
            })
        });
        checked(faults, made)
    }
}

impl SchemeRules for StandardAddition {
    fn words(&self) -> &'static str {
        "standard addition: absorbance against what is added"
    }

    fn facts(&self) -> Vec<(&'static str, String)> {
        vec![("Additions", self.vessels.words())]
    }

    fn instruments(&self) -> Message {
        let piece = display_words(&self.vessels.instrument);
        message!("instruments.absorbance-vessels", piece = piece)
    }

    fn ratio_words(&self) -> String {
        format!(
            "{} {} per {}; {}",
            self.analyte_per_species,
            self.asked.analyte,
            self.vessels.species,
            counted(self.vessels.stock.len(), "vessel", "vessels")
        )
    }

    fn asked(&self) -> Option<&Asked> {
        Some(&self.asked)
    }

    fn reagents(&self) -> Reagents<'_> {
        Reagents {
            titrant: None,
            excess: None,
            lot: Some((&self.vessels.species, self.vessels.nominal)),
        }
    }

    fn pieces_mut(&mut self) -> Vec<&mut Glassware> {
        Vec::new()
    }

    fn again(&self, common: &Common) -> Result<Scheme, Faults> {
        Self::new(common, self.vessels.clone()).map(Scheme::StandardAddition)
    }

    fn tells_apart(&self) -> bool {
        false
    }

    fn columns(&self, _: usize) -> Vec<Column> {
        (1..=self.vessels.stock.len())
            .map(Column::Vessels)
            .collect()
    }

    fn instrument(&self) -> &Glassware {
        &self.vessels.instrument
    }

    fn measure(&self, _: &mut Builder, _: &Titration, _: Of) -> Worked<Measured> {
        Ok(Measured::default())
    }

    /// The absorbance without addition taken for the intercept of the line.
    fn slips(&self, graph: &Graph) -> Vec<OwnSlip> {
        let intercepts = all_of(graph, INTERCEPT);
        let instead = intercepts.into_iter().map(|intercept| {
            let of = graph.get(intercept).quantity.of;
            let read = graph.find(Role::Absorbance, of);
            (intercept, read.map(|id| graph.value(id)))
        });
        let place = "the first vessel\u{2019}s absorbance for it";
        let slip = OwnSlip::new(SlipCode::InterceptIgnored, place, instead);
        slip.into_iter().collect()
    }

    /// A = a + b · c(added) through the vessels of one series; c(sample) = a / b, n(A) = c · V(flask) · ratio, then per sample.
    ///
    /// An absorbance is uncertain by the residual standard deviation, so that the law of propagation gives
    /// s(x) = s(y/x)/b · √(1/n + ȳ²/(b²·Σ(x − x̄)²)) (Miller and Miller, Statistics and Chemometrics for Analytical Chemistry, 5.8;
    /// from memory), with what stock and flasks add.
    fn trial<'a>(&self, builder: &mut Builder<'a>, trial: &Trial<'a>) -> Worked<StepId> {
        let (vessels, asked, of) = (&self.vessels, &self.asked, trial.of);
        let lot = trial.row.lot;
        let lot = lot.ok_or_else(|| trial.missing("why.stock", "why.no-lot"))?;
        let flask = vessels.flask(builder, Role::MeasuredFlask, (of, 0));
        let (mut x, mut y) = (StepIds::new(), StepIds::new());
        for (number, stock) in (1..).zip(&vessels.stock) {
            let read = Column::Vessels(number).get(trial.row.titration);
            let read = read.ok_or_else(|| trial.missing("step.absorbance", "why.no-reading"))?;
            x.push(vessels.made_up(builder, lot, *stock, (of, number))?);
            let quantity = Quantity::new(Role::Absorbance).of(of).point(number);
            let quantity = quantity.read(Instrument::Display);
            y.push(builder.graph.given(quantity, "", read.value()));
        }
        let line = straight(builder, &x, &y, of)?;
        self.scatter(builder, (&x, &y), &line, of);
        let [slope, intercept] = line.as_slice() else {
            return Err(trial.missing("step.absorbance", "why.no-line"));
        };
        let quantity = Quantity::from(EXTRAPOLATED).about(vessels.species.shared());
        let quotient = Operation::quotient([*intercept], [*slope]);
        let found = builder.graph.step(quantity.of(of), "mol/L", quotient)?;
        let mut factors = vec![found, flask];
        if vessels.species != asked.analyte {
            let species = (&asked.analyte, &vessels.species);
            let role = Role::Ratio(Party::Analyte, Party::Stock);
            factors.push(builder.ratio(role, species, self.analyte_per_species));
        }
        let quantity = Quantity::from(IN_VESSEL).about(asked.analyte.shared());
        let product = Operation::product(factors);
        let amount = builder.graph.step(quantity.of(of), "mmol", product)?;
        let sample = builder.sample(trial.row.titration, of)?;
        builder.result(amount, asked, sample, of)
    }

    fn signal(&self, _: &Sample) -> Signal {
        Signal {
            name: "absorbance",
            unit: "",
            least: 0.0,
            full: HALF,
            scale: "what leaves room for the additions",
            blank: None,
            inverse: false,
            bent: false,
            of_vessel: false,
        }
    }

    fn measurements(&self, signal: f64, _: f64) -> Option<Vec<Measurement>> {
        let stock = self.vessels.stock.iter().map(|v| as_f64(*v));
        let most = stock.clone().fold(0.0, f64::max);
        let shows = |(number, stock): (usize, f64)| {
            Measurement::Display(Column::Vessels(number), signal + HALF * stock / most)
        };
        Some((1..).zip(stock).map(shows).collect())
    }
}

impl StandardAddition {
    /// Each series has an estimate of its own; the display's last digit may be wider than the scatter.
    fn scatter(&self, builder: &mut Builder, (x, y): (&StepIds, &StepIds), line: &StepIds, of: Of) {
        let value = |id: &StepId| as_f64(builder.graph.value(*id));
        let [slope, intercept] = [0, 1].map(|place| line.get(place).map_or(0.0, value));
        let off = |(x, y): (&StepId, &StepId)| value(y) - intercept - slope * value(x);
        let squares: f64 = x.iter().zip(y).map(|point| off(point).powi(2)).sum();
        let degrees_of_freedom = x.len() as f64 - 2.0;
        let observed = (squares / degrees_of_freedom).sqrt();
        let digit = self.vessels.instrument.readable_step();
        let digit = digit.map_or(0.0, rectangular) / 2.0;
        let (standard, degrees_of_freedom) = if observed > digit {
            (observed, degrees_of_freedom)
        } else {
            (digit, f64::INFINITY)
        };
        for id in y {
            let cause = Cause::Fit("cause.scatter-line", of);
            let component = Component::each(cause, standard, of).estimated(degrees_of_freedom);
            builder.graph.uncertain(*id, component);
        }
    }
}
