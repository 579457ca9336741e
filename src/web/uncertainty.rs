//! A result's uncertainty as its student and staff see it: a picture, the table behind it, and what it comes to.

use crate::language::Language;
use crate::workup::{Budget, BudgetLine, BudgetTable};

/// What `worked_macro.html` shows of a budget.
pub struct Uncertainty {
    /// The table and the words.
    pub causes: BudgetTable,
    /// The picture, from the top.
    pub bars: Vec<Bar>,
    /// Height of the picture, in lines.
    pub height: String,
    /// The picture in words.
    pub described: String,
    /// How many causes are too small to be drawn.
    pub not_drawn: usize,
}

/// A bar of the picture.
pub struct Bar {
    /// What it stands for.
    pub name: String,
    /// Its size, with its share of the variance if it counts.
    pub size: String,
    /// How it is filled.
    pub class: &'static str,
    /// Its length, percent of the picture.
    pub length: String,
    /// Where it begins, in lines from the top.
    pub top: String,
}

/// Lines of text a bar takes.
const LINES: f64 = 2.9;
/// Length of the bar of the whole; what is right of it is for its number.
const LONGEST: f64 = 60.0;
/// Bars shorter than this part of the whole would not be seen.
const DRAWN: f64 = 0.02;

impl Uncertainty {
    /// Of a budget in that unit.
    pub fn of(budget: &Budget, unit: &'static str, language: Language) -> Self {
        Self::new(BudgetTable::of(budget, unit, language), language)
    }

    /// Of a table in that language.
    pub fn new(causes: BudgetTable, language: Language) -> Self {
        let unit = causes.unit;
        let drawn: Vec<&BudgetLine> = causes
            .lines
            .iter()
            .filter(|c| c.relative >= DRAWN)
            .collect();
        let mut bars: Vec<Bar> = Vec::with_capacity(drawn.len().saturating_add(1));
        let whole = Bar {
            name: language.text("budget.whole").to_owned(),
            size: causes.standard.clone(),
            class: "whole",
            length: format!("{LONGEST}"),
            top: String::new(),
        };
        bars.push(whole);
        bars.extend(drawn.iter().map(|cause| Bar {
            name: cause.name.clone(),
            size: match &cause.share {
                Some(share) => format!("{} ({share} %)", cause.amount),
                None => cause.amount.clone(),
            },
            class: match (&cause.share, cause.shared) {
                (None, _) => "aside",
                (_, true) => "shared",
                (_, false) => "each",
            },
            length: format!("{:.2}", LONGEST * cause.relative),
            top: String::new(),
        }));
        for (place, bar) in bars.iter_mut().enumerate() {
            bar.top = format!("{:.1}", LINES * place as f64);
        }
        let largest = causes.lines.iter().filter_map(|cause| {
            let share = cause.share.as_ref()?;
            Some(format!("{} {share} %", cause.name))
        });
        let largest: Vec<String> = largest.take(3).collect();
        Self {
            height: format!("{:.1}", LINES * bars.len() as f64),
            described: language.tell(
                "budget.described",
                &[
                    ("drawn", &drawn.len()),
                    ("u", &causes.standard),
                    ("unit", &unit),
                    ("largest", &largest.join("; ")),
                ],
            ),
            not_drawn: causes.lines.len().saturating_sub(drawn.len()),
            bars,
            causes,
        }
    }

    /// Whether a bar is filled so.
    pub fn has(&self, class: &str) -> bool {
        self.bars.iter().any(|bar| bar.class == class)
    }
}
