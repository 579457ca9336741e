//! An uncertainty budget for people: each cause with its share, and in words what it comes to.

use super::budget::Budget;
use super::component::Scope;
use crate::measure::{from_f64, plain, to_decimals, to_figures};

/// What makes a result uncertain.
#[derive(Clone, Debug, PartialEq)]
pub struct BudgetTable {
    /// Unit of the contributions.
    pub unit: &'static str,
    /// Those that count, largest first, then those for which the observed scatter stands.
    pub lines: Vec<BudgetLine>,
    /// Combined standard uncertainty, to two figures.
    pub standard: String,
    /// Expanded uncertainty at 95 %, to two figures.
    pub expanded: String,
    pub coverage_factor: String,
    /// Effective degrees of freedom; none if infinite.
    pub degrees_of_freedom: Option<String>,
    /// Which random part counts, in a sentence; empty where nothing is done more than once.
    pub random: String,
}

#[derive(Clone, Debug, PartialEq)]
pub struct BudgetLine {
    pub name: String,
    /// Whether all trials share it.
    pub shared: bool,
    /// Contribution in the unit; all have one number of decimals.
    pub amount: String,
    /// Share of the variance, percent; none where the observed scatter stands for it.
    pub share: Option<String>,
    /// Contribution over the combined standard uncertainty, 0 to 1 where it counts.
    pub relative: f64,
}

impl BudgetTable {
    /// Of a budget in that unit.
    pub fn of(budget: &Budget, unit: &'static str) -> Self {
        let two = |value: f64| {
            let value = from_f64(value, 6).map(|v| to_figures(v, 2).to_string());
            value.unwrap_or_default()
        };
        let observed = budget
            .observed_random
            .filter(|seen| *seen > budget.predicted_random);
        let cause = |name: &str, shared: bool, amount: f64, counts: bool| {
            let relative = amount / budget.standard;
            let share = from_f64(100.0 * relative * relative, 6).filter(|_| counts);
            BudgetLine {
                name: name.to_owned(),
                shared,
                amount: column(amount, budget.standard),
                share: share.map(|percent| {
                    let percent = to_decimals(percent, 1);
                    if percent.is_zero() {
                        "< 0.1".to_owned()
                    } else {
                        percent.to_string()
                    }
                }),
                relative,
            }
        };
        let mut lines: Vec<BudgetLine> = budget
            .contributions
            .iter()
            .map(|c| {
                let shared = c.scope != Scope::Each;
                cause(&c.name(), shared, c.amount, shared || observed.is_none())
            })
            .collect();
        if let Some(seen) = observed {
            lines.push(cause(
                "scatter of the trials, as observed",
                false,
                seen,
                true,
            ));
        }
        lines.sort_by(|a, b| {
            let place = |c: &BudgetLine| (c.share.is_none(), -c.relative);
            let (a, b) = (place(a), place(b));
            a.0.cmp(&b.0).then(a.1.total_cmp(&b.1))
        });
        Self {
            unit,
            lines,
            standard: two(budget.standard),
            expanded: two(budget.expanded),
            coverage_factor: from_f64(budget.coverage_factor, 6)
                .map(|k| to_decimals(k, 2).to_string())
                .unwrap_or_default(),
            degrees_of_freedom: Some(budget.degrees_of_freedom)
                .filter(|degrees| degrees.is_finite())
                .and_then(|degrees| from_f64(degrees, 2))
                .map(plain),
            random: random(budget, unit, two),
        }
    }

    /// Whether anything is done more than once, so that causes shared by trials differ from those of each; not so where
    /// something is prepared.
    pub fn repeats(&self) -> bool {
        !self.random.is_empty()
    }

    /// The coverage factor in a sentence.
    pub fn covered(&self) -> String {
        let why = match &self.degrees_of_freedom {
            Some(degrees) => {
                format!(
                    "Part of it is estimated from few values: {degrees} effective degrees of freedom"
                )
            }
            None => {
                "None of it is estimated from few values: infinitely many degrees of freedom".into()
            }
        };
        format!(
            "{why}, so 95 % takes {} times the standard uncertainty (coverage factor, Student\u{2019}s t): \
             ±\u{a0}{}\u{a0}{}.",
            self.coverage_factor, self.expanded, self.unit
        )
    }
}

/// One number of decimals for a whole column, one more than the sum is worth.
fn column(amount: f64, standard: f64) -> String {
    let worth = from_f64(standard, 6).map(|u| to_figures(u, 2).scale());
    let places = worth.unwrap_or(4).saturating_add(1);
    let amount = from_f64(amount, 6).map(|amount| to_decimals(amount, places));
    amount.map(|amount| amount.to_string()).unwrap_or_default()
}

fn random(budget: &Budget, unit: &str, two: impl Fn(f64) -> String) -> String {
    let predicted = two(budget.predicted_random);
    match budget.observed_random {
        Some(seen) if seen > budget.predicted_random => format!(
            "The trials scatter more than predicted: the observed scatter of their mean, {} {unit}, counts, and not the \
             {predicted} {unit} that the causes of each trial predict.",
            two(seen)
        ),
        Some(seen) => format!(
            "The trials scatter no more than predicted: {} {unit} is observed for their mean, and the {predicted} {unit} that \
             the causes of each trial predict counts.",
            two(seen)
        ),
        // a preparation, where nothing is done more than once
        None if budget.predicted_random == 0.0 => String::new(),
        None => format!(
            "One trial shows no scatter: the {predicted} {unit} that the causes of each trial predict counts."
        ),
    }
}
