//! Calibration line: absorbance against the concentration of standards, and back from an absorbance to a
//! concentration.

use super::calibration_fit::read_absorbance;
use super::file::{earlier, formula};
use super::line_weights::{LineShape, LineWeights};
use super::parts::{checked, display_words, fault, kind, positive};
use super::{
    Faults, Measurement, OwnSlip, Reagents, Scheme, SchemeFile, SchemeRules, Signal, Standard,
};
use crate::chem::{Formula, Ratio, per_analyte, printed};
use crate::columns::Column;
use crate::language::{Message, message};
use crate::measure::{Glassware, GlasswareKind, as_f64};
use crate::procedure::{Allowed, Asked, Common, Per, ProcedureFault, Sample};
use crate::submission::Titration;
use crate::text::{Section, decimal, found};
use crate::workup::{
    Builder, Graph, LabRow, Measured, Of, Operation, Own, Party, Quantity, Role, Shared, Sign,
    StepId, Trial, Worked,
};
use rust_decimal::Decimal;

const CALIBRATION: &str = "calibration";

const LESS_BLANK: Own = Own::new("step.concentration-less-blank", "c*");
const IN_FLASK: Own = Own::new("step.amount-in-measured", "n");

/// Absorbance of the strongest standard where nothing is known of the colour (common practice: below 1).
pub(super) const TOP_ABSORBANCE: f64 = 0.9;

/// How far the strongest standard falls short of a straight line that the weakest begin, where the curve is a parabola.
const BENT: f64 = 0.08;

/// Absorbance that reagents and treatment bring where nothing is known of them (common practice).
const REAGENT_BLANK: f64 = 0.02;

/// From absorbance beside that of standards.
#[derive(Clone, Debug)]
pub struct CalibrationLine {
    pub calibration: Calibration,
    /// Analyte per species of the stock.
    pub analyte_per_species: Ratio,
    pub asked: Asked,
}

/// Standards made from a stock solution, and the instrument that reads them and the samples.
#[derive(Clone, Debug, PartialEq)]
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
    pub shape: LineShape,
    pub weights: LineWeights,
    /// Key of the earlier experiment, or of its procedure, in which the student measured these standards; none where they
    /// are measured beside the samples.
    pub from: Option<String>,
}

impl CalibrationLine {
    pub const TABLES: &[(&str, &str)] = &[(CALIBRATION, "is calibration-line")];

    pub fn read(file: &SchemeFile) -> Option<Self> {
        let calibration = Calibration::read(file, CALIBRATION);
        let common = file.common.as_ref()?;
        file.made(Self::new(common, calibration?))
    }

    pub fn new(common: &Common, calibration: Calibration) -> Result<Self, Faults> {
        let mut faults = common.check(&Allowed {
            result: Per::Sample,
            no_blank: None,
            titres: false,
            standard: false,
            molar_mass: false,
        });
        calibration.check(CALIBRATION, &mut faults);
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
    /// From that table; only a calibration has a line of another shape or other weights.
    pub(super) fn read(file: &SchemeFile, table: &'static str) -> Option<Self> {
        file.table(table, |section| {
            let mut keys = vec![
                "species",
                "nominal_mol_per_L",
                "taken_with",
                "made_up_in",
                "stock_mL",
                "spectrophotometer",
            ];
            if table == CALIBRATION {
                keys.extend(["line", "weights", "standard_deviations", "from"]);
            }
            section.only(&keys);
            let piece = |key: &str, kinds: &[GlasswareKind]| file.piece(&section, key, kinds);
            let species = formula(&section, "species");
            let nominal = section.number("nominal_mol_per_L");
            let graduated = [GlasswareKind::Burette, GlasswareKind::Cylinder];
            let taken_with = piece("taken_with", &graduated);
            let made_up_in = piece("made_up_in", &[GlasswareKind::Flask]);
            let instrument = piece("spectrophotometer", &[GlasswareKind::Spectrophotometer]);
            let stock = decimals(&section, "stock_mL");
            let shape = section.parsed_if_any("line", |text| {
                let names = LineShape::ALL.map(LineShape::name).join(" or ");
                LineShape::from_name(text).ok_or_else(|| found(text, &names))
            });
            let weights = LineWeights::read(&section);
            let from = match section.has("from") {
                true => earlier(&section).map(Some),
                false => Some(None),
            };
            Some(Self {
                species: species?,
                nominal: nominal?,
                taken_with: taken_with?,
                made_up_in: made_up_in?,
                stock: stock?,
                instrument: instrument?,
                shape: shape.unwrap_or(LineShape::Straight),
                weights: weights?,
                from: from?,
            })
        })
    }

    /// Whether samples that are read on the line of the other are read on this one: it has standards of its own, the same.
    pub fn is_line_of(&self, other: &Self) -> bool {
        let with_own = |line: &Self| Self {
            from: None,
            ..line.clone()
        };
        self.from.is_none() && with_own(other) == *self
    }

    /// What the standards, or vessels, hold and how they are read.
    pub(super) fn words(&self) -> String {
        let stock: Vec<String> = self.stock.iter().map(ToString::to_string).collect();
        format!(
            "{} mL of {}, nominally {} mol/L, taken with a {} and made up in a {}; read on a {}",
            stock.join(", "),
            printed(&self.species.to_string()),
            self.nominal,
            self.taken_with.title(),
            self.made_up_in.title(),
            self.instrument.title()
        )
    }

    pub(super) fn check(&self, table: &str, faults: &mut Faults) {
        let at = |key: &str| format!("{table}.{key}");
        let graduated = [GlasswareKind::Burette, GlasswareKind::Cylinder];
        kind(&at("taken_with"), &self.taken_with, &graduated, faults);
        let flask = [GlasswareKind::Flask];
        kind(&at("made_up_in"), &self.made_up_in, &flask, faults);
        let instrument = [GlasswareKind::Spectrophotometer];
        kind(
            &at("spectrophotometer"),
            &self.instrument,
            &instrument,
            faults,
        );
        positive(&at("nominal_mol_per_L"), self.nominal, faults);
        let mut fault = |what| faults.push(ProcedureFault::new(at("stock_mL"), what));
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
        let fewest = self.shape.terms().saturating_add(1);
        if different.len() < fewest {
            fault(format!(
                "found {} different volumes, expected at least {fewest}, so that scatter about the line can be seen",
                different.len()
            ));
        } else if self.stock.len() > 12 {
            let found = self.stock.len();
            fault(format!("found {found} volumes, expected at most 12"));
        }
        self.weights.check(&self.stock, faults);
    }
}

/// The numbers of a list; none where one of them is none.
pub(super) fn decimals(section: &Section, key: &'static str) -> Option<Vec<Decimal>> {
    let texts = section.texts(key);
    let number = |text: &String| decimal(text).map_err(|why| section.fault(key, why)).ok();
    texts.iter().map(number).collect()
}

impl SchemeRules for CalibrationLine {
    fn words(&self) -> &'static str {
        "absorbance against a line of standards"
    }

    fn facts(&self) -> Vec<(&'static str, String)> {
        let line = &self.calibration;
        let mut facts = vec![("Standards", line.words())];
        if line.shape != LineShape::Straight || line.weights != LineWeights::Equal {
            let (shape, weights) = (line.shape.words(), line.weights.words());
            facts.push(("Line", format!("{shape}, {weights}")));
        }
        if let Some(from) = &line.from {
            let words = format!("the student\u{2019}s standards of {from} are taken over");
            facts.push(("Standards measured in", words));
        }
        facts
    }

    fn instruments(&self) -> Message {
        let piece = display_words(&self.calibration.instrument);
        match self.calibration.from {
            Some(_) => message!("instruments.absorbance-sample", piece = piece),
            None => message!("instruments.absorbance-standards", piece = piece),
        }
    }

    fn ratio_words(&self) -> String {
        format!(
            "{} {} per {}; {} through {} standards",
            self.analyte_per_species,
            self.asked.analyte,
            self.calibration.species,
            self.calibration.shape.curve(),
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
        let flask = line.made_up_in.words();
        let bent = match line.shape {
            LineShape::Straight => 0.0,
            LineShape::Quadratic => BENT,
        };
        let standard = |stock: &Decimal| {
            let share = as_f64(*stock) / most;
            Standard {
                words: message!("instruments.standard", stock = *stock, flask = &flask),
                signal: TOP_ABSORBANCE * share * (1.0 + bent - bent * share),
            }
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

    fn measure(&self, builder: &mut Builder, row: &Titration, of: Of) -> Worked<Measured> {
        Ok(read_absorbance(builder, row, of))
    }

    fn shared<'a>(&self, builder: &mut Builder<'a>, rows: &[LabRow<'a>]) -> Worked<Shared> {
        self.calibration.through(builder, rows)
    }

    fn slips(&self, graph: &Graph) -> Vec<OwnSlip> {
        self.calibration.slips(graph)
    }

    /// c = (A − a) / b, of a parabola the c at which a + b·c + q·c² = A; less that of the reagent blank;
    /// n(A) = c · V(flask) · ratio, then per sample.
    fn trial<'a>(&self, builder: &mut Builder<'a>, trial: &Trial<'a>) -> Worked<StepId> {
        let (calibration, asked, of) = (&self.calibration, &self.asked, trial.of);
        let absorbance = trial.signal("step.absorbance")?;
        let mut found = calibration.measured(builder, trial, absorbance)?;
        if let Some(blank) = trial.blanks[0] {
            let blank = calibration.in_blank(builder, trial, blank)?;
            let terms = Operation::sum([(Sign::Plus, found), (Sign::Minus, blank)]);
            let quantity = Quantity::from(LESS_BLANK).of(of);
            found = builder.graph.step(quantity, "mol/L", terms)?;
        }
        let flask = calibration.flask(builder, Role::MeasuredFlask, (of, 0));
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
            least: 0.0,
            full: TOP_ABSORBANCE,
            scale: "the line",
            blank: Some(REAGENT_BLANK),
            inverse: false,
            bent: self.calibration.shape == LineShape::Quadratic,
            of_vessel: false,
        }
    }

    fn measurements(&self, signal: f64, _: f64) -> Option<Vec<Measurement>> {
        Some(vec![Measurement::Display(Column::Absorbance, signal)])
    }
}
