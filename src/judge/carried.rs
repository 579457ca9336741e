//! A titrant carried over: its molarity is what students found for it in an earlier experiment.

use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};

use super::agreement::Agreement;
use super::case::Case;
use super::evaluate::Outcome;
use super::raise::FLAG_LEVEL;
use crate::ids::{ExperimentKey, LotCode};
use crate::measure::{Reading, as_f64, from_f64, plain, to_figures};
use crate::stats::{algorithm_a, student_t_two_sided};
use crate::submission::Titration;
use crate::truth::{Assigned, Lot, Sealed, Standardised};
use crate::workup::WorkUp;

/// A titrant as its users found it.
#[derive(Clone, Debug, PartialEq)]
pub struct CarriedTitrant {
    /// What was found, under the key of the experiment; its version counts what was handed in there.
    pub lot: Lot,
    /// What the bottle was assigned, if that is known.
    pub assigned: Option<Sealed<Assigned>>,
    /// What the student answered there, mol/L.
    pub answered: Option<Decimal>,
}

/// The standards that the student read in an earlier experiment: samples of a later one are read on their line.
#[derive(Clone, Debug, PartialEq)]
pub struct CarriedLine {
    /// Where they were read; the version counts what was handed in there.
    pub experiment: ExperimentKey,
    pub version: u32,
    /// Each with the lot of its stock.
    pub standards: Vec<Titration>,
}

/// What an evaluation says of a titrant carried over.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct CarriedOutcome {
    pub experiment: ExperimentKey,
    /// mol/L.
    pub molarity: Assigned,
    /// The result with the molarity that the bottle was assigned, in the result unit.
    pub result_as_assigned: Option<Decimal>,
    /// Whether what was found is off what was assigned by more than their uncertainties allow.
    pub is_off: bool,
}

const FIGURES: usize = 12;

impl CarriedTitrant {
    /// From the results of those whose titrant it is: one as it stands; of several the robust mean. What they share is not
    /// known here, so their own uncertainty counts in full, beside their scatter.
    pub fn of(experiment: &ExperimentKey, reagent: &str, results: &[&Outcome]) -> Option<Self> {
        let (molarity, degrees_of_freedom) = match results {
            [] => return None,
            [one] => (
                Assigned::new(one.result, one.standard_uncertainty),
                one.degrees_of_freedom.map_or(f64::INFINITY, as_f64),
            ),
            several => pooled(several)?,
        };
        let lot = Lot {
            code: LotCode::new(experiment.as_str()),
            reagent: reagent.to_owned(),
            molarity: molarity.ok()?,
            version: 1,
            standardised: Some(Standardised { degrees_of_freedom }),
        };
        Some(Self {
            lot,
            assigned: None,
            answered: None,
        })
    }

    fn with(&self, molarity: Assigned) -> Self {
        let lot = Lot {
            molarity,
            ..self.lot.clone()
        };
        Self {
            lot,
            ..self.clone()
        }
    }

    /// Whether it is off what was assigned by more than both uncertainties allow at 99 %.
    fn is_off(&self, assigned: Assigned) -> bool {
        let found = self.lot.molarity;
        let off = as_f64(found.value.saturating_sub(assigned.value)).abs();
        let u = |molarity: Assigned| as_f64(molarity.standard_uncertainty);
        let standardised = self.lot.standardised.as_ref();
        let freedom = standardised.map_or(f64::INFINITY, |s| s.degrees_of_freedom);
        let limit = student_t_two_sided(1.0 - FLAG_LEVEL, freedom);
        off > limit * u(found).hypot(u(assigned))
    }
}

type Checked = Result<Assigned, (&'static str, String)>;

/// Robust mean, its standard uncertainty and degrees of freedom (Welch and Satterthwaite).
fn pooled(results: &[&Outcome]) -> Option<(Checked, f64)> {
    let number = results.len() as f64;
    let values: Vec<f64> = results.iter().map(|one| as_f64(one.result)).collect();
    let robust = algorithm_a(&values)?;
    let each = results.iter().map(|one| as_f64(one.standard_uncertainty));
    let own = each.sum::<f64>() / number;
    let freedom = results.iter().map(|one| one.degrees_of_freedom);
    let own_freedom: f64 = freedom.map(|one| one.map_or(f64::INFINITY, as_f64)).sum();
    let scatter = robust.standard_uncertainty();
    let standard = own.hypot(scatter);
    let rest = own.powi(4) / own_freedom + scatter.powi(4) / (number - 1.0);
    let value = from_f64(robust.mean, FIGURES)?;
    let molarity = Assigned::new(value, from_f64(standard, FIGURES)?);
    Some((molarity, standard.powi(4) / rest))
}

/// A submission with the molarity that its titrant was assigned in place of the one carried over.
pub(super) struct AsAssigned {
    pub titrant: CarriedTitrant,
    pub work_up: WorkUp,
    /// Whether the two molarities differ by more than their uncertainties allow.
    pub is_off: bool,
}

impl AsAssigned {
    /// None where nothing is carried over into it, or nothing was assigned.
    pub fn of(case: &Case) -> Option<Self> {
        let carried = case.carried?;
        let truth = carried.assigned.as_ref()?;
        let assigned = *truth.open();
        let rows = &case.hand_in.titrations;
        let uses = rows.iter().any(|row| row.lot.is_none());
        let titrant = uses.then(|| carried.with(assigned))?;
        let work_up = with(case, &titrant).work_up();
        Some(Self {
            is_off: carried.is_off(assigned),
            titrant,
            work_up,
        })
    }

    /// What is off, by how much, and what the result would be.
    pub fn evidence(&self, case: &Case) -> Option<String> {
        let (found, assigned) = (case.carried?.lot.molarity, self.titrant.lot.molarity);
        let percent = relative(found.value, assigned.value)?;
        let unit = case.procedure.result.unit.name();
        let figures = |value: Decimal, figures| plain(to_figures(value, figures));
        let mut evidence = format!(
            "{} mol/L carried over from {} against {} assigned, {} % off",
            figures(found.value, 4),
            self.titrant.lot.code,
            figures(assigned.value, 4),
            figures(percent, 2),
        );
        if let Some(value) = self.work_up.value() {
            let result = figures(value, 4);
            evidence.push_str(&format!("; with that the result is {result} {unit}"));
        }
        Some(evidence)
    }
}

fn relative(found: Decimal, assigned: Decimal) -> Option<Decimal> {
    super::case::relative_error(found, assigned)
}

fn with<'a>(case: &Case<'a>, titrant: &'a CarriedTitrant) -> Case<'a> {
    Case {
        carried: Some(titrant),
        ..*case
    }
}

/// Whether an answer follows from the readings with the molarity that the student answered for the titrant: an error in that
/// sum is not charged again.
pub(super) fn follows_from_answered(case: &Case, answer: &Reading) -> Option<Agreement> {
    let carried = case.carried?;
    let answered = Assigned::new(carried.answered?, carried.lot.molarity.standard_uncertainty);
    let titrant = carried.with(answered.ok()?);
    let work_up = with(case, &titrant).work_up();
    let agreement = Agreement::of(case.procedure, &work_up, answer)?;
    agreement.agrees.then_some(Agreement {
        with_answered_titrant: true,
        ..agreement
    })
}
