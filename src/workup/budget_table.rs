//! An uncertainty budget for people: each cause with its share, and in words what it comes to.

use super::budget::Budget;
use super::component::Scope;
use crate::language::{Language, Message, message};
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
    /// The coverage factor in a sentence.
    pub covered: String,
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
    /// Of a budget in that unit, in that language.
    pub fn of(budget: &Budget, unit: &'static str, language: Language) -> Self {
        let two = |value: f64| {
            let value = from_f64(value, 6).map(|v| to_figures(v, 2).to_string());
            language.number(value.unwrap_or_default())
        };
        let observed = budget
            .observed_random
            .filter(|seen| *seen > budget.predicted_random);
        let cause = |name: String, shared: bool, amount: f64, counts: bool| {
            let relative = amount / budget.standard;
            let share = from_f64(100.0 * relative * relative, 6).filter(|_| counts);
            BudgetLine {
                name,
                shared,
                amount: language.number(column(amount, budget.standard)),
                share: share.map(|percent| {
                    let percent = to_decimals(percent, 1);
                    language.number(match percent.is_zero() {
                        true => "< 0.1".to_owned(),
                        false => percent.to_string(),
                    })
                }),
                relative,
            }
        };
        let mut lines: Vec<BudgetLine> = budget
            .contributions
            .iter()
            .map(|c| {
                let shared = c.scope != Scope::Each;
                cause(
                    language.say(&c.words()),
                    shared,
                    c.amount,
                    shared || observed.is_none(),
                )
            })
            .collect();
        if let Some(seen) = observed {
            let name = language.text("budget.observed").to_owned();
            lines.push(cause(name, false, seen, true));
        }
        lines.sort_by(|a, b| {
            let place = |c: &BudgetLine| (c.share.is_none(), -c.relative);
            let (a, b) = (place(a), place(b));
            a.0.cmp(&b.0).then(a.1.total_cmp(&b.1))
        });
        let (standard, expanded) = (two(budget.standard), two(budget.expanded));
        let coverage_factor = from_f64(budget.coverage_factor, 6)
            .map(|k| language.number(to_decimals(k, 2)))
            .unwrap_or_default();
        let degrees_of_freedom = Some(budget.degrees_of_freedom)
            .filter(|degrees| degrees.is_finite())
            .and_then(|degrees| from_f64(degrees, 2))
            .map(|degrees| language.number(plain(degrees)));
        let covered = match &degrees_of_freedom {
            Some(degrees) => message!("budget.covered-few", degrees = degrees),
            None => message!("budget.covered"),
        };
        let covered = covered
            .with("k", &coverage_factor)
            .with("expanded", &expanded)
            .with("unit", unit);
        Self {
            unit,
            lines,
            standard,
            expanded,
            coverage_factor,
            degrees_of_freedom,
            random: random(budget, unit, two).map_or_else(String::new, |said| language.say(&said)),
            covered: language.say(&covered),
        }
    }

    /// Whether anything is done more than once, so that causes shared by trials differ from those of each; not so where
    /// something is prepared.
    pub fn repeats(&self) -> bool {
        !self.random.is_empty()
    }
}

/// One number of decimals for a whole column, one more than the sum is worth.
fn column(amount: f64, standard: f64) -> String {
    let worth = from_f64(standard, 6).map(|u| to_figures(u, 2).scale());
    let places = worth.unwrap_or(4).saturating_add(1);
    let amount = from_f64(amount, 6).map(|amount| to_decimals(amount, places));
    amount.map(|amount| amount.to_string()).unwrap_or_default()
}

fn random(budget: &Budget, unit: &str, two: impl Fn(f64) -> String) -> Option<Message> {
    let said = match budget.observed_random {
        Some(seen) if seen > budget.predicted_random => {
            message!("budget.random-more", seen = two(seen))
        }
        Some(seen) => message!("budget.random-less", seen = two(seen)),
        // a preparation, where nothing is done more than once
        None if budget.predicted_random == 0.0 => return None,
        None => message!("budget.random-one"),
    };
    let predicted = two(budget.predicted_random);
    Some(said.with("predicted", predicted).with("unit", unit))
}
