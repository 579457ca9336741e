//! Standardisation: a weighed primary standard gives the molarity of the titrant.

use rust_decimal::Decimal;

use super::graph::{Operation, Scope, StepId, WorkUpError};
use super::parts::{Builder, Of, rectangular};
use crate::chem::{Formula, Ratio};
use crate::submission::Titration;

/// n(S) = 1000 · m · P / M (mmol from g), n(T) = n(S) · T/S, c(T) = n(T) / (V − V_blank).
pub(super) fn trial(
    builder: &mut Builder,
    (weighed, reacting_per_weighed, titrant_per_reacting): (&Formula, Ratio, Ratio),
    titration: &Titration,
    delivered: StepId,
    blank: Option<StepId>,
    of: Of,
) -> Result<StepId, WorkUpError> {
    let procedure = builder.procedure;
    let titrant = procedure.titrant.species.clone();
    let mass = builder.sample(titration, of)?;
    let thousand = builder.exact("mg per g", "k", Decimal::ONE_THOUSAND);
    let molar_mass = builder.molar_mass(weighed);
    let mut over = vec![thousand, mass];
    if let Some(purity) = procedure.sample.purity {
        over.push(builder.once("purity", |graph| {
            let step = graph.given(
                format!("mass fraction of {weighed}"),
                "P",
                "",
                purity.fraction,
            );
            graph.doubt(
                step,
                "purity of the standard",
                rectangular(purity.half_width),
                Scope::Shared,
            );
            step
        }));
    }
    let mut under = vec![molar_mass];
    if let Some((flask, pipette)) = builder.aliquot_factor() {
        over.push(pipette);
        under.push(flask);
    }
    let text = format!("amount of {weighed} titrated, {}", of.words());
    let standard = builder.graph.step(
        text,
        format!("ns{}", of.tag()),
        "mmol",
        Operation::Quotient(over, under),
    )?;
    let ratio = titrant_per_reacting.times(reacting_per_weighed);
    let ratio = builder.ratio(format!("{titrant} per {weighed}"), "T/S", ratio);
    let text = format!("amount of {titrant}, {}", of.words());
    let product = Operation::Quotient(vec![standard, ratio], Vec::new());
    let amount = builder
        .graph
        .step(text, format!("n{}", of.tag()), "mmol", product)?;
    let used = builder.net(delivered, blank, of)?;
    builder.express(amount, &titrant, &titrant, used, of)
}
