//! Whether the endpoint of a titration with EDTA will be sharp at the pH its procedure states.

use rust_decimal::Decimal;

use crate::chem::complexation::{self, Medium, SHARP_LOG_PRODUCT};
use crate::chem::{Formula, is_edta, printed};
use crate::measure::{as_f64, from_f64, plain, to_decimals};
use crate::procedure::Procedure;

/// A metal's endpoint with EDTA.
#[derive(Clone, Debug, PartialEq)]
pub struct Endpoint {
    pub metal: String,
    /// The pH the procedure states.
    pub ph: Decimal,
    /// log of the conditional constant at that pH.
    pub log_conditional: f64,
    /// Metal in all at the equivalence point, mol/L: half the titrant's nominal molarity, as if the flask held as much
    /// as is run in. Where it holds ten times as much, the product is lower by 0.7.
    pub concentration: f64,
    /// The lowest pH at which it would be sharp; none if no pH makes it so.
    pub lowest_sharp_ph: Option<f64>,
}

/// The endpoint of a titration with EDTA whose pH is stated and whose metal is known.
pub fn endpoint(procedure: &Procedure) -> Option<Endpoint> {
    let titrant = procedure.titrant()?;
    let ph = titrant.ph?;
    let constants = complexation::edta(Medium::TenthMolar);
    let metal = bound(procedure)?;
    let concentration = as_f64(titrant.nominal) / 2.0;
    Some(Endpoint {
        metal: metal.to_string(),
        ph,
        log_conditional: constants.log_conditional(metal, as_f64(ph))?,
        concentration,
        lowest_sharp_ph: constants.lowest_sharp_ph(metal, concentration),
    })
}

/// What speaks against the endpoint, in words; also where it cannot be judged though a pH is stated.
pub fn endpoint_warning(procedure: &Procedure) -> Option<String> {
    let ph = procedure.titrant()?.ph?;
    if let Some(endpoint) = endpoint(procedure) {
        return endpoint.warning();
    }
    let constants = complexation::edta(Medium::TenthMolar);
    let known = constants.metals();
    let known: Vec<String> = known.map(|metal| printed(&metal.to_string())).collect();
    let metal = bound(procedure).map_or("what it binds".to_owned(), |metal| {
        printed(&metal.to_string())
    });
    Some(format!(
        "whether the endpoint is sharp at pH {ph} cannot be said: the table has no constant of EDTA with {metal}, only with {}",
        known.join(", ")
    ))
}

/// What EDTA binds: what is used up beside it.
fn bound(procedure: &Procedure) -> Option<&Formula> {
    let titrant = &procedure.titrant()?.species;
    let constants = complexation::edta(Medium::TenthMolar);
    if !is_edta(titrant) {
        return None;
    }
    let with_edta = procedure.reactions.iter();
    let with_edta = with_edta.filter(|reaction| reaction.consumed(titrant).is_some());
    let beside: Vec<&Formula> = with_edta
        .flat_map(|reaction| {
            let used = |s: &&Formula| reaction.consumed(s).is_some() && *s != titrant;
            reaction.species().filter(used)
        })
        .collect();
    let known = beside.iter().find(|s| constants.log_k(s).is_some());
    known.or(beside.first()).copied()
}

impl Endpoint {
    /// log of concentration × conditional constant.
    pub fn log_product(&self) -> f64 {
        complexation::log_product(self.log_conditional, self.concentration)
    }

    /// Whether it is sharp by common practice.
    pub fn is_sharp(&self) -> bool {
        complexation::is_sharp(self.log_conditional, self.concentration)
    }

    /// What it rests on, in a sentence.
    pub fn words(&self) -> String {
        let p_metal =
            complexation::p_metal_at_equivalence(self.log_conditional, self.concentration);
        format!(
            "{} and p[{}] is {}; {} (common practice: sharp from log cK\u{2032} = {SHARP_LOG_PRODUCT})",
            self.constants(),
            printed(&self.metal),
            tenths(p_metal),
            if self.is_sharp() {
                "the endpoint is sharp"
            } else {
                "the endpoint is not sharp"
            },
        )
    }

    /// The constant, and its product with the concentration.
    fn constants(&self) -> String {
        format!(
            "at pH {} the conditional constant of {} with EDTA is log K\u{2032} = {}; with {} mol/L of the metal at the \
             equivalence point log cK\u{2032} is {}",
            self.ph,
            printed(&self.metal),
            tenths(self.log_conditional),
            concentration(self.concentration),
            tenths(self.log_product()),
        )
    }

    fn warning(&self) -> Option<String> {
        if self.is_sharp() {
            return None;
        }
        let remedy = match self.lowest_sharp_ph.map(next_tenth) {
            Some(ph) => format!("raise the pH to at least {ph}"),
            None => "no pH makes it sharp with a titrant so dilute".to_owned(),
        };
        Some(format!(
            "{}, below {SHARP_LOG_PRODUCT}: the endpoint will not be sharp; {remedy}",
            self.constants(),
        ))
    }
}

fn tenths(value: f64) -> String {
    from_f64(value, 12)
        .map(|v| to_decimals(v, 1).to_string())
        .unwrap_or_default()
}

fn concentration(value: f64) -> String {
    from_f64(value, 2).map(plain).unwrap_or_default()
}

/// The tenth of a pH at or above a value.
fn next_tenth(ph: f64) -> String {
    tenths((ph * 10.0).ceil() / 10.0)
}
