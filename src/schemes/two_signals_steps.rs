//! The steps from two signals to the amount of one analyte, by Cramer's rule.

use super::calibration_fit::own_flask;
use super::two_signals::{Pair, TwoSignals};
use crate::chem::Ratio;
use crate::columns::Column;
use crate::measure::as_f64;
use crate::procedure::Titrant;
use crate::workup::{
    Builder, Component, Instrument, MG_PER_G, Operation, Own, Party, Quantity, Role, Sign, StepId,
    Trial, Worked, rectangular,
};
use rust_decimal::Decimal;

/// Molar absorptivities by wavelength, of the analyte and of the other.
const ABSORPTIVITY: [[Own; 2]; 2] = [
    [
        Own::new("step.absorptivity-first", "\u{3b5}A\u{2081}"),
        Own::new("step.absorptivity-first", "\u{3b5}B\u{2081}"),
    ],
    [
        Own::new("step.absorptivity-second", "\u{3b5}A\u{2082}"),
        Own::new("step.absorptivity-second", "\u{3b5}B\u{2082}"),
    ],
];
const CAUSES: [[&str; 2]; 2] = [
    [
        "cause.absorptivity-analyte-first",
        "cause.absorptivity-other-first",
    ],
    [
        "cause.absorptivity-analyte-second",
        "cause.absorptivity-other-second",
    ],
];
const PATH: Own = Own::new("step.path", "l");
pub(super) const SECOND: Own = Own::new("step.absorbance-second", "A\u{2032}");
const FIRST_PART: Own = Own::new("step.first-part", "P");
const SECOND_PART: Own = Own::new("step.second-part", "Q");
const DIFFERENCE: Own = Own::new("step.difference", "D");
const STRAIGHT: Own = Own::new("step.straight", "G");
const CROSSED: Own = Own::new("step.crossed", "H");
const DETERMINANT: Own = Own::new("step.determinant", "B");
pub(super) const FOUND: Own = Own::new("step.concentration-measured", "c");
const IN_FLASK: Own = Own::new("step.amount-in-measured", "n");

pub(super) const USED: Own = Own::new("step.amount", "nT");
pub(super) const WHOLE: Own = Own::new("step.amount-whole", "T");
const USE: [Own; 2] = [
    Own::new("step.titrant-per-analyte", "uA"),
    Own::new("step.titrant-per-other", "uB"),
];
const ALL_OTHER: Own = Own::new("step.all-other", "P");
const WEIGHED: Own = Own::new("step.weighed-times-titrant", "Q");
const LACKING: Own = Own::new("step.difference", "D");
const OF_ANALYTE: Own = Own::new("step.titrant-of-analyte", "G");
const OF_OTHER: Own = Own::new("step.titrant-of-other", "H");
const APART: Own = Own::new("step.molar-masses-apart", "B");
pub(super) const ANALYTE: Own = Own::new("step.amount", "n");

const PER_CM: &str = "L/(mol\u{b7}cm)";
const PER_CM_SQUARED: &str = "L\u{b2}/(mol\u{b2}\u{b7}cm\u{b2})";

impl TwoSignals {
    /// c(A) = (A₁·ε_B₂ − A₂·ε_B₁) / ((ε_A₁·ε_B₂ − ε_B₁·ε_A₂)·l), n(A) = c · V(flask), then per sample. Each absorptivity is off by
    /// itself; the photometer's accuracy is one and the same error in all trials, another one at each wavelength.
    pub(super) fn by_absorbances<'a>(
        &self,
        builder: &mut Builder<'a>,
        trial: &Trial<'a>,
    ) -> Worked<StepId> {
        let Pair::Wavelengths {
            absorptivities,
            uncertainty,
            path,
            made_up_in,
            instrument,
        } = &self.pair
        else {
            return Err(trial.missing("step.absorbance", "why.no-reading"));
        };
        let of = trial.of;
        let columns = [Column::Absorbance, Column::SecondAbsorbance];
        let quantities = [Quantity::new(Role::Absorbance), Quantity::from(SECOND)];
        let accuracies = ["cause.photometer-first", "cause.photometer-second"];
        let mut read = Vec::new();
        for ((column, quantity), accuracy) in columns.into_iter().zip(quantities).zip(accuracies) {
            let reading = column.get(trial.row.titration);
            let reading =
                reading.ok_or_else(|| trial.missing("step.absorbance", "why.no-reading"))?;
            let quantity = quantity.of(of).read(Instrument::Display);
            let step = builder.graph.given(quantity, "", reading.value());
            let digit = instrument.readable_step().map_or(0.0, rectangular) / 2.0;
            builder
                .graph
                .uncertain(step, Component::each("cause.last-digit", digit, of));
            let standard = rectangular(instrument.tolerance());
            builder
                .graph
                .uncertain(step, Component::shared(accuracy, standard));
            read.push(step);
        }
        let mut known = Vec::new();
        for (row, (names, causes)) in absorptivities.iter().zip(ABSORPTIVITY.iter().zip(CAUSES)) {
            for ((value, own), (cause, species)) in row
                .iter()
                .zip(names)
                .zip(causes.into_iter().zip([&self.asked.analyte, &self.other]))
            {
                let quantity = Quantity::from(*own).about(species.shared());
                known.push(builder.once(quantity, |builder, quantity| {
                    let step = builder.graph.given(quantity, PER_CM, *value);
                    builder.graph.significant(step, None);
                    let standard = as_f64(*value) * as_f64(*uncertainty) / 100.0;
                    builder
                        .graph
                        .uncertain(step, Component::shared(cause, standard));
                    step
                }));
            }
        }
        let [analyte_first, other_first, analyte_second, other_second] = known.as_slice() else {
            return Err(trial.missing("why.absorptivity", "why.not-four"));
        };
        let times = |builder: &mut Builder, own: Own, one: StepId, other: StepId| {
            let product = Operation::product([one, other]);
            builder
                .graph
                .step(Quantity::from(own).of(of), PER_CM, product)
        };
        let first = times(builder, FIRST_PART, read[0], *other_second)?;
        let second = times(builder, SECOND_PART, read[1], *other_first)?;
        let terms = Operation::sum([(Sign::Plus, first), (Sign::Minus, second)]);
        let quantity = Quantity::from(DIFFERENCE).of(of);
        let difference = builder.graph.step(quantity, PER_CM, terms)?;
        let product = Operation::product([*analyte_first, *other_second]);
        let straight = builder.step_once(STRAIGHT, PER_CM_SQUARED, product)?;
        let product = Operation::product([*other_first, *analyte_second]);
        let crossed = builder.step_once(CROSSED, PER_CM_SQUARED, product)?;
        let terms = Operation::sum([(Sign::Plus, straight), (Sign::Minus, crossed)]);
        let determinant = builder.step_once(DETERMINANT, PER_CM_SQUARED, terms)?;
        let path = builder.once(PATH, |builder, quantity| {
            let step = builder.graph.given(quantity, "cm", *path);
            builder.graph.significant(step, None);
            step
        });
        let quantity = Quantity::from(FOUND).about(self.asked.analyte.shared());
        let quotient = Operation::quotient([difference], [determinant, path]);
        let found = builder.graph.step(quantity.of(of), "mol/L", quotient)?;
        let flask = own_flask(builder, Role::MeasuredFlask, made_up_in, (of, 0));
        let quantity = Quantity::from(IN_FLASK).about(self.asked.analyte.shared());
        let product = Operation::product([found, flask]);
        let amount = builder.graph.step(quantity.of(of), "mmol", product)?;
        let sample = builder.sample(trial.row.titration, of)?;
        builder.result(amount, &self.asked, sample, of)
    }

    /// u_A·n(A) + u_B·n(B) = n(T) and M_A·n(A) + M_B·n(B) = m give n(A) = (M_B·n(T) − u_B·m) / (u_A·M_B − u_B·M_A).
    pub(super) fn by_mass_and_titre<'a>(
        &self,
        builder: &mut Builder<'a>,
        trial: &Trial<'a>,
        titrant: &Titrant,
        uses: &[Ratio; 2],
    ) -> Worked<StepId> {
        let (asked, of) = (&self.asked, trial.of);
        let (analyte, other) = (&asked.analyte, &self.other);
        let titre = builder.net(trial.delivered()?, trial.blanks[0], of)?;
        let molarity = builder.molarity(trial.titrant_lot()?, Party::Titrant, &titrant.species);
        let own = |own: Own| Quantity::from(own).of(of);
        let product = Operation::product([molarity, titre]);
        let quantity = own(USED).about(titrant.species.shared());
        let mut used = builder.graph.step(quantity, "mmol", product)?;
        if let Some((flask, pipette)) = builder.aliquot_factor() {
            let quantity = own(WHOLE).about(titrant.species.shared());
            let whole = Operation::quotient([used, flask], [pipette]);
            used = builder.graph.step(quantity, "mmol", whole)?;
        }
        let mass = builder.sample(trial.row.titration, of)?;
        let [use_analyte, use_other] = [0, 1].map(|place| {
            let species = [analyte, other][place];
            let quantity = Quantity::from(USE[place]).about(species.shared());
            let (over, under) = uses[place].parts();
            builder.exact(quantity, over.checked_div(under).unwrap_or(Decimal::ZERO))
        });
        let [mass_analyte, mass_other] = [analyte, other].map(|one| builder.molar_mass(one));
        let thousand = builder.exact(MG_PER_G, Decimal::ONE_THOUSAND);
        let all_other = Operation::product([mass_other, used]);
        let all_other = builder.graph.step(own(ALL_OTHER), "mg", all_other)?;
        let weighed = Operation::product([thousand, use_other, mass]);
        let weighed = builder.graph.step(own(WEIGHED), "mg", weighed)?;
        let terms = Operation::sum([(Sign::Plus, all_other), (Sign::Minus, weighed)]);
        let lacking = builder.graph.step(own(LACKING), "mg", terms)?;
        let product = Operation::product([use_analyte, mass_other]);
        let of_analyte = builder.step_once(OF_ANALYTE, "g/mol", product)?;
        let product = Operation::product([use_other, mass_analyte]);
        let of_other = builder.step_once(OF_OTHER, "g/mol", product)?;
        let terms = Operation::sum([(Sign::Plus, of_analyte), (Sign::Minus, of_other)]);
        let apart = builder.step_once(APART, "g/mol", terms)?;
        let quotient = Operation::quotient([lacking], [apart]);
        let quantity = own(ANALYTE).about(analyte.shared());
        let amount = builder.graph.step(quantity, "mmol", quotient)?;
        builder.express(amount, asked, mass, of)
    }
}
