//! What the prep room makes for a procedure: each reagent with its recipe, and how much a class needs.

use rust_decimal::Decimal;

use crate::measure::{plain, to_figures};
use crate::text::{decimal, found};

/// A reagent with its recipe.
#[derive(Clone, Debug, PartialEq)]
pub struct Reagent {
    pub name: String,
    /// Such as “2 mol/L”, or how a solid is dried.
    pub strength: String,
    /// What one student uses, spills and rinsings included.
    pub for_one: Amount,
    /// What goes into a litre of it; none of a solid that is used as it is.
    pub per_litre: Vec<Ingredient>,
    pub note: String,
}

/// How much: mL or g.
#[derive(Clone, Debug, PartialEq)]
pub struct Amount {
    pub number: Decimal,
    pub unit: String,
}

#[derive(Clone, Debug, PartialEq)]
pub struct Ingredient {
    pub amount: Amount,
    pub what: String,
}

/// A reagent for a class.
#[derive(Clone, Debug, PartialEq)]
pub struct Batch {
    pub amount: Amount,
    pub ingredients: Vec<Ingredient>,
}

/// What is made beyond what is used: a fifth (common practice).
const SPARE: Decimal = Decimal::from_parts(12, 0, 0, false, 1);

impl Amount {
    /// Such as `250 mL` or `1.2 g`.
    pub fn parse(text: &str) -> Result<Self, String> {
        let wrong = || found(text, "a number above 0 and mL or g, such as 250 mL");
        let (number, unit) = text.trim().split_once(' ').ok_or_else(wrong)?;
        let number = decimal(number).ok().filter(|n| *n > Decimal::ZERO);
        let number = number.ok_or_else(wrong)?;
        if !matches!(unit, "mL" | "g") {
            return Err(wrong());
        }
        Ok(Self {
            number,
            unit: unit.to_owned(),
        })
    }

    /// To four figures, as a balance weighs what is made up exactly.
    pub fn words(&self) -> String {
        format!("{} {}", plain(to_figures(self.number, 4)), self.unit)
    }

    fn times(&self, factor: Decimal) -> Self {
        Self {
            number: self.number.saturating_mul(factor),
            unit: self.unit.clone(),
        }
    }
}

impl Ingredient {
    /// Such as `70 g ammonium chloride`.
    pub fn parse(text: &str) -> Result<Self, String> {
        let wrong = || {
            found(
                text,
                "an amount in mL or g and of what, such as 70 g ammonium chloride",
            )
        };
        let place = text.match_indices(' ').nth(1).ok_or_else(wrong)?.0;
        let (amount, what) = text.split_at(place);
        Ok(Self {
            amount: Amount::parse(amount).map_err(|_| wrong())?,
            what: what.trim().to_owned(),
        })
    }
}

impl Reagent {
    /// For so many students, with a fifth to spare.
    pub fn for_class(&self, students: u32) -> Batch {
        let factor = Decimal::from(students).saturating_mul(SPARE);
        let amount = self.for_one.times(factor);
        let litres = amount.number.checked_div(Decimal::ONE_THOUSAND);
        let litres = litres.unwrap_or_default();
        let ingredients = self.per_litre.iter().map(|one| Ingredient {
            amount: one.amount.times(litres),
            what: one.what.clone(),
        });
        Batch {
            ingredients: ingredients.collect(),
            amount,
        }
    }
}
